"""Which inputs stand on the printed proposal sheet, under which headings?"""

from typing import Any

from app.labels import (
    ACTIVITY_COLUMNS,
    DISPLAY_SIZE,
    DISPLAYS_IN_MOTION,
    LABELS,
    ROLE_COLUMNS,
    SESSIONS_PRESENT,
)
from model.defaults import FIELDS
from model.scenario import Scenario, to_data

Group = dict[str, Any]

_GROUPS = {  # heading: how the paths of its inputs begin
    "Host and sessions": ("sessions", "host.", "reference_clock_ghz"),
    "Accelerator": ("accelerator.",),
    "Targets": ("targets.",),
    "Day": ("day.",),
}


def sheet(scenario: Scenario) -> dict[str, Any]:
    """Return all inputs of a scenario as headed lists and tables of text.

    Parameters
    ----------
    scenario : Scenario
        The scenario.

    Returns
    -------
    dict
        name; groups, each with title and rows of label and value; tables, each with title, head
        and rows. Units stand in labels and heads.
    """
    data = to_data(scenario)
    rows = {title: _rows(data, starts) for title, starts in _GROUPS.items()}
    day = data["day"]
    rows["Day"] += [
        ["Hours of the day", f"{day['start']} to {day['end']}"],
        [
            SESSIONS_PRESENT,
            ", ".join(f"{clock} {_text(share)} %" for clock, share in day["present_pct"]),
        ],
    ]
    groups = [{"title": title, "rows": listed} for title, listed in rows.items()]
    return {"name": scenario.name, "groups": groups, "tables": [_roles(data), _activities(data)]}


def _rows(data: dict[str, Any], starts: tuple[str, ...]) -> list[list[str]]:
    rows = []
    for path, label in LABELS.items():
        if not path.startswith(starts):
            continue
        at: Any = data
        for name in path.split("."):
            at = at[name]
        rows.append([_headed(label, FIELDS[path].unit), _text(at)])
    return rows


def _roles(data: dict[str, Any]) -> Group:
    head = ["Role", "Share [%]", f"{DISPLAY_SIZE} [pixels]"]
    head += [_headed(label, FIELDS[f"roles.{name}"].unit) for name, label in ROLE_COLUMNS.items()]
    rows = []
    for role in data["roles"]:
        shares = role["activity_pct"].items()
        habit = ", ".join(f"{name} {_text(share)} %" for name, share in shares if share)
        numbers = [_text(role[name]) for name in ROLE_COLUMNS]
        first = [role["name"], _text(role["weight_pct"]), role["display"]]
        rows.append([*first, *numbers, habit])
    return {"title": "Session mix", "head": [*head, "Habit"], "rows": rows}


def _activities(data: dict[str, Any]) -> Group:
    head = ["Activity", DISPLAYS_IN_MOTION]
    head += [
        _headed(label, FIELDS[f"activities.{name}"].unit)
        for name, label in ACTIVITY_COLUMNS.items()
    ]
    rows = [
        [each["name"], each["spans"], *[_text(each[name]) for name in ACTIVITY_COLUMNS]]
        for each in data["activities"]
    ]
    return {"title": "Activities", "head": head, "rows": rows}


def _headed(label: str, unit: str) -> str:
    said = unit in ("", "-") or unit.lower() in label.lower().split()  # "CPU cores [cores]"
    return label if said else f"{label} [{unit}]"


def _text(amount: float) -> str:
    return f"{amount:.10g}"
