"""At which addresses does the Proposal page ask for its parts?

    POST /proposal/offers     whether this visitor has trial evidence to put in
    POST /proposal/compose    {scenario, pin, event, fleet, choice, role, sure, ranking, items,
                              include}: the parts named by `include`, as sections

What is not to go in is not sent: `pin` is null where the sheet shows none. A part that cannot be
worked out comes back as a section that says so, never as nothing. Evidence is read from the
visitor's own session alone and is remembered nowhere; all else depends on what is asked, on the
shelf that everyone shares, and on the day.
"""

import datetime as dt
import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from flask import Response

from app import proposal_sections as sections
from app import words_proposal as told
from app.evidence_session import Session
from app.evidence_web import Desk, as_json, body
from app.figures.compared import MOST_COMPARED
from app.fleet_answers import asked_of
from app.proposal_compared import pin_text, shelf_text
from app.proposal_evidence import evidence_section
from app.proposal_fleet import fleet_text
from app.refusals import refusal
from app.shelf_records import NotOnShelfError
from app.shelf_store import Shelf
from app.sure_store import SureStore
from app.words import CAUTION
from app.words_sure import TEXTS as SURE_TEXTS
from app.workers import Workers
from model import fleet_url, scenario_url
from model.errors import InputError
from model.fleet_inputs import to_data
from model.scenario import Scenario, canonical, load

Told = dict[str, Any]
Remember = Callable[[str, Callable[[], str]], str]
BASE = "/proposal"


@dataclass(frozen=True)
class Question:
    """What the sheet is about.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    pin, event, fleet : str or None
        What stands beside it, as `app.url_state` writes it; None for what does not go in.
    choice : int or None
        The host choice that is looked at closer; None for the cheapest. [-]
    role : str or None
        The role whose share is moved on the Fleet page; None for its default.
    sure : str or None
        Key of a result of `app.sure_store`; None for none.
    ranking : str or None
        Which answer of that result the ranking is of; None for the first one.
    items : tuple of str
        Ids of saved scenarios.
    include : tuple of str
        Keys of `app.words_proposal.PARTS`.
    """

    scenario: Scenario
    pin: str | None
    event: str | None
    fleet: str | None
    choice: int | None
    role: str | None
    sure: str | None
    ranking: str | None
    items: tuple[str, ...]
    include: tuple[str, ...]


@dataclass(frozen=True)
class Sources:
    """Where the parts come from.

    Parameters
    ----------
    shelf : Shelf
        The saved scenarios.
    sure : SureStore
        The results of many draws.
    remember : callable
        remember(key, compute) returns a text, from the cache if it is there.
    workers : Workers
        Who works the parts out.
    report_failure : callable
        Logs an unforeseen failure and returns what to tell the visitor.
    """

    shelf: Shelf
    sure: SureStore
    remember: Remember
    workers: Workers
    report_failure: Callable[[Exception], str]


def register(desk: Desk, sources: Sources) -> None:
    """Bind the addresses.

    Parameters
    ----------
    desk : Desk
        Knows each visitor.
    sources : Sources
        Where the parts come from.
    """

    def composed(session: Session | None) -> Response:
        return as_json(compose(body(), session, sources))

    desk.bind(f"{BASE}/compose", "POST", composed, without=lambda: composed(None))
    desk.bind(f"{BASE}/offers", "POST", offers, without=lambda: offers(None))


def offers(session: Session | None) -> Told:
    """Return whether a visitor has evidence, and a mark that changes when it does.

    Parameters
    ----------
    session : Session or None
        The visitor's; None without any logs.
    """
    effects = None if session is None else session.result("effects")
    if not effects or not effects["rows"]:
        return {"evidence": {"able": False, "mark": ""}}
    mark = hashlib.sha256(json.dumps(effects).encode()).hexdigest()
    return {"evidence": {"able": True, "mark": mark}}


def compose(asked: Told, session: Session | None, sources: Sources) -> Told:
    """Return the parts that were asked for.

    Parameters
    ----------
    asked : dict
        What the page sent.
    session : Session or None
        The visitor's own data; None without any.
    sources : Sources
        Where the parts come from.

    Returns
    -------
    dict
        date, caution and sections in the order asked; or error, with field and message. A section
        that could not be worked out has key, title and failed, in words.
    """
    try:
        question = question_of(asked)
    except InputError as error:
        return {"error": {"field": error.field, "message": refusal(error)}}
    day = dt.date.today()
    return {
        "date": f"{day.day} {day:%B} {day.year}",
        "caution": CAUTION,
        "sections": [_part(key, question, session, sources, day) for key in question.include],
    }


def question_of(asked: Told) -> Question:
    """Return what the page asks.

    Parameters
    ----------
    asked : dict
        What the page sent.

    Raises
    ------
    InputError
        Names what will not do.
    """
    text = asked.get("scenario")
    if not isinstance(text, str) or not text.lstrip().startswith("{"):
        raise InputError("scenario", text, "a scenario as JSON text")  # never a path
    include = _texts(asked, "include")
    unknown = [key for key in include if key not in told.PARTS]
    if unknown:
        raise InputError("include", unknown[0], f"one of {', '.join(told.PARTS)}")
    items = _texts(asked, "items")
    if len(items) > MOST_COMPARED or len(set(items)) < len(items):
        raise InputError("items", len(items), f"at most {MOST_COMPARED}, each once")
    pin = _text(asked, "pin")
    if pin is not None:
        scenario_url.from_query(pin)
    choice = asked.get("choice")
    return Question(
        load(text), pin, _text(asked, "event"), _text(asked, "fleet"),
        choice if type(choice) is int else None, _text(asked, "role"), _text(asked, "sure"),
        _text(asked, "ranking"), items, include,
    )  # fmt: skip


