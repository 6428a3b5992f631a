"""What is asked about a fleet: where people work, which hosts could carry them, at what prices?

Every price is the user's own; what stands in its place until one is given is a round placeholder
and says so. People, their activities and the targets come from a scenario; a site says how many
sessions of each role it has.
"""

import re
from decimal import Decimal
from fractions import Fraction
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from model.accelerator import Accelerator
from model.cpu import Host
from model.defaults import COMMON_PRACTICE, FIELDS, INVENTED, Quantity
from model.errors import InputError
from model.money import exact
from model.records import FrozenMapping, Record, check
from model.scenario import Scenario
from model.sessions import Name

VERSION = 1
MOST_SITES = 100
MOST_CHOICES = 8
MOST_FLEET_SESSIONS = 10_000_000  # of all sites together, in any year
NOT_A_PRICE = "placeholder, not a price"
_NOT_MEASURED = "placeholder, not a measurement"
_PRICE_DECIMALS, _RATE_DECIMALS = 2, 6
_MONEY = "of the currency"

FLEET_FIELDS: dict[str, Quantity] = {
    "sites.sessions": Quantity(
        None, "sessions", 0, 100_000, "Sessions of a role at a site in the first year.", INVENTED,
        whole=True,
    ),
    "growth_pct_per_year": Quantity(
        0, "%/year", -50, 100, "By how much the sessions of every site grow from year to year.",
        "our choice: no growth unless it is asked for",
    ),
    "horizon_years": Quantity(
        5, "years", 1, 15, "Years that are looked at; no host is replaced within them.",
        COMMON_PRACTICE, whole=True,
    ),
    "discount_pct": Quantity(
        5, "%/year", 0, 50, "By how much less an amount is worth for each year it is paid later.",
        NOT_A_PRICE,
    ),
    "spare.hosts": Quantity(
        1, "hosts", 0, 1_000, "Hosts at each site beyond those needed, so that as many may fail.",
        COMMON_PRACTICE, whole=True,
    ),
    "spare.share_pct": Quantity(
        None, "% of the hosts needed", 0, 100, "The same as a share, rounded up to whole hosts.",
        COMMON_PRACTICE,
    ),
    "drain_hosts": Quantity(
        0, "hosts", 0, 1_000, "Hosts at each site that are empty for maintenance at a time.",
        "our choice: maintenance outside working hours", whole=True,
    ),
    "choices.rack_units": Quantity(
        2, "rack units", 1, 60, "Height of one host in the rack.", INVENTED, whole=True,
    ),
    "choices.idle_watts": Quantity(
        200, "W", 0, 100_000, "Power of one host without cards and without work.", _NOT_MEASURED,
    ),
    "choices.busy_watts": Quantity(
        500, "W", 0, 100_000, "Power of one host without cards, all cores busy.", _NOT_MEASURED,
    ),
    "choices.card_watts": Quantity(
        50, "W", 0, 10_000, "Power that one card adds, whether or not it is at work.",
        _NOT_MEASURED,
    ),
    "choices.host_price": Quantity(
        10_000, _MONEY, 0, 1_000_000_000, "Purchase price of one host without cards.", NOT_A_PRICE,
    ),
    "choices.card_price": Quantity(
        1_000, _MONEY, 0, 1_000_000_000, "Purchase price of one card.", NOT_A_PRICE,
    ),
    "choices.yearly_cost_per_host": Quantity(
        500, f"{_MONEY} per year", 0, 1_000_000_000,
        "What one host costs each year besides energy: support, licences, space.", NOT_A_PRICE,
    ),
    "energy_price_per_kwh": Quantity(
        0.2, f"{_MONEY} per kWh", 0, 1_000_000, "Price of energy.", NOT_A_PRICE,
    ),
    "overhead_factor": Quantity(
        1.5, "times", 1, 5,
        "Energy of the whole facility, cooling included, over that of the hosts.",
        COMMON_PRACTICE,
    ),
    "hours_per_year": Quantity(
        8_760, "hours", 1, 8_784, "Hours of the year in which the hosts are switched on.",
        "365 days of 24 hours",
    ),
    "working_hours_per_year": Quantity(
        3_000, "hours", 0, 8_784,
        "Hours of these with everyone at work; in the others the hosts draw idle power.",
        "our choice: 250 days of 12 hours",
    ),
}  # fmt: skip


def _number(path: str) -> Any:
    quantity = FLEET_FIELDS[path]
    bounds: dict[str, Any] = {"ge": quantity.low, "le": quantity.high}
    if quantity.value is None:
        return Field(description=quantity.meaning, **bounds)
    default = int(quantity.value) if quantity.whole else quantity.value
    return Field(default=default, description=quantity.meaning, **bounds)


