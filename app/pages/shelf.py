"""Which scenarios were saved, and how do up to four of them compare? The Shelf page.

The page is drawn by assets/shelf-*.js from plain JSON, asked for at addresses of its own:

    GET  /shelf-data/items?search=&tag=&page=      one page of items, and all tags
    GET  /shelf-data/items/ID/revisions            every revision of an item
    GET  /shelf-data/items/ID/revisions/NUMBER     the link's query of a revision; 0: the newest
    POST /shelf-data/items                         save a scenario as a new item
    POST /shelf-data/items/ID/revisions            save it as a revision of an item
    POST /shelf-data/items/ID/{relabel,duplicate,delete,restore}
    GET  /shelf-data/export?id=ID                  one item, or without id all, as a file
    POST /shelf-data/import?partly=                put a file's items on the shelf
    POST /shelf-data/compare                       table, curves and CSV of up to four items

What was refused, or changed by somebody faster, is told in the answer and not by its status: a
browser would write any other status into its console as an error of the page. A POST must be sent
as application/json, which no other site's page can have a visitor's browser do.
"""

import json
import logging
import re
import secrets
from collections.abc import Callable
from dataclasses import asdict
from typing import Any

from dash import Dash, html
from flask import Response, request
from werkzeug.exceptions import HTTPException

from app import ids, url_state
from app.answers import DAY_REPLICATES, DAY_SEED, MOST_SIMULATED_SESSIONS
from app.components.comparison import (
    MOST_NEEDED,
    SHOWN,
    comparison,
    comparison_csv,
    shown,
    takeaway,
)
from app.failure_log import log_failure
from app.figures.compared import LETTERS, MOST_COMPARED, Compared, compared_figure
from app.labels import SHELF
from app.refusals import refusal
from app.shelf_exchange import export_items, import_items
from app.shelf_records import ChangedError, Item, NotOnShelfError
from app.shelf_schema import ShelfError
from app.shelf_store import Shelf
from app.theme import ARM_LABEL, LIGHT, THEMES
from app.words import CAUTION
from app.workers import Workers
from model.assess import assess
from model.day import simulate_day_both
from model.errors import InputError
from model.scenario import Scenario, load

MOST_IMPORT_BYTES = 32_000_000
Told = dict[str, Any]
_LOG = logging.getLogger("crestline")


def page_layout() -> list[Any]:
    """Return the page's frame; assets/shelf-list.js and shelf-compare.js fill it."""
    return [
        html.Section(
            [
                html.H2(SHELF["title"]),
                html.P(SHELF["about"], className="soft"),
                html.Div(id="shelf-tools", className="shelf-tools"),
                html.Div(id="shelf-notice", role="status"),
                html.Div(id="shelf-list"),
                html.Div(id="shelf-picked", role="group", **ids.named(SHELF["compare"])),
            ],
            id="shelf-items", className="shelf-section", **ids.named(SHELF["title"]),
        ),
        html.Section(
            [
                html.H2(SHELF["compare"]),
                html.P(SHELF["compare_hint"], id="shelf-hint", className="soft"),
                html.Div(id="shelf-table"),
                html.Figure(
                    [
                        html.Figcaption([html.H3(SHELF["chart"]), html.P(id="shelf-takeaway")]),
                        html.Div(id="shelf-arms"),
                        html.Div(id="chart-shelf", className="chart", role="group",
                                 **ids.named(SHELF["chart"])),
                    ],
                    id="shelf-figure", hidden=True,
                ),
            ],
            id="shelf-compare", className="shelf-section", **ids.named(SHELF["compare"]),
        ),
    ]  # fmt: skip


