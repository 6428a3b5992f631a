"""At which addresses are the numbers behind the page fetched, by its buttons and by scripts?

    GET /numbers/<chart>.csv?<query of the link>    a chart's numbers as a table
    GET /api/assess?<query of the link>             the whole answer as JSON

The query is that of the page's own address, with what is pinned or without. Both also take POST
with a scenario as JSON text, for one that is too long for a link. The page names the draws whose
bands it shows in a header, Crestline-Sure. What is refused is told as
{"error": {"field", "value", "expected", "message"}}.
"""

import hashlib
import json
import re
from collections.abc import Callable

from flask import Flask, Response, request
from werkzeug.exceptions import HTTPException

from app import events, ids, url_state
from app.csv_text import MEDIA_TYPE
from app.numbers import ASSESSMENT, numbers_text
from app.sure_result import Bands
from app.workers import Workers
from model import scenario_url
from model.errors import InputError
from model.scenario import Scenario, canonical, from_data, load

LONGEST_VALUE = 200  # characters of a refused value that are sent back
LONGEST_REMEMBERED = 2_000_000  # characters; a curve over 100,000 sessions has far more
_LONGEST_SLUG = 40

Remember = Callable[[str, Callable[[], str]], str]
BandsFor = Callable[[object, str], Bands | None]


def register(
    server: Flask,
    remember: Remember,
    workers: Workers,
    report_failure: Callable[[Exception], str],
    bands_for: BandsFor = lambda key, scenario: None,
) -> None:
    """Bind the addresses at which numbers are fetched.

    Parameters
    ----------
    server : Flask
        The web server.
    remember : callable
        remember(key, compute) returns a text, from the cache if it is there.
    workers : Workers
        Who works the numbers out.
    report_failure : callable
        Logs an unforeseen failure and returns what to tell the visitor.
    bands_for : callable
        bands_for(key, scenario) returns where most draws lie, see `app.sure_store`.
    """

    def reply(what: str, media_type: str, ending: str) -> Response:
        try:
            asked = _asked()
            text = _remembered(remember, workers, what, asked, bands_for)
        except InputError as error:
            return _refused(400, str(error), error)
        except HTTPException as error:
            return _refused(error.code or 500, str(error.description))
        except Exception as error:
            return _refused(500, report_failure(error))
        response = Response(text, content_type=media_type)
        name = _file_name(what, asked.scenario, ending)
        response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
        return _not_stored(response)

    def chart(name: str) -> Response:
        if name not in ids.CHARTS:
            error = InputError("chart", name, f"one of {', '.join(ids.CHARTS)}")
            return _refused(404, str(error), error)
        return reply(name, MEDIA_TYPE, "csv")

    def assessment() -> Response:
        return reply(ASSESSMENT, "application/json", "json")

    methods = ["GET", "POST"]
    server.add_url_rule("/numbers/<name>.csv", "chart_numbers", chart, methods=methods)
    server.add_url_rule("/api/assess", "assessment_numbers", assessment, methods=methods)


def _asked() -> url_state.PageState:
    """What is asked for: by the address, or by the body where that would be too long.

    The body is a scenario, beside the pin and the event of the address, or an object with
    `scenario`, `pin` and `event`.
    """
    try:
        state = url_state.from_address(request.query_string.decode("utf-8"))
    except UnicodeDecodeError:
        raise InputError("link", request.query_string, "text in UTF-8") from None
    if request.method != "POST":
        return state
    text = request.get_data().decode("utf-8-sig", "replace")
    if not text.lstrip().startswith("{"):  # anything else would be taken for the name of a file
        raise InputError("scenario", text, "a scenario as JSON text")
    try:
        told = json.loads(text)
    except ValueError:
        told = {}  # `load` says what is wrong with it
    if not isinstance(told.get("scenario"), dict):
        scenario, pin, event = load(text), state.pin, state.event
    else:
        scenario, pin, event = from_data(told["scenario"]), told.get("pin"), told.get("event")
    if pin is not None:
        scenario_url.from_query(pin)
    if event is not None:
        if not isinstance(event, str):
            raise InputError("event", event, "an event as the link writes it")
        events.from_text(event, scenario)
    return url_state.PageState(scenario, pin, event)


def _remembered(
    remember: Remember,
    workers: Workers,
    what: str,
    asked: url_state.PageState,
    bands_for: BandsFor,
) -> str:
    exact = canonical(asked.scenario)
    sure = request.headers.get("Crestline-Sure")
    bands = bands_for(sure, exact) if sure is not None else None
    shown = "" if bands is None else f" {sure}"
    told = f"numbers {what} {asked.pin!r} {asked.event!r} {exact}{shown}"
    key = hashlib.sha256(told.encode()).hexdigest()

    def compute() -> str:
        text = workers.run(numbers_text, what, exact, asked.pin, asked.event, bands)
        if len(text) > LONGEST_REMEMBERED:
            raise _TooLongToKeepError(text)
        return text

    try:
        return remember(key, compute)
    except _TooLongToKeepError as found:
        return found.text


class _TooLongToKeepError(Exception):
    """Carries a text past the cache."""

    def __init__(self, text: str) -> None:
        self.text = text


def _file_name(what: str, scenario: Scenario, ending: str) -> str:
    slug = re.sub("[^a-z0-9]+", "-", scenario.name.lower())[:_LONGEST_SLUG].strip("-")
    return "-".join(filter(None, ["crestline-estimate", what, slug])) + f".{ending}"


def _refused(status: int, message: str, error: InputError | None = None) -> Response:
    told: dict[str, str | None] = {"field": None, "value": None, "expected": None}
    if error is not None:
        value = None if error.value is None else str(error.value)[:LONGEST_VALUE]
        told = {"field": error.field, "value": value, "expected": error.expected}
    text = json.dumps({"error": told | {"message": message}}) + "\n"
    return _not_stored(Response(text, status, content_type="application/json"))


def _not_stored(response: Response) -> Response:
    response.headers["Cache-Control"] = "no-store"
    return response
