"""Does an error say what was wrong, in one line, and survive a trip between processes?"""

import pickle
from collections.abc import Callable
from fractions import Fraction
from math import inf, nan

import numpy as np
import pytest

from model.errors import (
    CrestlineError,
    InputError,
    LinkError,
    check_above,
    check_at_least,
    check_within,
)


def test_message_names_field_value_and_range() -> None:
    """One sentence says which field, which value and what would do."""
    error = InputError("host.cores", 0, "a whole number from 1 to 512")

    assert str(error) == "host.cores is 0; expected a whole number from 1 to 512."


@pytest.mark.parametrize(
    "value",
    ["two\nlines", "bell\a and\x1b[31m colour", "turned\u202e round", "a\u2028b", b"\x00", ["\n"]],
)
def test_message_is_one_line_without_control_characters(value: object) -> None:
    """Whatever a file or a link holds, the message prints as one plain line."""
    for error in (InputError("name", value, "text"), InputError(str(value), 1, "text")):
        assert str(error).isprintable()


@pytest.mark.parametrize(
    "value",
    ["x" * 100_000, 10**5000, list(range(100_000)), np.arange(5000.0), "\x00" * 1000],
    ids=["text", "whole number", "list", "array", "control characters"],
)
def test_message_shortens_a_long_value(value: object) -> None:
    """A value of any length leaves a message that fits a screen."""
    assert len(str(InputError("name", value, "text"))) < 130


@pytest.mark.parametrize("value", [np.float64(0.5), np.float32(0.5), 0.5])
def test_message_shows_any_float_alike(value: float) -> None:
    """A number from an array looks as a user would have typed it."""
    assert str(InputError("share", value, "1")) == "share is 0.5; expected 1."


def test_list_within_itself_can_be_refused() -> None:
    """Even a value that contains itself has a message."""
    value: list[object] = []
    value.append(value)

    assert str(InputError("name", value, "text")).startswith("name is [")


@pytest.mark.parametrize(
    "error",
    [InputError("host.cores", 0, "1 or more"), LinkError("version", "9", "1", step="unknown")],
)
def test_error_is_the_same_after_pickling(error: InputError) -> None:
    """Another process reads the same message, field, value and step."""
    copy = pickle.loads(pickle.dumps(error))

    assert type(copy) is type(error)
    assert str(copy) == str(error)
    assert vars(copy) == vars(error)


def test_link_error_is_caught_as_any_refusal() -> None:
    """One except clause catches all that Crestline refuses."""
    with pytest.raises(CrestlineError) as caught:
        raise LinkError("host.cores", 0, "1 or more", "out of range")

    assert isinstance(caught.value, InputError)
    assert isinstance(caught.value, LinkError)
    assert caught.value.step == "out of range"


CHECKS: list[Callable[[object], None]] = [
    lambda value: check_above("t", value, 0, unit="s"),
    lambda value: check_at_least("t", value, 0.5, unit="s"),
    lambda value: check_within("t", value, 0.5, 1_000_000, unit="s"),
]


@pytest.mark.parametrize("check", CHECKS)
@pytest.mark.parametrize(
    "value", [nan, inf, -inf, np.float64(nan), True, np.True_, "3", None, [3], 3j, -1, -(10**400)]
)
def test_checks_refuse_all_but_numbers_in_range(
    check: Callable[[object], None], value: object
) -> None:
    """NaN, infinity, truth values, text and lists are no numbers, nor is what lies outside."""
    with pytest.raises(InputError) as caught:
        check(value)

    assert caught.value.field == "t"
    assert caught.value.value is value


@pytest.mark.parametrize("check", CHECKS)
@pytest.mark.parametrize("value", [1, 0.75, np.int64(7), np.float32(2), Fraction(3, 4)])
def test_checks_accept_numbers_of_any_type(check: Callable[[object], None], value: object) -> None:
    """Whole numbers, fractions and numbers from arrays will do."""
    check(value)


def test_checks_draw_the_line_at_their_bounds() -> None:
    """`above` leaves its bound out; `at least` and `within` take theirs in."""
    check_at_least("t", 0, 0)
    check_within("t", 1, 1, 2)
    check_within("t", 2, 1, 2)
    with pytest.raises(InputError, match=r"^t is 0; expected a number above 0 s\.$"):
        check_above("t", 0, 0, unit="s")
    with pytest.raises(InputError, match=r"^t is 0\.4; expected a number of 0\.5 or more\.$"):
        check_at_least("t", 0.4, 0.5)
    with pytest.raises(InputError, match=r"^t is 3; expected a number from 1 to 2 %\.$"):
        check_within("t", 3, 1, 2, unit="%")
    with pytest.raises(InputError, match=r"from 0 to 1000000\.$"):
        check_within("t", 2e6, 0, 1e6)
