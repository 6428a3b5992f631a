"""Which controls does the Host page show for a scenario, and in which groups?

Four sliders stay in sight: sessions, cores, cards and accelerator share, and below them each role's
weight. Everything else is folded away in named groups; activities, roles and presence are lists
(`app.components.lists`). Every control carries its unit and, as help, the sentence, the range and
the provenance of its default from `model.defaults.FIELDS`.
"""

from typing import Any

from dash import dcc, html

from app import ids
from app.components.fields import error_of, explained, help_of, shown, value_at
from app.components.lists import activity_list, presence_list, role_list
from app.labels import LABELS
from model.defaults import FIELDS
from model.scenario import Scenario

Component = Any

_SLIDER_ENDS = {"sessions": (1, 300, 1), "host.cores": (1, 128, 1),
                "accelerator.cards": (0, 4, 1), "accelerator.share_pct": (0, 100, 1)}  # fmt: skip
_SLIDERS = "What the sliders mean"
_HOST = [name for name in LABELS if name.startswith("host.") and name != "host.cores"]


def controls(scenario: Scenario) -> list[Component]:
    """Return all controls, set to a scenario.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    """
    return [
        html.Div(
            [
                _slider(scenario, "sessions"),
                _slider(scenario, "host.cores"),
                _slider(scenario, "accelerator.cards"),
                _slider(scenario, "accelerator.share_pct"),
            ],
            className="group open-group",
        ),
        html.Fieldset(
            [
                html.Legend("Session mix, in all 100 %"),
                *[_weight(scenario, index) for index in range(len(scenario.roles))],
                error_of("roles.weight_pct"),
            ],
            className="group open-group",
        ),
        explained(
            _SLIDERS,
            [
                *[(LABELS[path], help_of(FIELDS[path])) for path in _SLIDER_ENDS],
                ("Session mix", help_of(FIELDS["roles.weight_pct"])),
            ],
        ),
        _group("Host details", [_number(scenario, path) for path in [*_HOST, _REFERENCE]]),
        _group("Activities", activity_list(scenario), wide=True),
        _group("Roles", role_list(scenario), wide=True),
        _group(
            "Accelerator",
            [
                _number(scenario, "accelerator.displays_per_card"),
                _number(scenario, "accelerator.megapixels_per_s_per_card"),
            ],
        ),
        _group("Targets", [_number(scenario, p) for p in LABELS if p.startswith("targets.")]),
        _group("Day", [*presence_list(scenario), _number(scenario, "day.logon_core_s")]),
    ]


_REFERENCE = "reference_clock_ghz"


def _group(title: str, children: list[Component], wide: bool = False) -> Component:
    return html.Details([html.Summary(title), html.Div(children, className="fields")],
                        className="group wide-group" if wide else "group")  # fmt: skip


def _slider(scenario: Scenario, path: str) -> Component:
    quantity = FIELDS[path]
    low, high, step = _SLIDER_ENDS[path]
    value = value_at(scenario, path)
    component = ids.field(path)
    end = high if value <= high else min(round(value * 1.5), quantity.high)
    return html.Div(
        [
            html.Label(LABELS[path], htmlFor=ids.in_page(component)),
            shown(path, value, quantity.unit),
            dcc.Input(id=component, type="range", min=low, max=end,
                      step=step if value == round(value) else "any", value=value),
            error_of(path),
        ],
        className="slider", title=help_of(quantity),
    )  # fmt: skip


def _weight(scenario: Scenario, index: int) -> Component:
    role = scenario.roles[index]
    path = f"roles[{index}].weight_pct"
    component = ids.weight(path)
    return html.Div(
        [
            html.Label(html.Span(role.name, **ids.data(named=f"roles[{index}]")),
                       htmlFor=ids.in_page(component)),
            shown(path, round(role.weight_pct, 1), "%"),
            dcc.Input(id=component, type="range", min=0, max=100, step="any",
                      value=role.weight_pct),
            error_of(path),
        ],
        className="slider", title=help_of(FIELDS["roles.weight_pct"]),
    )  # fmt: skip


def _number(scenario: Scenario, path: str) -> Component:
    quantity = FIELDS[path]
    component = ids.field(path)
    return html.Div(
        [
            html.Label([LABELS[path], html.Span(f" [{quantity.unit}]", className="unit")],
                       htmlFor=ids.in_page(component)),
            dcc.Input(id=component, type="number", value=value_at(scenario, path), step="any",
                      debounce=0.3),
            html.Small(help_of(quantity), className="help"),
            error_of(path),
        ],
        className="number",
    )  # fmt: skip
