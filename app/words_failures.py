"""In which words is it told what an event does to a host, and why a host cannot meet one?

`app.failure_answers` says it on the Host page; other pages that put events beside a host use the
same labels, sentences and tables.
"""

import math
from typing import Any

from app.events import CIRCUMSTANCE_OF, Event, usual_text
from app.labels import value
from app.refusals import refusal
from app.theme import ARM_LABEL
from app.words import sessions
from model.errors import InputError
from model.failures import CIRCUMSTANCES, FAILURES, FailureAnswer, HostState
from model.hosts import ARMS, Arm
from model.rush import LogonRush
from model.scenario import Scenario

TITLE = "On a bad day"
ABOUT = (
    "One click puts an event beside the scenario, and into the link; another click takes it away."
)
BUTTONS = "Events"
CAPTION = "The host before and after"
WORKING = "Working it out ..."
UNANSWERED = "The server does not answer; what you see is the last result."
MISSING_ON_PAPER = "The event beside the scenario was still being worked out when this was printed."
OUTDATED = "Showing the last valid result."
CIRCUMSTANCE_LABELS = {
    "hosts": "Hosts that share the sessions, the lost one included",
    "sockets": "Sockets of the host",
    "within_min": "All of them log on within",
    "activity": "Everyone is in the activity",
}
UNITS = {"hosts": "hosts", "sockets": "sockets", "within_min": "minutes"}
USUAL_ACTIVITY = "the costliest call, or else activity"
ACTIVITY_GONE = "The activity that was chosen is not in the list any more."

_ROWS = {  # value of the host: label, unit
    "headroom_pct": ("Headroom at busy moments", "% of CPU"),
    "wait_busy_pct": ("Scheduler wait, busy", "% of vCPU time"),
    "frames_busy_pct": ("Delivered frames, busy", "% of wanted"),
}
_NO_BREAK = "\N{NO-BREAK SPACE}"

Table = dict[str, Any]


# --------------------------------------------------------------------- what a host cannot meet


def offers(scenario: Scenario) -> dict[str, dict[str, str | None]]:
    """Return for each event what a click puts into the link, or why the host cannot meet it.

    Parameters
    ----------
    scenario : Scenario
        The scenario.

    Returns
    -------
    dict
        By event: `text`, None where it cannot happen, and `reason`, "" where it can.
    """
    found = {}
    for key in FAILURES:
        text = usual_text(key, scenario)
        found[key] = {"text": text, "reason": "" if text else _reason(key, scenario)}
    return found


def _reason(key: str, scenario: Scenario) -> str:
    if key == "card_lost":
        return "this host has no card"
    if key == "smt_off":
        return "each core runs one thread already"
    if key != "socket_down":
        raise KeyError(key)  # a new event says here why a host cannot meet it
    cores = scenario.host.cores
    if cores == 1:
        return "one core stands in one socket"
    return f"{cores} cores are not shared evenly by any number of sockets from 2 to 16"


def refused(error: InputError, event: Event | None, scenario: Scenario) -> str:
    """Return why an event has no answer.

    Parameters
    ----------
    error : InputError
        The refusal, by the link or by the model.
    event : Event or None
        The event; None where it could not be read.
    scenario : Scenario
        The scenario.
    """
    if event is None:
        name = CIRCUMSTANCE_OF.get(error.field.removeprefix("if="), "")
        label = CIRCUMSTANCE_LABELS.get(name, "The event")
        return str(InputError(label, error.value, error.expected))
    title = FAILURES[event.key]
    if error.field in ("accelerator.cards", "host.threads_per_core"):
        return f"{title}: cannot happen to this host, {_reason(event.key, scenario)}."
    if error.field == "sockets":
        return (
            f"{title}: cannot be worked out, {error.value} sockets do not share "
            f"{scenario.host.cores} cores evenly."
        )
    if error.field == "sessions":
        return (
            f"{title}: cannot be worked out, {error.value:,} sessions would be on the host "
            f"afterwards; expected {error.expected.partition(' on a ')[0]}."
        )
    return f"{title}: {refusal(error)}"


# --------------------------------------------------------------------- what an event does


def sentence(answer: FailureAnswer, event: Event, scenario: Scenario) -> str:
    """Return what an event does to the targets, and how many sessions would do.

    Parameters
    ----------
    answer : FailureAnswer
        The host before and after.
    event : Event
        The event.
    scenario : Scenario
        The scenario.
    """
    told = _if(event, scenario)
    off, soft = answer.after["offloaded"], answer.after["software"]
    if not scenario.accelerator.cards:
        return f"{told}, {_verdict(answer, 'software')}. {_limit(soft.most_sessions, event)}."
    if event.key == "card_lost":
        rest = "" if scenario.accelerator.cards > 1 else ", as without any card"
        return f"{told}, {_verdict(answer, 'offloaded')}. {_limit(off.most_sessions, event)}{rest}."
    both = f"{told}, {_both(answer)}."
    most = (off.most_sessions, soft.most_sessions)
    if most[0] == most[1]:
        return f"{both} {_limit(most[0], event)}, with the card or without."
    if 0 in most:
        more, less = "with the card", "without it"
        if most[0] == 0:
            more, less = less, more
        return f"{both} {_limit(max(most), event)} {more}, at no number {less}."
    return f"{both} {_limit(most[0], event)} with the card, {most[1]} without."


