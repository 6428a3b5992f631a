"""What does a printed page hold? A proposal sheet of two pages that the screen never shows.

assets/host-print.js fills it when the browser is about to print, and draws the charts.
"""

import dataclasses
import json
from typing import Any

from dash import html

from app import ids, labels, words, words_failures
from app.components.stage import key
from app.theme import DARK, LIGHT

Component = Any


def sheet() -> Component:
    """Return the sheet without its figures and numbers."""
    return html.Section(
        [
            html.Div(
                [html.P("Crestline: sessions on one host"), html.P(id="sheet-date")],
                className="sheet-head",
            ),
            html.H1(id="sheet-name"),
            html.P(id="sheet-unfinished"),
            html.Div(
                [
                    html.P(className="sheet-sentence", **_copied("answer-sentence")),
                    html.P(**_copied("limit-offloaded")),
                    html.P(**_copied("limit-software")),
                    html.P(**_copied("pin-change")),
                    html.P(**_copied("pin-crest")),
                    html.P(**_copied("pin-note")),
                    html.P(**_copied("measured-note")),
                    html.P(**_copied("measured-range")),
                ],
                className="sheet-answer",
            ),
            html.Div([_chart(name) for name in ids.CHARTS], className="sheet-charts"),
            key(*labels.KEY_OF_CHARTS),
            html.Div(
                [
                    html.Div(id="sheet-values"),
                    html.Div([html.H2("And if ...?"), html.Ul(id="sheet-what-if")]),
                ],
                className="sheet-pair",
            ),
            html.P(id="sheet-event", **ids.data(missing=words_failures.MISSING_ON_PAPER)),
            html.H2("Inputs", className="sheet-inputs-head"),
            html.Div(id="sheet-groups"),
            html.Div(id="sheet-tables"),
            html.Div(
                [
                    html.H2("How it was worked out"),
                    html.P(words.METHOD),
                    html.P(words.CAUTION),
                    html.P(id="sheet-link"),
                ],
                className="sheet-last",
            ),
        ],
        id="sheet",
        **ids.data(light=json.dumps(_light_for_dark()), unfinished=words.UNFINISHED,
                   toolong=words.TOO_LONG_FOR_A_LINK),
    )  # fmt: skip


def _copied(source: str) -> dict[str, Any]:
    return ids.data(copied=source)


def _chart(name: str) -> Component:
    return html.Div(
        [
            html.H2(labels.TITLES[name]),
            html.P(**_copied(f"takeaway-{name}")),
            *([key(*labels.KEY_OF_BARS)] if name == "desktop" else []),
            html.Div(className="sheet-plot", **ids.data(plot=name)),
        ]
    )


def _light_for_dark() -> dict[str, str]:
    """Return each colour of the dark look with that of the light one: paper is white."""
    return {
        str(dark): str(getattr(LIGHT, name))
        for name, dark in dataclasses.asdict(DARK).items()
        if isinstance(dark, str) and dark.startswith(("#", "rgba"))
    }
