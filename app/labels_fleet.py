"""What is each thing on the Fleet page called, in which unit, and how is it explained?"""

from decimal import Decimal
from typing import Any

from app.labels import LABELS
from model.defaults import FIELDS, Quantity
from model.fleet_inputs import FLEET_FIELDS

LETTERS = "ABCDEFGH"  # by which tables and charts name the host choices
ARM_LABEL = {"software": "without cards", "offloaded": "with cards"}
TITLES = {  # of the charts
    "fleet-hosts": "Hosts over total sessions",
    "fleet-cost": "Cost over time, discounted",
    "fleet-map": "Break-even of cards: card price by mix",
}
GENERAL = {  # field: label
    "growth_pct_per_year": "Growth of sessions",
    "horizon_years": "Horizon",
    "discount_pct": "Discount rate",
    "spare.hosts": "Spare hosts at each site",
    "spare.share_pct": "Spare share",
    "drain_hosts": "Hosts drained for maintenance",
    "energy_price_per_kwh": "Energy price",
    "overhead_factor": "Overhead of the facility",
    "hours_per_year": "Hours switched on",
    "working_hours_per_year": "Working hours",
}
CHOICE = {  # field of a host choice: label
    "host.cores": LABELS["host.cores"],
    "host.clock_ghz": LABELS["host.clock_ghz"],
    "host.threads_per_core": LABELS["host.threads_per_core"],
    "host.memory_gib": LABELS["host.memory_gib"],
    "host.network_gbps": LABELS["host.network_gbps"],
    "accelerator.cards": LABELS["accelerator.cards"],
    "accelerator.displays_per_card": LABELS["accelerator.displays_per_card"],
    "rack_units": "Height in the rack",
    "host_price": "Price of a host",
    "card_price": "Price of a card",
    "yearly_cost_per_host": "Yearly cost of a host",
    "idle_watts": "Power of an idle host",
    "busy_watts": "Power of a busy host",
    "card_watts": "Power of a card",
}
CHOICE_MORE = {  # what is folded away
    "host.smt_yield": LABELS["host.smt_yield"],
    "host.turbo_ratio": LABELS["host.turbo_ratio"],
    "host.relative_ipc": LABELS["host.relative_ipc"],
    "host.reserve_pct": LABELS["host.reserve_pct"],
    "host.gpu_memory_gib": LABELS["host.gpu_memory_gib"],
    "accelerator.megapixels_per_s_per_card": LABELS["accelerator.megapixels_per_s_per_card"],
    "accelerator.share_pct": LABELS["accelerator.share_pct"],
}
CURRENCY = "Currency"
CURRENCY_HELP = "What amounts are in, as text of at most 20 characters; nothing is converted."
SITES_HELP = (
    "A row for each site, a column for each role of the Host page's scenario: sessions in the "
    f"first year. {FLEET_FIELDS['sites.sessions'].low:g} to "
    f"{FLEET_FIELDS['sites.sessions'].high:,g} each."
)
PASTE_HELP = (
    "Copy the cells from a spreadsheet and paste them here, or drop or choose a CSV file: a row "
    "for each site under a header with the names of roles, or the columns site, role and sessions."
)
PAGE: dict[str, Any] = {
    "title": "A fleet of hosts",
    "about": "How many hosts does a whole fleet need, with cards and without, and what does that "
    "cost over the years? All prices are your own inputs; what stands in their place is a round "
    "placeholder, not a price.",
    "people": "People, activities and targets are those of the Host page: ",
    "sites": "Sites and sessions",
    "general": "Growth, spare hosts and money",
    "choices": "Host choices",
    "more": "More about the hosts",
    "explained": "What these numbers mean",
    "add_site": "Add a site",
    "add_choice": "Add a host choice",
    "copy": "Copy",
    "remove": "Remove",
    "read_table": "Read the table",
    "choose_file": "Choose a CSV file",
    "undo": "Take the former sites back",
    "remove_roles": "Remove these sessions",
    "example": "Back to the example fleet",
    "closer": "Look closer at",
    "role": "Role whose share is moved",
    "overall": "Side by side, all sites",
    "by_site": "Site by site",
    "break_even": "Break-even price of a card",
    "by_year": "Year by year",
    "inputs": "Inputs",
}
ACTIONS = {  # of the buttons below the answer: label, what it does
    "fleet-pictures": ("All pictures", "Save every chart as PNG, in one zip file"),
    "fleet-table": ("All sites as CSV", "Save hosts, power and cost of every site and host choice"),
    "fleet-document": ("All numbers", "Save the whole answer as a JSON file, for other programs"),
    "fleet-print": ("Print", "A sheet with answer, tables, charts and inputs, to save as PDF"),
}


def quantity_of(path: str) -> Quantity:
    """Return range, unit and provenance of a field of a fleet.

    Parameters
    ----------
    path : str
        The field, that of a host choice without its place: "host_price" or "host.cores".
    """
    for found in (FLEET_FIELDS.get(path), FLEET_FIELDS.get(f"choices.{path}"), FIELDS.get(path)):
        if found is not None:
            return found
    raise KeyError(path)


def is_money(path: str) -> bool:
    """Return whether a field is an amount, whose unit is the user's currency.

    Parameters
    ----------
    path : str
        As for `quantity_of`.
    """
    return quantity_of(path).unit.startswith("of the currency")


def unit_of(path: str, currency: str) -> str:
    """Return the unit of a field as it is shown.

    Parameters
    ----------
    path : str
        As for `quantity_of`.
    currency : str
        What amounts are in.
    """
    unit = quantity_of(path).unit
    return unit.replace("of the currency", currency)


def money(amount: Decimal, currency: str = "") -> str:
    """Return an amount to the cent, grouped by thousands, with its currency behind it.

    Parameters
    ----------
    amount : Decimal
        The amount. [currency]
    currency : str
        What it is in; "" leaves it out.
    """
    return f"{amount:,.2f} {currency}".rstrip()


def in_table(amount: Decimal | None) -> str:
    """Return an amount for a table: whole from 1,000 on, to the cent below.

    Parameters
    ----------
    amount : Decimal or None
        The amount. [currency]
    """
    if amount is None:
        return "none"
    return f"{amount:,.0f}" if abs(amount) >= 1000 or not amount else f"{amount:,.2f}"