def _text(asked: Told, name: str) -> str | None:
    value = asked.get(name)
    if value is not None and not isinstance(value, str):
        raise InputError(name, value, "text")
    return value


def _texts(asked: Told, name: str) -> tuple[str, ...]:
    value = asked.get(name, [])
    if not isinstance(value, list) or not all(isinstance(each, str) for each in value):
        raise InputError(name, value, "a list of texts")
    return tuple(value)


def _part(
    key: str, question: Question, session: Session | None, sources: Sources, day: dt.date
) -> Told:
    """One part, or in its place why there is none."""
    failed = told.TEXTS["failed"]
    try:
        return _WORKED_OUT[key](question, session, sources, day.isoformat())
    except _MissingError as error:
        why = str(error)
    except InputError as error:
        why = failed.format(refusal(error))
    except NotOnShelfError as error:
        why = failed.format(error)
    except Exception as error:
        why = failed.format(sources.report_failure(error))
    return {"key": key, "title": told.PARTS[key][0], "failed": why}


class _MissingError(Exception):
    """What a part is to be of is not there."""


def _remembered(
    sources: Sources, task: Callable[..., str], *given: Any, beside: str = "", **named: Any
) -> Told:
    """A part that depends on nothing but what is given, from the cache or a process.

    `beside` tells further things apart that cannot be written down in the key.
    """
    parts = json.dumps([task.__name__, beside, given])
    key = hashlib.sha256(f"proposal {parts}".encode()).hexdigest()
    found: Told = json.loads(
        sources.remember(key, lambda: sources.workers.run_long(task, *given, **named))
    )
    return found


def _host(question: Question, session: Session | None, sources: Sources, day: str) -> Told:
    exact = canonical(question.scenario)
    bands = None if question.sure is None else sources.sure.bands(question.sure, exact)
    beside = "" if bands is None else str(question.sure)
    return _remembered(
        sources, sections.host_text, exact, question.pin, day=day, bands=bands,
        beside=f"{day} {beside}",
    )  # fmt: skip


def _pin(question: Question, session: Session | None, sources: Sources, day: str) -> Told:
    if question.pin is None:
        raise _MissingError(told.NOT_THERE["pin"])
    return _remembered(sources, pin_text, canonical(question.scenario), question.pin)


def _event(question: Question, session: Session | None, sources: Sources, day: str) -> Told:
    if question.event is None:
        raise _MissingError(told.NOT_THERE["event"])
    return _remembered(sources, sections.event_text, canonical(question.scenario), question.event)


def _sure(question: Question, session: Session | None, sources: Sources, day: str) -> Told:
    if question.sure is None:
        raise _MissingError(told.NOT_THERE["sure"])
    result = sources.sure.result(question.sure)
    if result is None:
        raise _MissingError(SURE_TEXTS["gone"])
    if result["scenario"] != canonical(question.scenario):
        raise _MissingError(told.NOT_THERE["sure"])
    return sections.sure_section(result, question.ranking)


def _fleet(question: Question, session: Session | None, sources: Sources, day: str) -> Told:
    scenario = question.scenario
    inputs = fleet_url.from_text(question.fleet or "", scenario)
    asked = asked_of(scenario, inputs, question.choice, question.role, question.event)
    example = inputs == fleet_url.example_for(scenario)
    given = (canonical(scenario), to_data(inputs), asked.choice, asked.role, asked.event)
    return _remembered(sources, fleet_text, *given, day, example)


def _shelf(question: Question, session: Session | None, sources: Sources, day: str) -> Told:
    if not question.items:
        raise _MissingError(told.NOT_THERE["shelf"])
    shelf = sources.shelf
    kept = [(shelf.item(each).name, shelf.revision(each).scenario) for each in question.items]
    return _remembered(sources, shelf_text, kept, day)


def _evidence(question: Question, session: Session | None, sources: Sources, day: str) -> Told:
    if session is None or not offers(session)["evidence"]["able"]:
        raise _MissingError(told.NOT_THERE["evidence"])
    text = canonical(question.scenario)
    return sources.workers.run_long(evidence_section, session, text)


def _inputs(question: Question, session: Session | None, sources: Sources, day: str) -> Told:
    return sections.inputs_section(question.scenario)


def _close(question: Question, session: Session | None, sources: Sources, day: str) -> Told:
    return sections.closing_section(question.scenario, question.pin, question.event, question.fleet)


_WORKED_OUT: dict[str, Callable[[Question, Session | None, Sources, str], Told]] = {
    "host": _host, "pin": _pin, "event": _event, "sure": _sure, "fleet": _fleet,
    "shelf": _shelf, "evidence": _evidence, "inputs": _inputs, "close": _close,
}  # fmt: skip
