"""At which addresses do the scripts of the Fleet page ask, and programs for its numbers?

    POST /fleet/read       a fleet as data from the text of a link, or its text from data
    POST /fleet/table      the sites in a pasted table or a CSV file
    POST /fleet/plan       sentences, tables and charts; /fleet/map and /fleet/event beside it
    POST /fleet/pictures   what stands on the pictures of the charts
    GET  /api/fleet?<query of the link>               the whole answer as JSON
    GET  /numbers/fleet-sites.csv?<query of the link> and fleet-hosts, fleet-cost, fleet-map

The last two also take POST with what the page asks, for a fleet too long for a link. What is
refused on the page is told in the answer and not by its status, as on the other pages.
"""

import base64
import binascii
import hashlib
import json
from collections.abc import Callable
from typing import Any

from flask import Flask, Response, request

from app import url_state, words_fleet
from app.csv_text import MEDIA_TYPE
from app.fleet_answers import LANES, answer_text
from app.fleet_exports import DOCUMENT, TABLES, export_text
from app.fleet_question import Asked, asked_of
from app.refusals import refusal
from app.theme import LIGHT, THEMES
from app.workers import Workers
from model.errors import InputError
from model.evidence.log_text import Upload
from model.fleet_inputs import from_data, to_data
from model.fleet_table import read_table
from model.fleet_url import example_for, from_text, to_text
from model.scenario import Scenario, canonical, load

Told = dict[str, Any]
Remember = Callable[[str, Callable[[], str]], str]
MOST_QUICK_SITES = 10  # more may take seconds until their hosts are rated


def register(
    server: Flask,
    remember: Remember,
    workers: Workers,
    report_failure: Callable[[Exception], str],
) -> None:
    """Bind the addresses at which the page's scripts ask.

    Parameters
    ----------
    server : Flask
        The application's server.
    remember : callable
        remember(key, compute) returns a text, from the cache if it is there.
    workers : Workers
        Who works out the answers.
    report_failure : callable
        Logs an unforeseen failure and returns what to tell the visitor.
    """

    def bind(name: str, answer: Callable[[Told], Told]) -> None:
        def reply() -> Response:
            question = request.get_json(silent=True)
            asked = question if isinstance(question, dict) else {}
            told: Told = {"sequence": asked.get("sequence")}
            status = 200
            try:
                told |= answer(asked)
            except InputError as error:
                told |= {"error": _told_error(error, asked)}
            except Exception as error:
                told, status = told | {"failure": report_failure(error)}, 500
            return _sent(json.dumps(told), "application/json", status)

        server.add_url_rule(f"/fleet/{name}", f"fleet {name}", reply, methods=["POST"])

    bind("read", _read)
    bind("table", _table)
    for lane in LANES:
        bind(lane, lambda asked, lane=lane: _worked_out(asked, lane, remember, workers))  # type: ignore[misc]
    bind("pictures", lambda asked: _pictures(asked, workers))

    def export(what: str, media_type: str, ending: str) -> Response:
        posted: Told = {}
        try:
            if request.method == "POST":
                given = request.get_json(silent=True)
                posted = given if isinstance(given, dict) else {}
                asked = _question(posted)
            else:
                asked = _in_address(request.query_string)
            text = _exported(what, asked, workers)
        except InputError as error:
            told = _told_error(error, posted) | {"value": str(error.value)[:200]}
            told |= {"expected": error.expected}
            return _sent(json.dumps({"error": told}) + "\n", "application/json", 400)
        except Exception as error:
            told = {"error": {"field": None, "message": report_failure(error)}}
            return _sent(json.dumps(told) + "\n", "application/json", 500)
        reply = _sent(text, media_type, 200)
        name = f"crestline-estimate-{what if what != DOCUMENT else 'fleet'}.{ending}"
        reply.headers["Content-Disposition"] = f'attachment; filename="{name}"'
        return reply

    methods = ["GET", "POST"]
    for name in TABLES:
        server.add_url_rule(
            f"/numbers/{name}.csv", f"numbers {name}",
            lambda name=name: export(name, MEDIA_TYPE, "csv"), methods=methods,
        )  # fmt: skip
    server.add_url_rule(
        "/api/fleet", "api fleet", lambda: export(DOCUMENT, "application/json", "json"),
        methods=methods,
    )  # fmt: skip


