"""How many hosts does a fleet need, with cards and without, and what does it cost over the years?

Each site is planned for itself: its mix of roles settles the rated load of a host, its sessions
over the rated load the hosts needed; spare and drained hosts come on top. Everyone works on the
hosts that run, which settles their power. `plan_fleet` does so for every host choice.
"""

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

import numpy as np

from model.errors import InputError
from model.fleet_costs import FleetCosts, FleetYear, hosts_for, site_costs, together
from model.fleet_inputs import FleetInputs, HostChoice, check_roles
from model.host_rating import HostRating, HostRatings, Mix, question
from model.hosts import ARMS, Arm
from model.money import exact
from model.scenario import Scenario

NOTES = (
    "Hosts are bought at the start of the year that needs them; what a year costs is paid at its "
    "end. Nothing is sold, and no host is replaced within the horizon.",
    "Everyone works on the hosts that are not drained for maintenance, spare hosts included; "
    "power rises evenly from idle to busy with CPU use, and outside working hours it is idle.",
    "Amounts are the prices that were filled in, not offers; energy prices and upkeep stay as "
    "they are over the years.",
)


@dataclass(frozen=True)
class SitePlan:
    """One site on one arm of one host choice.

    Parameters
    ----------
    site : str
        Name of the site.
    rating : HostRating
        What one host carries of the site's mix, and what limits it.
    sessions_per_host : Fraction or None
        Sessions on each host that runs, in the first year. [sessions]
    utilisation_pct : float or None
        Mean CPU use of these hosts. [%]
    costs : FleetCosts or None
        None where not even one session meets the targets.
    """

    site: str
    rating: HostRating
    sessions_per_host: Fraction | None
    utilisation_pct: float | None
    costs: FleetCosts | None


@dataclass(frozen=True)
class ArmPlan:
    """All sites on one arm of one host choice.

    Parameters
    ----------
    arm : str
        "software" or "offloaded".
    sites : tuple of SitePlan
        In the order given.
    total : FleetCosts or None
        All sites together; None where one of them cannot be carried.
    told : tuple of str
        A sentence for each site that cannot be carried.
    """

    arm: Arm
    sites: tuple[SitePlan, ...]
    total: FleetCosts | None
    told: tuple[str, ...]


@dataclass(frozen=True)
class ChoicePlan:
    """One host choice with and without its cards.

    Parameters
    ----------
    choice : str
        Name of the host choice.
    arms : dict
        The plan of each arm.
    """

    choice: str
    arms: dict[Arm, ArmPlan]


@dataclass(frozen=True)
class FleetPlan:
    """Every host choice side by side.

    Parameters
    ----------
    currency : str
        What amounts are in.
    choices : tuple of ChoicePlan
        In the order given.
    cheapest : tuple of str and Arm, or None
        Host choice and arm of the lowest present value, the first among equals; None where
        nothing carries every site.
    notes : tuple of str
        What the numbers rest on, to be shown with them.
    """

    currency: str
    choices: tuple[ChoicePlan, ...]
    cheapest: tuple[str, Arm] | None
    notes: tuple[str, ...]


def plan_fleet(
    inputs: FleetInputs, scenario: Scenario, ratings: HostRatings | None = None
) -> FleetPlan:
    """Return hosts, power and cost of every host choice, with cards and without, site by site.

    Parameters
    ----------
    inputs : FleetInputs
        Sites, host choices, growth and prices.
    scenario : Scenario
        Roles, activities and targets; its own host, card and weights of roles are not used.
    ratings : HostRatings or None
        Ratings that are known already; new ones are added. None to start without.

    Returns
    -------
    FleetPlan
        A site without sessions needs no host, and so no spare one. A host choice without cards
        has the same plan on both arms.

    Raises
    ------
    InputError
        For a role that the scenario does not know.

    Notes
    -----
    Hosts are the sessions over the rated load, rounded up, and spare and drained hosts. A fleet
    that shrinks switches hosts off, which then cost nothing more. Mixes stay as they are over
    the years.

    Source
    ------
    Power that rises evenly from idle to busy is common practice, no source; present value as in
    `model.money`.
    """
    return plan_mixes(inputs, scenario, site_mixes(inputs, scenario), ratings)


def site_mixes(inputs: FleetInputs, scenario: Scenario) -> tuple[Mix, ...]:
    """Return the shares of the scenario's roles at each site.

    Parameters
    ----------
    inputs : FleetInputs
        The fleet.
    scenario : Scenario
        The scenario; a site without sessions has its mix.
    """
    check_roles(inputs, scenario)
    usual = scenario_mix(scenario)
    names = [role.name for role in scenario.roles]
    return tuple(
        tuple(Fraction(site.sessions.get(name, 0), site.total) for name in names)
        if site.total
        else usual
        for site in inputs.sites
    )


def scenario_mix(scenario: Scenario) -> Mix:
    """Return the shares of a scenario's roles.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    """
    weights = [Fraction(exact("weight_pct", role.weight_pct)) for role in scenario.roles]
    return tuple(weight / sum(weights) for weight in weights)


