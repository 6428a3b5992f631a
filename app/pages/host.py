"""How many sessions does my host carry, with and without the card? The opening page.

The browser gathers the controls into a scenario and asks in three lanes: the curves, a rough
day, and what waits until the slider rests. In each lane one question is under way and the newest
waits (see assets/crestline.js). Here a question is answered: read, build, assess, draw, return.
Scenario and answer travel as JSON text, which neither side then walks through item by item.
"""

import hashlib
import json
import time
from collections.abc import Callable
from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, dcc, html, no_update
from flask import Response, request

from app import ids, labels, url_state
from app.answers import LANES, answer_text
from app.components.events import bad_day
from app.components.inputs import controls
from app.components.sheet import sheet
from app.components.stage import stage
from app.components.sure import how_sure
from app.refusals import refusal
from app.sure_result import Bands
from app.theme import ARM_LABEL, LIGHT, THEMES
from app.workers import Workers
from model import scenario_url
from model.errors import InputError
from model.hosts import ARMS
from model.scenario import canonical, default, load, to_data

Answer = dict[str, Any]
Remember = Callable[[str, Callable[[], str]], str]
BandsFor = Callable[[object, str], Bands | None]


def page_layout() -> list[Any]:
    """Return the page, its controls set to the default scenario until the address is read."""
    start = default()
    return [
        dcc.Store(id=ids.ADDRESS),
        dcc.Store(id=ids.BASE, data=None),
        html.Div(id=ids.NOTICE, className="notice", role="status"),
        html.Div(
            [
                html.Section(controls(start), id=ids.CONTROLS, **ids.named("Inputs")),
                html.Section(_results(), id="results", **ids.named("Results")),
            ],
            className="workspace",
        ),
        stage(),
        sheet(),
    ]


def _results() -> list[Any]:
    charts = [
        html.Figure(
            [
                html.Figcaption(
                    [
                        html.Div([html.H2(labels.TITLES[name]), _chart_tools(name)],
                                 className="chart-head"),
                        html.P(id=f"takeaway-{name}"),
                    ]
                ),
                html.Div(id=f"chart-{name}", className="chart", role="group",
                         **ids.named(labels.TITLES[name])),
            ]
        )
        for name in ids.CHARTS
    ]  # fmt: skip
    rows = [
        html.Tr(
            [
                html.Th([label, html.Span(f" [{unit}]", className="unit")], scope="row"),
                *[html.Td(id=f"now-{arm}-{name}") for arm in ARMS],
            ]
        )
        for name, (label, unit, _) in labels.VALUES.items()
    ]
    head = html.Tr(
        [html.Th(id="now-title", scope="col"), *[html.Th(ARM_LABEL[a], scope="col") for a in ARMS]]
    )
    return [
        html.Div(
            [
                html.P(id="answer-sentence", className="answer", role="status"),
                html.P(id="limit-offloaded"),
                html.P(id="limit-software"),
                html.P(
                    [html.Span(id="pin-change"), html.Span(id="pin-crest")],
                    className="pin-change",
                ),
                html.P(id="pin-note"),
                html.P(id="measured-note"),
                html.P(id="measured-range"),
                html.P(id="link-note"),
                html.P(id="self-check", className="self-check", role="status"),
                html.P(id="stale", className="stale-mark", role="status"),
                _tools(),
            ],
            className="answer-card",
        ),
        html.Div(charts, className="charts"),
        html.Div(
            [
                html.Table([html.Thead(head), html.Tbody(rows)], className="now-table"),
                html.Div([html.H2("And if ...?"), html.Ul(id="what-if")], className="what-if"),
            ],
            className="below",
        ),
        bad_day(),
        how_sure(),
    ]


def _tools() -> Any:
    """Buttons below the answer; a script in assets/ listens to each by its data-action."""
    return html.Div(
        [_button(label, action, about) for action, (label, about) in labels.ACTIONS.items()],
        className="tools", role="toolbar", **ids.named("Do with this answer"),
    )  # fmt: skip


def _chart_tools(name: str) -> Any:
    title = labels.TITLES[name]
    return html.Div(
        [
            _button("Picture", "picture", f"Save this chart as PNG: {title}", name),
            _button("Numbers", "numbers",
                    f"Save this chart's numbers as CSV, for a spreadsheet: {title}", name),
        ],
        className="chart-tools",
    )  # fmt: skip


def _button(label: str, action: str, about: str, chart: str | None = None) -> Any:
    name = f"{label}: {labels.TITLES[chart]}" if chart else label
    told = ids.data(action=action, **({"chart": chart} if chart else {}))
    return html.Button(label, type="button", title=about, **told, **ids.named(name))


