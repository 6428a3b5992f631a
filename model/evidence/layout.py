"""Where are header, units and readings in a text, and what stands between its cells?

`lay_out` finds separator, decimal sign, header and units row in the first part of the text. What
the text leaves open, as a decimal sign that can be read both ways, stays open in the `Layout`.
Rows are counted as a spreadsheet does: the first of the file is 1, blank ones count, and a line
end inside quotes does not begin a new row.
"""

import csv
import io
import re
from collections import Counter
from dataclasses import dataclass

from model.errors import MeasurementError
from model.evidence.notation import MISSING_WORDS, decimal_sign, looks_like_time, looks_numeric

SAMPLE_ROWS = 1_000  # looked at for the layout; what comes later is checked while reading

SEPARATORS = {"\t": "tabs", ";": "semicolons", "|": "bars", ",": "commas"}  # in order of trust

_SAMPLE_BYTES = 512 * 1024
_ENCODING_WORDS = {
    "utf-8": "UTF-8",
    "utf-16-le": "UTF-16 (little-endian)",
    "utf-16-be": "UTF-16 (big-endian)",
}
_UNIT = re.compile(r"[\[(]?(%.*|s|ms|fps|1/s|hz|cores?|core.?s/s|sessions|iso.*|utc|-|)[\])]?")


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
    decimal, seen = decimal_sign(readings, separator)
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
