"""How do the numbers and the pictures of the Fleet page leave it: CSV, JSON and what is on a sheet?

    fleet-hosts, fleet-cost, fleet-map    a chart's numbers as a table
    fleet-sites                           every site, host choice and arm as a table
    document                              the whole answer as JSON

Amounts are exact to the cent, and the caution travels with them. Nothing here knows of requests, so
that a process of its own can write an export.
"""

import datetime as dt
import json
from collections.abc import Callable
from typing import Any

from app import url_state, words, words_fleet
from app.csv_text import csv_text
from app.fleet_answers import MAP_STEP_PCT, figures, host_steps, map_answer
from app.fleet_events import sites_after_event
from app.fleet_question import Asked, planned, shared_ratings, shown_choice
from app.labels_fleet import ARM_LABEL, LETTERS, TITLES
from app.pictures import EXAMPLE, PAPER
from app.theme import DASH, Figure
from model.break_even import break_even_card_price, break_even_map
from model.fleet import FleetPlan, plain
from model.fleet_command import fleet_document, map_prices
from model.fleet_inputs import FleetInputs, from_data, to_data
from model.fleet_url import to_text
from model.hosts import ARMS, Arm
from model.scenario import load
from model.scenario import to_data as scenario_data

Told = dict[str, Any]
Rows = list[list[object]]
DOCUMENT = "document"
VERSION = 1  # of the document; a field that goes or changes its meaning makes it 2
PATH = "/fleet"


def export_text(
    what: str, scenario_text: str, fleet: Told, choice: int, role: str, event: str | None
) -> str:
    """Return one export as text.

    Parameters
    ----------
    what : str
        A key of `TABLES`, `DOCUMENT` or "pictures".
    scenario_text : str
        A scenario that was checked, as JSON text.
    fleet : dict
        A fleet that was checked, as plain data.
    choice : int
        As in `app.fleet_question.Asked`. [-]
    role, event : str, str or None
        As in `app.fleet_question.Asked`.
    """
    asked = Asked(load(scenario_text), from_data(fleet), choice, role, event)
    if what == DOCUMENT:
        return json.dumps(document(asked), indent=1, ensure_ascii=False)
    if what == "pictures":
        return json.dumps(sheets(asked, dt.date.today()))
    header, rows = TABLES[what](asked, planned(asked))
    about = [asked.scenario.name, link_of(asked) or "", words.CAUTION]
    nothing = [None] * len(about)
    body = [[*row, *(about if at == 0 else nothing)] for at, row in enumerate(rows)]
    return csv_text([*header, "scenario", "link", "note"], body)


def query_of(asked: Asked) -> str | None:
    """Return the query of the link that opens scenario, event and fleet; None where too long.

    Parameters
    ----------
    asked : Asked
        The question.
    """
    fleet = to_text(asked.inputs, asked.scenario) or None
    return url_state.to_address(asked.scenario, None, asked.event, fleet)


def link_of(asked: Asked) -> str | None:
    """Return the address that opens the same fleet; None where it is too long for a link.

    Parameters
    ----------
    asked : Asked
        The question.
    """
    query = query_of(asked)
    return None if query is None else PATH + (f"?{query}" if query else "")


# ------------------------------------------------------------------------------------ tables


def hosts_table(asked: Asked, plan: FleetPlan) -> tuple[list[str], Rows]:
    """Return hosts of every host choice over the sessions of all sites.

    Parameters
    ----------
    asked : Asked
        The question.
    plan : FleetPlan
        Every host choice.
    """
    steps = host_steps(asked, plan)
    lines = _lines(asked.inputs)
    header = ["sessions of all sites", *[f"{name} [hosts]" for _, _, name in lines]]
    rows: Rows = []
    for at, sessions in enumerate(steps[0].sessions):
        hosts = [steps[index].hosts[arm] for index, arm, _ in lines]
        rows.append([sessions, *[None if each is None else each[at] for each in hosts]])
    return header, rows


def cost_table(asked: Asked, plan: FleetPlan) -> tuple[list[str], Rows]:
    """Return what was paid up to each year's end, as it is and in today's worth.

    Parameters
    ----------
    asked : Asked
        The question.
    plan : FleetPlan
        Every host choice.
    """
    currency = asked.inputs.currency
    lines = _lines(asked.inputs)
    header = ["end of year"]
    for _, _, name in lines:
        header += [f"{name}, paid [{currency}]", f"{name}, present value [{currency}]"]
    rows: Rows = []
    for year in range(asked.inputs.horizon_years + 1):
        row: list[object] = [year]
        for index, arm, _ in lines:
            total = plan.choices[index].arms[arm].total
            row += [None, None] if total is None else [plain(total.paid[year]),
                                                       plain(total.worth[year])]  # fmt: skip
        rows.append(row)
    return header, rows