def register(
    app: Dash,
    remember: Remember,
    workers: Workers,
    report_failure: Callable[[Exception], str],
    bands_for: BandsFor | None = None,
) -> None:
    """Bind the page's callbacks, and the address at which its script asks.

    Parameters
    ----------
    app : Dash
        The application.
    remember : callable
        remember(key, compute) returns a text, from the cache if it is there.
    workers : Workers
        Who works out the slow answers.
    report_failure : callable
        Logs an unforeseen failure and returns what to tell the visitor.
    bands_for : callable or None
        bands_for(key, scenario) returns where most draws lie, see `app.sure_store`.
    """
    script = "crestline"
    in_browser: Any = app.clientside_callback
    in_browser(
        ClientsideFunction(script, "read_address"),
        Output(ids.ADDRESS, "data"),
        Input(ids.CONTROLS, "id"),
    )

    @app.callback(
        Output(ids.CONTROLS, "children"),
        Output(ids.BASE, "data"),
        Output(ids.NOTICE, "children"),
        Input(ids.ADDRESS, "data"),
        prevent_initial_call=True,
    )
    def open_address(address: str | None) -> tuple[Any, dict[str, Any], Any]:
        if (address or "").startswith("{"):
            return edited(str(address))
        opened, notice = opened_at(address or "")
        base = {
            "scenario": to_data(opened.scenario),
            "pin": opened.pin,
            "event": opened.event,
            "fleet": opened.fleet,
        }
        drawn = no_update if address is None else controls(opened.scenario)  # None: at the start
        return drawn, base, notice

    in_browser(
        ClientsideFunction(script, "opened"),
        Output(ids.BASE, "id"),
        Input(ids.BASE, "data"),
        prevent_initial_call=True,
    )

    def reply(lane: str) -> Response:
        if lane not in LANES:
            return Response("{}", 404, mimetype="application/json")
        question = request.get_json(silent=True)
        try:
            told, status = answer_to(question, lane, remember, workers, bands_for), 200
        except Exception as error:
            told, status = {"lane": lane, "failure": report_failure(error)}, 500
        return Response(json.dumps(told), status, mimetype="application/json")

    app.server.add_url_rule("/answer/<lane>", "answer", reply, methods=["POST"])


def edited(scenario_text: str) -> tuple[Any, dict[str, Any], Any]:
    """Return controls, scenario and notice once a list was made longer or shorter on the page.

    Where the model refuses the scenario, the controls stay and the page is told why.

    Parameters
    ----------
    scenario_text : str
        The scenario with the changed list, as JSON text.
    """
    try:
        scenario = load(scenario_text)
    except InputError as error:
        told = {"field": error.field, "message": refusal(error)}
        return no_update, {"error": told}, no_update
    return controls(scenario), {"scenario": to_data(scenario), "edited": True}, ""


def opened_at(address: str) -> tuple[url_state.PageState, str]:
    """Return what an address holds, and what to tell if it holds nothing that is good.

    Parameters
    ----------
    address : str
        The query of the page's address.
    """
    try:
        return url_state.from_address(address), ""
    except InputError as error:
        told = f"The link could not be opened: {refusal(error)} The example is shown instead."
        return url_state.PageState(default()), told


def answer_to(
    question: Any,
    lane: str,
    remember: Remember,
    workers: Workers,
    bands_for: BandsFor | None = None,
) -> Answer:
    """Return the answer to one question of the browser, or what is wrong with it.

    Parameters
    ----------
    question : dict
        sequence, scenario as JSON text, theme, pin, and the key of a result of `app.sure_store`
        whose bands are drawn if it is of this scenario; whatever else was sent is refused.
    lane : str
        Which lane asks: a key of `app.answers.LANES`.
    remember : callable
        The cache.
    workers : Workers
        Who works out the slow answers.
    bands_for : callable or None
        As for `register`.
    """
    start = time.perf_counter()
    asked = question if isinstance(question, dict) else {}
    sequence = asked.get("sequence")
    try:
        text = asked.get("scenario")
        if not isinstance(text, str) or not text.startswith("{"):
            raise InputError("scenario", text, "a scenario as JSON text")
        scenario = load(text)
        pin = asked.get("pin")
        if pin is not None and not isinstance(pin, str):
            raise InputError("pin", pin, "the query of a link, as text")
        if pin is not None:
            scenario_url.from_query(pin)
    except InputError as error:
        told = {"field": error.field, "message": refusal(error)}
        return {"sequence": sequence, "lane": lane, "error": told}
    theme = THEMES.get(str(asked.get("theme")), LIGHT).name
    exact = canonical(scenario)
    sure = asked.get("sure") if lane in ("curve", "next") else None
    bands = bands_for(sure, exact) if bands_for is not None and sure is not None else None
    shown = "" if bands is None else f" {sure}"
    key = hashlib.sha256(f"{lane} {theme} {pin!r} {exact}{shown}".encode()).hexdigest()

    def compute() -> str:
        if lane == "day":
            return workers.run(answer_text, lane, exact, theme, pin)
        if lane in ("next", "check"):
            return workers.run_long(answer_text, lane, exact, theme, pin, bands=bands)
        return answer_text(lane, exact, theme, pin, workers.map, bands)

    found = remember(key, compute)
    spent_ms = round((time.perf_counter() - start) * 1000, 1)
    return {"sequence": sequence, "lane": lane, "server_ms": spent_ms, "text": found}
