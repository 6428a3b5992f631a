"""Which numbers stand behind the page, as a table for each chart and as one JSON document?

What is pinned comes as further columns of a table and as "pinned" in the document. The numbers are
those of the model, to the last digit; the caution travels with them. `app.downloads` sends both.
Nothing here knows of requests, so that a process of its own can write a table.
"""

import dataclasses
import json
from typing import Any

import numpy as np

from app import url_state
from app.answers import DAY_SEED, bounds_of, replicates_of
from app.csv_text import csv_text
from app.failure_answers import document as event_document
from app.sure_result import Bands
from app.theme import ARM_LABEL
from app.words import CAUTION
from model import scenario_url
from model.assess import Assessment, assess, one_desktop, what_if
from model.day import DayResult, crest_reduction_pct, simulate_day_both
from model.hosts import ARMS, Arm
from model.plain_data import plain_data
from model.scenario import Scenario, load, to_data

VERSION = 1  # of the document; a field that goes or changes its meaning makes it 2
ASSESSMENT = "assessment"

_COLUMNS = {  # field of the curve: name of the column, unit
    "headroom_pct": ("headroom", "% of CPU"),
    "cpu_mean_pct": ("CPU demand mean", "% of CPU"),
    "cpu_p50_pct": ("CPU demand p50", "% of CPU"),
    "cpu_p95_pct": ("CPU demand p95", "% of CPU"),
    "cpu_p99_pct": ("CPU demand p99", "% of CPU"),
    "frames_busy_pct": ("delivered frames busy", "% of wanted"),
    "frames_mean_pct": ("delivered frames mean", "% of wanted"),
    "wait_busy_pct": ("scheduler wait busy", "% of vCPU time"),
    "wait_mean_pct": ("scheduler wait mean", "% of vCPU time"),
    "stretch_mean": ("response slow-down mean", "times"),
}
_OF_CHART = {
    "headroom": [name for name in _COLUMNS if name.startswith(("headroom", "cpu"))],
    "contention": [name for name in _COLUMNS if name.startswith(("frames", "wait", "stretch"))],
}
_OF_DAY = {
    "demand_p50_pct": ("CPU demand p50", "% of CPU"),
    "demand_p95_pct": ("CPU demand p95", "% of CPU"),
    "demand_max_pct": ("CPU demand worst second", "% of CPU"),
}
_OF_DESKTOP = {
    "encode_pct": ("encoding", "% of the desktop's vCPUs"),
    "frames_pct": ("delivered frames", "% of wanted"),
}

Key = tuple[Any, ...]


@dataclasses.dataclass(frozen=True)
class Table:
    """Numbers by key: the sessions, the minute, the role and activity.

    Parameters
    ----------
    keys : list of str
        Names of the columns that hold the key.
    columns : list of str
        Names of the others, with their units.
    rows : dict
        For each key one number in each of the columns.
    """

    keys: list[str]
    columns: list[str]
    rows: dict[Key, list[object]]


def numbers_text(
    what: str,
    scenario_text: str,
    pin: str | None,
    event: str | None = None,
    bands: Bands | None = None,
) -> str:
    """Return a chart's table or the whole answer as text; a process of its own can be given it.

    Parameters
    ----------
    what : str
        One of `app.ids.CHARTS`, or `ASSESSMENT`.
    scenario_text : str
        A scenario that was checked, as JSON text.
    pin : str or None
        Query of the scenario pinned for comparison.
    event : str or None
        An event, as the link writes it; a chart's table does not tell of it.
    bands : Bands or None
        Where most draws of the scenario's uncertain inputs lie, as further columns.
    """
    scenario = load(scenario_text)
    if what == ASSESSMENT:
        return assessment_json(scenario, pin, event)
    return chart_csv(what, scenario, pin, bands)


# ----------------------------------------------------------------------------- tables by chart


def curve_table(chart: str, found: Assessment) -> Table:
    """Return the numbers of a chart over sessions, both arms, at every number of sessions.

    Parameters
    ----------
    chart : str
        "headroom" or "contention".
    found : Assessment
        Both arms.
    """
    names = _OF_CHART[chart]
    columns = [getattr(found.curves[arm], name).tolist() for name in names for arm in ARMS]
    sessions = found.curves["software"].sessions.tolist()
    rows = zip(sessions, zip(*columns, strict=True), strict=True)
    return Table(
        ["sessions on the host [sessions]"],
        _by_arm([_COLUMNS[name] for name in names]),
        {(count,): list(values) for count, values in rows},
    )


