"""How many sessions does my host carry, with and without the card? The opening page.

The browser gathers the controls into a scenario and asks in three lanes: the curves, a rough
day, and what waits until the slider rests. In each lane one question is under way and the newest
waits (see assets/crestline.js). Here a question is answered: read, build, assess, draw, return.
Scenario and answer travel as JSON text, which neither side then walks through item by item.
"""

import json
import time
from collections.abc import Callable
from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, dcc, html
from flask import Response, request

from app import ids, words
from app.components.inputs import controls
from app.figures.contention import contention_figure
from app.figures.day import day_figure
from app.figures.desktop import desktop_figure
from app.figures.headroom import headroom_figure
from app.theme import ARM_LABEL, LIGHT, THEMES
from model import scenario_url
from model.assess import Assessment, assess, one_desktop, what_if
from model.day import simulate_day_both
from model.errors import InputError
from model.hosts import ARMS
from model.scenario import Scenario, canonical, default, load, to_data
from model.sessions import Role

Answer = dict[str, Any]
Remember = Callable[[str, str, Callable[[], Any]], str]
DAY_SEED = 1
DAY_REPLICATES = 20
MOVING_REPLICATES = 3  # while a slider moves; the day is drawn in full once it rests
MOST_SIMULATED_SESSIONS = 20_000  # sessions times replicates; many sessions need fewer days

_TITLES = {
    "headroom": "Headroom over sessions",
    "contention": "Delivered frames and scheduler wait over sessions",
    "day": "The working day",
    "desktop": "One desktop, activity by activity",
}


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
    ]


