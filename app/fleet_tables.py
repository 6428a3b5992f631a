"""Which tables does the Fleet page show: side by side, site by site, year by year, all inputs?

Cells are text with the digits that are shown; exact numbers are in `app.fleet_exports`.
"""

from collections.abc import Callable
from typing import Any

from app import labels, words_fleet
from app.figures.fleet_hosts import drawn_arms
from app.fleet_question import Asked
from app.labels_fleet import (
    ARM_LABEL,
    CHOICE,
    CHOICE_MORE,
    GENERAL,
    PAGE,
    in_table,
    is_money,
    money,
    unit_of,
)
from model.break_even import break_even_card_price
from model.fleet import FleetPlan, SitePlan
from model.fleet_costs import FleetCosts
from model.fleet_inputs import to_data

Told = dict[str, Any]

_OVERALL: tuple[tuple[str, str, Callable[[FleetCosts], str]], ...] = (
    ("Hosts", "", lambda c: f"{c.hosts:,}"),
    ("of these spare", "", lambda c: f"{c.spare_hosts:,}"),
    ("of these drained", "", lambda c: f"{c.drained_hosts:,}"),
    ("Cards", "", lambda c: f"{c.cards:,}"),
    ("Rack units", "", lambda c: f"{c.rack_units:,}"),
    ("Power without work", "W", lambda c: f"{c.watts_idle:,.0f}"),
    ("Power, everyone at work", "W", lambda c: f"{c.watts_at_work:,.0f}"),
    ("Power, all cores busy", "W", lambda c: f"{c.watts_busy:,.0f}"),
    ("Energy of the first year", "kWh", lambda c: f"{c.energy_kwh:,.0f}"),
    ("Purchase at the start", "$", lambda c: in_table(c.purchase)),
    ("Yearly cost, first year", "$", lambda c: in_table(c.yearly_cost)),
    ("Present value of all costs", "$", lambda c: in_table(c.present_value)),
    ("Cost per session and year", "$", lambda c: in_table(c.cost_per_session_year)),
)


def overall_table(asked: Asked, plan: FleetPlan) -> Told:
    """Return what all sites need and cost: a column for each host choice and arm.

    Parameters
    ----------
    asked : Asked
        The question.
    plan : FleetPlan
        Every host choice.
    """
    groups: list[Told] = []
    columns: list[FleetCosts | None] = []
    for index, choice in enumerate(plan.choices):
        cards = asked.inputs.choices[index].accelerator.cards
        arms = []
        for arm in reversed(drawn_arms(cards)):
            columns.append(choice.arms[arm].total)
            cheapest = plan.cheapest == (choice.choice, arm)
            arms.append(
                {"label": ARM_LABEL[arm] if cards else "no cards", "cheapest": cheapest, "arm": arm}
            )
        groups.append({"name": words_fleet.lettered(choice, index), "arms": arms})
    currency = asked.inputs.currency
    rows = [
        {
            "label": label,
            "unit": currency if unit == "$" else unit,
            "cells": ["not carried" if costs is None else shown(costs) for costs in columns],
        }
        for label, unit, shown in _OVERALL
    ]
    return {"groups": groups, "rows": rows}


def sites_table(asked: Asked, plan: FleetPlan, at: int) -> Told:
    """Return what each site needs and costs with one host choice: head and rows.

    Parameters
    ----------
    asked : Asked
        The question.
    plan : FleetPlan
        Every host choice.
    at : int
        Place of the host choice. [-]
    """
    currency = asked.inputs.currency
    head = [
        "Site", "Arm", "Sessions", "Rated load of a host", "What limits a host",
        "Sessions on a running host", "CPU use [%]", "Hosts", "needed + spare + drained",
        "Cards", "Rack units", "At work [W]",
        "Energy [kWh/year]", f"Purchase [{currency}]", f"Yearly cost [{currency}]",
        f"Present value [{currency}]", f"Per session and year [{currency}]",
    ]  # fmt: skip
    cards = asked.inputs.choices[at].accelerator.cards
    rows = []
    for index, site in enumerate(asked.inputs.sites):
        for arm in reversed(drawn_arms(cards)):
            of_site = plan.choices[at].arms[arm].sites[index]
            label = ARM_LABEL[arm] if cards else "no cards"
            rows.append([site.name, label, f"{site.total:,}", *_site_cells(of_site)])
    return {"head": head, "rows": rows}


def _site_cells(plan: SitePlan) -> list[str]:
    rating, costs = plan.rating, plan.costs
    limit = rating.binding_limit
    if costs is None:
        return [f"{rating.rated_load:,}", limit, "not carried", *[""] * 11]
    needed = costs.hosts - costs.spare_hosts - costs.drained_hosts
    each = "" if plan.sessions_per_host is None else f"{float(plan.sessions_per_host):,.1f}"
    return [
        f"{rating.rated_load:,}", limit, each,
        "" if plan.utilisation_pct is None else f"{plan.utilisation_pct:.0f}",
        f"{costs.hosts:,}", f"{needed:,} + {costs.spare_hosts:,} + {costs.drained_hosts:,}",
        f"{costs.cards:,}", f"{costs.rack_units:,}", f"{costs.watts_at_work:,.0f}",
        f"{costs.energy_kwh:,.0f}", in_table(costs.purchase), in_table(costs.yearly_cost),
        in_table(costs.present_value), in_table(costs.cost_per_session_year),
    ]  # fmt: skip


