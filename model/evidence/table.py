"""How does a file of unknown make become rows and columns, without a guess left unsaid?

`unpacked` brings in the bytes (plain or gzip, never more than `LARGEST_BYTES`), `as_utf8` settles
the encoding, `lay_out` finds separator, decimal sign, header and units row in the first part of
the text, `rows_of` finds each row and counts its cells, and `read_cells` reads the columns wanted.
Rows are counted as a spreadsheet does: the first of the file is 1, blank ones count, and a line
end inside quotes does not begin a new row.
"""

import codecs
import csv
import gzip
import io
import os
import re
import zlib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

from model.errors import MeasurementError
from model.evidence.record import IntArray

LARGEST_BYTES = 256 * 1024 * 1024  # unpacked; a week of ten columns at 1 Hz has about 50 MB
SAMPLE_ROWS = 1_000  # looked at for the layout; what comes later is checked while reading

SEPARATORS = {"\t": "tabs", ";": "semicolons", "|": "bars", ",": "commas"}  # in order of trust
MISSING_WORDS = {"", "-", "--", "na", "n/a", "nan", "null", "none", "nil", "missing", "?"}

_CHUNK = 8 * 1024 * 1024
_SAMPLE_BYTES = 512 * 1024
_MOST_GZIP_RATIO = 1032  # the format cannot pack tighter
_ENCODING_WORDS = {
    "utf-8": "UTF-8",
    "utf-16-le": "UTF-16 (little-endian)",
    "utf-16-be": "UTF-16 (big-endian)",
}
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?\s*%?", re.ASCII)
_GROUPED = re.compile(r"[+-]?\d{1,3}(?:([., '\u00a0\u202f])\d{3})+(?:(?!\1)[.,]\d+)?", re.ASCII)
_ONE_GROUP = re.compile(r"[+-]?[1-9]\d{0,2}([.,])\d{3}", re.ASCII)
_UNIT = re.compile(r"[\[(]?(%.*|s|ms|fps|1/s|hz|cores?|core.?s/s|sessions|iso.*|utc|-|)[\])]?")
_TIME = re.compile(
    r"(\d{4}-?\d\d-?\d\d|\d{1,4}([-/. ])(\d{1,2}|[A-Za-z]{3,9})\2\d{1,4}|\d{1,2}:\d\d)([T ,:].*)?",
    re.ASCII,
)


@dataclass(frozen=True)
class Upload:
    """A file that was handed over as bytes, with the name it had."""

    name: str
    content: bytes


Source: TypeAlias = str | Path | bytes | Upload | IO[bytes] | IO[str]


@dataclass(frozen=True)
class Layout:
    """How the text of a log is laid out.

    Parameters
    ----------
    encoding : str
        As Python calls it: "utf-8", "utf-16-le".
    separator : str
        The character between cells.
    decimal : str or None
        "." or ","; None where the text can be read both ways.
    decimal_seen : bool
        Whether any number with a decimal sign was seen; if not, "." is provisional.
    header_row : int or None
        Row of the names, None where the log begins with numbers.
    units_row : int or None
        Row of the units, None where there is none.
    first_row : int
        Row of the first reading.
    names : tuple of str
        Name of each column, made unique.
    units : tuple of str
        Unit of each column as written, "" where not given.
    """

    encoding: str
    separator: str
    decimal: str | None
    decimal_seen: bool
    header_row: int | None
    units_row: int | None
    first_row: int
    names: tuple[str, ...]
    units: tuple[str, ...]

    def in_words(self, decimal: str | None = None) -> str:
        """Return the layout in one phrase; a decimal sign answered for goes before the one seen."""
        sign = {".": "decimal point", ",": "decimal comma", None: "decimal sign open"}
        header = "no header" if self.header_row is None else f"header in row {self.header_row}"
        units = "" if self.units_row is None else f", units in row {self.units_row}"
        encoding = _ENCODING_WORDS.get(self.encoding, self.encoding)
        separated = SEPARATORS.get(self.separator, self.separator)
        chosen = sign[decimal or self.decimal]
        return f"{encoding}, separated by {separated}, {chosen}, {header}{units}"


