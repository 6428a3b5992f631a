"""How does a visitor edit the lists of a scenario: activities, roles, habits, presence?

Each list is a table of boxes, one row an entry, with a button that removes the row and one below
that adds another. What the buttons do stands in assets/host-lists.js; here they only say by
data-edit, data-list and data-index what they are for. Names stand in spans that carry data-named,
so that the script can follow a new name wherever it is shown.
"""

from typing import Any

from dash import html

from app import ids, labels
from app.components.fields import (
    error_of,
    explained,
    help_of,
    hidden_label,
    measured_at,
    number_box,
    text_box,
    value_at,
)
from app.labels import (
    ACTIVITY_COLUMNS,
    DISPLAY_SIZE,
    DISPLAYS_IN_MOTION,
    HABIT,
    PRESENT,
    ROLE_COLUMNS,
    SESSIONS_PRESENT,
    SPANS,
    TEXT_HELP,
)
from model.defaults import FIELDS, MOST_ACTIVITIES, MOST_POINTS, MOST_ROLES
from model.scenario import Scenario
from model.sessions import LONGEST_NAME

Component = Any

_UNREAD: dict[str, Any] = {"aria-hidden": "true"}
_SIZES = "display-sizes"
_USUAL_SIZES = ["1280x720", "1920x1080", "1920x1200", "2560x1440", "3440x1440", "3840x2160"]


def activity_list(scenario: Scenario) -> list[Component]:
    """Return the table of activities.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    """
    kind, columns = "activities", ACTIVITY_COLUMNS
    entries = [(label, help_of(FIELDS[f"{kind}.{name}"])) for name, label in columns.items()]
    texts = [("Activity", TEXT_HELP["name"]), (DISPLAYS_IN_MOTION, TEXT_HELP["spans"])]
    rows = []
    for index, activity in enumerate(scenario.activities):
        path = f"{kind}[{index}]"
        rows.append(
            [
                _name_cell(path, activity.name, "activity", len(scenario.activities) > 1),
                *[_number_cell(scenario, path, name, label) for name, label in columns.items()],
                _spans_cell(path, activity.name, activity.spans),
            ]
        )
    return [
        _table("Activities", [_corner("Activity"), *_heads(kind, columns),
                              _head(DISPLAYS_IN_MOTION, "")], rows),
        _adder(kind, "Add an activity", len(rows), MOST_ACTIVITIES),
        explained("What the columns mean", [texts[0], *entries, texts[1]]),
    ]  # fmt: skip


def role_list(scenario: Scenario) -> list[Component]:
    """Return the table of roles, and below it the table of their habits.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    """
    kind, columns = "roles", ROLE_COLUMNS
    entries = [(label, help_of(FIELDS[f"{kind}.{name}"])) for name, label in columns.items()]
    rows = []
    for index, role in enumerate(scenario.roles):
        path = f"{kind}[{index}]"
        rows.append(
            [
                _name_cell(path, role.name, "role", len(scenario.roles) > 1),
                *[_number_cell(scenario, path, name, label) for name, label in columns.items()],
                _display_cell(path, role.name, role.display),
            ]
        )
    return [
        _table("Roles", [_corner("Role"), *_heads(kind, columns), _head(DISPLAY_SIZE, "pixels")],
               rows),
        html.Datalist([html.Option(value=size) for size in _USUAL_SIZES], id=_SIZES),
        _adder(kind, "Add a role", len(rows), MOST_ROLES),
        html.P(HABIT, className="table-title"),
        _habits(scenario),
        explained("What the columns mean", [
            ("Role", TEXT_HELP["name"]), *entries, (DISPLAY_SIZE, TEXT_HELP["display"]),
            ("Shares of a habit", help_of(FIELDS["roles.activity_pct"])),
        ]),
    ]  # fmt: skip


def presence_list(scenario: Scenario) -> list[Component]:
    """Return start and end of the day, and the table of its presence curve.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    """
    day = scenario.day
    rows = []
    for index, (clock, share) in enumerate(day.present_pct):
        path = f"day.present_pct[{index}]"
        time, present = ids.field(f"{path}[0]"), ids.field(f"{path}[1]")
        name = _named(path, clock)
        rows.append(
            [
                html.Td([hidden_label(time, f"Time of point {index + 1}"),
                         text_box(time, clock, maxLength=5)]),
                html.Td([hidden_label(present, [f"{SESSIONS_PRESENT} at ", name]),
                         number_box(present, share)]),
                html.Td([_remover(path, ["the point at ", name], len(day.present_pct) > 2),
                         error_of(path)]),
            ]
        )  # fmt: skip
    head = [
        _head("Time", ""),
        _head(SESSIONS_PRESENT, FIELDS["day.present_pct"].unit),
        _head("", ""),
    ]
    return [
        html.Div([_clock("day.start", "Start of the day", day.start),
                  _clock("day.end", "End of the day", day.end)], className="pair"),
        html.P(PRESENT, className="table-title"),
        _table(SESSIONS_PRESENT, head, rows, whole_row=True),
        error_of("day.present_pct"),
        _adder("day.present_pct", "Add a point", len(rows), MOST_POINTS),
        explained("What the columns mean", [
            ("Start and end", TEXT_HELP["clock"]), ("Time", TEXT_HELP["point"]),
            (SESSIONS_PRESENT, help_of(FIELDS["day.present_pct"])),
        ]),
    ]  # fmt: skip


