"""Which controls does the Host page show for a scenario, and in which groups?

Four sliders stay in sight: sessions, cores, cards and accelerator share, and below them each role's
weight. Everything else is folded away in named groups. Every control carries its unit
and, as help, the sentence and the provenance of its default from `model.defaults.FIELDS`.
"""

from typing import Any

from dash import dcc, html

from app import ids
from app.words import ACTIVITY_COLUMNS, LABELS, ROLE_COLUMNS
from model.defaults import FIELDS, Quantity
from model.scenario import Scenario

Component = Any

_SLIDER_ENDS = {"sessions": (1, 300, 1), "host.cores": (1, 128, 1),
                "accelerator.cards": (0, 4, 1), "accelerator.share_pct": (0, 100, 1)}  # fmt: skip
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
            ],
            className="group open-group",
        ),
        _group("Host details", [_number(scenario, path) for path in [*_HOST, _REFERENCE]]),
        _group("Activities", [_activities(scenario)]),
        _group("Roles", [_roles(scenario)]),
        _group(
            "Accelerator",
            [
                _number(scenario, "accelerator.displays_per_card"),
                _number(scenario, "accelerator.megapixels_per_s_per_card"),
            ],
        ),
        _group("Targets", [_number(scenario, p) for p in LABELS if p.startswith("targets.")]),
        _group("Day", [_number(scenario, "day.logon_core_s"), _presence(scenario)]),
    ]


_REFERENCE = "reference_clock_ghz"


def _group(title: str, children: list[Component]) -> Component:
    return html.Details([html.Summary(title), html.Div(children, className="fields")],
                        className="group")  # fmt: skip


def _value(scenario: Scenario, path: str) -> Any:
    value: Any = scenario
    for name in path.replace("[", ".").replace("]", "").split("."):
        value = value[int(name)] if name.isdigit() else getattr(value, name)
    return value


def _unit(unit: str) -> dict[str, Any]:
    return {"data-unit": unit}


def _help(quantity: Quantity) -> str:
    return f"{quantity.meaning} {quantity.low:.10g} to {quantity.high:.10g} {quantity.unit}. " \
           f"Default: {quantity.provenance}."  # fmt: skip


def _slider(scenario: Scenario, path: str) -> Component:
    quantity = FIELDS[path]
    low, high, step = _SLIDER_ENDS[path]
    value = _value(scenario, path)
    component = ids.field(path)
    end = high if value <= high else min(round(value * 1.5), quantity.high)
    return html.Div(
        [
            html.Label(LABELS[path], htmlFor=ids.in_page(component)),
            html.Output(f"{value:g} {quantity.unit}", id=f"shown-{path}",
                        **_unit(quantity.unit)),
            dcc.Input(id=component, type="range", min=low, max=end,
                      step=step if value == round(value) else "any", value=value),
            html.Small(id=f"error-{path}", className="error"),
        ],
        className="slider", title=_help(quantity),
    )  # fmt: skip


def _weight(scenario: Scenario, index: int) -> Component:
    role = scenario.roles[index]
    path = f"roles[{index}].weight_pct"
    component = ids.weight(path)
    return html.Div(
        [
            html.Label(role.name, htmlFor=ids.in_page(component)),
            html.Output(f"{role.weight_pct:g} %", id=f"shown-{path}", **_unit("%")),
            dcc.Input(id=component, type="range", min=0, max=100, step="any",
                      value=role.weight_pct),
            html.Small(id=f"error-{path}", className="error"),
        ],
        className="slider", title=_help(FIELDS["roles.weight_pct"]),
    )  # fmt: skip


def _number(scenario: Scenario, path: str) -> Component:
    quantity = FIELDS[path]
    component = ids.field(path)
    return html.Div(
        [
            html.Label([LABELS[path], html.Span(f" [{quantity.unit}]", className="unit")],
                       htmlFor=ids.in_page(component)),
            dcc.Input(id=component, type="number", value=_value(scenario, path), step="any",
                      debounce=0.3),
            html.Small(_help(quantity), className="help"),
            html.Small(id=f"error-{path}", className="error"),
        ],
        className="number",
    )  # fmt: skip


def _activities(scenario: Scenario) -> Component:
    rows = [(activity.name, f"activities[{i}]") for i, activity in enumerate(scenario.activities)]
    return _table(scenario, "Activity", rows, "activities", ACTIVITY_COLUMNS)


def _roles(scenario: Scenario) -> Component:
    rows = [(role.name, f"roles[{i}]") for i, role in enumerate(scenario.roles)]
    return _table(scenario, "Role", rows, "roles", ROLE_COLUMNS)


def _table(
    scenario: Scenario, title: str, rows: list[tuple[str, str]], kind: str, columns: dict[str, str]
) -> Component:
    head = [html.Th(title, scope="col")] + [
        html.Th([label, html.Br(), html.Span(FIELDS[f"{kind}.{name}"].unit, className="unit")],
                scope="col", title=_help(FIELDS[f"{kind}.{name}"]))
        for name, label in columns.items()
    ]  # fmt: skip
    body = []
    for row_name, row_path in rows:
        cells: list[Component] = [html.Th(row_name, scope="row")]
        for name, label in columns.items():
            path = f"{row_path}.{name}"
            component = ids.field(path)
            cells.append(
                html.Td(
                    [
                        html.Label(f"{row_name}: {label}", htmlFor=ids.in_page(component),
                                   className="hidden-label"),
                        dcc.Input(id=component, type="number", value=_value(scenario, path),
                                  step="any", debounce=0.3),
                        html.Small(id=f"error-{path}", className="error"),
                    ]
                )
            )  # fmt: skip
        body.append(html.Tr(cells))
    return html.Div(
        html.Table([html.Thead(html.Tr(head)), html.Tbody(body)], className="edit-table"),
        className="scroll", tabIndex=0, role="region", **ids.named(f"{title} table"),
    )  # fmt: skip


def _presence(scenario: Scenario) -> Component:
    cells = [html.Tr([html.Td(clock), html.Td(f"{share:g} %")])
             for clock, share in scenario.day.present_pct]  # fmt: skip
    head = html.Tr([html.Th("Time", scope="col"), html.Th("Present", scope="col")])
    return html.Div(
        [
            html.P(f"The day runs from {scenario.day.start} to {scenario.day.end}; "
                   "the share present in between:"),
            html.Table([html.Thead(head), html.Tbody(cells)], className="edit-table"),
        ]
    )  # fmt: skip
