"""What stands on a picture of a chart, and which scenario does a picture or a file open?

A picture must be understood away from the page: beside the chart it holds title, takeaway, key,
the scenario in a few lines, the date, the caution and the link. Here these are gathered; the
browser sets them on a sheet and writes the link into the file (assets/host-pictures.js).
"""

import datetime as dt
import json
import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from flask import Flask, Response, request

from app import ids, labels, url_state, words
from app.answers import curve_answer, next_answer
from app.refusals import refusal
from app.sure_result import Bands
from app.theme import ARM_LABEL, DASH, LIGHT, Figure, Theme
from app.words_measured import MEASURED_BAND
from app.words_sure import band_label
from app.workers import Workers
from model import scenario_url
from model.errors import InputError
from model.hosts import ARMS
from model.scenario import Scenario, canonical, from_data, load

# A chart is drawn at half the size of its place on the sheet and scaled up, so one pixel of
# the theme is two of the picture.
PAPER = replace(LIGHT, name="paper", font_px=20, line_scale=1.6)
EXAMPLE = "v=1"  # the query that opens the example, whose own link is empty
_AXES = ("xaxis", "yaxis", "yaxis2")
_LEAST_BAR_AXIS_PCT = 60  # as on the page
_VEIL = "rgba(255,255,255,0.8)"  # behind a target's label: a curve shows through, letters stand out

Sheets = dict[str, Any]
BandsFor = Callable[[object, str], Bands | None]


def register(
    server: Flask,
    workers: Workers,
    report_failure: Callable[[Exception], str],
    bands_for: BandsFor = lambda key, scenario: None,
) -> None:
    """Bind the addresses at which the page's script asks for pictures and opens files.

    Parameters
    ----------
    server : Flask
        The application's server.
    workers : Workers
        Who gathers what stands on the pictures.
    report_failure : callable
        Logs an unforeseen failure and returns what to tell the visitor.
    bands_for : callable
        bands_for(key, scenario) returns where most draws lie, see `app.sure_store`.
    """

    def reply(answer: Callable[[Any], str]) -> Response:
        try:
            told, status = answer(request.get_json(silent=True)), 200
        except InputError as error:
            told, status = json.dumps({"error": refusal(error)}), 200
        except Exception as error:
            told, status = json.dumps({"error": report_failure(error)}), 500
        return Response(told, status, mimetype="application/json")

    def pictures() -> Response:
        def answer(asked: Any) -> str:
            scenario, pin = asked_for(asked)
            sure = asked.get("sure")
            bands = bands_for(sure, scenario) if sure is not None else None
            return workers.run(sheets_text, scenario, pin, bands)

        return reply(answer)

    def open_file() -> Response:
        return reply(lambda asked: json.dumps({"query": query_of_file(asked)}))

    server.add_url_rule("/pictures", "pictures", pictures, methods=["POST"])
    server.add_url_rule("/open-file", "open-file", open_file, methods=["POST"])


def asked_for(question: Any) -> tuple[str, str | None]:
    """Return the scenario as canonical JSON text and the pin that a question names.

    Parameters
    ----------
    question : dict
        scenario as JSON text and pin; whatever else was sent is refused.
    """
    asked = question if isinstance(question, dict) else {}
    scenario = load(_scenario_text(asked.get("scenario")))
    pin = asked.get("pin")
    if pin is not None and not isinstance(pin, str):
        raise InputError("pin", pin, "the query of a link, as text")
    if pin is not None:
        scenario_url.from_query(pin)
    return canonical(scenario), pin


def query_of_file(question: Any) -> str:
    """Return the query of the link that opens a scenario file, or a file of all numbers.

    Parameters
    ----------
    question : dict
        text, the content of the file.
    """
    text = _scenario_text(question.get("text") if isinstance(question, dict) else None)
    try:
        data = json.loads(text)
    except (ValueError, RecursionError):
        data = None  # told by `load` below
    inner = data.get("scenario") if isinstance(data, dict) else None
    scenario = from_data(inner) if isinstance(inner, dict) else load(text)
    query = url_state.to_address(scenario)
    if query is None:
        expected = "one that a link can hold: names of fewer or plainer letters"
        raise InputError("scenario", scenario.name, expected)
    return query or EXAMPLE


def _scenario_text(text: Any) -> str:
    if not isinstance(text, str) or not text.lstrip().startswith("{"):
        raise InputError("scenario", text, "a scenario as JSON text")  # never a path
    return text


def sheets_text(scenario_text: str, pin: str | None, bands: Bands | None = None) -> str:
    """Return what stands on each chart's picture, as JSON text.

    Parameters
    ----------
    scenario_text : str
        A scenario that was checked, as JSON text.
    pin : str or None
        Query of the scenario pinned for comparison; None without one.
    bands : Bands or None
        Where most draws of the scenario's uncertain inputs lie.
    """
    pinned = None if pin is None else scenario_url.from_query(pin)
    return json.dumps(sheets(load(scenario_text), pinned, dt.date.today(), bands))