def map_table(asked: Asked, plan: FleetPlan) -> tuple[list[str], Rows]:
    """Return what cards save over their price and the share of the role, every host choice.

    Parameters
    ----------
    asked : Asked
        The question.
    plan : FleetPlan
        Every host choice.
    """
    currency = asked.inputs.currency
    header = [
        "host choice", f"share of {asked.role} [%]", f"card price [{currency}]",
        f"present value saved by cards [{currency}]", f"break-even card price [{currency}]",
    ]  # fmt: skip
    rows: Rows = []
    if len(asked.scenario.roles) == 1:
        return header, rows
    for choice in plan.choices:
        if not asked.inputs.choice(choice.choice).accelerator.cards:
            continue
        prices = map_prices(break_even_card_price(asked.inputs, choice).price)
        found = break_even_map(
            asked.inputs, asked.scenario, choice.choice, asked.role,
            range(0, 101, MAP_STEP_PCT), prices, shared_ratings(),
        )  # fmt: skip
        for at, share in enumerate(found.share_pct):
            level = plain(found.break_even_price[at])
            rows += [
                [choice.choice, share, plain(price), plain(saved), level]
                for price, saved in zip(found.card_price, found.saving[at], strict=True)
            ]
    return header, rows


def sites_table(asked: Asked, plan: FleetPlan) -> tuple[list[str], Rows]:
    """Return hosts, power and cost of every site, and of all together, as a table.

    Parameters
    ----------
    asked : Asked
        The question.
    plan : FleetPlan
        Every host choice.
    """
    currency = asked.inputs.currency
    names = {
        "hosts": "hosts", "spare_hosts": "of these spare", "drained_hosts": "of these drained",
        "cards": "cards", "rack_units": "rack units", "watts_idle": "power without work [W]",
        "watts_at_work": "power at work [W]", "watts_busy": "power all cores busy [W]",
        "energy_kwh": "energy of the first year [kWh]", "purchase": f"purchase [{currency}]",
        "yearly_cost": f"yearly cost of the first year [{currency}]",
        "present_value": f"present value [{currency}]",
        "cost_per_session_year": f"cost per session and year [{currency}]",
    }  # fmt: skip
    header = [
        "host choice", "arm", "site", "sessions", "rated load of a host [sessions]",
        "sessions on a running host", "CPU use [%]", *names.values(), "what limits a host",
    ]  # fmt: skip
    rows: Rows = []
    for index, arm, _ in _lines(asked.inputs):
        choice = plan.choices[index]
        first: list[object] = [choice.choice, ARM_LABEL[arm]]
        for site, found in zip(asked.inputs.sites, choice.arms[arm].sites, strict=True):
            rating, costs = found.rating, found.costs
            each = None if found.sessions_per_host is None else float(found.sessions_per_host)
            cells = [None if costs is None else plain(getattr(costs, name)) for name in names]
            rows.append([*first, site.name, site.total, rating.rated_load, each,
                         found.utilisation_pct, *cells, rating.binding_limit])  # fmt: skip
        total = choice.arms[arm].total
        if total is not None:
            cells = [plain(getattr(total, name)) for name in names]
            rows.append([*first, "all sites", total.sessions, None, None, None, *cells, ""])
    return header, rows


def _lines(inputs: FleetInputs) -> list[tuple[int, Arm, str]]:
    """Place, arm and name of every line of the charts; one arm only where there are no cards."""
    return [
        (index, arm, f"{LETTERS[index]} {choice.name}, {ARM_LABEL[arm]}")
        for index, choice in enumerate(inputs.choices)
        for arm in ARMS
        if arm == "software" or choice.accelerator.cards
    ]


TABLES: dict[str, Callable[[Asked, FleetPlan], tuple[list[str], Rows]]] = {
    "fleet-hosts": hosts_table,
    "fleet-cost": cost_table,
    "fleet-map": map_table,
    "fleet-sites": sites_table,
}


