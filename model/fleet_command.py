"""What is the whole answer for one fleet, as plain data for the command line or a page?"""

from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

from model.break_even import break_even_card_price, break_even_map, break_even_share
from model.errors import InputError, MeasurementError
from model.evidence.log_text import Upload
from model.fleet import hosts_over_sessions, plain, plan_fleet
from model.fleet_inputs import FleetInputs, from_data
from model.fleet_table import LARGEST_TABLE_BYTES, read_table
from model.host_rating import HostRatings
from model.scenario import Scenario

_BEYOND = 1.5  # of the sessions of the first year, up to which hosts are drawn
_MAP_STEP_PCT = 10
_MAP_PRICES = 21
_LEAST_MAP_PRICE = 100


def fleet_document(
    inputs: FleetInputs,
    scenario: Scenario,
    role: str | None = None,
    ratings: HostRatings | None = None,
) -> dict[str, Any]:
    """Return plan, break-even prices and what the charts of a fleet need, as plain JSON data.

    Parameters
    ----------
    inputs : FleetInputs
        The fleet.
    scenario : Scenario
        Roles, activities and targets.
    role : str or None
        The role whose break-even share, and map of card price by share, are wanted as well; None
        for neither, since they take a rating for every share.
    ratings : HostRatings or None
        As for `model.fleet.plan_fleet`.
    """
    known = HostRatings() if ratings is None else ratings
    plan = plan_fleet(inputs, scenario, known)
    document: dict[str, Any] = plain(plan)
    first = sum(site.total for site in inputs.sites)
    for told, choice in zip(document["choices"], plan.choices, strict=True):
        told["break_even_card_price"] = plain(break_even_card_price(inputs, choice)) | {
            "sites": {
                site.name: plain(break_even_card_price(inputs, choice, site.name))
                for site in inputs.sites
            }
        }
        most = max(round(first * _BEYOND), 1)
        told["hosts_over_sessions"] = plain(hosts_over_sessions(inputs, choice, most))
        if role is not None:
            name = choice.choice
            share = break_even_share(inputs, scenario, name, role, ratings=known)
            told["break_even_share"] = plain(share)
            shares = range(0, 101, _MAP_STEP_PCT)
            prices = map_prices(break_even_card_price(inputs, choice).price)
            drawn = break_even_map(inputs, scenario, name, role, shares, prices, known)
            told["break_even_map"] = plain(drawn)
    return document


def map_prices(break_even: Decimal | None) -> Sequence[int]:
    """Return whole card prices from 0 to about twice the break-even price, a tidy step apart.

    Parameters
    ----------
    break_even : Decimal or None
        The break-even price. [currency]
    """
    most = max(2 * (break_even or Decimal(0)), Decimal(_LEAST_MAP_PRICE))
    step = most / (_MAP_PRICES - 1)
    tens = Decimal(10) ** step.adjusted()
    tidy = next(tens * times for times in (1, 2, 5, 10) if tens * times >= step)
    return [int(tidy * at) for at in range(_MAP_PRICES)]


def fleet_from(
    data: dict[str, Any], table: str | None, scenario: Scenario
) -> tuple[FleetInputs, tuple[str, ...]]:
    """Return the fleet in plain data, its sites replaced by those of a table, and notes on that.

    Parameters
    ----------
    data : dict
        What `json.loads` gives.
    table : str or None
        Path of a table of sessions by site and role; None to keep the sites of the data.
    scenario : Scenario
        Whose roles the table names.

    Raises
    ------
    InputError
        For the first thing that will not do, in the table or in the data.
    """
    if table is None:
        return from_data(data), ()
    path = Path(table)
    try:
        if path.stat().st_size > LARGEST_TABLE_BYTES:
            expected = f"at most {LARGEST_TABLE_BYTES} bytes: a row for each site"
            raise MeasurementError(path.name, f"{path.stat().st_size} bytes", expected)
        content = path.read_bytes()
    except OSError as error:
        expected = f"a file that can be read ({error.strerror})"
        raise InputError("--sites", table, expected) from None
    roles = [role.name for role in scenario.roles]
    read = read_table(Upload(path.name, content), roles)
    return from_data(data | {"sites": [each.model_dump() for each in read.sites]}), read.notes