def headroom_table(found: Assessment, bounds: tuple[Assessment, Assessment] | None = None) -> Table:
    """Return the numbers of the chart of headroom, with the range that measured costs leave.

    Parameters
    ----------
    found : Assessment
        Both arms.
    bounds : tuple of Assessment or None
        The answers at the low and at the high ends of the measured costs; without them there are
        no columns for the range. A number of sessions that one of them was not worked out for
        has no range.
    """
    table = curve_table("headroom", found)
    if bounds is None:
        return table
    ends: list[str] = []
    columns: list[list[float]] = []
    unit = _COLUMNS["headroom_pct"][1]
    for arm in ARMS:
        sides = [each.curves[arm].headroom_pct for each in bounds]
        shared = min(map(len, sides))
        for end, pick in (("low", np.minimum), ("high", np.maximum)):
            ends.append(f"headroom {ARM_LABEL[arm]} measured costs {end} [{unit}]")
            columns.append(pick(sides[0][:shared], sides[1][:shared]).tolist())
    rows = {
        (sessions,): values + [each[sessions - 1] if sessions <= len(each) else None
                               for each in columns]
        for (sessions,), values in table.rows.items()
    }  # fmt: skip
    return Table(table.keys, table.columns + ends, rows)


def with_bands(table: Table, chart: str, bands: Bands | None) -> Table:
    """Return a table over sessions with what 10 and 90 % of the draws do not exceed.

    Parameters
    ----------
    table : Table
        The table of a chart.
    chart : str
        The chart; only those over sessions have bands.
    bands : Bands or None
        The bands; a number of sessions that was not drawn has none.
    """
    if bands is None or chart not in _OF_CHART:
        return table
    columns: list[str] = []
    values: list[tuple[float, ...]] = []
    for name in _OF_CHART[chart]:
        for arm in ARMS:
            if name in bands.ends[arm]:
                label, unit = _COLUMNS[name]
                columns += [
                    f"{label} {ARM_LABEL[arm]} {end} of {bands.draws} draws [{unit}]"
                    for end in ("P10", "P90")
                ]
                values += bands.ends[arm][name]
    at = {sessions: place for place, sessions in enumerate(bands.sessions)}
    rows = {
        key: cells + [each[at[key[0]]] if key[0] in at else None for each in values]
        for key, cells in table.rows.items()
    }
    return Table(table.keys, table.columns + columns, rows)