def plan_mixes(
    inputs: FleetInputs,
    scenario: Scenario,
    mixes: Sequence[Mix],
    ratings: HostRatings | None = None,
) -> FleetPlan:
    """Return the plan for sites of as many sessions as given, but of these mixes.

    Parameters
    ----------
    inputs : FleetInputs
        Sites, host choices, growth and prices.
    scenario : Scenario
        Roles, activities and targets.
    mixes : sequence of length sites
        Shares of the scenario's roles at each site.
    ratings : HostRatings or None
        As for `plan_fleet`.
    """
    known = HostRatings() if ratings is None else ratings
    asked = [
        question(scenario, mix, choice, arm)
        for choice in inputs.choices
        for arm in ARMS
        for mix in mixes
    ]
    rated = iter(known.of(asked))
    choices = []
    for choice in inputs.choices:
        arms: dict[Arm, ArmPlan] = {}
        for arm in ARMS:
            sites = tuple(
                _site_plan(inputs, choice, arm, site.name, site.total, next(rated))
                for site in inputs.sites
            )
            arms[arm] = _arm_plan(inputs, choice, arm, sites)
        choices.append(ChoicePlan(choice.name, arms))
    return FleetPlan(inputs.currency, tuple(choices), _cheapest(choices), NOTES)


def _site_plan(
    inputs: FleetInputs, choice: HostChoice, arm: Arm, site: str, sessions: int, rating: HostRating
) -> SitePlan:
    if sessions and not rating.rated_load:
        return SitePlan(site, rating, None, None, None)
    costs = site_costs(inputs, choice, arm, sessions, rating)
    running = costs.hosts - costs.drained_hosts
    if not running:
        return SitePlan(site, rating, None, None, costs)
    each = Fraction(sessions, running)
    return SitePlan(site, rating, each, rating.utilisation_pct(float(each)), costs)


def _arm_plan(
    inputs: FleetInputs, choice: HostChoice, arm: Arm, sites: tuple[SitePlan, ...]
) -> ArmPlan:
    with_cards = "with cards" if arm == "offloaded" else "without cards"
    told = tuple(
        f"{plan.site}: on {choice.name}, {with_cards}, not even one session meets the targets; "
        f"{plan.rating.binding_limit}."
        for plan in sites
        if plan.costs is None
    )
    costs = [plan.costs for plan in sites if plan.costs is not None]
    total = together(costs, exact("discount_pct", inputs.discount_pct)) if not told else None
    return ArmPlan(arm, sites, total, told)


def _cheapest(choices: Sequence[ChoicePlan]) -> tuple[str, Arm] | None:
    best: tuple[Decimal, str, Arm] | None = None
    for choice in choices:
        for arm, plan in choice.arms.items():
            if plan.total and (best is None or plan.total.present_value < best[0]):
                best = (plan.total.present_value, choice.choice, arm)
    return None if best is None else best[1:]


@dataclass(frozen=True)
class HostSteps:
    """Hosts over the sessions of all sites together, to be drawn as steps.

    Parameters
    ----------
    sessions : tuple of int
        Sessions of all sites. [sessions]
    hosts : dict
        Hosts of each arm; None where it cannot carry a site. [hosts]
    """

    sessions: tuple[int, ...]
    hosts: dict[Arm, tuple[int, ...] | None]


def hosts_over_sessions(
    inputs: FleetInputs, plan: ChoicePlan, most_sessions: int, points: int = 200
) -> HostSteps:
    """Return how many hosts of one choice are needed as all sites grow alike.

    Parameters
    ----------
    inputs : FleetInputs
        The fleet that was planned.
    plan : ChoicePlan
        The plan of the host choice.
    most_sessions : int, 1 to 10,000,000
        Sessions of all sites at the last point. [sessions]
    points : int, 2 or more
        How many points from 0 on; fewer where there are not as many whole sessions. [-]

    Notes
    -----
    Each site keeps its share of the sessions, rounded up to whole ones.
    """
    if not 1 <= most_sessions <= 10_000_000:
        raise InputError("most_sessions", most_sessions, "a whole number from 1 to 10000000")
    if points < 2:
        raise InputError("points", points, "a whole number of 2 or more")
    sessions = np.unique(np.linspace(0, most_sessions, points).round().astype(int)).tolist()
    shares = [site.total for site in inputs.sites]
    hosts: dict[Arm, tuple[int, ...] | None] = {}
    for arm, of_arm in plan.arms.items():
        hosts[arm] = None
        if of_arm.total is not None:
            rated = [site.rating.rated_load for site in of_arm.sites]
            hosts[arm] = tuple(
                sum(
                    hosts_for(inputs, -(-total * share // sum(shares)), load).total
                    for share, load in zip(shares, rated, strict=True)
                )
                for total in sessions
            )
    return HostSteps(tuple(sessions), hosts)


def plain(result: Any) -> Any:
    """Return a result as plain JSON data: records as mappings, amounts as numbers.

    Parameters
    ----------
    result : object
        A result of this module or of `model.break_even`.

    Notes
    -----
    Amounts below 10^13 keep every cent. The curve of a rating is left out.
    """
    if dataclasses.is_dataclass(result):
        names = [field.name for field in dataclasses.fields(result)]
        names += ["yearly_cost"] if isinstance(result, FleetYear) else []
        names += ["present_value"] if isinstance(result, FleetCosts) else []
        return {n: plain(getattr(result, n)) for n in names if n != "cpu_mean_pct"}
    if isinstance(result, dict):
        return {str(name): plain(value) for name, value in result.items()}
    if isinstance(result, (list, tuple)):
        return [plain(value) for value in result]
    if isinstance(result, (Decimal, Fraction)):
        return int(result) if result == int(result) else float(result)
    return result
