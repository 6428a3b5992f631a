"""What does the proposal say of the whole fleet? Plan, charts, sites, years and prices."""

import datetime as dt
import json

from app import words_proposal as told
from app.fleet_answers import EVENT_HEAD, Asked, event_answer, plan_answer
from app.fleet_exports import link_of
from app.fleet_exports import sheets as fleet_sheets
from app.labels_fleet import PAGE
from app.proposal_pieces import Told, figure_on, section, table
from app.theme import LIGHT
from model.fleet_inputs import from_data
from model.scenario import load

_SITE_COLUMNS = (0, 1, 2, 3, 7, 8, 9, 10, 12, 13, 14, 16)  # of the site table, that fit on paper


def fleet_text(
    scenario_text: str, fleet: Told, choice: int, role: str, event: str | None, day: str,
    example: bool,
) -> str:  # fmt: skip
    """Return the part about the fleet as JSON text.

    Parameters
    ----------
    scenario_text : str
        A scenario that was checked, as JSON text.
    fleet : dict
        A fleet that was checked, as plain data.
    choice : int
        As in `app.fleet_answers.Asked`. [-]
    role, event : str, str or None
        As in `app.fleet_answers.Asked`.
    day : str
        The date that the pictures bear, as ISO 8601 writes it.
    example : bool
        Whether it is the example's fleet.
    """
    asked = Asked(load(scenario_text), from_data(fleet), choice, role, event)
    plan = plan_answer(asked, LIGHT)
    drawn = fleet_sheets(asked, dt.date.fromisoformat(day))
    own, columns = plan["overall"], plan["years"]["columns"]
    overall = table(
        PAGE["overall"], ["", *[_arm(arm) for group in own["groups"] for arm in group["arms"]]],
        [[_with_unit(row), *row["cells"]] for row in own["rows"]],
        [["", 1], *[[group["name"], len(group["arms"])] for group in own["groups"]]],
    )  # fmt: skip
    name = plan["choices"][plan["choice"]]
    sites = [
        [row[at] for at in _SITE_COLUMNS] for row in [plan["sites"]["head"], *plan["sites"]["rows"]]
    ]
    years = table(
        f"{PAGE['by_year']} on {name}, all sites",
        [*plan["years"]["head"], *[each for _ in plan["years"]["groups"] for each in columns]],
        plan["years"]["rows"],
        [["", 2], *[[each, len(columns)] for each in plan["years"]["groups"]]],
    )
    own_unit = plan["break_even"]["head"][0].removeprefix(PAGE["break_even"]).strip()
    after = event_answer(asked, LIGHT)
    tables = [
        overall,
        table(
            PAGE["break_even"],
            [own_unit, *plan["break_even"]["head"][1:]],
            plan["break_even"]["rows"],
        ),
        table(f"{PAGE['by_site']} on {name}", sites[0], sites[1:], worded=(1, 11)),
        *_after(after),
        years,
        *[table(each["title"], each["head"], each["rows"]) for each in plan["inputs"]],
    ]
    return json.dumps(
        section(
            "fleet",
            sentences=[plan["sentence"], *plan["more"], *plan["told"],
                       after.get("refused") or after.get("sentence") or "",
                       told.EXAMPLE_FLEET if example else ""],
            figures=[figure_on(drawn, chart) for chart in drawn["charts"]],
            tables=tables,
            lists=[{"title": "What the numbers rest on", "items": plan["notes"]}],
            link=link_of(asked),
        )
    )  # fmt: skip


def _arm(arm: Told) -> str | list[str]:
    return [arm["label"], "costs least"] if arm["cheapest"] else str(arm["label"])


def _with_unit(row: Told) -> str:
    return f"{row['label']} [{row['unit']}]" if row["unit"] else str(row["label"])


def _after(found: Told) -> list[Told]:
    """The sites after the event, as a table; nothing without an event."""
    if not found.get("rows"):
        return []
    rows = [
        [row["site"], row["arm"], *(row["cells"] or [""] * (len(EVENT_HEAD) - 3)), row["verdict"]]
        for row in found["rows"]
    ]
    return [table(found["title"], EVENT_HEAD, rows, worded=(1, len(EVENT_HEAD) - 1))]