def break_even_table(asked: Asked, plan: FleetPlan) -> Told:
    """Return the card price at which both arms cost the same, of all sites and of each.

    Parameters
    ----------
    asked : Asked
        The question.
    plan : FleetPlan
        Every host choice.
    """
    head = [
        f"Break-even price of a card [{asked.inputs.currency}]",
        *[words_fleet.lettered(each, index) for index, each in enumerate(plan.choices)],
    ]

    def cell(index: int, site: str | None) -> str:
        found = break_even_card_price(asked.inputs, plan.choices[index], site)
        if found.price is None:
            return found.told.removeprefix("No price: ").rstrip(".")
        return money(found.price) if found.price >= 0 else "not even as a gift"

    places = [None, *[site.name for site in asked.inputs.sites if site.total]]
    rows = [
        [site or "All sites", *[cell(index, site) for index in range(len(plan.choices))]]
        for site in places
    ]
    prices = [money(each.card_price) for each in asked.inputs.choices]
    return {"head": head, "rows": [["Card price filled in", *prices], *rows]}


def years_table(asked: Asked, plan: FleetPlan, at: int) -> Told:
    """Return what one host choice needs and costs year by year, both arms side by side.

    Parameters
    ----------
    asked : Asked
        The question.
    plan : FleetPlan
        Every host choice.
    at : int
        Place of the host choice. [-]
    """
    currency = asked.inputs.currency
    columns = ["Hosts", "bought", f"Purchase [{currency}]", f"Yearly cost [{currency}]",
               f"Worth so far [{currency}]"]  # fmt: skip
    cards = asked.inputs.choices[at].accelerator.cards
    arms = tuple(reversed(drawn_arms(cards)))
    totals = [plan.choices[at].arms[arm].total for arm in arms]
    rows = []
    for year in range(asked.inputs.horizon_years):
        sessions = sum(
            asked.inputs.sessions_in_year(site.total, year + 1) for site in asked.inputs.sites
        )
        row = [str(year + 1), f"{sessions:,}"]
        for total in totals:
            if total is None:
                row += ["not carried", "", "", "", ""]
                continue
            each = total.years[year]
            row += [f"{each.hosts:,}", f"{each.hosts_bought:,}", in_table(each.purchase),
                    in_table(each.yearly_cost), in_table(total.worth[year + 1])]  # fmt: skip
        rows.append(row)
    groups = [ARM_LABEL[arm] if cards else "no cards" for arm in arms]
    return {"head": ["Year", "Sessions"], "groups": groups, "columns": columns, "rows": rows}


def inputs_told(asked: Asked) -> list[Told]:
    """Return all inputs as headed tables of text, for paper.

    Parameters
    ----------
    asked : Asked
        The question.
    """
    inputs, currency = asked.inputs, asked.inputs.currency
    data = to_data(inputs)
    data["spare.hosts"], data["spare.share_pct"] = inputs.spare.hosts, inputs.spare.share_pct
    general = [
        [label, _shown(path, data[path], currency)]
        for path, label in GENERAL.items()
        if data[path] is not None
    ]
    roles = [role.name for role in asked.scenario.roles]
    sites = [
        [site.name, *[f"{site.sessions.get(role, 0):,}" for role in roles], f"{site.total:,}"]
        for site in inputs.sites
    ]
    fields = [
        [
            f"{label} [{unit_of(path, currency)}]",
            *[_number(value_of(each, path)) for each in data["choices"]],
        ]
        for path, label in (CHOICE | CHOICE_MORE).items()
    ]
    names = [words_fleet.lettered(each, i) for i, each in enumerate(inputs.choices)]
    return [
        {"title": PAGE["general"], "head": ["", ""], "rows": general},
        {"title": PAGE["sites"], "head": ["Site", *roles, "all"], "rows": sites},
        {"title": PAGE["choices"], "head": ["", *names], "rows": fields},
    ]


def value_of(choice: Told, path: str) -> Any:
    """Return a field of a host choice in plain data.

    Parameters
    ----------
    choice : dict
        The host choice.
    path : str
        "host_price" or "host.cores".
    """
    parent, _, name = path.rpartition(".")
    return (choice[parent] if parent else choice)[name]


def _number(value: float) -> str:
    return f"{value:,.10g}"


def _shown(path: str, value: float, currency: str) -> str:
    unit = unit_of(path, currency)
    if unit == "hosts" and value == 1:
        return "1 host"
    return f"{_number(value)} {unit}" if is_money(path) else labels.amount(value, unit)
