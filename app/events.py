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
from model.failures import CIRCUMSTANCES, FAILURES, possible_failures
from model.scenario import Scenario

CIRCUMSTANCE_OF = {  # event: the one circumstance that it depends on; the others have none
    "host_lost": "hosts",
    "socket_down": "sockets",
    "logon_rush": "within_min",
    "everyone_on_a_call": "activity",
}
_MOST_LETTERS = 12  # of a number in a link


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
    name = CIRCUMSTANCE_OF.get(key)
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
        number = float(value) if len(value) <= _MOST_LETTERS and value.isascii() else float("nan")
    except ValueError:
        number = float("nan")
    if not quantity.low <= number <= quantity.high or (quantity.whole and number % 1):
        raise LinkError(f"if={key}", value, quantity.expected, "out of range")
    usual = number == quantity.value
    return Event(key, {} if usual else {name: int(number) if quantity.whole else number})


def to_text(event: Event, scenario: Scenario) -> str:
    """Return an event as a link writes it.

    Parameters
    ----------
    event : Event
        The event; a number of minutes is written with eight digits.
    scenario : Scenario
        The scenario beside it.

    Raises
    ------
    LinkError
        For a circumstance that the event does not have or that is out of range.
    """
    text = event.key
    for name, value in event.circumstances.items():
        if name != CIRCUMSTANCE_OF.get(event.key):
            raise LinkError(f"if={event.key}", name, "a circumstance of this event", "malformed")
        if name == "activity":
            names = [activity.name for activity in scenario.activities]
            text += f"~{names.index(value) if value in names else value}"
        else:
            text += f"~{value:.8g}"
    from_text(text, scenario)
    return text


def usual_text(key: str, scenario: Scenario) -> str | None:
    """Return what one click on an event puts into the link; None where the host cannot meet it.

    A host whose cores two sockets do not share evenly gets the fewest sockets that do.

    Parameters
    ----------
    key : str
        One of `model.failures.FAILURES`.
    scenario : Scenario
        The scenario.
    """
    if key != "socket_down":
        return key if key in possible_failures(scenario) else None
    quantity = CIRCUMSTANCES["sockets"]
    for sockets in range(int(quantity.low), int(quantity.high) + 1):
        if key in possible_failures(scenario, sockets):
            usual = sockets == quantity.value
            return to_text(Event(key, {} if usual else {"sockets": sockets}), scenario)
    return None
