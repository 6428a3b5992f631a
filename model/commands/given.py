"""What was given on the command line, checked: files, ranges and numbers?"""

import json
import re
import sys
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from model.defaults import MOST_SESSIONS
from model.errors import InputError, check_at_least

MOST_SEED = 2**32 - 1
MOST_REPLICATES = 1_000
_LARGEST_BYTES = 4_000_000
_LARGEST_NUMBER = 1e30


def scenario_in(argument: str | None) -> Any:
    """Return the scenario in a file or on standard input, the example where none was given.

    Parameters
    ----------
    argument : str or None
        Path of the file, "-" for standard input.
    """
    from model.scenario import default, from_data

    if argument is None:
        return default()

    return from_data(json_in("scenario", argument))


def json_in(field: str, argument: str) -> dict[str, Any]:
    """Return the JSON record in a file or on standard input.

    Parameters
    ----------
    field : str
        What it is, for errors.
    argument : str
        Path of the file, "-" for standard input.

    Raises
    ------
    InputError
        Where it cannot be read, is too large, or is no JSON record.
    """
    shown = "standard input" if argument == "-" else argument
    try:
        if argument == "-":
            content = sys.stdin.buffer.read(_LARGEST_BYTES + 1)
        else:
            with Path(argument).open("rb") as file:
                content = file.read(_LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise InputError(field, shown, f"a file that can be read ({reason})") from None
    if len(content) > _LARGEST_BYTES:
        raise InputError(field, shown, f"at most {_LARGEST_BYTES} bytes")
    try:
        data = json.loads(content.decode("utf-8-sig"))
    except json.JSONDecodeError as error:
        expected = f"JSON; reading stopped at line {error.lineno}, column {error.colno}"
        raise InputError(field, shown, expected) from None
    except RecursionError:
        raise InputError(field, shown, "JSON that is less deeply nested") from None
    except ValueError:  # no UTF-8, or a number of thousands of digits
        raise InputError(field, shown, "JSON in UTF-8 with numbers of common length") from None
    if not isinstance(data, dict):
        raise InputError(field, data, "a record with named fields")
    return data


def sessions_in(text: str) -> npt.NDArray[np.int64]:
    """Return the numbers of sessions from the first to the last, both included. [sessions]

    Parameters
    ----------
    text : str
        As "1:200".
    """
    first, colon, last = text.partition(":")
    expected = f"FIRST:LAST, whole numbers from 1 to {MOST_SESSIONS}, the first not above the last"
    if not (colon and _is_whole(first) and _is_whole(last)):
        raise InputError("--sessions", text, expected)
    if not 1 <= int(first) <= int(last) <= MOST_SESSIONS:
        raise InputError("--sessions", text, expected)
    return np.arange(int(first), int(last) + 1)


def whole(field: str, text: str, low: int, high: int) -> int:
    """Return a whole number.

    Parameters
    ----------
    field : str
        The argument's name, for errors.
    text : str
        As it was given.
    low, high : int
        The least and the most that will do. [-]
    """
    if not (_is_whole(text) and low <= int(text) <= high):
        raise InputError(field, text, f"a whole number from {low} to {high}")
    return int(text)


def real(field: str, text: str) -> float:
    """Return a number of 0 or more.

    Parameters
    ----------
    field : str
        The argument's name, for errors.
    text : str
        As it was given.
    """
    if not re.fullmatch(r"[0-9]{1,9}(\.[0-9]{0,9})?", text):
        raise InputError(field, text, "a number, 0 or more")
    return float(text)


def times(text: str) -> tuple[float, ...]:
    """Return the times of switches. [s]

    Parameters
    ----------
    text : str
        Numbers between commas.
    """
    return tuple(real("--switches", each.strip()) for each in text.split(",") if each.strip())


def _is_whole(text: str) -> bool:
    return re.fullmatch("[0-9]{1,12}", text) is not None


def numbers(field: str, given: object) -> list[float]:
    """Return a list of numbers, 0 or more each.

    Parameters
    ----------
    field : str
        The field's name, for errors.
    given : object
        Plain JSON data.
    """
    if not isinstance(given, list):
        raise InputError(field, given, "a list of numbers")
    for index, value in enumerate(given):
        check_at_least(f"{field}[{index}]", value, 0)
        if value > _LARGEST_NUMBER:
            raise InputError(f"{field}[{index}]", value, f"a number from 0 to {_LARGEST_NUMBER:g}")
    return [float(value) for value in given]