@dataclass(frozen=True, eq=False)
class Rows:
    """Where each row of a text begins and ends, and how many cells it has. [bytes, bytes, cells]"""

    start: IntArray
    end: IntArray
    cells: IntArray


def unpacked(source: Source) -> tuple[str, bytes]:
    """Return the name and the bytes of a log, unpacked.

    Parameters
    ----------
    source : path, bytes, Upload or file object
        A plain or a gzip file.

    Raises
    ------
    MeasurementError
        Where there is nothing to read, or more than `LARGEST_BYTES`. A packed log is first counted
        and then unpacked, so one that is too large is never held.
    """
    name, packed = _brought_in(source)
    content = _gunzipped(name, packed) if packed[:2] == b"\x1f\x8b" else packed
    if not content.strip(b"\x00 \t\r\n"):
        raise MeasurementError(name, "an empty file", "a header and rows of readings")
    if content[:4] in (b"PK\x03\x04", b"\xd0\xcf\x11\xe0"):
        cure = "delimited text; save the sheet as CSV first"
        raise MeasurementError(name, "an archive or a spreadsheet file", cure)
    return name, content


def _brought_in(source: Source) -> tuple[str, bytes]:
    if isinstance(source, bytes):
        name, content = "log", source
    elif isinstance(source, Upload):
        name, content = Path(source.name).name or "log", source.content
    elif isinstance(source, (str, Path)):
        path = Path(source)
        name = path.name
        try:
            size = path.stat().st_size
            if size > LARGEST_BYTES:
                raise _too_large(name, f"{size:,} bytes")
            content = path.read_bytes()
        except (OSError, ValueError) as error:
            if isinstance(error, MeasurementError):
                raise
            reason = error.strerror if isinstance(error, OSError) else "the path is no path"
            raise MeasurementError(name, str(path), f"a file to read ({reason})") from None
    else:
        name = os.path.basename(str(getattr(source, "name", "") or "log"))
        begin = source.tell() if source.seekable() else None
        given = source.read(LARGEST_BYTES + 1)
        if begin is not None:
            source.seek(begin)  # what was looked at can then be read
        content = given.encode("utf-8", "surrogatepass") if isinstance(given, str) else given
    if len(content) > LARGEST_BYTES:
        raise _too_large(name, f"more than {LARGEST_BYTES:,} bytes")
    return name, content


def _too_large(name: str, size: str) -> MeasurementError:
    return MeasurementError(
        name, size, f"at most {LARGEST_BYTES:,} bytes unpacked; split the log or log less often"
    )


def _gunzipped(name: str, packed: bytes) -> bytes:
    try:
        if len(packed) * _MOST_GZIP_RATIO > LARGEST_BYTES:
            size = 0
            for part in _unpacking(packed):
                size += len(part)
                if size > LARGEST_BYTES:
                    raise _too_large(name, f"more than {LARGEST_BYTES:,} bytes once unpacked")
        return b"".join(_unpacking(packed))
    except (OSError, EOFError, zlib.error) as error:
        cure = f"a whole gzip file ({error}); pack it again"
        raise MeasurementError(name, "a damaged gzip file", cure) from None


def _unpacking(packed: bytes) -> Iterator[bytes]:
    with gzip.GzipFile(fileobj=io.BytesIO(packed)) as stream:
        while part := stream.read(1024 * 1024):
            yield part