def _money(path: str) -> Any:
    quantity = FLEET_FIELDS[path]
    low, high, default = (
        exact(path, number) for number in (quantity.low, quantity.high, quantity.value)
    )
    return Field(default=default, ge=low, le=high, description=quantity.meaning)


def _written(decimals: int) -> BeforeValidator:
    return BeforeValidator(lambda value: exact("", value, decimals))


def _printable(text: str) -> str:
    if not text.isprintable() or text != text.strip():
        raise InputError("", text, "printable text without blanks around it")
    return text


def _tuple(value: object) -> object:
    return tuple(value) if isinstance(value, list) else value


Price = Annotated[Decimal, _written(_PRICE_DECIMALS)]
Rate = Annotated[Decimal, _written(_RATE_DECIMALS)]
Count = Annotated[int, Field(ge=0, le=int(FLEET_FIELDS["sites.sessions"].high))]


class Site(Record):
    """Where people work, and how many of each role."""

    name: Name
    sessions: Annotated[
        dict[str, Count],
        AfterValidator(FrozenMapping),
        BeforeValidator(lambda given: dict(given) if isinstance(given, FrozenMapping) else given),
    ]

    @property
    def total(self) -> int:
        """Sessions of all roles in the first year."""
        return sum(self.sessions.values())


class Spare(Record):
    """How many hosts stand beyond those needed: a number, or a share of them."""

    hosts: Annotated[int, Field(ge=0, le=1_000)] | None = None
    share_pct: Annotated[float, Field(ge=0, le=100)] | None = None

    @model_validator(mode="after")
    def _one_of_the_two(self) -> "Spare":
        if (self.hosts is None) == (self.share_pct is None):
            given = "empty" if self.hosts is None else "both"
            raise InputError("", given, 'either "hosts" or "share_pct"')
        return self

    def beside(self, needed: int) -> int:
        """Return the spare hosts that belong to so many needed. [hosts]"""
        if self.hosts is not None:
            return self.hosts
        share = Fraction(exact("share_pct", self.share_pct)) / 100
        return -(-(needed * share).numerator // (needed * share).denominator)


class HostChoice(Record):
    """A host that could be bought, with cards or without: what it can do, draws and costs."""

    name: Name
    host: Host = Field(default_factory=Host)
    accelerator: Accelerator = Field(default_factory=Accelerator)
    rack_units: int = _number("choices.rack_units")
    idle_watts: float = _number("choices.idle_watts")
    busy_watts: float = _number("choices.busy_watts")
    card_watts: float = _number("choices.card_watts")
    host_price: Price = _money("choices.host_price")
    card_price: Price = _money("choices.card_price")
    yearly_cost_per_host: Price = _money("choices.yearly_cost_per_host")

    @model_validator(mode="after")
    def _busy_is_not_below_idle(self) -> "HostChoice":
        if self.busy_watts < self.idle_watts:
            expected = f"at least idle_watts, {self.idle_watts:g} W"
            raise InputError("busy_watts", self.busy_watts, expected)
        return self


def _check_names(field: str, names: list[str]) -> None:
    for index, name in enumerate(names):
        if name in names[:index]:
            raise InputError(f"{field}[{index}].name", name, "a name that no other one has")


class FleetInputs(Record):
    """All that is asked about a fleet, beside the scenario whose people it carries."""

    version: Literal[1] = 1
    sites: Annotated[
        tuple[Site, ...], Field(min_length=1, max_length=MOST_SITES), BeforeValidator(_tuple)
    ]
    growth_pct_per_year: float = _number("growth_pct_per_year")
    horizon_years: int = _number("horizon_years")
    discount_pct: float = _number("discount_pct")
    spare: Spare = Field(default_factory=lambda: Spare(hosts=1))
    drain_hosts: int = _number("drain_hosts")
    choices: Annotated[
        tuple[HostChoice, ...],
        Field(min_length=1, max_length=MOST_CHOICES),
        BeforeValidator(_tuple),
    ]
    energy_price_per_kwh: Rate = _money("energy_price_per_kwh")
    overhead_factor: float = _number("overhead_factor")
    hours_per_year: float = _number("hours_per_year")
    working_hours_per_year: float = _number("working_hours_per_year")
    currency: Annotated[str, Field(min_length=1, max_length=20), AfterValidator(_printable)] = (
        "currency units"
    )

    @model_validator(mode="after")
    def _fits_together(self) -> "FleetInputs":
        _check_names("sites", [site.name for site in self.sites])
        _check_names("choices", [choice.name for choice in self.choices])
        if not any(site.total for site in self.sites):
            raise InputError("sites", "no session at all", "at least one session at one site")
        if self.working_hours_per_year > self.hours_per_year:
            expected = f"at most hours_per_year, {self.hours_per_year:g} hours"
            raise InputError("working_hours_per_year", self.working_hours_per_year, expected)
        for year in (1, self.horizon_years):
            total = sum(self.sessions_in_year(site.total, year) for site in self.sites)
            if total > MOST_FLEET_SESSIONS:
                field = "sites" if year == 1 else "growth_pct_per_year"
                value = f"{total} sessions" if year == 1 else self.growth_pct_per_year
                expected = f"at most {MOST_FLEET_SESSIONS} sessions of all sites in any year"
                raise InputError(field, value, expected)
        return self

    def sessions_in_year(self, first: int, year: int) -> int:
        """Return what so many sessions of year 1 have grown to, rounded up. [sessions]"""
        growth = 1 + Fraction(exact("growth_pct_per_year", self.growth_pct_per_year)) / 100
        grown = first * growth ** (year - 1)
        return -(-grown.numerator // grown.denominator)

    def choice(self, name: str) -> HostChoice:
        """Return the host choice of that name."""
        for each in self.choices:
            if each.name == name:
                return each
        named = ", ".join(each.name for each in self.choices)
        raise InputError("choice", name, f"one of {named}")


def from_data(data: object) -> FleetInputs:
    """Return the fleet in plain JSON data.

    Parameters
    ----------
    data : object
        What `json.loads` gives.

    Raises
    ------
    InputError
        For the first field that will not do: its dotted path, value and range.
    """
    if isinstance(data, dict) and data.get("version", VERSION) != VERSION:
        raise InputError("version", data["version"], f"{VERSION}, the version this release reads")
    try:
        return check(FleetInputs, data)
    except InputError as error:
        raise _with_range(error) from None


def to_data(inputs: FleetInputs) -> dict[str, Any]:
    """Return a fleet as plain JSON data; amounts are numbers.

    Parameters
    ----------
    inputs : FleetInputs
        The fleet.
    """
    data: dict[str, Any] = inputs.model_dump()
    data["sites"] = [each | {"sessions": dict(each["sessions"])} for each in data["sites"]]
    data["choices"] = [_numbers(each) for each in data["choices"]]
    data["spare"] = {name: value for name, value in data["spare"].items() if value is not None}
    return _numbers(data)


def check_roles(inputs: FleetInputs, scenario: Scenario) -> None:
    """Refuse a site with a role that the scenario does not know.

    Parameters
    ----------
    inputs : FleetInputs
        The fleet.
    scenario : Scenario
        The scenario whose people work there.

    Raises
    ------
    InputError
        For the first such role.
    """
    known = [role.name for role in scenario.roles]
    for index, site in enumerate(inputs.sites):
        for name in site.sessions:
            if name not in known:
                expected = f"the name of one of the roles: {', '.join(known)}"
                raise InputError(f"sites[{index}].sessions", name, expected)


def example() -> FleetInputs:
    """Return the shipped example: three invented sites of the harbour authority, two hosts."""
    larger = {"cores": 64, "memory_gib": 2_048, "clock_ghz": 2.8, "network_gbps": 25}
    return from_data(
        {
            "sites": [
                {"name": "North quay", "sessions": {
                    "berth planner": 280, "gatehouse clerk": 120, "chart drafter": 90}},
                {"name": "Lock island", "sessions": {
                    "berth planner": 60, "gatehouse clerk": 160, "chart drafter": 20}},
                {"name": "Pilot school", "sessions": {
                    "gatehouse clerk": 20, "training room": 140}},
            ],
            "growth_pct_per_year": 4,
            "choices": [
                {"name": "32 cores, one card"},
                {"name": "64 cores, two cards", "host": larger, "accelerator": {"cards": 2},
                 "idle_watts": 300, "busy_watts": 900, "host_price": 20_000,
                 "yearly_cost_per_host": 800},
            ],
        }
    )  # fmt: skip


def _numbers(data: dict[str, Any]) -> dict[str, Any]:
    def plain(value: Any) -> Any:
        if isinstance(value, Decimal):
            return int(value) if value == int(value) else float(value)
        return list(value) if isinstance(value, tuple) else value

    return {name: plain(value) for name, value in data.items()}


def _with_range(error: InputError) -> InputError:
    """The same error with the range in words, as a scenario tells it."""
    path = re.sub(r"\[\d+\]", "", error.field)
    value = float(error.value) if isinstance(error.value, Decimal) else error.value
    if path.startswith("sites.sessions."):
        path = "sites.sessions"
    if path.startswith("choices.") and path.count(".") == 2:
        quantity = FIELDS.get(path.removeprefix("choices."))
    else:
        quantity = FLEET_FIELDS.get(path)
    said = error.expected.startswith(("a value; ", "a number with", "at most ", "at least ", "no "))
    if quantity is None or said:
        field = "fleet" if path == "scenario" else error.field
        return InputError(field, value, error.expected)
    return InputError(error.field, value, quantity.expected)
