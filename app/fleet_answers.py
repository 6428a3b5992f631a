"""What does the Fleet page show for a fleet? Each lane's answer, as figures, tables and texts.

The plan comes first and fast; the break-even map, and what an event does to each site, take a
rating for every share or site and come beside it. Nothing here knows of requests or of the page's
framework, so that a process of its own can work an answer out.
"""

import json
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from typing import Any

from app import words_fleet
from app.figures.fleet_cost import cost_figure
from app.figures.fleet_hosts import hosts_figure
from app.figures.fleet_map import Standing, map_figure
from app.fleet_events import EVENT_HEAD, possible_events, sites_after_event
from app.fleet_question import Asked, asked_of, planned, shared_ratings, shown_choice
from app.fleet_tables import (
    break_even_table,
    inputs_told,
    overall_table,
    sites_table,
    years_table,
)
from app.refusals import refusal
from app.theme import LIGHT, THEMES, Figure, Theme
from model.break_even import (
    BreakEvenMap,
    break_even_card_price,
    break_even_map,
    break_even_share,
    mixes_at,
)
from model.errors import InputError
from model.fleet import FleetPlan, HostSteps, hosts_over_sessions, plan_mixes
from model.fleet_command import map_prices
from model.fleet_inputs import from_data
from model.fleet_url import example_for, to_text
from model.money import exact
from model.scenario import default, load

__all__ = [  # with what callers of the answers need
    "EVENT_HEAD", "LANES", "Asked", "answer_text", "asked_of", "event_answer", "figures",
    "host_steps", "map_answer", "plan_answer",
]  # fmt: skip

Told = dict[str, Any]
BEYOND = 1.5  # of the sessions of the first year, up to which hosts are drawn
MAP_STEP_PCT = 10


def answer_text(
    lane: str, scenario_text: str, fleet: Told, choice: int, role: str, event: str | None,
    theme_name: str,
) -> str:  # fmt: skip
    """Return the answer of one lane as JSON text.

    Parameters
    ----------
    lane : str
        A key of `LANES`.
    scenario_text : str
        A scenario that was checked, as JSON text.
    fleet : dict
        A fleet that was checked, as plain data.
    choice : int
        As in `Asked`. [-]
    role : str
        As in `Asked`.
    event : str or None
        As in `Asked`.
    theme_name : str
        A key of `app.theme.THEMES`; any other name gives the light look.
    """
    asked = Asked(load(scenario_text), from_data(fleet), choice, role, event)
    return json.dumps(LANES[lane](asked, THEMES.get(theme_name, LIGHT)))


def plan_answer(asked: Asked, theme: Theme) -> Told:
    """Return sentences, tables and the charts that need no further rating.

    Parameters
    ----------
    asked : Asked
        The question.
    theme : Theme
        The look.
    """
    plan = planned(asked)
    at = shown_choice(asked, plan)
    sentence, *more = words_fleet.answer(plan, asked.inputs)
    told = [line for each in plan.choices for arm in each.arms.values() for line in arm.told]
    return {
        "link": to_text(asked.inputs, asked.scenario),
        "scenario": asked.scenario.name,
        "roles": [role.name for role in asked.scenario.roles],
        "role": asked.role,
        "choice": at,
        "choices": [words_fleet.lettered(each, i) for i, each in enumerate(asked.inputs.choices)],
        "sentence": sentence,
        "more": more,
        "told": list(dict.fromkeys(told)),
        "notes": [*left_out(asked), *plan.notes],
        "overall": overall_table(asked, plan),
        "sites": sites_table(asked, plan, at),
        "events": possible_events(asked, at),
        "break_even": break_even_table(asked, plan),
        "years": years_table(asked, plan, at),
        "inputs": inputs_told(asked),
        "figures": figures(asked, plan, theme),
        "takeaways": {
            "fleet-hosts": words_fleet.hosts_takeaway(plan, asked.inputs),
            "fleet-cost": words_fleet.cost_takeaway(plan, asked.inputs),
        },
    }


def left_out(asked: Asked) -> list[str]:
    """Return a sentence where the example has sessions of roles that the scenario lacks.

    Parameters
    ----------
    asked : Asked
        The question.
    """
    fewer = len(asked.scenario.roles) < len(default().roles)
    same = asked.inputs.sites == example_for(asked.scenario).sites
    return [words_fleet.ROLES_LEFT_OUT] if fewer and same else []


