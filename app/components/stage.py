"""What does the stage view hold, for one chart at a time in large type?

A dialog over the whole window; assets/host-stage.js opens it and draws the chart.
"""

import json
from typing import Any

from dash import html

from app import ids, labels, words
from app.theme import ARM_LABEL

Component = Any


def stage() -> Component:
    """Return the dialog, closed and empty."""
    return html.Dialog(
        [
            html.P(id="stage-answer"),
            html.Div(
                [
                    html.H2(id="stage-title", tabIndex=-1),
                    html.P(id="stage-place"),
                    key(*labels.KEY_OF_CHARTS),
                ],
                className="stage-head",
            ),
            html.P(id="stage-wrong", role="alert"),
            html.Div(html.Div(id="stage-plot"), id="stage-chart"),
            html.P(id="stage-takeaway"),
            html.Div(
                [
                    html.Label(labels.LABELS["sessions"], htmlFor="stage-slider"),
                    html.Output(id="stage-count", htmlFor="stage-slider"),
                ],
                id="stage-sessions", hidden=True,
            ),
            html.Div(
                [
                    html.P(words.CAUTION_IN_SHORT),
                    *[
                        html.Button(label, type="button", title=about, **ids.data(do=does))
                        for does, (label, about) in labels.STAGE_BUTTONS.items()
                    ],
                ],
                className="stage-tools",
            ),
            html.P(id="stage-told", className="hidden-label", role="status"),
        ],
        id="stage",
        **ids.named(labels.ACTIONS["stage"][0]),
        **ids.data(titles=json.dumps({name: labels.TITLES[name] for name in ids.CHARTS})),
    )  # fmt: skip


def key(*shown: str) -> Component:
    """Return what the lines of the charts mean, each by its look and in words.

    Parameters
    ----------
    *shown : str
        Names of arms, "target", "pinned", or a part of the work in the words of the bars.
    """
    meanings = ARM_LABEL | {"target": "target", "pinned": "pinned"}
    return html.Div(
        [html.Span([html.I(), meanings.get(name, name)], **ids.data(means=name)) for name in shown],
        className="key",
    )