def document(asked: Asked) -> Told:
    """Return the whole answer as plain data: inputs, plan, break-even, event, caution and link.

    Parameters
    ----------
    asked : Asked
        The question.
    """
    role = asked.role if len(asked.scenario.roles) > 1 else None
    told = fleet_document(asked.inputs, asked.scenario, role, shared_ratings())
    event = None
    if asked.event is not None:
        found = sites_after_event(asked)
        event = {name: found.get(name) for name in ("event", "sentence", "note", "refused")}
        event["rows"] = [
            {name: row.get(name) for name in ("site", "arm", "holds", "verdict")}
            for row in found["rows"]
        ]
    return {
        "version": VERSION, "caution": words.CAUTION, "link": link_of(asked),
        "scenario": scenario_data(asked.scenario), "fleet": to_data(asked.inputs),
        "plan": told, "event": event,
    }  # fmt: skip


# ------------------------------------------------------------------------------------ pictures


def sheets(asked: Asked, day: dt.date) -> Told:
    """Return what stands on the picture of each chart.

    Parameters
    ----------
    asked : Asked
        The question.
    day : date
        The date that the pictures bear.
    """
    plan = planned(asked)
    drawn = figures(asked, plan, PAPER)
    takeaways = {
        "fleet-hosts": words_fleet.hosts_takeaway(plan, asked.inputs),
        "fleet-cost": words_fleet.cost_takeaway(plan, asked.inputs),
    }
    mapped = map_answer(asked, PAPER)
    drawn |= mapped["figures"]
    takeaways |= mapped["takeaways"]
    query = query_of(asked)
    return {
        "name": f"Fleet, {asked.scenario.name}",
        "path": PATH,
        "summary": summary(asked, plan),
        "caution": words.CAUTION,
        "date": f"Crestline, {day.day} {day:%B} {day.year}",
        "query": None if query is None else query or EXAMPLE,
        "reopen": words.REOPEN if query is not None else {"none": words.NO_LINK_IN_PICTURE},
        "charts": [
            {
                "name": name, "title": TITLES[name], "takeaway": takeaways[name],
                "key": _key(name), "figure": _on_paper(figure),
            }
            for name, figure in drawn.items()
        ],
    }  # fmt: skip


def _on_paper(figure: Figure) -> Figure:
    """Return a figure without what a pointer needs, with margins for a large sheet."""

    def still(part: Figure) -> Figure:
        return {name: value for name, value in part.items() if "hover" not in name}

    layout = still(figure["layout"]) | {"showlegend": False, "hovermode": False}
    layout.pop("uirevision", None)
    layout["margin"] = {"l": 110, "r": 34, "t": 20, "b": 84}
    for name in ("xaxis", "yaxis"):
        axis = still(layout[name]) | {"automargin": True, "ticklabelstandoff": 6}
        layout[name] = axis | {"title": axis["title"] | {"font": {"size": PAPER.font_px}}}
    return {"data": [still(trace) for trace in figure["data"]], "layout": layout}


def summary(asked: Asked, plan: FleetPlan) -> list[str]:
    """Return the answer and the fleet in a few lines, for paper.

    Parameters
    ----------
    asked : Asked
        The question.
    plan : FleetPlan
        Every host choice.
    """
    inputs = asked.inputs
    total = sum(site.total for site in inputs.sites)
    spare = (
        words_fleet.counted(inputs.spare.hosts, "spare host")
        if inputs.spare.hosts is not None
        else f"{inputs.spare.share_pct:g} % spare hosts"
    )
    choices = [
        f"{words_fleet.lettered(each, index)}: {each.host.cores} cores at {each.host.clock_ghz:g} "
        f"GHz, {words_fleet.counted(each.accelerator.cards, 'card')}"
        for index, each in enumerate(inputs.choices)
    ]
    at = shown_choice(asked, plan)
    return [
        *words_fleet.answer(plan, inputs)[:2],
        f"{words_fleet.counted(total, 'session')} at "
        f"{words_fleet.counted(len(inputs.sites), 'site')}, growing by "
        f"{inputs.growth_pct_per_year:g} % a year; {spare} at each site.",
        f"{'; '.join(choices)}. The map is of {LETTERS[at]}.",
        "Prices are the user's own inputs or placeholders, not offers.",
    ]


def _key(name: str) -> list[dict[str, str]]:
    def entry(label: str, colour: str, mark: str) -> dict[str, str]:
        return {"label": label, "colour": colour, "mark": mark}

    if name == "fleet-map":
        return [
            entry("cards pay", PAPER.offloaded_fill, "filled"),
            entry("cards do not pay", PAPER.software_fill, "filled"),
            entry("break-even price", PAPER.text, "solid"),
        ]
    return [entry(ARM_LABEL[arm], PAPER.colour(arm), DASH[arm]) for arm in reversed(ARMS)]