def day_table(days: dict[Arm, DayResult]) -> Table:
    """Return CPU demand and presence by minute of the day.

    Parameters
    ----------
    days : dict
        The simulated day of each arm.
    """
    day = days["software"]
    columns = [day.present_mean.tolist()]
    columns += [getattr(days[arm], name).tolist() for name in _OF_DAY for arm in ARMS]
    minutes = ((day.start_s + day.minute_s) // 60).tolist()
    rows = zip(minutes, zip(*columns, strict=True), strict=True)
    return Table(
        ["time of day [h:min]"],
        ["sessions present mean [sessions]", *_by_arm(list(_OF_DAY.values()))],
        {(f"{at // 60:02}:{at % 60:02}",): list(values) for at, values in rows},
    )


def desktop_table(scenario: Scenario) -> Table:
    """Return what one desktop uses, alone on the host, for every role and activity.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    """
    rows: dict[Key, list[object]] = {}
    for role in scenario.roles:
        for alone in one_desktop(scenario, role):
            by_arm = [getattr(alone, name)[arm] for name in _OF_DESKTOP for arm in ARMS]
            share_pct = role.activity_pct.get(alone.activity, 0.0)
            rows[role.name, alone.activity] = [share_pct, alone.app_pct, *by_arm]
    return Table(
        ["role", "activity"],
        [
            "share of the role's time [%]",
            "application work [% of the desktop's vCPUs]",
            *_by_arm(list(_OF_DESKTOP.values())),
        ],
        rows,
    )


def _by_arm(columns: list[tuple[str, str]]) -> list[str]:
    return [f"{name} {ARM_LABEL[arm]} [{unit}]" for name, unit in columns for arm in ARMS]


def _table(chart: str, scenario: Scenario) -> Table:
    if chart == "day":
        return day_table(full_day(scenario))
    if chart == "desktop":
        return desktop_table(scenario)
    found = assess(scenario)
    if chart == "headroom":
        return headroom_table(found, bounds_of(scenario))
    return curve_table(chart, found)


def full_day(scenario: Scenario) -> dict[Arm, DayResult]:
    """Return the day of both arms as the page shows it once a slider rests.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    """
    return simulate_day_both(scenario, DAY_SEED, replicates_of(scenario))


def chart_csv(
    chart: str, scenario: Scenario, pin: str | None = None, bands: Bands | None = None
) -> str:
    """Return the numbers of a chart as CSV text.

    Parameters
    ----------
    chart : str
        One of `app.ids.CHARTS`.
    scenario : Scenario
        The scenario.
    pin : str or None
        Query of the scenario pinned for comparison, whose numbers come as further columns.
    bands : Bands or None
        Where most draws of the uncertain inputs lie, as further columns.

    Returns
    -------
    str
        What it is of, and the caution, stand in the last columns of the first row: a line of
        text above or below would put an end to columns of numbers.
    """
    own = with_bands(_table(chart, scenario), chart, bands)
    header, rows = [*own.keys, *own.columns], own.rows
    about = {"scenario": scenario.name, "link": link_of(scenario), "note": CAUTION}
    if pin is not None:
        pinned = _table(chart, scenario_url.from_query(pin))
        header += [f"pinned {name}" for name in pinned.columns]
        rows = _beside(own, pinned, in_order=chart != "desktop")
        about["pinned link"] = f"/?{pin}" if pin else "/"
    told: list[object] = list(about.values())
    nothing: list[object] = [None] * len(about)
    lines = [
        [*key, *values, *(nothing if index else told)]
        for index, (key, values) in enumerate(rows.items())
    ]
    return csv_text([*header, *about], lines)


def _beside(own: Table, pinned: Table, in_order: bool) -> dict[Key, list[object]]:
    keys = list(own.rows) + [key for key in pinned.rows if key not in own.rows]
    nothing: tuple[list[object], list[object]] = (
        [None] * len(own.columns),
        [None] * len(pinned.columns),
    )
    return {
        key: own.rows.get(key, nothing[0]) + pinned.rows.get(key, nothing[1])
        for key in (sorted(keys) if in_order else keys)
    }


# ---------------------------------------------------------------------------- the whole answer


def assessment_json(scenario: Scenario, pin: str | None = None, event: str | None = None) -> str:
    """Return the whole answer as JSON text; null stands for what is not finite.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    pin : str or None
        Query of the scenario pinned for comparison, whose answer comes as "pinned".
    event : str or None
        An event, as the link writes it; the host before and after it comes as "event".
    """
    document = {"version": VERSION, "caution": CAUTION, **_answer(scenario)}
    if pin is not None:
        document["pinned"] = _answer(scenario_url.from_query(pin))
    if event is not None:
        document["event"] = event_document(scenario, event)
    return json.dumps(plain_data(document), allow_nan=False) + "\n"


def _answer(scenario: Scenario) -> dict[str, Any]:
    found, days = assess(scenario), full_day(scenario)
    return {
        "link": link_of(scenario),
        "scenario": to_data(scenario),
        "gain_sessions": found.gain_sessions,
        "gain_pct": found.gain_pct,
        "arms": {arm: _arm(found, days, arm) for arm in ARMS},
        "day": {
            "seed": DAY_SEED,
            "replicates": replicates_of(scenario),
            "crest_reduction_pct": crest_reduction_pct(days["software"], days["offloaded"]),
        },
        "what_if": [
            {"change": each.change, "rated_load": each.rated} for each in what_if(scenario)
        ],
        "desktop": {role.name: one_desktop(scenario, role) for role in scenario.roles},
    }


def _arm(found: Assessment, days: dict[Arm, DayResult], arm: Arm) -> dict[str, Any]:
    rated = found.rated[arm]
    return {
        "label": ARM_LABEL[arm],
        "rated_load": rated.rated_load,
        "limit": rated.limit,
        "binding_limit": rated.binding_limit,
        "slots_full": rated.slots_full,
        "at_rated_load": rated.row,
        "at_sessions": found.now[arm],
        "curve": _without_arm(found.curves[arm]),
        "day": _without_arm(days[arm]),
    }


def _without_arm(result: Any) -> dict[str, Any]:
    fields = dataclasses.fields(result)
    return {each.name: getattr(result, each.name) for each in fields if each.name != "arm"}


def link_of(scenario: Scenario) -> str | None:
    """Return the address that opens a scenario on this server; None where it would be too long.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    """
    query = url_state.to_address(scenario)
    if query is None:
        return None
    return f"/?{query}" if query else "/"
