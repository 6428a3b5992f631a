"""Does a table come back from its CSV as it was, and is no cell of it a formula?"""

import csv
import io

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.csv_text import csv_text, harmless

AS_THEY_ARE = [
    "plain",
    "a,b",
    'a "quoted" word',
    '"',
    "two\nlines",
    "two\r\nlines",
    "trailing\r",
    "H\u00f6he 5 \u00b5s, \u6e2f, \U0001f6a2",
    "\u05d0\u200f1",
    "a-b=c+d@e",
    "5 % ; 6 %",
    "'quoted",
    "",
    " ",
]
ACTING = [
    # text, as it is written
    ("=1+1", "'=1+1"),
    ("=cmd|' /C calc'!A0", "'=cmd|' /C calc'!A0"),
    ("+1", "'+1"),
    ("-1", "'-1"),
    ("@x", "'@x"),
    ("\tx", "'\tx"),
    ("\rx", "'\rx"),
    ("\nx", "'\nx"),
    ("  =1", "'  =1"),
    ("\u200f=1", "'\u200f=1"),
    ("\u202e=1", "'\u202e=1"),
    ("\ufeff=1", "'\ufeff=1"),
    ("\u00a0=1", "'\u00a0=1"),
    ("\uff1d1+1", "'\uff1d1+1"),
    ("name;=1+1", "name;'=1+1"),
    ("name\t=1+1", "name\t'=1+1"),
    ("name\r\n=1+1", "name\r\n'=1+1"),
]
SIGNS = "=+-@\t\r\n\uff1d\uff0b\uff0d\uff20"


def read(text):
    """Return the records that another reader finds."""
    return list(csv.reader(io.StringIO(text, newline=""), strict=True))


@pytest.mark.parametrize("cell", AS_THEY_ARE)
def test_text_comes_back_as_it_was(cell):
    """Quotes, commas, line ends and any script are read back as they were written."""
    assert read(csv_text(["name", "x [s]"], [[cell, 1]])) == [["name", "x [s]"], [cell, "1"]]


@pytest.mark.parametrize(("cell", "written"), ACTING)
def test_what_would_act_is_made_text(cell, written):
    """A text that a spreadsheet could run has an apostrophe before it, in the header too."""
    assert read(csv_text([cell], [[cell]])) == [[written], [written]]


@given(st.text(st.characters() | st.sampled_from(SIGNS + " ;,\"'\u200f"), max_size=12))
def test_no_cell_ever_acts(cell):
    """Whatever a name holds, its cell does not begin with a sign, and loses only what was added."""
    written = read(csv_text(["a", "b"], [[cell, "end"]]))[1][0]
    # Derived: taking every apostrophe out of both undoes all that may be added.
    sendable = cell.encode("utf-8", "replace").decode().replace("\0", "\ufffd")
    assert written.replace("'", "") == sendable.replace("'", "")
    assert not written.lstrip(" \u200f\ufeff\u00a0").startswith(tuple(SIGNS))
    for part in written.split(";"):
        assert not part.lstrip(" \u200f").startswith(("=", "+", "-", "@"))


def test_numbers_stay_numbers():
    """A negative number is written as one, to its last digit; what is no number is left empty."""
    row = [-1.5, np.float64(0.1) * 3, np.int64(-3), 7, float("nan"), float("inf"), None, True]
    text = csv_text([f"c{index}" for index in range(len(row))], [row])
    cells = read(text)[1]
    assert cells == ["-1.5", "0.30000000000000004", "-3", "7", "", "", "", "yes"]
    assert float(cells[1]) == 0.1 * 3


def test_records_follow_rfc_4180():
    """Every record, the last included, ends with CRLF, and quotes are doubled."""
    # Published: Y. Shafranovich, RFC 4180, 2005, section 2, rules 1, 2, 5, 6 and 7.
    expected = 'aaa,"b ""x"" b","c,c"\r\n"z\nz",yyy,xxx\r\n'
    assert csv_text(["aaa", 'b "x" b', "c,c"], [["z\nz", "yyy", "xxx"]]) == expected


def test_row_of_another_length_is_refused():
    """A row with a cell too many would shift its numbers under the wrong unit."""
    with pytest.raises(ValueError, match="a row of 2 cells under a header of 1"):
        csv_text(["a"], [[1, 2]])


def test_half_a_character_can_be_sent():
    """Half of a pair of code units, which no UTF-8 text can hold, is replaced."""
    assert harmless("a\ud800b\0").encode("utf-8") == "a?b\ufffd".encode()