def sheets(
    scenario: Scenario, pinned: Scenario | None, day: dt.date, bands: Bands | None = None
) -> Sheets:
    """Return what stands on each chart's picture.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    pinned : Scenario or None
        What was pinned for comparison.
    day : date
        The date that the pictures bear.
    bands : Bands or None
        Where most draws lie.
    """
    curves = curve_answer(scenario, PAPER, pinned, map, bands)
    rest = next_answer(scenario, PAPER, pinned, bands)
    figures, texts = ({**curves[part], **rest[part]} for part in ("figures", "texts"))
    summary = [texts["answer-sentence"], *words.summary_lines(scenario)]
    if pinned is not None:
        changes = [texts[name] for name in ("pin-change", "pin-crest") if texts[name]]
        summary.append(f"{'; '.join(changes)}. {texts['pin-note']}")
    summary += [texts[name] for name in ("measured-note", "measured-range") if texts[name]]
    query = url_state.to_address(scenario, scenario_url.to_query(pinned) if pinned else None)
    return {
        "name": scenario.name,
        "summary": summary,
        "caution": words.CAUTION,
        "date": f"Crestline, {day.day} {_MONTHS[day.month - 1]} {day.year}",
        "query": None if query is None else query or EXAMPLE,
        "reopen": words.REOPEN if query is not None else {"none": words.NO_LINK_IN_PICTURE},
        "charts": [
            {
                "name": chart,
                "title": labels.TITLES[chart],
                "takeaway": texts[f"takeaway-{chart}"],
                "key": _key(chart, PAPER, pinned is not None) + _band(chart, scenario, bands),
                "figure": _on_paper(figures[chart]),
            }
            for chart in ids.CHARTS
        ],
    }


_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip


def _key(chart: str, theme: Theme, pinned: bool) -> list[dict[str, str]]:
    """What each colour and dash of a chart stands for: label, colour and how it is drawn."""
    if chart == "desktop":
        marks = {"software": "hatched", "offloaded": "filled"}
        key = [_entry(f"encoding {ARM_LABEL[arm]}", theme.colour(arm), marks[arm]) for arm in ARMS]
        key.append(_entry("application", theme.faint, "filled"))
        ghosts = [("pinned, without card", "cross"), ("pinned, with card", "circle")]
        return key + [_entry(label, theme.ghost, mark) for label, mark in ghosts if pinned]
    what = " (band: p50 to p95 of 1 s demand)" if chart == "day" else ""
    key = [
        _entry(f"{ARM_LABEL[arm]}{what}", theme.colour(arm), DASH[arm]) for arm in reversed(ARMS)
    ]
    if chart == "day":
        key.append(_entry("worst second", theme.text, "thin dot"))
    else:
        key.append(_entry("across: target; upright: rated load", theme.target, "dot"))
    if pinned:
        key.append(_entry("pinned", theme.ghost, "thin"))
    return key


def _band(chart: str, scenario: Scenario, bands: Bands | None) -> list[dict[str, str]]:
    """What the bands of a chart stand for: all draws, or where costs were measured."""
    if bands is not None and chart in ("headroom", "contention"):
        return [_entry(f"band: {band_label(bands.draws)}", PAPER.offloaded_fill, "filled")]
    if chart != "headroom" or not scenario.measured:
        return []
    return [_entry(f"band: {MEASURED_BAND}", PAPER.offloaded_fill, "filled")]


def _entry(label: str, colour: str, mark: str) -> dict[str, str]:
    return {"label": label, "colour": colour, "mark": mark}


def _on_paper(figure: Figure) -> Figure:
    """Return a figure without what a pointer needs, with margins for a large sheet."""
    traces = [_without_hover(trace) for trace in figure["data"]]
    layout = dict(figure["layout"])
    for name in ("uirevision", "hoverlabel", "legend"):
        layout.pop(name, None)
    layout |= {"showlegend": False, "hovermode": False}
    layout["margin"] = {"l": 110, "r": 34, "t": 20, "b": 84}
    for name in _AXES:
        if name in layout:
            axis = _without_hover(layout[name]) | {"automargin": True, "ticklabelstandoff": 6}
            layout[name] = axis | {"title": axis["title"] | {"font": {"size": PAPER.font_px}}}
    layout["annotations"] = [
        label | ({"bgcolor": _VEIL} if label.get("xref") == "paper" else {})
        for label in layout.get("annotations", [])
    ]
    if "yaxis2" in layout:  # labels of two charts in one do not meet, however low it is
        layout["yaxis"] |= {"domain": [0.58, 1]}
        layout["yaxis2"] |= {"domain": [0, 0.42]}
    bars = [trace for trace in traces if trace["type"] == "bar"]
    if bars:  # names of activities are no numbers or dates, and no bar runs off the sheet
        longest = max((float(x) for bar in bars for x in bar["x"]), default=0.0)
        end = max(_LEAST_BAR_AXIS_PCT, 10 * math.ceil(longest / 10))
        layout["xaxis"] |= {"range": [0, end]}
        layout["yaxis"] |= {"type": "category"}
    return {"data": traces, "layout": layout}


def _without_hover(part: Figure) -> Figure:
    return {key: value for key, value in part.items() if "hover" not in key}