def figures(asked: Asked, plan: FleetPlan, theme: Theme) -> dict[str, Figure]:
    """Return the charts of hosts and of cost.

    Parameters
    ----------
    asked : Asked
        The question.
    plan : FleetPlan
        Every host choice.
    theme : Theme
        The look.
    """
    cards = [each.accelerator.cards for each in asked.inputs.choices]
    now = sum(site.total for site in asked.inputs.sites)
    return {
        "fleet-hosts": hosts_figure(host_steps(asked, plan), cards, now, theme),
        "fleet-cost": cost_figure(plan, asked.inputs, theme),
    }


def host_steps(asked: Asked, plan: FleetPlan) -> list[HostSteps]:
    """Return the hosts of each host choice over the sessions of all sites.

    Parameters
    ----------
    asked : Asked
        The question.
    plan : FleetPlan
        Every host choice.
    """
    first = sum(site.total for site in asked.inputs.sites)
    most = max(min(round(first * BEYOND), 10_000_000), 1)
    return [hosts_over_sessions(asked.inputs, each, most) for each in plan.choices]


def map_answer(asked: Asked, theme: Theme) -> Told:
    """Return the break-even map of one host choice and role, and the break-even share in words.

    Parameters
    ----------
    asked : Asked
        The question.
    theme : Theme
        The look.
    """
    plan = planned(asked)
    at = shown_choice(asked, plan)
    choice = asked.inputs.choices[at]
    named = {"choice": at, "role": asked.role}
    if not choice.accelerator.cards:
        told = (
            f"{words_fleet.lettered(choice, at)} has no cards, so there is nothing to break even."
        )
        return named | {"figures": {}, "takeaways": {"fleet-map": told}, "refused": told}
    try:
        share = break_even_share(
            asked.inputs, asked.scenario, choice.name, asked.role, ratings=shared_ratings()
        )
        found = card_map(asked, plan, at)
    except InputError as error:
        told = refusal(InputError("Role", error.value, error.expected))
        return named | {"figures": {}, "takeaways": {"fleet-map": told}, "refused": told}
    only = only_with_cards(asked, found, at)
    now = Standing(share_now(asked), float(choice.card_price))
    takeaway = words_fleet.map_takeaway(
        share, now.share_pct, choice.card_price, asked.inputs.currency
    )
    return named | {
        "figures": {
            "fleet-map": map_figure(found, only, now, asked.inputs.currency, theme),
        },
        "takeaways": {"fleet-map": f"{words_fleet.lettered(choice, at)}. {takeaway}"},
    }


def card_map(asked: Asked, plan: FleetPlan, at: int) -> BreakEvenMap:
    """Return what cards of one host choice save over their price and the share of the role.

    Parameters
    ----------
    asked : Asked
        The question.
    plan : FleetPlan
        Every host choice.
    at : int
        Place of the host choice. [-]
    """
    price = break_even_card_price(asked.inputs, plan.choices[at]).price
    shares = range(0, 101, MAP_STEP_PCT)
    name = plan.choices[at].choice
    prices = map_prices(price)
    return break_even_map(
        asked.inputs, asked.scenario, name, asked.role, shares, prices, shared_ratings()
    )


def only_with_cards(asked: Asked, found: BreakEvenMap, at: int) -> tuple[bool, ...]:
    """Return for each share whether only hosts with cards carry every session.

    Parameters
    ----------
    asked : Asked
        The question.
    found : BreakEvenMap
        The map.
    at : int
        Place of the host choice. [-]
    """
    of_choice = asked.inputs.model_copy(update={"choices": (asked.inputs.choices[at],)})

    def only(share: float, price: Decimal | None) -> bool:
        if price is not None:
            return False
        part = Fraction(exact("share_pct", share))
        mixes = mixes_at(of_choice, asked.scenario, asked.role, part)
        arms = plan_mixes(of_choice, asked.scenario, mixes, shared_ratings()).choices[0].arms
        return arms["software"].total is None and arms["offloaded"].total is not None

    pairs = zip(found.share_pct, found.break_even_price, strict=True)
    return tuple(only(share, price) for share, price in pairs)


def share_now(asked: Asked) -> float:
    """Return the role's share of the sessions of all sites in the first year. [%]

    Parameters
    ----------
    asked : Asked
        The question.
    """
    total = sum(site.total for site in asked.inputs.sites)
    of_role = sum(site.sessions.get(asked.role, 0) for site in asked.inputs.sites)
    return 100 * of_role / total


def event_answer(asked: Asked, theme: Theme) -> Told:
    """Return whether the hosts of each site still hold the targets after an event, both arms.

    Parameters
    ----------
    asked : Asked
        The question; without an event nothing is told.
    theme : Theme
        Not used, as there is no chart.
    """
    return sites_after_event(asked)


LANES: dict[str, Callable[[Asked, Theme], Told]] = {
    "plan": plan_answer,
    "map": map_answer,
    "event": event_answer,
}