def as_utf8(name: str, content: bytes, encoding: str | None = None) -> tuple[str, bytes]:
    """Return the encoding of a log and its text as UTF-8 with plain line ends.

    Parameters
    ----------
    name : str
        The log's name, for errors.
    content : bytes
        The log.
    encoding : str or None
        The encoding where the user named it; None to tell UTF-8 and UTF-16 apart by the bytes.

    Raises
    ------
    MeasurementError
        Where the bytes are no text in that encoding: the row, and the cure.
    """
    if encoding is not None:
        try:
            encoding = codecs.lookup(encoding).name
        except LookupError:
            cure = 'an encoding, as "utf-8" or "cp1252"'
            raise MeasurementError("mapping.encoding", encoding, cure) from None
    marks = {codecs.BOM_UTF8: "utf-8", codecs.BOM_UTF16_LE: "utf-16-le"}
    marks[codecs.BOM_UTF16_BE] = "utf-16-be"
    mark = next((each for each in marks if content.startswith(each)), b"")
    found = encoding or (marks[mark] if mark else _told_by_zeros(content))
    found = marks.get(mark, "utf-16-le") if found == "utf-16" else found
    found = "utf-8" if found in ("utf-8-sig", "ascii") else found
    if mark and marks[mark] == found:
        content = content[len(mark) :]
    if found == "utf-8":
        _check_utf8(name, content)
        text = content
    else:
        try:
            text = content.decode(found).encode("utf-8")
        except (UnicodeError, LookupError) as error:
            at = error.start if isinstance(error, UnicodeDecodeError) else 0
            row = 1 + len(re.findall(rb"\n", content[:at]))
            cure = f"text in {found}; save the log as UTF-8"
            raise MeasurementError(name, content[at : at + 4], cure, row) from None
    if b"\x00" in text:
        row = 1 + text[: text.index(b"\x00")].count(b"\n")
        raise MeasurementError(name, b"\x00", "text in UTF-8 or UTF-16, not binary data", row)
    if b"\r" in text:
        text = text.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return found, text


