"""What was decided, and how does it look on one sheet? The Proposal page: its frame.

assets/proposal.js fills it: boxes to tick and texts of the visitor's own at the left, at the right
the sheet as it prints, gathered by app/proposal_answers.py.
"""

import json
from typing import Any

from dash import html

from app import ids
from app import words_proposal as told
from app.figures.compared import MOST_COMPARED
from app.words import CAUTION_IN_SHORT


def page_layout() -> list[Any]:
    """Return the page's frame; its script fills it."""
    tools = [
        html.Button(label, type="button", title=about, **ids.data(action=action))
        for action, (label, about) in told.ACTIONS.items()
    ]
    return [
        html.Div(
            [
                html.Section(
                    [
                        html.H2(told.TITLE),
                        html.P(told.ABOUT, className="soft"),
                        html.Div(id="proposal-parts"),
                        html.Div(id="proposal-texts"),
                    ],
                    id="proposal-controls", **ids.named("What goes into the proposal"),
                ),
                html.Section(
                    [
                        html.Div(
                            [
                                html.Div(tools, className="tools", role="toolbar",
                                         **ids.named("Do with this sheet")),
                                html.P(id="proposal-status", role="status"),
                                html.P(id="proposal-failed", className="stale-mark", role="status"),
                            ],
                            id="proposal-tools",
                        ),
                        html.Div(id="proposal-sheet", role="region",
                                 **ids.named(told.TEXTS["paper"])),
                    ],
                    id="proposal-view", **ids.named(told.TEXTS["sheet"]),
                ),
            ],
            className="proposal-space",
            **ids.data(words=json.dumps(_words())), id="proposal",
        )
    ]  # fmt: skip


def _words() -> dict[str, Any]:
    """Return what the page's script needs to speak."""
    return {
        "parts": told.PARTS, "choices": told.CHOICES, "not_there": told.NOT_THERE,
        "fields": told.FIELDS, "own_texts": told.OWN_TEXTS, "texts": told.TEXTS,
        "whole_link": told.WHOLE_LINK, "caution": CAUTION_IN_SHORT,
        "most_items": MOST_COMPARED, "title": told.TITLE,
    }  # fmt: skip
