"""What do so many hosts of the scenario cost in a year, at the prices of the fleet beside it?

The purchase is spread evenly over the years that are looked at; upkeep and energy are those of
the first year. All sessions are taken as one site, with the spare and drained hosts of one.
"""

from dataclasses import dataclass
from decimal import Decimal

from model import fleet_url
from model.assess import assess
from model.fleet_costs import site_costs
from model.fleet_inputs import FleetInputs, HostChoice
from model.host_rating import HostRating
from model.hosts import ARMS, Arm
from model.scenario import Scenario


@dataclass(frozen=True)
class Prices:
    """Prices of one host choice of a fleet, applied to the scenario's own host.

    Parameters
    ----------
    inputs : FleetInputs
        The fleet, for one year.
    years : int
        Over which a purchase is spread. [years]
    choice : HostChoice
        Whose prices count, with the scenario's cards.
    total_sessions : int
        Sessions of all sites together. [sessions]
    cpu_mean_pct : dict
        By arm: mean CPU demand of the scenario at 0, 1, ... sessions. [% of CPU]
    """

    inputs: FleetInputs
    years: int
    choice: HostChoice
    total_sessions: int
    cpu_mean_pct: dict[Arm, tuple[float, ...]]

    def of(self, hosts: int, arm: Arm) -> float:
        """Return what so many needed hosts cost in a year. [currency]"""
        carried = -(-self.total_sessions // hosts)
        rating = HostRating(carried, "", "", False, self.cpu_mean_pct[arm])
        costs = site_costs(self.inputs, self.choice, arm, carried * hosts, rating)
        return float(costs.purchase / Decimal(self.years) + costs.yearly_cost)


def prices_of(fleet: str, scenario: Scenario) -> Prices:
    """Return the prices that count: of the first host choice that is the scenario's host.

    Parameters
    ----------
    fleet : str
        The fleet as a link writes it; it fits the scenario.
    scenario : Scenario
        The scenario.

    Notes
    -----
    Where no host choice is the scenario's own host, the first one's prices count.
    """
    inputs = fleet_url.from_text(fleet, scenario)
    same = [
        each
        for each in inputs.choices
        if (each.host, each.accelerator) == (scenario.host, scenario.accelerator)
    ]
    choice = (same or list(inputs.choices))[0]
    curves = assess(scenario).curves
    return Prices(
        inputs.model_copy(update={"horizon_years": 1, "growth_pct_per_year": 0.0}),
        inputs.horizon_years,
        choice.model_copy(update={"accelerator": scenario.accelerator}),
        sum(site.total for site in inputs.sites),
        {arm: (0.0, *curves[arm].cpu_mean_pct.tolist()) for arm in ARMS},
    )