def _sent(text: str, media_type: str, status: int) -> Response:
    reply = Response(text, status, content_type=media_type)
    reply.headers["Cache-Control"] = "no-store"
    return reply


def _told_error(error: InputError, asked: Told) -> Told:
    try:
        scenario = _scenario(asked)
    except InputError:
        return {"field": error.field, "message": refusal(error)}
    return words_fleet.refused(error, asked.get("fleet"), scenario)


def _scenario(asked: Told) -> Scenario:
    text = asked.get("scenario")
    if not isinstance(text, str) or not text.lstrip().startswith("{"):
        raise InputError("scenario", text, "a scenario as JSON text")
    return load(text)


def _text_or_none(asked: Told, name: str) -> str | None:
    value = asked.get(name)
    if value is not None and not isinstance(value, str):
        raise InputError(name, value, "text")
    return value


def _question(asked: Told) -> Asked:
    """The question that the page sent: scenario, fleet, what is looked at closer, event."""
    scenario = _scenario(asked)
    fleet = asked.get("fleet")
    if fleet is None:
        inputs = from_text(_text_or_none(asked, "link") or "", scenario)
    else:
        inputs = from_data(fleet)
    event = _text_or_none(asked, "event")
    return asked_of(scenario, inputs, asked.get("choice"), asked.get("role"), event)


def _in_address(query: bytes) -> Asked:
    try:
        state = url_state.from_address(query.decode("utf-8"))
    except UnicodeDecodeError:
        raise InputError("link", query, "text in UTF-8") from None
    inputs = from_text(state.fleet or "", state.scenario)
    return asked_of(state.scenario, inputs, None, None, state.event)


def _read(asked: Told) -> Told:
    scenario = _scenario(asked)
    if asked.get("fleet") is not None:
        inputs = from_data(asked["fleet"])
    else:
        inputs = from_text(_text_or_none(asked, "link") or "", scenario)
    return {
        "fleet": to_data(inputs),
        "link": to_text(inputs, scenario),
        "roles": [role.name for role in scenario.roles],
        "example": inputs == example_for(scenario),
    }


def _table(asked: Told) -> Told:
    scenario = _scenario(asked)
    roles = [role.name for role in scenario.roles]
    given: str | Upload
    if asked.get("base64") is not None:
        name = str(asked.get("name") or "The file")[:120]
        try:
            content = base64.b64decode(str(asked["base64"]), validate=True)
        except (binascii.Error, ValueError):
            raise InputError("file", name, "a file as base64 text") from None
        given = Upload(name, content)
    else:
        given = _text_or_none(asked, "text") or ""
    read = read_table(given, roles, "The pasted table")
    sites = [{"name": site.name, "sessions": dict(site.sessions)} for site in read.sites]
    return {"sites": sites, "notes": list(read.notes)}


def _worked_out(asked: Told, lane: str, remember: Remember, workers: Workers) -> Told:
    """The answer of a lane, from the cache or from a process that knows the ratings."""
    found = _question(asked)
    theme = THEMES.get(str(asked.get("theme")), LIGHT).name
    exact, fleet = canonical(found.scenario), to_data(found.inputs)
    parts = json.dumps([lane, theme, exact, fleet, found.choice, found.role, found.event])
    key = hashlib.sha256(f"fleet {parts}".encode()).hexdigest()

    def compute() -> str:
        quick = lane == "plan" and len(found.inputs.sites) <= MOST_QUICK_SITES
        run = workers.run if quick else workers.run_long
        given = (lane, exact, fleet, found.choice, found.role, found.event, theme)
        return run(answer_text, *given)

    return {"lane": lane, "text": remember(key, compute)}


def _exported(what: str, asked: Asked, workers: Workers) -> str:
    given = (canonical(asked.scenario), to_data(asked.inputs), asked.choice, asked.role)
    return workers.run_long(export_text, what, *given, asked.event)


def _pictures(asked: Told, workers: Workers) -> Told:
    told: Told = json.loads(_exported("pictures", _question(asked), workers))
    return told
