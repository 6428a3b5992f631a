"""Which numbers stand in Crestline where nobody gave one, and where does each come from?

All rows come from the records of the model, with labels of the page where there is one; nothing
is typed here.
"""

from dataclasses import dataclass
from typing import Any

from app import labels
from app.answers import DAY_REPLICATES
from model.day import MOST_REPLICATES
from model.defaults import (
    ACTIVITY_PROVENANCE,
    BURST_PHASES,
    BURST_PHASES_PROVENANCE,
    FIELDS,
    INVENTED,
    Quantity,
)
from model.draws import GROUPS
from model.failures import CIRCUMSTANCES
from model.fleet_inputs import FLEET_FIELDS
from model.hosts import SAMPLED_HOSTS
from model.scenario import Scenario, default
from model.uncertainty import DRAWS, FEWEST_DRAWS, MOST_DRAWS

_SECTIONS = {
    "": "Scenario",
    "host": "Host",
    "accelerator": "Accelerator",
    "activities": "An activity",
    "roles": "A role",
    "day": "The day",
    "targets": "Targets",
}
_MORE_LABELS = {
    "roles.weight_pct": "Share of the sessions",
    "roles.activity_pct": "Habit",
    "day.present_pct": labels.SESSIONS_PRESENT,
}


@dataclass(frozen=True)
class DefaultRow:
    """One number.

    Parameters
    ----------
    group, label : str
        Under which heading, and what it is called; "" where only its meaning is told.
    meaning : str
        One sentence.
    value, reach : str
        Default and range, with the unit.
    provenance : str
        Where the default comes from.
    """

    group: str
    label: str
    meaning: str
    value: str
    reach: str
    provenance: str


def default_rows() -> list[DefaultRow]:
    """Return every number that has a default, in groups."""
    rows = [
        _row(_SECTIONS[path.rpartition(".")[0]], label_of(path), quantity)
        for path, quantity in FIELDS.items()
    ]
    order = list(_SECTIONS.values())
    rows.sort(key=lambda row: order.index(row.group))
    rows += [_row("Fleet and cost", "", quantity) for quantity in FLEET_FIELDS.values()]
    rows += [
        _row("Spread of uncertain inputs", _capital(group.label), group.spread)
        for group in GROUPS.values()
    ]
    rows += [_row("When something fails", "", quantity) for quantity in CIRCUMSTANCES.values()]
    return rows + _of_the_method()


def label_of(path: str) -> str:
    """Return what a number of the scenario is called on screen.

    Parameters
    ----------
    path : str
        A key of `model.defaults.FIELDS`.
    """
    part, _, name = path.rpartition(".")
    columns = {"activities": labels.ACTIVITY_COLUMNS, "roles": labels.ROLE_COLUMNS}.get(part, {})
    return labels.LABELS.get(path) or _MORE_LABELS.get(path) or columns.get(name, "")


def _row(group: str, label: str, quantity: Quantity) -> DefaultRow:
    unit = quantity.unit
    value = "must be given" if quantity.value is None else labels.amount(quantity.value, unit)
    low, high = (f"{each:,.10g}" for each in (quantity.low, quantity.high))
    reach = f"{low} to {high}" + (", whole" if quantity.whole else "")
    return DefaultRow(group, label, quantity.meaning, value, reach, quantity.provenance)


def _of_the_method() -> list[DefaultRow]:
    group = "The method itself"
    ours = "our choice: "
    return [
        DefaultRow(
            group, "Evenness of work", "Phases of the law by which work varies from frame to frame "
            "and burst to burst.", f"{BURST_PHASES} phases", "fixed", BURST_PHASES_PROVENANCE,
        ),
        DefaultRow(
            group, "Sampled hosts", "Hosts that are drawn where demand cannot be computed exactly.",
            f"{SAMPLED_HOSTS} hosts", "fewer with many sessions",
            f"{ours}enough for the p99 of demand",
        ),
        DefaultRow(
            group, "Draws", "Scenarios that are drawn for the bands of uncertainty.",
            f"{DRAWS} draws", f"{FEWEST_DRAWS:,} to {MOST_DRAWS:,}, whole",
            f"{ours}a P10 and a P90 that hardly move from seed to seed",
        ),
        DefaultRow(
            group, "Replicates of the day", "Days that are simulated.",
            f"{DAY_REPLICATES} days",
            f"1 to {MOST_REPLICATES:,}, whole", f"{ours}a crest known to about 1 %",
        ),
    ]  # fmt: skip


@dataclass(frozen=True)
class Listing:
    """A table of records: one row each.

    Parameters
    ----------
    title : str
        Its caption.
    head : tuple of str
        Column headings, with units.
    rows : tuple of tuple of str
        The first entry of each is the record's name.
    """

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def example_listings() -> list[Listing]:
    """Return activities, roles and presence of the shipped example."""
    scenario = default()
    return [_activities(scenario), _roles(scenario), _habits(scenario), _presence(scenario)]


def _headed(columns: dict[str, str], part: str) -> list[str]:
    return [f"{label} [{FIELDS[f'{part}.{name}'].unit}]" for name, label in columns.items()]


def _activities(scenario: Scenario) -> Listing:
    columns = labels.ACTIVITY_COLUMNS
    rows = tuple(
        (
            each.name,
            *(f"{getattr(each, name):.10g}" for name in columns),
            labels.SPANS[each.spans],
            ACTIVITY_PROVENANCE[each.name],
        )
        for each in scenario.activities
    )
    head = ("Activity", *_headed(columns, "activities"), labels.DISPLAYS_IN_MOTION, "Where from")
    return Listing("Activities of the example", head, rows)


def _roles(scenario: Scenario) -> Listing:
    columns = labels.ROLE_COLUMNS
    share = f"{_MORE_LABELS['roles.weight_pct']} [%]"
    rows = tuple(
        (
            each.name,
            f"{each.weight_pct:.10g}",
            *(f"{getattr(each, name):.10g}" for name in columns),
            each.display,
            INVENTED,
        )
        for each in scenario.roles
    )
    head = ("Role", share, *_headed(columns, "roles"), labels.DISPLAY_SIZE, "Where from")
    return Listing("Roles of the example", head, rows)


def _habits(scenario: Scenario) -> Listing:
    roles = scenario.roles
    rows = tuple(
        (each.name, *(f"{role.activity_pct.get(each.name, 0):.10g}" for role in roles))
        for each in scenario.activities
    )
    head = ("Activity", *(_capital(role.name) for role in roles))
    return Listing("Habits of the example: share of a role's time in each activity [%]", head, rows)


def _presence(scenario: Scenario) -> Listing:
    points: Any = scenario.day.present_pct
    rows = tuple((str(clock), f"{share:.10g}") for clock, share in points)
    return Listing("Presence over the example's day", ("Time of day", "Sessions present [%]"), rows)


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