def register(app: Dash, shelf: Shelf, workers: Workers) -> None:
    """Bind the addresses at which the page's script asks.

    Parameters
    ----------
    app : Dash
        The application.
    shelf : Shelf
        The saved scenarios.
    workers : Workers
        Who works out what is compared.
    """
    base = "/shelf-data"
    item = f"{base}/items/<item_id>"

    def bind(address: str, method: str, answer: Callable[..., Told | Response]) -> None:
        def reply(**given: Any) -> Response:
            return _reply(lambda: answer(**given), method)

        app.server.add_url_rule(address, f"{method} {address}", reply, methods=[method])

    bind(f"{base}/items", "GET", lambda: _listed(shelf))
    bind(f"{base}/items", "POST", lambda: _saved_new(shelf, _body()))
    bind(f"{item}/revisions", "GET", lambda item_id: _history(shelf, item_id))
    bind(f"{item}/revisions/<int:number>", "GET",
         lambda item_id, number: _opened(shelf, item_id, number))  # fmt: skip
    bind(f"{item}/revisions", "POST", lambda item_id: _saved(shelf, item_id, _body()))
    bind(f"{item}/relabel", "POST", lambda item_id: _relabelled(shelf, item_id, _body()))
    bind(f"{item}/duplicate", "POST", lambda item_id: _one(shelf.duplicate(item_id)))
    bind(f"{item}/restore", "POST", lambda item_id: _one(shelf.restore(item_id)))
    bind(f"{item}/delete", "POST", lambda item_id: _deleted(shelf, item_id, _body()))
    bind(f"{base}/export", "GET", lambda: _exported(shelf))
    bind(f"{base}/import", "POST", lambda: _imported(shelf))
    bind(f"{base}/compare", "POST", lambda: compared_answer(shelf, _body(), workers))


def _reply(answer: Callable[[], Told | Response], method: str) -> Response:
    status = 200
    try:
        if method == "POST" and not request.is_json:
            return _as_json({"error": {"field": "type", "message": SHELF["json_only"]}}, 415)
        found = answer()
        if isinstance(found, Response):
            return found
        told = found
    except InputError as error:
        told = {"error": {"field": error.field, "message": refusal(error)}}
    except ChangedError as error:
        words = SHELF["deleted_since"] if error.deleted else SHELF["changed_since"]
        told = {"changed": _told_change(error) | {"message": words}}
    except NotOnShelfError as error:
        told = {"gone": str(error)}
    except HTTPException as error:
        status = error.code or 400
        told = {"error": {"field": "request", "message": str(error.description)}}
    except Exception as error:
        number = secrets.token_hex(4)
        reached = isinstance(error, ShelfError)
        if reached:  # its own words hold nothing that was saved
            _LOG.error("failure %s: %s", number, error)
        else:
            log_failure(f"failure {number} on the shelf", error)
        told = {"failure": SHELF["unreachable" if reached else "failed"].format(number=number)}
        status = 503 if reached else 500
    return _as_json(told, status)


def _told_change(error: ChangedError) -> Told:
    return {
        "name": error.name, "at_ms": error.at_ms, "version": error.version,
        "deleted": error.deleted,
    }  # fmt: skip


def _as_json(told: Told, status: int = 200) -> Response:
    reply = Response(json.dumps(told), status, mimetype="application/json")
    reply.headers["Cache-Control"] = "no-store"
    return reply


def _body() -> Told:
    data = request.get_json(silent=True)
    if not isinstance(data, dict):
        raise InputError("request", type(data).__name__, "a JSON record")
    return data


def _one(item: Item) -> Told:
    return {"item": asdict(item)}


def _listed(shelf: Shelf) -> Told:
    asked = request.args
    page = asked.get("page", "1")
    number = int(page) if page.isascii() and page.isdigit() and len(page) < 9 else 1
    found = shelf.items(asked.get("search", "")[:200], asked.get("tag", ""), number)
    return asdict(found) | {"tags": [{"tag": tag, "items": count} for tag, count in shelf.tags()]}


def _whole(body: Told, field: str) -> int:
    value = body.get(field)
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value < 2**31:
        raise InputError(field, value, "a whole number")
    return value


def _scenario_text(body: Told) -> str:
    text = body.get("scenario")
    if not isinstance(text, str) or not text.lstrip().startswith("{"):
        raise InputError("scenario", text, "a scenario as JSON text")
    return text


def _saved_new(shelf: Shelf, body: Told) -> Told:
    scenario = load(_scenario_text(body))
    return _one(
        shelf.save_new(
            scenario,
            body.get("name", scenario.name),
            body.get("note", ""),
            body.get("tags", []),
            body.get("words", ""),
        )
    )


def _saved(shelf: Shelf, item_id: str, body: Told) -> Told:
    scenario = load(_scenario_text(body))
    version = _whole(body, "version")
    return _one(shelf.save_revision(item_id, version, scenario, body.get("words", "")))


def _relabelled(shelf: Shelf, item_id: str, body: Told) -> Told:
    version = _whole(body, "version")
    name, note, tags = body.get("name", ""), body.get("note", ""), body.get("tags", [])
    return _one(shelf.relabel(item_id, version, name, note, tags))


def _deleted(shelf: Shelf, item_id: str, body: Told) -> Told:
    shelf.delete(item_id, _whole(body, "version"))
    return {"deleted": item_id}


