"""How is a table written as CSV that any program reads and no spreadsheet runs?

RFC 4180: comma, double quotes doubled, CRLF at the end of every record, the header first. A text
that a spreadsheet would take for a formula gets an apostrophe in front, which is how a spreadsheet
is told that a cell is text. Numbers are written as numbers, so that a negative one stays one.
"""

import csv
import io
import math
import re
from numbers import Integral, Real

MEDIA_TYPE = "text/csv; charset=utf-8"
_SIGNS = r"=+\-@\uff1d\uff0b\uff0d\uff20\u2212"  # with the wide forms that are taken for them
# Blanks, marks of writing direction and others that are not seen stand before a sign unnoticed.
_UNSEEN = r" \x00-\x08\x0b\x0c\x0e-\x1f\x7f-\xa0\u00ad\u061c\u1680\u180e\u2000-\u200f"
_UNSEEN += r"\u2028-\u202f\u205f-\u206f\u3000\ufeff"
_ACTING = re.compile(rf"\A(?=[\t\r\n]|[{_UNSEEN}]*[{_SIGNS}])")
# Where a reader of the file splits at another separator or at line ends, a cell begins there.
_ACTING_WITHIN = re.compile(rf"(?<=[;\t\r\n])(?=[{_UNSEEN}]*[{_SIGNS}])")


def csv_text(header: list[str], rows: list[list[object]]) -> str:
    """Return a table as CSV text.

    Parameters
    ----------
    header : list of str
        Name of each column with its unit: "headroom with card [% of CPU]".
    rows : list of list
        The cells, as many in each row as in the header. None and a number that is not finite give
        an empty cell.

    Returns
    -------
    str
        The records, each with CRLF at its end; to be sent as UTF-8.
    """
    written = io.StringIO()
    out = csv.writer(written, lineterminator="\r\n", quoting=csv.QUOTE_MINIMAL, strict=True)
    out.writerow([harmless(name) for name in header])
    for row in rows:
        if len(row) != len(header):
            raise ValueError(f"a row of {len(row)} cells under a header of {len(header)}")
        out.writerow([_cell(value) for value in row])
    return written.getvalue()


def harmless(text: str) -> str:
    """Return a text as a cell that no spreadsheet takes for a formula.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    str
        The text, with an apostrophe before what could act; other texts come back as they are.
    """
    sendable = text.encode("utf-8", "replace").decode("utf-8").replace("\0", "\ufffd")
    return _ACTING.sub("'", _ACTING_WITHIN.sub("'", sendable))


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Integral):
        return str(int(value))
    if isinstance(value, Real):
        return repr(float(value)) if math.isfinite(value) else ""
    return harmless(str(value))
