"""What does a site need and cost on one arm, year by year?

Hosts are bought at the start of the year that needs them; energy and upkeep are paid at its end.
"""

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from model.fleet_inputs import FleetInputs, HostChoice
from model.host_rating import HostRating
from model.hosts import Arm
from model.money import discounted, exact, to_cent

_TENTH = Decimal("0.1")


@dataclass(frozen=True)
class FleetYear:
    """One year of a site, or of all sites together.

    Parameters
    ----------
    year : int
        1 is the first. [years]
    sessions : int
        Sessions carried. [sessions]
    hosts : int
        Hosts in use: needed, spare and drained. [hosts]
    hosts_bought, cards_bought : int
        What is bought at the start of the year. [hosts, cards]
    watts_at_work : Decimal
        Power of all hosts with everyone at work, overhead not included. [W]
    energy_kwh : Decimal
        Energy of the year, overhead included. [kWh]
    purchase, upkeep, energy_cost : Decimal
        For what was bought at the start, for hosts in use, for energy. [currency]
    """

    year: int
    sessions: int
    hosts: int
    hosts_bought: int
    cards_bought: int
    watts_at_work: Decimal
    energy_kwh: Decimal
    purchase: Decimal
    upkeep: Decimal
    energy_cost: Decimal

    @property
    def yearly_cost(self) -> Decimal:
        """Upkeep and energy of the year. [currency]"""
        return self.upkeep + self.energy_cost


@dataclass(frozen=True)
class FleetCosts:
    """What a site, or all sites together, need and cost on one arm.

    Parameters
    ----------
    sessions, hosts, spare_hosts, drained_hosts, cards, rack_units : int
        In the first year. [sessions, hosts, cards, rack units] `hosts` holds the next two.
    watts_idle, watts_at_work, watts_busy : Decimal
        Power of all hosts in the first year without work, with everyone at work, and with all
        cores busy; overhead not included. [W]
    energy_kwh : Decimal
        Energy of the first year, overhead included. [kWh]
    purchase : Decimal
        What is bought at the start. [currency]
    yearly_cost : Decimal
        Upkeep and energy of the first year. [currency]
    paid : tuple of length horizon + 1
        All that is paid up to the start and up to the end of each year. [currency] What is bought
        at the start of a year counts with the end of the year before.
    worth : tuple of length horizon + 1
        The present value of the same. [currency] Of all sites together it is the sum of the
        sites' rounded values, so that what is shown adds up.
    cost_per_session_year : Decimal or None
        The equal yearly charge for a session, paid at each year's end, whose present value is that
        of all costs. [currency/session/year] None without sessions.
    years : tuple of FleetYear
        Year by year.
    """

    sessions: int
    hosts: int
    spare_hosts: int
    drained_hosts: int
    cards: int
    rack_units: int
    watts_idle: Decimal
    watts_at_work: Decimal
    watts_busy: Decimal
    energy_kwh: Decimal
    purchase: Decimal
    yearly_cost: Decimal
    paid: tuple[Decimal, ...]
    worth: tuple[Decimal, ...]
    cost_per_session_year: Decimal | None
    years: tuple[FleetYear, ...]

    @property
    def present_value(self) -> Decimal:
        """Present value of all that is paid over the horizon. [currency]"""
        return self.worth[-1]


@dataclass(frozen=True)
class HostCount:
    """Hosts of a site: needed for its sessions, spare beyond them, drained for maintenance."""

    needed: int = 0
    spare: int = 0
    drained: int = 0

    @property
    def total(self) -> int:
        """All of them. [hosts]"""
        return self.needed + self.spare + self.drained

    @property
    def running(self) -> int:
        """Those with people on them. [hosts]"""
        return self.needed + self.spare


