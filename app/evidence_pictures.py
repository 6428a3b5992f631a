"""What stands on the picture of a measured chart, besides the chart? The same for every part.

A picture is set by the browser's own script, as on the Host page. Measurements stay with the
visitor who brought them, so no picture holds a link to them.
"""

import datetime as dt
from typing import Any

from app.pictures import PAPER
from app.theme import Figure
from app.words import CAUTION
from app.words_evidence import NO_LINK, TITLE

Told = dict[str, Any]
_MARGIN = {"l": 110, "r": 40, "t": 50, "b": 84}
_FOR_A_POINTER = ("uirevision", "hoverlabel", "hovermode", "dragmode", "legend")


def picture_of(
    name: str,
    title: str,
    figure: Figure,
    takeaway: str,
    summary: list[str],
    key: list[dict[str, str]] | None = None,
) -> Told:
    """Return what stands on a picture of a measured chart.

    Parameters
    ----------
    name : str
        What its file is called after.
    title : str
        Of the chart.
    figure : dict
        Drawn for paper.
    takeaway : str
        What stands above it.
    summary : list of str
        The lines below it.
    key : list of dict or None
        What each mark stands for: label, colour, mark; None reads it off the figure.
    """
    day = dt.date.today()
    return {
        "data": {
            "name": TITLE, "summary": summary, "caution": CAUTION,
            "date": f"Crestline, {day.day} {day:%B} {day.year}", "query": None,
            "reopen": {"none": NO_LINK},
        },
        "chart": {
            "name": name, "title": title, "takeaway": takeaway,
            "key": _key(figure) if key is None else key, "figure": _on_paper(figure),
        },
    }  # fmt: skip


def _key(figure: Figure) -> list[dict[str, str]]:
    """Return what each mark of a chart stands for."""
    key = []
    for trace in figure["data"]:
        colour = trace.get("line", {}).get("color") or trace.get("marker", {}).get("color")
        dash = trace.get("line", {}).get("dash", "")
        mark = dash or ("thin" if trace["name"].startswith("check") else "solid")
        key.append(
            {
                "label": trace["name"], "colour": colour or trace.get("fillcolor", PAPER.faint),
                "mark": "filled" if trace.get("fill") else mark,
            }
        )  # fmt: skip
    return key


def _on_paper(figure: Figure) -> Figure:
    """Return a figure without what a pointer needs, with margins for a large sheet."""
    traces = [
        {name: value for name, value in trace.items() if "hover" not in name}
        for trace in figure["data"]
    ]
    layout = {name: value for name, value in figure["layout"].items() if name not in _FOR_A_POINTER}
    layout |= {"showlegend": False, "hovermode": False, "margin": _MARGIN}
    for name in ("xaxis", "yaxis"):
        axis = layout[name]
        size = {"font": {"size": PAPER.font_px}}
        layout[name] = axis | {"automargin": True, "title": axis["title"] | size}
    return {"data": traces, "layout": layout}
