"""With which buttons is an event put beside a host, and where is told what it does?

assets/events.js listens to every such group of buttons, on whichever page it stands: the event
pressed is the one of the link. Each page asks for its own results.
"""

import json
from typing import Any

from dash import html

from app import events, ids
from app import words_failures as words
from model.failures import CIRCUMSTANCES, FAILURES

Component = Any


def event_buttons(name: str, without: tuple[str, ...] = ()) -> Component:
    """Return a button for each event, its circumstance, and what the host cannot meet.

    Parameters
    ----------
    name : str
        Id of the group; the page's scripts and tests find it by this.
    without : tuple of str
        Circumstances that are not asked for, since the page knows them.
    """
    return html.Div(
        [
            html.Div(
                [_button(name, key) for key in FAILURES],
                className="event-buttons", role="group", **ids.named(words.BUTTONS),
            ),
            html.Div(className="event-circumstance"),
            html.P(className="event-told", role="status"),
            html.Ul([_reason(name, key) for key in FAILURES], className="event-reasons"),
        ],
        id=name,
        className="events",
        **ids.data(
            events="yes",
            circumstances=json.dumps(_circumstances(without)),
            gone=words.ACTIVITY_GONE,
        ),
    )  # fmt: skip


def _button(name: str, key: str) -> Component:
    pressed: dict[str, Any] = {"aria-pressed": "false"}
    return html.Button(
        FAILURES[key], type="button", id=f"{name}-{key}", **ids.data(event=key), **pressed
    )


def _reason(name: str, key: str) -> Component:
    shown: list[Component] = [f"{FAILURES[key]}: ", html.Span()]
    return html.Li(shown, id=f"{name}-{key}-reason", hidden=True, **ids.data(reason=key))


def _circumstances(without: tuple[str, ...]) -> dict[str, Any]:
    """What the script needs for the control of each event that has one."""
    told: dict[str, dict[str, Any]] = {}
    for key, circumstance in events.CIRCUMSTANCE_OF.items():
        if circumstance in without:
            continue
        told[key] = {"name": circumstance, "label": words.CIRCUMSTANCE_LABELS[circumstance]}
        if circumstance == "activity":
            told[key]["usual"] = words.USUAL_ACTIVITY
            continue
        quantity = CIRCUMSTANCES[circumstance]
        told[key] |= {
            "value": quantity.value,
            "unit": words.UNITS[circumstance],
            "low": quantity.low,
            "high": quantity.high,
            "whole": quantity.whole,
            "expected": quantity.expected,
        }
    return told


def event_result(name: str) -> list[Component]:
    """Return the places in which is told what an event does; empty until there is one.

    Parameters
    ----------
    name : str
        What their ids begin with.
    """
    return [
        html.P(id=f"{name}-sentence", className="event-sentence", role="status"),
        html.P(id=f"{name}-wrong", className="event-wrong", role="status"),
        html.P(id=f"{name}-rush"),
        html.Div(id=f"{name}-table", className="event-table"),
        html.P(id=f"{name}-note", className="help"),
    ]


def bad_day() -> Component:
    """Return the section of the Host page: buttons, and what the event does."""
    return html.Section(
        [
            html.H2(words.TITLE),
            html.P(words.ABOUT, className="help"),
            event_buttons("host-events"),
            html.Div(
                event_result("host-event"),
                id="host-event", hidden=True,
                **ids.data(working=words.WORKING, unanswered=words.UNANSWERED,
                           outdated=words.OUTDATED),
            ),
        ],
        id="bad-day", className="bad-day", **ids.named(words.TITLE),
    )  # fmt: skip
