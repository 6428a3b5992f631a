"""Which event is looked at beside the scenario, and how does a link write it?

card_lost          an event of `model.failures`, under its usual circumstances
host_lost~6        of six hosts
socket_down~4      of four sockets
logon_rush~5       all within five minutes
everyone_on_a_call~3    everyone in activity 3, counted from 0 as in the rest of the link
"""

from dataclasses import dataclass
from typing import Any

from model.errors import LinkError
from model.failures import CIRCUMSTANCES, FAILURES
from model.scenario import Scenario

_CIRCUMSTANCE = {
    "host_lost": "hosts",
    "socket_down": "sockets",
    "logon_rush": "within_min",
    "everyone_on_a_call": "activity",
}


@dataclass(frozen=True)
class Event:
    """An event and its circumstances.

    Parameters
    ----------
    key : str
        One of `model.failures.FAILURES`.
    circumstances : dict
        Arguments of `model.failures.failure` that differ from their defaults.
    """

    key: str
    circumstances: dict[str, Any]


def from_text(text: str, scenario: Scenario) -> Event:
    """Return the event that a link names.

    Parameters
    ----------
    text : str
        The text in the link.
    scenario : Scenario
        The scenario beside it.

    Raises
    ------
    LinkError
        For an unknown event, or a circumstance that it does not have or that is out of range.
    """
    key, mark, value = text.partition("~")
    if key not in FAILURES:
        raise LinkError("if", key, f"one of {', '.join(FAILURES)}", "unknown field")
    if not mark:
        return Event(key, {})
    name = _CIRCUMSTANCE.get(key)
    if name is None:
        raise LinkError(f"if={key}", value, "nothing after the event", "malformed")
    if name == "activity":
        names = [activity.name for activity in scenario.activities]
        if not (value.isascii() and value.isdigit() and int(value[:4]) < len(names)):
            expected = f"the number of an activity, 0 to {len(names) - 1}"
            raise LinkError(f"if={key}", value, expected, "out of range")
        return Event(key, {name: names[int(value)]})
    quantity = CIRCUMSTANCES[name]
    try:
        number = float(value) if len(value) <= 12 and value.isascii() else float("nan")
    except ValueError:
        number = float("nan")
    if not quantity.low <= number <= quantity.high or (quantity.whole and number % 1):
        raise LinkError(f"if={key}", value, quantity.expected, "out of range")
    return Event(key, {name: int(number) if quantity.whole else number})
