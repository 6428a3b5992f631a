"""How is it told to a visitor that a value will not do? By the names that the page shows.

The model names a field by its path, "roles[1].vcpus"; a person reads "Role 2, vCPUs". Programs
that ask for numbers get the path, see `app.downloads`.
"""

import re

from app.labels import (
    ACTIVITY_COLUMNS,
    DISPLAY_SIZE,
    DISPLAYS_IN_MOTION,
    LABELS,
    ROLE_COLUMNS,
    SESSIONS_PRESENT,
)
from model.errors import InputError

_NAMES = LABELS | {
    "activities": "Activities",
    "day.end": "End of the day",
    "day.present_pct": SESSIONS_PRESENT,
    "day.start": "Start of the day",
    "file": "The file",
    "link": "The link",
    "name": "Name",
    "needed": "Sessions on all hosts together",
    "note": "Note",
    "pin": "The pinned scenario",
    "roles": "Roles",
    "scenario": "The scenario",
    "tags": "Tags",
    "v": "The link's version (v)",
    "version": "Version",
    "words": "What changed",
}
_OF_A_ROW = ACTIVITY_COLUMNS | ROLE_COLUMNS | {
    "activity_pct": "Habit",
    "display": DISPLAY_SIZE,
    "name": "Name",
    "spans": DISPLAYS_IN_MOTION,
    "weight_pct": "Share of the sessions",
}  # fmt: skip
_ROW = re.compile(r"(activities|roles|revisions|tags|items)\[(\d+)\](?:\.(.+))?")
_POINT = re.compile(r"day\.present_pct\[(\d+)\].*")
_ONE = {"activities": "Activity", "items": "Scenario", "revisions": "Revision", "roles": "Role",
        "tags": "Tag"}  # fmt: skip


def refusal(error: InputError) -> str:
    """Return what is wrong with a value, and what would do.

    Parameters
    ----------
    error : InputError
        The model's refusal.
    """
    name = field_name(error.field)
    if error.value is None or error.value == "":
        told = error.expected.rstrip(".")
        return (
            f"{name} is missing." if "missing" in told else f"{name} is missing; expected {told}."
        )
    return str(InputError(name, error.value, error.expected))


def field_name(path: str) -> str:
    """Return what the page calls a field.

    Parameters
    ----------
    path : str
        The path by which the model names it; one that is not known stays as it is.
    """
    if path in _NAMES:
        return _NAMES[path]
    point = _POINT.fullmatch(path)
    if point:
        return f"{SESSIONS_PRESENT}, point {int(point[1]) + 1}"
    row = _ROW.fullmatch(path)
    if row is None:
        return path
    kind, index, rest = row.groups()
    name = f"{_ONE[kind]} {int(index) + 1}"
    if not rest:
        return name
    if kind == "revisions":
        return f"{name}, {_within(field_name(rest.removeprefix('scenario.')))}"
    column, _, more = rest.partition(".")
    told = f"{name}, {_within(_OF_A_ROW.get(column, column))}"
    return f"{told}, {more}" if more else told


def _within(name: str) -> str:
    """A name within a longer one: CPU and vCPUs stay, any other begins with a small letter."""
    return name if name[:2].isupper() else name[:1].lower() + name[1:]
