"""How are numbers and times written in a cell?

`looks_numeric` and `looks_like_time` know the usual notations, `decimal_sign` finds which sign
stands before the decimals, and `number_in` reads one cell that is not written plainly.
"""

import re
from collections import Counter
from collections.abc import Iterable, Sequence

import numpy as np

MISSING_WORDS = {"", "-", "--", "na", "n/a", "nan", "null", "none", "nil", "missing", "?"}

_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?\s*%?", re.ASCII)
_GROUPED = re.compile(r"[+-]?\d{1,3}(?:([., '\u00a0\u202f])\d{3})+(?:(?!\1)[.,]\d+)?", re.ASCII)
_ONE_GROUP = re.compile(r"[+-]?[1-9]\d{0,2}([.,])\d{3}", re.ASCII)
_TIME = re.compile(
    r"(\d{4}-?\d\d-?\d\d|\d{1,4}([-/. ])(\d{1,2}|[A-Za-z]{3,9})\2\d{1,4}|\d{1,2}:\d\d)([T ,:].*)?",
    re.ASCII,
)


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


def decimal_sign(records: Iterable[Sequence[str]], separator: str) -> tuple[str | None, bool]:
    """Return which sign stands before the decimals, as far as cells tell.

    Parameters
    ----------
    records : iterable of rows of cells
        The first readings.
    separator : str
        The character between cells.

    Returns
    -------
    str or None
        "." or ","; None where the numbers can be read both ways.
    bool
        Whether a number with a decimal sign was seen; if not, "." is provisional.
    """
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