def _habits(scenario: Scenario) -> Component:
    head = [_corner("Role, sum of its shares")] + [
        html.Th(_named(f"activities[{at}]", activity.name), scope="col")
        for at, activity in enumerate(scenario.activities)
    ]
    rows = []
    for index, role in enumerate(scenario.roles):
        cells: list[Component] = []
        for at, activity in enumerate(scenario.activities):
            component = ids.field(f"roles[{index}].activity_pct[{at}]")
            names = [_named(f"roles[{index}]", role.name), ": share of ",
                     _named(f"activities[{at}]", activity.name)]  # fmt: skip
            share = role.activity_pct.get(activity.name, 0)
            cells.append(html.Td([hidden_label(component, names), number_box(component, share)]))
        total = sum(role.activity_pct.values())
        row = html.Th(
            [
                html.Span(_named(f"roles[{index}]", role.name), className="row-name"),
                html.Output(labels.amount(round(total, 2), "%"), id=f"sum-roles[{index}]"),
                error_of(f"roles[{index}].activity_pct"),
            ],
            scope="row",
        )
        rows.append([row, *cells])
    return _table("Habits", head, rows, whole_row=True)


def _table(
    name: str, head: list[Component], rows: list[list[Component]], whole_row: bool = False
) -> Component:
    """A table that scrolls by itself; with `whole_row` an error concerns all boxes of its row."""
    told = ids.data(whole="row") if whole_row else {}
    body = [html.Tr(cells, **told) for cells in rows]
    return html.Div(
        html.Table([html.Thead(html.Tr(head)), html.Tbody(body)], className="edit-table"),
        className="scroll", tabIndex=0, role="region", **ids.named(f"{name} table"),
    )  # fmt: skip


def _corner(label: str) -> Component:
    return html.Th(label, scope="col", title=TEXT_HELP["name"])


def _head(label: str, unit: str) -> Component:
    if not label:
        return html.Td()
    if not unit:
        return html.Th(label, scope="col")
    return html.Th([label, html.Br(), html.Span(unit, className="unit")], scope="col")


def _heads(kind: str, columns: dict[str, str]) -> list[Component]:
    return [
        html.Th([label, html.Br(), html.Span(FIELDS[f"{kind}.{name}"].unit, className="unit")],
                scope="col", title=help_of(FIELDS[f"{kind}.{name}"]))
        for name, label in columns.items()
    ]  # fmt: skip


def _named(path: str, name: str) -> Component:
    return html.Span(name, **ids.data(named=path))


def _name_cell(path: str, name: str, kind: str, removable: bool) -> Component:
    component = ids.field(f"{path}.name")
    return html.Th(
        [
            html.Div(
                [
                    hidden_label(component, f"Name of the {kind}"),
                    text_box(component, name, maxLength=LONGEST_NAME),
                    _remover(path, [f"the {kind} ", _named(path, name)], removable),
                ],
                className="name-cell",
            ),
            error_of(f"{path}.name"),
        ],
        scope="row",
    )


def _number_cell(scenario: Scenario, path: str, name: str, label: str) -> Component:
    component, field = ids.field(f"{path}.{name}"), f"{path}.{name}"
    entry = _named(path, value_at(scenario, path).name)
    return html.Td(
        [
            hidden_label(component, [entry, f": {label}"]),
            number_box(component, value_at(scenario, field)),
            *([measured_at(field)] if path.startswith("activities") else []),
            error_of(field),
        ]
    )


def _spans_cell(path: str, name: str, spans: str) -> Component:
    component = ids.field(f"{path}.spans")
    options = [
        html.Option(label, value=value, selected=value == spans) for value, label in SPANS.items()
    ]
    return html.Td(
        [
            hidden_label(component, [_named(path, name), f": {DISPLAYS_IN_MOTION.lower()}"]),
            html.Select(options, id=component),
            error_of(f"{path}.spans"),
        ]
    )


def _display_cell(path: str, name: str, display: str) -> Component:
    component = ids.field(f"{path}.display")
    return html.Td(
        [
            hidden_label(component, [_named(path, name), f": {DISPLAY_SIZE.lower()}"]),
            text_box(component, display, list=_SIZES, maxLength=9),
            error_of(f"{path}.display"),
        ]
    )


def _clock(path: str, label: str, value: str) -> Component:
    component = ids.field(path)
    return html.Div(
        [
            html.Label(label, htmlFor=ids.in_page(component)),
            text_box(component, value, maxLength=5),
            error_of(path),
        ],
        className="number",
    )


def _remover(path: str, what: list[Any], removable: bool) -> Component:
    kind, _, index = path.removesuffix("]").rpartition("[")
    return html.Button(
        [html.Span("\u00d7", **_UNREAD),
         html.Span(["Remove ", *what], className="hidden-label")],
        type="button", disabled=not removable, className="remove",
        **ids.data(edit="remove", list=kind, index=index),
    )  # fmt: skip


def _adder(kind: str, label: str, count: int, most: int) -> Component:
    return html.Div(
        [
            html.Button(label, type="button", disabled=count >= most,
                        **ids.data(edit="add", list=kind)),
            html.Small(f"{count} of at most {most}", className="unit"),
            html.P(id=f"edited-{kind}", className="help", role="status"),
        ],
        className="adder",
    )  # fmt: skip
