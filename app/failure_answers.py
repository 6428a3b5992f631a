"""What does the Host page show of the event that is looked at beside its scenario?

The browser asks only while an event is chosen, once the sliders rest (assets/host-failures.js).
An event that the host cannot meet is answered in words, like any other answer.
"""

import hashlib
import json
from collections.abc import Callable
from typing import Any

from flask import Flask, Response, request

from app import events
from app import words_failures as words
from app.refusals import refusal
from app.theme import shown_arms
from app.workers import Workers
from model.errors import InputError
from model.failures import FailureAnswer, failure
from model.hosts import ARMS
from model.scenario import Scenario, canonical, load

_JSON = "application/json"

Remember = Callable[[str, Callable[[], str]], str]


def register(
    server: Flask,
    remember: Remember,
    workers: Workers,
    report_failure: Callable[[Exception], str],
) -> None:
    """Bind the address at which the page asks for an event.

    Parameters
    ----------
    server : Flask
        The web server.
    remember : callable
        remember(key, compute) returns a text, from the cache if it is there.
    workers : Workers
        Who works the answer out.
    report_failure : callable
        Logs an unforeseen failure and returns what to tell the visitor.
    """

    def reply() -> Response:
        told: dict[str, Any]
        try:
            text = answer_to(request.get_json(silent=True), remember, workers)
            return Response(text, mimetype=_JSON)
        except InputError as error:
            told, status = {"error": {"field": error.field, "message": refusal(error)}}, 200
        except Exception as error:
            told, status = {"failure": report_failure(error)}, 500
        return Response(json.dumps(told), status, mimetype=_JSON)

    server.add_url_rule("/answer/failure", "failure", reply, methods=["POST"])


def answer_to(question: Any, remember: Remember, workers: Workers) -> str:
    """Return what an event does, as JSON text.

    Parameters
    ----------
    question : dict
        scenario, as JSON text, and event, as the link writes it.
    remember : callable
        The cache.
    workers : Workers
        Who works the answer out.

    Raises
    ------
    InputError
        For what is no scenario or no event.
    """
    asked = question if isinstance(question, dict) else {}
    text, event = asked.get("scenario"), asked.get("event")
    if not isinstance(text, str) or not text.startswith("{"):
        raise InputError("scenario", text, "a scenario as JSON text")
    if not isinstance(event, str):
        raise InputError("event", event, "an event as the link writes it")
    exact = canonical(load(text))
    key = hashlib.sha256(f"failure {event!r} {exact}".encode()).hexdigest()
    return remember(key, lambda: workers.run(failure_text, exact, event))


def failure_text(scenario_text: str, event_text: str) -> str:
    """Return what an event does to a host, as JSON text; a process of its own can be given it.

    Parameters
    ----------
    scenario_text : str
        A scenario that was checked, as JSON text.
    event_text : str
        The event, as the link writes it.
    """
    return json.dumps(told(load(scenario_text), event_text))


def told(scenario: Scenario, event_text: str) -> dict[str, Any]:
    """Return what the page tells of an event.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    event_text : str
        The event, as the link writes it.

    Returns
    -------
    dict
        sentence, rush, note and table; or refused, in words.
    """
    event = None
    try:
        event = events.from_text(event_text, scenario)
        answer = happened(scenario, event)
    except InputError as error:
        return {"refused": words.refused(error, event, scenario)}
    shown = shown_arms(scenario)
    return {
        "sentence": words.sentence(answer, event, scenario),
        "rush": words.rush_sentence(answer, scenario),
        "note": answer.note,
        "table": words.before_and_after(answer, tuple(arm for arm in ARMS if arm in shown)),
    }


def happened(scenario: Scenario, event: events.Event) -> FailureAnswer:
    """Return a scenario's host before and after an event.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    event : Event
        The event.

    Raises
    ------
    InputError
        For an event that the host cannot meet.
    """
    return failure(scenario, event.key, **event.circumstances)


def document(scenario: Scenario, event_text: str) -> dict[str, Any]:
    """Return the numbers of an event for other programs.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    event_text : str
        An event that was read already, as the link writes it.

    Returns
    -------
    dict
        if, the text of the link; event, its key; title, note, before, after and rush as in
        `model.failures.FailureAnswer`; or refused, in words, in place of all but the first two.
    """
    event = events.from_text(event_text, scenario)
    named: dict[str, Any] = {"if": event_text, "event": event.key}
    try:
        answer = happened(scenario, event)
    except InputError as error:
        return named | {"refused": words.refused(error, event, scenario)}
    return named | {
        "title": answer.title,
        "note": answer.note,
        "before": answer.before,
        "after": answer.after,
        "rush": answer.rush,
    }