def _told_by_zeros(content: bytes) -> str:
    """Text in the Latin alphabet has a zero in every other byte when it is UTF-16."""
    sample = np.frombuffer(content[: 4096 // 2 * 2], dtype=np.uint8)
    even, odd = (sample[0::2] == 0).mean(), (sample[1::2] == 0).mean() if len(sample) > 1 else 0.0
    if odd > 0.3 and even < 0.05:
        return "utf-16-le"
    return "utf-16-be" if even > 0.3 and odd < 0.05 else "utf-8"


def _check_utf8(name: str, content: bytes) -> None:
    if content.isascii():
        return
    decoder = codecs.getincrementaldecoder("utf-8")()
    for start in range(0, len(content), _CHUNK):
        try:
            decoder.decode(content[start : start + _CHUNK], start + _CHUNK >= len(content))
        except UnicodeDecodeError as error:
            pending = len(error.object) - len(content[start : start + _CHUNK])
            at = max(0, start - pending + error.start)
            row = 1 + content[:at].count(b"\n")
            cure = 'text in UTF-8 or UTF-16; save it so, or name its encoding, as "cp1252"'
            raise MeasurementError(name, content[at : at + 4], cure, row) from None


def lay_out(name: str, encoding: str, text: bytes) -> tuple[Layout, list[list[str]]]:
    """Return the layout of a log and its first rows of readings.

    Parameters
    ----------
    name : str
        The log's name, for errors.
    encoding : str
        The encoding the log came in.
    text : bytes
        The log as UTF-8.

    Returns
    -------
    Layout
        Separator, decimal sign, header, units.
    list of list of str
        The cells of the first readings, at most `SAMPLE_ROWS`.
    """
    head = text[:_SAMPLE_BYTES]
    if len(head) < len(text):
        head = head[: head.rfind(b"\n") + 1 or len(head)]
    written = head.decode("utf-8", "replace")
    named = re.match(r"sep=(.)\n", written)  # some spreadsheets write the separator first
    separator = named[1] if named and named[1] in SEPARATORS else _separator(written)
    records = _records(name, written, separator)
    width = _usual_width(records)
    begin = _first_of_table(records, width, named is not None)
    if begin is None:
        raise MeasurementError(name, written[:40], "a header and rows of readings")
    header_row, units_row, first = begin
    header = records[header_row] if header_row is not None else []
    columns = max(width, len(header))
    names = _unique([_tidy(cell) for cell in header] + [""] * (columns - len(header)))
    units = [_tidy(cell) for cell in records[units_row]] if units_row is not None else []
    units = [*units, *[""] * columns][:columns]
    readings = [record for record in records[first:] if any(cell.strip() for cell in record)]
    decimal, seen = _decimal(readings, separator)
    layout = Layout(
        encoding,
        separator,
        decimal,
        seen,
        None if header_row is None else header_row + 1,
        None if units_row is None else units_row + 1,
        first + 1,
        tuple(names),
        tuple(units),
    )
    return layout, readings


def _records(name: str, written: str, separator: str) -> list[list[str]]:
    records = []
    try:
        reader = csv.reader(
            io.StringIO(written, newline=""), delimiter=separator, skipinitialspace=True
        )
        for record in reader:
            records.append(record)
            if len(records) >= SAMPLE_ROWS:
                break
    except csv.Error as error:
        row = len(records) + 1
        raise MeasurementError(name, str(error), "a closing quote in this row", row) from None
    return records


def _separator(written: str) -> str:
    """The separator that cuts most rows alike; among equals the one to be trusted more.

    A comma may be a decimal sign, or stand in words: then the header is cut otherwise.
    """
    best, most = ",", 0.0
    for separator in SEPARATORS:
        try:
            records = _records("", written, separator)
        except MeasurementError:
            continue
        counts = Counter(len(record) for record in records if any(map(str.strip, record)))
        cut = [(number, width) for width, number in counts.items() if width > 1]
        if not cut:
            continue
        _, width = max(cut)
        alike = sum(number for number, each in cut if abs(each - width) <= 1)
        if alike / sum(counts.values()) > most:
            best, most = separator, alike / sum(counts.values())
    return best


def _usual_width(records: list[list[str]]) -> int:
    counts = Counter(len(record) for record in records if any(map(str.strip, record)))
    return max(counts, key=lambda width: (counts[width], width)) if counts else 0


def _first_of_table(
    records: list[list[str]], width: int, separator_named: bool
) -> tuple[int | None, int | None, int] | None:
    """Indices of the header, of the units and of the first reading; titles above are passed."""
    header = None
    for index, record in enumerate(records):
        filled = [cell for cell in record if cell.strip()]
        if not filled or (separator_named and index == 0):
            continue
        # A title; one cell more or less may come from a separator at the end of each row.
        if abs(len(record) - width) > 1 or len(record) == 1 < width:
            continue
        if _is_data(filled):
            return header, None, index
        if header is None:
            header = index
            continue
        remark = records[header][0].lstrip().startswith("#")
        if remark and not all(_UNIT.fullmatch(cell.strip().lower()) for cell in filled):
            header = index  # the line before was a remark with as many separators
            continue
        if _are_units(records, index, width):
            return header, index, index + 1
        return header, None, index
    return None if header is None else (header, None, header + 1)


def _is_data(filled: list[str]) -> bool:
    measured = sum(bool(looks_numeric(cell) or looks_like_time(cell)) for cell in filled)
    return measured > 0 and 2 * measured >= len(filled)


def _are_units(records: list[list[str]], index: int, width: int) -> bool:
    """Words that stand above numbers, in a row without any number or time."""
    here = records[index]
    if any(looks_numeric(cell) or looks_like_time(cell) for cell in here if cell.strip()):
        return False
    below = [record for record in records[index + 1 : index + 21] if len(record) >= width]
    for column, cell in enumerate(here):
        cells = [record[column] for record in below if column < len(record)]
        cells = [each for each in cells if each.strip()]
        numeric = sum(map(looks_numeric, cells))
        named = cell.strip() and cell.strip().lower() not in MISSING_WORDS - {"-"}
        if named and 2 * numeric > len(cells):
            return True
    return False


def looks_numeric(cell: str) -> bool:
    """Tell whether a cell is a number in one of the usual notations.

    Parameters
    ----------
    cell : str
        The cell's text.
    """
    cell = cell.strip()
    return bool(_NUMBER.fullmatch(cell) or _GROUPED.fullmatch(cell))


def looks_like_time(cell: str) -> bool:
    """Tell whether a cell is a date, a time of day or both.

    Parameters
    ----------
    cell : str
        The cell's text.
    """
    return bool(_TIME.fullmatch(cell.strip()))


def _decimal(records: list[list[str]], separator: str) -> tuple[str | None, bool]:
    """The decimal sign, None where the numbers can be read both ways, and whether one was seen."""
    sure: Counter[str] = Counter()
    either: Counter[str] = Counter()
    for cell in {cell.strip(" %") for record in records for cell in record}:
        if not looks_numeric(cell) or ("." not in cell and "," not in cell):
            continue
        one_group, grouped = _ONE_GROUP.fullmatch(cell), _GROUPED.fullmatch(cell)
        if one_group:
            either[one_group[1]] += 1
        elif grouped and "." in cell and "," in cell:
            sure[max(".,", key=cell.rfind)] += 1
        elif grouped and cell.count(grouped[1]) > 1 and grouped[1] in ".,":
            sure["." if grouped[1] == "," else ","] += 1
        else:
            sure["." if "." in cell else ","] += 1
    if len(sure) == 1:
        return next(iter(sure)), True
    if len(sure) == 2:
        return None, True
    if not either:
        return ".", False
    return (".", True) if set(either) == {"."} and separator == "," else (None, True)


def _tidy(cell: str) -> str:
    return " ".join(cell.strip().removeprefix("#").split())


def _unique(names: list[str]) -> list[str]:
    taken: set[str] = set()
    unique = []
    for index, name in enumerate(names):
        name = name or f"column {index + 1}"
        trial, number = name, 2
        while trial in taken:
            trial, number = f"{name} ({number})", number + 1
        taken.add(trial)
        unique.append(trial)
    return unique


def rows_of(text: bytes, separator: str) -> Rows:
    """Return where the rows of a text are and how many cells each has.

    Parameters
    ----------
    text : bytes
        The log as UTF-8 with plain line ends.
    separator : str
        The character between cells.

    Notes
    -----
    A separator or a line end counts only outside quotes. Goes through the text in parts, so that
    a long log needs little more room than its rows.
    """
    content = np.frombuffer(text, dtype=np.uint8)
    quoted = b'"' in text
    inside = np.uint8(0)
    separators = 0
    ends, cells = [], []
    for begin in range(0, len(content), _CHUNK):
        part = content[begin : begin + _CHUNK]
        line_end, cut = part == ord("\n"), part == ord(separator)
        if quoted:
            within = np.bitwise_xor.accumulate((part == ord('"')).view(np.uint8)) ^ inside
            inside = within[-1]
            line_end &= within == 0
            cut &= within == 0
        at, cuts = np.flatnonzero(line_end), np.flatnonzero(cut)
        ends.append(at + begin)
        cells.append(np.searchsorted(cuts, at) + separators)
        separators += len(cuts)
    end = np.concatenate(ends) if ends else np.zeros(0, dtype=np.int64)
    before = np.concatenate(cells) if cells else np.zeros(0, dtype=np.int64)
    if len(text) and (not len(end) or end[-1] != len(text) - 1):
        end, before = np.append(end, len(text)), np.append(before, separators)
    start = np.concatenate([[0], end[:-1] + 1]) if len(end) else end
    return Rows(
        start.astype(np.int64),
        end.astype(np.int64),
        np.diff(before, prepend=0).astype(np.int64) + 1,
    )


def unclosed_quote(text: bytes) -> int | None:
    """Return the first row with a quote that is not closed there, or None.

    Parameters
    ----------
    text : bytes
        The log as UTF-8.
    """
    if text.count(b'"') % 2 == 0:
        return None
    for row, line in enumerate(text.split(b"\n"), start=1):
        if line.count(b'"') % 2:
            return row
    return None


def read_cells(
    text: bytes,
    rows: Rows,
    keep: npt.NDArray[np.bool_],
    layout: Layout,
    decimal: str,
    wanted: dict[int, str],
) -> pd.DataFrame:
    """Return the cells of some columns in some rows.

    Parameters
    ----------
    text : bytes
        The log as UTF-8.
    rows : Rows
        Its rows.
    keep : array of bool, shape (rows,)
        The rows to read. [-]
    layout : Layout
        Its layout.
    decimal : str
        The decimal sign.
    wanted : dict of int to str
        What each column holds, by its index: "number", "words" (few different ones) or "text".
        [-]

    Returns
    -------
    DataFrame
        By index as text. A column of numbers is of a numeric kind only if every cell was a number
        or empty.
    """
    width = max(int(rows.cells[keep].max(initial=1)), max(wanted) + 1)
    kinds = {"words": "category", "text": "str"}
    frame: pd.DataFrame = pd.read_csv(
        io.BytesIO(_kept(text, rows, keep)),
        sep=layout.separator,
        decimal=decimal,
        header=None,
        names=[str(index) for index in range(width)],
        usecols=[str(index) for index in sorted(wanted)],
        dtype={str(index): kinds[kind] for index, kind in wanted.items() if kind in kinds},
        keep_default_na=False,
        na_values={str(index): [""] for index, kind in wanted.items() if kind == "number"},
        skip_blank_lines=False,
        skipinitialspace=True,
        low_memory=False,
        encoding="utf-8",
        index_col=False,
    )
    return frame


def _kept(text: bytes, rows: Rows, keep: npt.NDArray[np.bool_]) -> bytes:
    """The bytes of the rows kept; neighbours are taken in one piece."""
    chosen = np.flatnonzero(keep)
    if not len(chosen):
        return b""
    breaks = np.flatnonzero(np.diff(chosen) > 1)
    first = chosen[np.concatenate([[0], breaks + 1])]
    last = chosen[np.concatenate([breaks, [len(chosen) - 1]])]
    pieces = [
        text[begin : end + 1]
        for begin, end in zip(rows.start[first].tolist(), rows.end[last].tolist(), strict=True)
    ]
    return b"".join(pieces)


def number_in(cell: str, decimal: str) -> tuple[float, str]:
    """Return the number in a cell that is not written plainly, and how it was found.

    Parameters
    ----------
    cell : str
        The cell's text.
    decimal : str
        The decimal sign.

    Returns
    -------
    float
        The number, NaN where there is none.
    str
        "" for a plain number, "missing", or what was odd about it: "a percent sign",
        "grouped digits"; for NaN "not a number", "the other decimal sign", "not finite".
    """
    text = cell.strip().strip("\u00a0\u202f")
    if text.lower() in MISSING_WORDS:
        return np.nan, "missing"
    odd = ""
    if text.endswith("%"):
        text, odd = text[:-1].strip(" \u00a0\u202f"), "a percent sign"
    other = "," if decimal == "." else "."
    if _NUMBER.fullmatch(text) and other not in text:
        value = float(text.replace(decimal, "."))
        return (value, odd) if np.isfinite(value) else (np.nan, "not finite")
    grouped = _GROUPED.fullmatch(text)
    if grouped and grouped[1] != decimal:
        digits = text.replace(grouped[1], "").replace(decimal, ".")
        if _NUMBER.fullmatch(digits) and "," not in digits:
            return float(digits), "grouped digits"
    if text.lower().strip("+-") in ("inf", "infinity"):
        return np.nan, "not finite"
    if _NUMBER.fullmatch(text):
        return np.nan, "the other decimal sign"
    return np.nan, "not a number"