def _if(event: Event, scenario: Scenario) -> str:
    count = sessions(scenario.sessions)
    everyone = f"all {count}" if scenario.sessions > 1 else "the one session"
    are = "are" if scenario.sessions > 1 else "is"
    if event.key == "card_lost":
        cards = scenario.accelerator.cards
        which = "the card is" if cards == 1 else f"one of {cards} cards is"
        return f"If {which} lost at {count}"
    if event.key == "host_lost":
        return f"If one of {_circumstance(event)} hosts is lost with {count} on each"
    if event.key == "socket_down":
        return f"If one of {_circumstance(event)} sockets goes down at {count}"
    if event.key == "smt_off":
        return f"If SMT is switched off at {count}"
    if event.key == "everyone_present":
        return f"If {everyone} {are} present"
    if event.key == "everyone_on_a_call":
        name = event.circumstances.get("activity")
        doing = "on a call" if name is None else f'in the activity "{name}"'
        return f"If {everyone} {are} {doing} at once"
    log = "log" if scenario.sessions > 1 else "logs"
    return f"If {everyone} {log} on within {_circumstance(event)} min of a power cut"


def _circumstance(event: Event) -> str:
    name = CIRCUMSTANCE_OF[event.key]
    return f"{event.circumstances.get(name, CIRCUMSTANCES[name].value):,.8g}"


def _verdict(answer: FailureAnswer, arm: Arm) -> str:
    if answer.after[arm].holds:
        return "every target still holds" if answer.before[arm].holds else "every target holds"
    missed = "a target is missed" if len(answer.after[arm].missed) == 1 else "targets are missed"
    return missed if answer.before[arm].holds else f"{missed}, as before the event"


def _both(answer: FailureAnswer) -> str:
    card, without = (answer.after[arm].holds for arm in ("offloaded", "software"))
    before = [answer.before[arm].holds for arm in ("offloaded", "software")]
    if card and without:
        still = " still" if all(before) else ""
        return f"every target{still} holds, with the card and without"
    if card:
        told = _verdict(answer, "offloaded"), _verdict(answer, "software")
        return f"{told[0]} with the card; without it {told[1]}"
    if without:
        told = _verdict(answer, "software"), _verdict(answer, "offloaded")
        return f"{told[0]} without the card; with it {told[1]}"
    told_before = {
        (True, True): "",
        (True, False): "; without it they were before the event too",
        (False, True): "; with it they were before the event too",
        (False, False): ", as before the event",
    }
    return f"targets are missed with the card and without{told_before[before[0], before[1]]}"


def _limit(most: int, event: Event) -> str:
    if most == 0:
        return "All targets hold at no number of sessions"
    where = " on each host" if event.key == "host_lost" else ""
    return f"All targets hold up to {sessions(most)}{where}"


def rush_sentence(answer: FailureAnswer, scenario: Scenario) -> str:
    """Return how long until the last one works after a power cut; "" for any other event.

    Parameters
    ----------
    answer : FailureAnswer
        The host before and after.
    scenario : Scenario
        The scenario.
    """
    if answer.rush is None:
        return ""
    never = "not everyone gets in, since those who are in leave too little of the CPU"
    start = "Counted from the first one to ask, the last one works"
    card, without = answer.rush["offloaded"], answer.rush["software"]
    if not scenario.accelerator.cards:
        return f"{start} {_after(without)}." if _served(without) else f"{_capital(never)}."
    if _served(card) and _served(without):
        if _after(card) == _after(without):
            return f"{start} {_after(card)}, with the card or without."
        return f"{start} {_after(card)} with the card, {_after(without)} without."
    if _served(card):
        return f"{start} {_after(card)} with the card; without it {never}."
    if _served(without):
        return f"{start} {_after(without)} without the card; with it {never}."
    return f"{_capital(never)}, with the card or without."


def _served(rush: LogonRush) -> bool:
    return math.isfinite(rush.served_s)


def _after(rush: LogonRush) -> str:
    return f"after {_time(rush.served_s)} (its own wait: {_time(rush.longest_wait_s)})"


def _time(seconds: float) -> str:
    if seconds < 9.95:
        return f"{seconds:.1f} s"
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole >= 10 * 3600:
        return f"{whole / 3600:,.0f} h"
    if whole >= 2 * 3600:
        return f"{whole / 3600:.1f} h"
    minutes, rest = divmod(whole, 60)
    return f"{minutes} min {rest} s" if rest else f"{minutes} min"


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]


# --------------------------------------------------------------------- before and after


def before_and_after(answer: FailureAnswer, arms: tuple[Arm, ...] = ARMS) -> Table:
    """Return a host before and after an event as a table of texts; assets/events.js draws it.

    Parameters
    ----------
    answer : FailureAnswer
        The host before and after.
    arms : tuple of str
        The arms to show.

    Returns
    -------
    dict
        caption; arms, each with `arm` and `label`; when, the two times; rows, each with `label`,
        `unit` and for each arm the `cells` before and after. A cell is a list of lines, and
        `holds` of a row tells for each cell whether its targets hold.
    """
    states = [state for arm in arms for state in (answer.before[arm], answer.after[arm])]
    rows = [_row("Sessions on the host", "", [[f"{state.sessions:,}"] for state in states])]
    for name, (label, unit) in _ROWS.items():
        rows.append(_row(label, unit, [[value(name, getattr(state, name))] for state in states]))
    rows.append(
        _row("Targets", "", [_targets(state) for state in states])
        | {"holds": [state.holds for state in states]}
    )
    most = [[f"{state.most_sessions:,}"] for state in states]
    rows.append(_row("Most sessions, so that all targets hold", "", most))
    return {
        "caption": CAPTION,
        "arms": [{"arm": arm, "label": ARM_LABEL[arm]} for arm in arms],
        "when": ["before", "after"],
        "rows": rows,
    }


def _row(label: str, unit: str, cells: list[list[str]]) -> Table:
    return {"label": label, "unit": unit, "cells": cells}


def _targets(state: HostState) -> list[str]:
    if state.holds:
        return ["all hold"]
    return ["missed:", *[each.replace(" %", f"{_NO_BREAK}%") for each in state.missed]]
