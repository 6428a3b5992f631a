"""How do the bytes of a log, plain or packed, become text in UTF-8?

`unpacked` brings in the bytes (plain or gzip, never more than `LARGEST_BYTES`), `as_utf8` settles
the encoding. What is no text is refused with its row and the cure.
"""

import codecs
import gzip
import io
import os
import re
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TypeAlias

import numpy as np

from model.errors import MeasurementError

LARGEST_BYTES = 256 * 1024 * 1024  # unpacked; a week of ten columns at 1 Hz has about 50 MB

_CHUNK_BYTES = 8 * 1024 * 1024
_MOST_GZIP_RATIO = 1032  # the format cannot pack tighter


@dataclass(frozen=True)
class Upload:
    """A file that was handed over as bytes, with the name it had."""

    name: str
    content: bytes


Source: TypeAlias = str | Path | bytes | Upload | IO[bytes] | IO[str]


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
    for start in range(0, len(content), _CHUNK_BYTES):
        try:
            decoder.decode(
                content[start : start + _CHUNK_BYTES], start + _CHUNK_BYTES >= len(content)
            )
        except UnicodeDecodeError as error:
            pending = len(error.object) - len(content[start : start + _CHUNK_BYTES])
            at = max(0, start - pending + error.start)
            row = 1 + content[:at].count(b"\n")
            cure = 'text in UTF-8 or UTF-16; save it so, or name its encoding, as "cp1252"'
            raise MeasurementError(name, content[at : at + 4], cure, row) from None
