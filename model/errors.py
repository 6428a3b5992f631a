"""What can be wrong with what Crestline was given, and how does it say so?

    Exception
    +-- CrestlineError      anything Crestline refuses, so that one `except` catches it all
        +-- InputError      a value outside its range: which field, which value, what would do
                            (a ValueError too, so that a check inside a record can raise it)
            +-- LinkError   the same for a link, with the step of reading it that failed
            +-- MeasurementError    the same for a log, with its row and column
        +-- DefectError     a result of our own that cannot be right: it is not shown

The message is always one line: "cores is 0; expected a whole number from 1 to 512."
"""

import math
from numbers import Real
from typing import TypeGuard

_LONGEST_VALUE = 80  # characters of a refused value that are shown


class CrestlineError(Exception):
    """Anything that Crestline refuses to compute."""


class InputError(CrestlineError, ValueError):
    """A value that Crestline cannot use.

    Parameters
    ----------
    field : str
        Where the value stands, as its owner would say it: "host.cores", "service_s[2]".
    value : object
        The value as it was given.
    expected : str
        What would do, to be read after "expected": "a number above 0 s".
    """

    def __init__(self, field: str, value: object, expected: str) -> None:
        super().__init__(field, value, expected)  # all three, or the error cannot be pickled
        self.field = field
        self.value = value
        self.expected = expected

    def __str__(self) -> str:
        """Return the message in one line, whatever the value holds."""
        expected = _one_line(self.expected).rstrip(".")
        return f"{_one_line(self.field)} is {_shown(self.value)}; expected {expected}."


class DefectError(CrestlineError):
    """A result that breaks a law which every right one obeys: Crestline is at fault, not its input.

    Parameters
    ----------
    law : str
        The law, as a sentence: "work done equals work asked for".
    found : str
        What was found instead.
    """

    def __init__(self, law: str, found: str) -> None:
        super().__init__(law, found)
        self.law = law
        self.found = found

    def __str__(self) -> str:
        """Return the message in one line."""
        return f"A result is wrong and is not shown: {self.law}; found {self.found}."


class LinkError(InputError):
    """A link that cannot be read.

    Parameters
    ----------
    field : str
        The part of the link, "version" or "host.cores".
    value : object
        The value as it was given.
    expected : str
        What would do, to be read after "expected".
    step : str
        The step of reading the link that failed: "cut short", "unknown version", "out of range".
    """

    def __init__(self, field: str, value: object, expected: str, step: str) -> None:
        super().__init__(field, value, expected)
        self.args = (field, value, expected, step)
        self.step = step


class MeasurementError(InputError):
    """A log of measurements that cannot be read or used.

    Parameters
    ----------
    log : str
        The log's name, or the answer that is missing: "trial.csv", "mapping.encode_base".
    value : object
        The cell, or whatever will not do.
    expected : str
        What would do, to be read after "expected": the cure.
    row : int or None
        The row as a spreadsheet counts, the first being 1; None where no single row is at fault.
    column : str or None
        The column's name; None where no single column is at fault.
    """

    def __init__(
        self,
        log: str,
        value: object,
        expected: str,
        row: int | None = None,
        column: str | None = None,
    ) -> None:
        place = [log]
        place += [f"row {row}"] if row is not None else []
        place += [f'column "{column}"'] if column is not None else []
        super().__init__(", ".join(place), value, expected)
        self.args = (log, value, expected, row, column)
        self.log = log
        self.row = row
        self.column = column


def check_above(name: str, value: object, low: float, unit: str = "") -> None:
    """Refuse a value that is not a finite number above a bound.

    Parameters
    ----------
    name : str
        The field named in the error.
    value : object
        The value to check; NaN, infinity, True and anything but a number are refused. [`unit`]
    low : float
        The bound, itself refused. [`unit`]
    unit : str
        The unit named in the error.

    Raises
    ------
    InputError
        Where the value will not do.
    """
    if not (_is_finite_number(value) and value > low):
        raise InputError(name, value, _with_unit(f"a number above {_plain(low)}", unit))


def check_at_least(name: str, value: object, low: float, unit: str = "") -> None:
    """Refuse a value that is not a finite number at or above a bound.

    Parameters
    ----------
    name : str
        The field named in the error.
    value : object
        The value to check; NaN, infinity, True and anything but a number are refused. [`unit`]
    low : float
        The least value that will do. [`unit`]
    unit : str
        The unit named in the error.

    Raises
    ------
    InputError
        Where the value will not do.
    """
    if not (_is_finite_number(value) and value >= low):
        raise InputError(name, value, _with_unit(f"a number of {_plain(low)} or more", unit))


def check_within(name: str, value: object, low: float, high: float, unit: str = "") -> None:
    """Refuse a value that is not a number between two bounds.

    Parameters
    ----------
    name : str
        The field named in the error.
    value : object
        The value to check; NaN, True and anything but a number are refused. [`unit`]
    low, high : float
        The least and the greatest value that will do. [`unit`]
    unit : str
        The unit named in the error.

    Raises
    ------
    InputError
        Where the value will not do.
    """
    if not (_is_finite_number(value) and low <= value <= high):
        expected = _with_unit(f"a number from {_plain(low)} to {_plain(high)}", unit)
        raise InputError(name, value, expected)


def _is_finite_number(value: object) -> TypeGuard[float]:
    """Tell whether a value is a real number other than NaN and infinity; True is not one."""
    if isinstance(value, bool) or not isinstance(value, Real):
        return False
    try:
        return math.isfinite(value)
    except OverflowError:  # an integer beyond the largest float is finite all the same
        return True


def _with_unit(range_in_words: str, unit: str) -> str:
    return f"{range_in_words} {unit}" if unit else range_in_words


def _plain(bound: float) -> str:
    """Write a bound as a person would: 1000000 and 0.5, not 1e+06 and 0.50."""
    return str(int(bound)) if bound == int(bound) else f"{bound:g}"


def _shown(value: object) -> str:
    """Return a short one-line form of any value; a NumPy number looks like a plain one."""
    if isinstance(value, Real) and hasattr(value, "item"):
        value = value.item()
    try:
        text = repr(value[: _LONGEST_VALUE + 1] if isinstance(value, (str, bytes)) else value)
    except (ValueError, RecursionError):  # an integer too long to print, a list within itself
        text = f"a value of type {type(value).__name__}"
    text = _one_line(text)
    return text if len(text) <= _LONGEST_VALUE else text[: _LONGEST_VALUE - 3] + "..."


def _one_line(text: str) -> str:
    """Escape line ends, control characters and anything else that does not print."""
    joined = " ".join(text.split()) if "\n" in text else text
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in joined)
