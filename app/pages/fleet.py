"""What does a fleet of hosts need and cost, with cards and without? The Fleet page: its frame.

assets/fleet-inputs.js and fleet-results.js fill it from plain JSON, see `app.fleet_web`.
"""

import json
from typing import Any

from dash import html

from app import ids, labels_fleet, words_failures, words_fleet
from app.components.events import event_buttons
from app.fleet_events import EVENT_HEAD
from app.labels_fleet import ACTIONS, CHOICE, CHOICE_MORE, GENERAL, PAGE, TITLES
from app.words import CAUTION
from model.fleet_inputs import MOST_CHOICES, MOST_SITES, HostChoice
from model.records import Record

Told = dict[str, Any]
MOST_FILE_BYTES = 600_000  # of a CSV file, as text within one request


def page_layout() -> list[Any]:
    """Return the page's frame; assets/fleet-inputs.js and fleet-results.js fill it."""
    return [
        html.Div(
            [
                html.Section(id="fleet-controls", **ids.named("Inputs of the fleet")),
                html.Section(_results(), id="fleet-results", **ids.named("Results of the fleet")),
            ],
            className="fleet-space",
        ),
        html.Section(id="fleet-sheet", **ids.named("Sheet for printing")),
        html.Div(id="fleet-about", hidden=True, **ids.data(fields=json.dumps(_about()))),
    ]


def _results() -> list[Any]:
    tools = [
        html.Button(label, type="button", title=about, **ids.data(action=action))
        for action, (label, about) in ACTIONS.items()
    ]
    return [
        html.Div(
            [
                html.P(id="fleet-sentence", className="answer", role="status"),
                html.Div(id="fleet-more"),
                html.P(id="fleet-stale", className="stale-mark", role="status"),
                html.P(id="fleet-link-note"),
                html.P(id="fleet-working", className="soft", role="status"),
                html.Div(tools, className="tools", role="toolbar",
                         **ids.named("Do with this answer")),
            ],
            className="answer-card",
        ),
        html.Div(id="fleet-overall", className="fleet-part"),
        html.Div([_chart(name) for name in ("fleet-hosts", "fleet-cost")], className="charts"),
        html.Div(id="fleet-closer", className="fleet-part"),
        html.Div(
            [_chart("fleet-map"), html.Div(id="fleet-break-even", className="fleet-part")],
            className="charts",
        ),
        html.Div(
            [
                html.H2(words_failures.TITLE),
                html.P(words_failures.ABOUT, className="soft"),
                event_buttons("fleet-events", without=("hosts",)),
                html.Div(id="fleet-event", role="status"),
            ],
            className="fleet-part",
        ),
        html.Div(id="fleet-sites", className="fleet-part"),
        html.Div(id="fleet-years", className="fleet-part"),
        html.Div(id="fleet-notes", className="fleet-part"),
    ]  # fmt: skip


def _chart(name: str) -> Any:
    buttons = [("Picture", "fleet-picture", "Save this chart as PNG"),
               ("Numbers", "fleet-numbers", "Save this chart's numbers as CSV")]  # fmt: skip
    tools = [
        html.Button(label, type="button", title=f"{about}: {TITLES[name]}",
                    **ids.data(action=action, chart=name),
                    **ids.named(f"{label}: {TITLES[name]}"))
        for label, action, about in buttons
    ]  # fmt: skip
    head = html.Div(
        [html.H2(TITLES[name]), html.Div(tools, className="chart-tools")], className="chart-head"
    )
    return html.Figure(
        [
            html.Figcaption([head, html.P(id=f"takeaway-{name}")]),
            html.Div(id=f"chart-{name}", className="chart", role="group",
                     **ids.named(TITLES[name])),
        ]
    )  # fmt: skip


def _about() -> Told:
    """Return what the page's scripts need to draw controls: labels, units, help, a new choice."""

    def fields(named: dict[str, str]) -> list[Told]:
        told = []
        for path, label in named.items():
            quantity = labels_fleet.quantity_of(path)
            told.append(
                {
                    "path": path, "label": label, "unit": quantity.unit,
                    "money": labels_fleet.is_money(path), "help": words_fleet.help_of(path),
                    "low": quantity.low, "high": quantity.high,
                }
            )  # fmt: skip
        return told

    return {
        "page": PAGE, "general": fields(GENERAL), "choice": fields(CHOICE),
        "more": fields(CHOICE_MORE), "currency": labels_fleet.CURRENCY,
        "currency_help": labels_fleet.CURRENCY_HELP, "sites_help": labels_fleet.SITES_HELP,
        "paste_help": labels_fleet.PASTE_HELP, "most_sites": MOST_SITES,
        "most_choices": MOST_CHOICES, "most_file_bytes": MOST_FILE_BYTES, "titles": TITLES,
        "new_choice": _plain_choice(HostChoice(name="New host")), "caution": CAUTION,
        "event_head": EVENT_HEAD, "too_long": words_fleet.TOO_LONG,
        "working": words_failures.WORKING,
    }  # fmt: skip


def _plain_choice(choice: Record) -> Told:
    told: Told = json.loads(choice.model_dump_json())
    return {
        name: float(value) if name.endswith(("price", "per_host")) else value
        for name, value in told.items()
    }