def _results() -> list[Any]:
    charts = [
        html.Figure(
            [
                html.Figcaption([html.H2(_TITLES[name]), html.P(id=f"takeaway-{name}")]),
                html.Div(id=f"chart-{name}", className="chart", role="group",
                         **ids.named(_TITLES[name])),
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
        for name, (label, unit, _) in words.VALUES.items()
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
                html.P(id="stale", className="stale-mark", role="status"),
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
    ]


def register(app: Dash, remember: Remember, report_failure: Callable[[Exception], str]) -> None:
    """Bind the page's callbacks, and the address at which its script asks.

    Parameters
    ----------
    app : Dash
        The application.
    remember : callable
        remember(kind, key, compute) returns a result as JSON text, from the cache if it is there.
    report_failure : callable
        Logs an unforeseen failure and returns what to tell the visitor.
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
    def open_address(address: str | None) -> tuple[list[Any], dict[str, Any], str]:
        scenario, notice = scenario_at(address or "")
        return controls(scenario), to_data(scenario), notice

    in_browser(
        ClientsideFunction(script, "opened"),
        Output(ids.BASE, "id"),
        Input(ids.BASE, "data"),
        prevent_initial_call=True,
    )

    answers = {"curve": curve_answer, "day": day_answer, "next": next_answer}

    def reply(lane: str) -> Response:
        if lane not in answers:
            return Response("{}", 404, mimetype="application/json")
        question = request.get_json(silent=True)
        try:
            told, status = answer_to(question, lane, answers[lane], remember), 200
        except Exception as error:
            told, status = {"lane": lane, "failure": report_failure(error)}, 500
        return Response(json.dumps(told), status, mimetype="application/json")

    app.server.add_url_rule("/answer/<lane>", "answer", reply, methods=["POST"])


def scenario_at(address: str) -> tuple[Scenario, str]:
    """Return the scenario that an address holds, and what to tell if it holds none that is good.

    Parameters
    ----------
    address : str
        The query of the page's address.
    """
    try:
        return scenario_url.from_query(address), ""
    except InputError as error:
        sentence = words.error_sentence(error)
        return default(), f"The link could not be opened: {sentence} The example is shown instead."


def answer_to(
    question: Any,
    lane: str,
    answer: Callable[..., Answer],
    remember: Remember,
) -> Answer:
    """Return the answer to one question of the browser, or what is wrong with it.

    Parameters
    ----------
    question : dict
        sequence, scenario as JSON text, theme; whatever else was sent is refused.
    lane : str
        Which lane asks: "curve", "day" or "next".
    answer : callable
        Computes the answer from scenario and theme.
    remember : callable
        The cache.
    """
    start = time.perf_counter()
    asked = question if isinstance(question, dict) else {}
    sequence = asked.get("sequence")
    try:
        text = asked.get("scenario")
        if not isinstance(text, str) or not text.startswith("{"):
            raise InputError("scenario", text, "a scenario as JSON text")
        scenario = load(text)
    except InputError as error:
        told = {"field": error.field, "message": words.error_sentence(error)}
        return {"sequence": sequence, "lane": lane, "error": told}
    theme = THEMES.get(str(asked.get("theme")), LIGHT)
    key = f"{theme.name} {canonical(scenario)}"
    found = remember(lane, key, lambda: answer(scenario, theme))
    spent_ms = round((time.perf_counter() - start) * 1000, 1)
    return {"sequence": sequence, "lane": lane, "server_ms": spent_ms, "text": found}


def curve_answer(scenario: Scenario, theme: Any) -> Answer:
    """Return sentence, values and the charts over sessions and of one desktop.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    theme : Theme
        The look.
    """
    start = time.perf_counter()
    found = assess(scenario)
    model_ms = round((time.perf_counter() - start) * 1000, 1)
    role = _largest_role(scenario)
    return {
        "model_ms": model_ms,
        "query": scenario_url.to_query(scenario),
        "figures": {
            "headroom": headroom_figure(found, theme),
            "contention": contention_figure(found, theme),
            "desktop": desktop_figure(one_desktop(scenario, role), theme),
        },
        "texts": {
            "answer-sentence": words.answer_sentence(found),
            "limit-offloaded": (
                words.limit_sentence(found.rated["offloaded"]) if scenario.accelerator.cards else ""
            ),
            "limit-software": words.limit_sentence(found.rated["software"]),
            "now-title": f"With {words.sessions(scenario.sessions)}",
            **_takeaways(found),
            **{
                f"now-{arm}-{name}": words.value(name, found.now[arm][name])
                for arm in ARMS
                for name in words.VALUES
            },
        },
    }


def day_answer(scenario: Scenario, theme: Any) -> Answer:
    """Return the chart of a few simulated days, for a slider that moves.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    theme : Theme
        The look.
    """
    days = simulate_day_both(scenario, DAY_SEED, _replicates(scenario, MOVING_REPLICATES))
    return {"figures": {"day": day_figure(days, scenario, theme)}}


def next_answer(scenario: Scenario, theme: Any) -> Answer:
    """Return the chart of the day in full, and what is asked next in every meeting.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    theme : Theme
        The look.
    """
    before = assess(scenario)
    days = simulate_day_both(scenario, DAY_SEED, _replicates(scenario, DAY_REPLICATES))
    return {
        "figures": {"day": day_figure(days, scenario, theme)},
        "texts": {"takeaway-day": words.crest_sentence(days["software"], days["offloaded"])},
        "lines": [words.what_if_sentence(each, before) for each in what_if(scenario)],
    }


def _replicates(scenario: Scenario, wanted: int) -> int:
    return max(1, min(wanted, MOST_SIMULATED_SESSIONS // scenario.sessions))


def _largest_role(scenario: Scenario) -> Role:
    return max(scenario.roles, key=lambda role: role.weight_pct)


def _takeaways(found: Assessment) -> dict[str, str]:
    at = f"At {words.sessions(found.scenario.sessions)}"
    left, frames = (
        {arm: words.value(name, found.now[arm][name]) for arm in ARMS}
        for name in ("headroom_pct", "frames_busy_pct")
    )
    if not found.scenario.accelerator.cards:
        headroom = f"{at} the CPU has {left['software']} % left at busy moments."
        contention = f"{at} {frames['software']} % of frames are delivered at busy moments."
    else:
        headroom = (
            f"{at} the CPU has {left['offloaded']} % left at busy moments with the card, "
            f"{left['software']} % without."
        )
        contention = (
            f"{at} {frames['offloaded']} % of frames are delivered at busy moments with the card, "
            f"{frames['software']} % without."
        )
    return {
        "takeaway-headroom": headroom,
        "takeaway-contention": contention,
        "takeaway-desktop": f"A desktop of the role {_largest_role(found.scenario).name}, alone.",
    }