def hosts_for(inputs: FleetInputs, sessions: int, rated_load: int) -> HostCount:
    """Return the hosts of a site; none where nobody works.

    Parameters
    ----------
    inputs : FleetInputs
        Its spare and drained hosts.
    sessions : int, 0 or more
        Sessions at the site. [sessions]
    rated_load : int, 1 or more
        Sessions that one host carries. [sessions]
    """
    if sessions == 0:
        return HostCount()
    needed = -(-sessions // rated_load)
    return HostCount(needed, inputs.spare.beside(needed), inputs.drain_hosts)


def site_costs(
    inputs: FleetInputs, choice: HostChoice, arm: Arm, sessions: int, rating: HostRating
) -> FleetCosts:
    """Return what a site needs and costs over the years.

    Parameters
    ----------
    inputs : FleetInputs
        Growth, spare and drained hosts, prices.
    choice : HostChoice
        The host that is bought.
    arm : str
        "software" leaves the cards out.
    sessions : int, 0 or more
        Sessions of the first year. [sessions]
    rating : HostRating
        What one host carries; its rated load is not 0 unless there are no sessions.

    Returns
    -------
    FleetCosts
        All 0 without sessions.

    Notes
    -----
    Hosts are the sessions over the rated load, rounded up, and spare and drained hosts. Power
    rises evenly from idle to busy with the mean CPU use of the hosts that are not drained.
    """
    cards = choice.accelerator.cards if arm == "offloaded" else 0
    of_cards = cards * exact("card_watts", choice.card_watts)
    idle = exact("idle_watts", choice.idle_watts) + of_cards
    busy = exact("busy_watts", choice.busy_watts) + of_cards
    overhead = exact("overhead_factor", inputs.overhead_factor)
    hours = exact("hours_per_year", inputs.hours_per_year)
    working = exact("working_hours_per_year", inputs.working_hours_per_year)
    discount = exact("discount_pct", inputs.discount_pct)
    years: list[FleetYear] = []
    owned = 0
    first = HostCount()
    for year in range(1, inputs.horizon_years + 1):
        carried = inputs.sessions_in_year(sessions, year)
        hosts = hosts_for(inputs, carried, rating.rated_load)
        first = hosts if year == 1 else first
        at_work = hosts.drained * idle
        if hosts.running:
            use = exact("utilisation_pct", rating.utilisation_pct(carried / hosts.running)) / 100
            at_work += hosts.running * (idle + (busy - idle) * use).quantize(_TENTH)
        idle_hours = (hours - working) * hosts.total * idle
        energy_kwh = (working * at_work + idle_hours) * overhead / 1000
        bought = max(hosts.total - owned, 0)
        owned = max(hosts.total, owned)
        years.append(
            FleetYear(
                year=year,
                sessions=carried,
                hosts=hosts.total,
                hosts_bought=bought,
                cards_bought=bought * cards,
                watts_at_work=at_work,
                energy_kwh=energy_kwh,
                purchase=bought * (choice.host_price + cards * choice.card_price),
                upkeep=hosts.total * choice.yearly_cost_per_host,
                energy_cost=to_cent(energy_kwh * inputs.energy_price_per_kwh),
            )
        )
    cash = cash_by_time(years)
    paid = tuple(sum(cash[: at + 1], Decimal(0)) for at in range(len(cash)))
    worth = tuple(to_cent(discounted(cash[: at + 1], discount)) for at in range(len(cash)))
    return FleetCosts(
        sessions=years[0].sessions,
        hosts=first.total,
        spare_hosts=first.spare,
        drained_hosts=first.drained,
        cards=first.total * cards,
        rack_units=first.total * choice.rack_units,
        watts_idle=first.total * idle,
        watts_at_work=years[0].watts_at_work,
        watts_busy=first.total * busy,
        energy_kwh=years[0].energy_kwh,
        purchase=years[0].purchase,
        yearly_cost=years[0].yearly_cost,
        paid=paid,
        worth=worth,
        cost_per_session_year=_per_session(worth[-1], years, discount),
        years=tuple(years),
    )


def cash_by_time(years: Sequence[FleetYear]) -> list[Decimal]:
    """Return what is paid at the start and at the end of each year.

    Parameters
    ----------
    years : sequence of FleetYear
        Year by year.

    Returns
    -------
    list of length years + 1
        The purchase of a year stands with the end of the year before. [currency]
    """
    buying = [*(year.purchase for year in years), Decimal(0)]
    running = [Decimal(0), *(year.yearly_cost for year in years)]
    return [bought + run for bought, run in zip(buying, running, strict=True)]


def _per_session(
    present_value: Decimal, years: Sequence[FleetYear], discount_pct: Decimal
) -> Decimal | None:
    sessions = discounted([0, *(year.sessions for year in years)], discount_pct)
    return to_cent(present_value / sessions) if sessions else None


def together(costs: Sequence[FleetCosts], discount_pct: Decimal) -> FleetCosts:
    """Return all sites as one: sums, and the cost per session that follows from them.

    Parameters
    ----------
    costs : sequence of FleetCosts, at least one
        The sites.
    discount_pct : Decimal
        Discount rate. [%/year]
    """

    def added(records: Sequence[Any], name: str) -> Any:
        return sum((getattr(record, name) for record in records[1:]), getattr(records[0], name))

    years = []
    for of_sites in zip(*(each.years for each in costs), strict=True):
        sums = {f.name: added(of_sites, f.name) for f in dataclasses.fields(FleetYear)}
        years.append(FleetYear(**sums | {"year": of_sites[0].year}))
    sums = {
        name: tuple(
            sum(at, Decimal(0)) for at in zip(*(getattr(c, name) for c in costs), strict=True)
        )
        for name in ("paid", "worth")
    }
    sums |= {
        field.name: added(costs, field.name)
        for field in dataclasses.fields(FleetCosts)
        if field.name not in ("paid", "worth", "cost_per_session_year", "years")
    }
    per_session = _per_session(sums["worth"][-1], years, discount_pct)
    return FleetCosts(**sums, cost_per_session_year=per_session, years=tuple(years))
