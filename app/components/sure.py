"""What does the section of the Host page hold that says how sure its answers are?

A frame with its words; assets/host-sure.js builds the form, asks, and fills in the result.
"""

import json
from typing import Any

from dash import html

from app import ids
from app import words_sure as told
from app.sure_question import MOST_DRAWS, MOST_TOTAL
from model.draws import GROUPS
from model.uncertainty import DRAWS, FEWEST_DRAWS

Component = Any


def how_sure() -> Component:
    """Return the section, its form not yet built."""
    named: dict[str, Any] = {"aria-labelledby": "sure-title"}
    return html.Section(
        [
            html.H2(told.TITLE, id="sure-title"),
            html.P(told.ABOUT, className="sure-about"),
            html.Div(id="sure-form"),
            html.Div(id="sure-progress"),
            html.P(id="sure-error", className="error", role="alert"),
            html.P(id="sure-note", role="status"),
            html.Div(id="sure-result", hidden=True),
        ],
        id="sure", className="sure",
        **named, **ids.data(words=json.dumps(_words())),
    )  # fmt: skip


def _words() -> dict[str, Any]:
    return {
        "texts": told.TEXTS,
        "buttons": told.BUTTONS,
        "ranking": told.RANKING_TITLE,
        "draws": {"value": DRAWS, "low": FEWEST_DRAWS, "high": MOST_DRAWS},
        "total": {"low": 1, "high": MOST_TOTAL},
        "spreads": [
            {
                "name": name,
                "label": f"{group.label[:1].upper()}{group.label[1:]}",
                "value": group.spread.value,
                "low": group.spread.low,
                "high": group.spread.high,
                "help": f"{group.spread.meaning} Default: {group.spread.value:g} %, "
                f"{group.spread.provenance}. To know better: {group.how}.",
            }
            for name, group in GROUPS.items()
        ],
    }