def _history(shelf: Shelf, item_id: str) -> Told:
    item = shelf.item(item_id)
    revisions = shelf.revisions(item_id)
    fields = ("number", "saved_ms", "words")
    told = [{name: getattr(each, name) for name in fields} for each in revisions]
    return _one(item) | {"revisions": told}


def _opened(shelf: Shelf, item_id: str, number: int) -> Told:
    item = shelf.item(item_id)
    revision = shelf.revision(item_id, number or None)
    query = url_state.to_address(load(revision.scenario))
    if query is None:
        message = SHELF["too_long"].format(name=item.name)
        return {"error": {"field": "scenario", "message": message}}
    return _one(item) | {"number": revision.number, "query": query}


def _exported(shelf: Shelf) -> Response:
    chosen = request.args.get("id")
    data = export_items(shelf, None if chosen is None else [chosen])
    name = "crestline-shelf"
    if chosen is not None:
        name = re.sub(r"[^a-z0-9]+", "-", data["items"][0]["name"].lower())[:60].strip("-")
        name = f"crestline-{name or 'item'}"
    reply = Response(json.dumps(data, indent=1, ensure_ascii=False), mimetype="application/json")
    reply.headers["Content-Disposition"] = f'attachment; filename="{name}.json"'
    reply.headers["Cache-Control"] = "no-store"
    return reply


def _imported(shelf: Shelf) -> Told:
    request.max_content_length = MOST_IMPORT_BYTES
    length = request.content_length
    if length is not None and length > MOST_IMPORT_BYTES:
        raise InputError("file", f"{length:,} bytes", f"at most {MOST_IMPORT_BYTES:,}")
    try:
        data = json.loads(request.get_data())
    except (ValueError, RecursionError):  # the latter: nested too deep
        raise InputError("file", "something else", "a file that the shelf has exported") from None
    done = import_items(shelf, data, partly=request.args.get("partly") == "yes")
    return {
        "names": list(done.names),
        "able": done.able,
        "refused": [{"name": name, "reason": reason} for name, reason in done.refused],
    }


def compared_answer(shelf: Shelf, body: Told, workers: Workers) -> Told:
    """Return what up to four items have in common and what not: table, curves, CSV.

    Parameters
    ----------
    shelf : Shelf
        The saved scenarios.
    body : dict
        ids of the items, needed (sessions on all hosts, or None) and the theme's name.
    workers : Workers
        Who works the answers out.
    """
    chosen = body.get("ids")
    if (
        not isinstance(chosen, list)
        or not 1 <= len(chosen) <= MOST_COMPARED
        or not all(isinstance(each, str) for each in chosen)
    ):
        raise InputError("ids", chosen, f"1 to {MOST_COMPARED} items")
    kept = [
        (shelf.item(item_id).name, load(shelf.revision(item_id).scenario)) for item_id in chosen
    ]
    needed = body.get("needed")
    if needed is None:
        needed = max(scenario.sessions for _, scenario in kept)
    if not isinstance(needed, int) or isinstance(needed, bool) or not 1 <= needed <= MOST_NEEDED:
        raise InputError("needed", needed, f"a whole number from 1 to {MOST_NEEDED:,}")
    compared = [_worked_out(name, scenario, workers) for name, scenario in kept]
    rows = comparison(compared, needed)
    theme = THEMES.get(str(body.get("theme")), LIGHT)
    return {
        "needed": needed,
        "names": [
            f"{letter} {each.name}" for letter, each in zip(LETTERS, compared, strict=False)
        ],
        "rows": [
            {
                "section": row.section, "label": row.label, "unit": row.unit,
                "cells": [shown(cell, row.digits) for cell in row.cells],
            }
            for row in rows
        ],
        "csv": comparison_csv(compared, rows),
        "caution": CAUTION,
        "arms": [
            {
                "arm": arm,
                "label": ARM_LABEL[arm],
                "takeaway": takeaway(compared, arm),
                "figure": compared_figure(compared, arm, theme),
                "picture": compared_figure(compared, arm, LIGHT),
            }
            for arm in SHOWN
        ],
    }  # fmt: skip


def _worked_out(name: str, scenario: Scenario, workers: Workers) -> Compared:
    replicates = max(1, min(DAY_REPLICATES, MOST_SIMULATED_SESSIONS // scenario.sessions))
    day = workers.run(simulate_day_both, scenario, DAY_SEED, replicates)
    return Compared(name, assess(scenario, workers.map), day)
