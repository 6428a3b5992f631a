"""In which sentences does the Fleet page state an answer, a chart's point, or a refusal?"""

import re
from decimal import Decimal

from app.labels import amount
from app.labels_fleet import (
    ARM_LABEL,
    CHOICE,
    CHOICE_MORE,
    CURRENCY,
    GENERAL,
    LETTERS,
    in_table,
    money,
    quantity_of,
)
from app.refusals import refusal
from model.break_even import BreakEvenShare
from model.errors import InputError
from model.fleet import ChoicePlan, FleetPlan
from model.fleet_costs import FleetCosts
from model.fleet_inputs import FleetInputs, HostChoice
from model.hosts import Arm
from model.scenario import Scenario

NO_ANSWER = "No host choice carries every site; the reasons stand below."
ROLES_LEFT_OUT = (
    "The example fleet is shown without its sessions of roles that this scenario does not have."
)
TOO_LONG = "This fleet is too long for a link, so the address does not hold it: save its numbers."
_PLACED = re.compile(r"(sites|choices)\[(\d+)\](?:\.(.+))?")
_OTHER: dict[Arm, Arm] = {"software": "offloaded", "offloaded": "software"}


def lettered(plan: ChoicePlan | HostChoice, index: int) -> str:
    """Return a host choice's letter and name.

    Parameters
    ----------
    plan : ChoicePlan or HostChoice
        The host choice.
    index : int
        Its place, 0 for the first. [-]
    """
    name = plan.name if isinstance(plan, HostChoice) else plan.choice
    return f"{LETTERS[index]} {name}"


def counted(number: int, one: str) -> str:
    """Return a number of things: 1 host, 2,000 hosts.

    Parameters
    ----------
    number : int
        How many. [`one`]
    one : str
        What one of them is called.
    """
    return f"{number:,} {one}" if number == 1 else f"{number:,} {one}s"


def _needs(costs: FleetCosts) -> str:
    cards = f" and {counted(costs.cards, 'card')}" if costs.cards else ""
    return f"{counted(costs.hosts, 'host')}{cards}"


def answer(plan: FleetPlan, inputs: FleetInputs) -> list[str]:
    """Return what costs least and how the other arm compares, the main sentence first.

    Parameters
    ----------
    plan : FleetPlan
        Every host choice.
    inputs : FleetInputs
        The fleet.
    """
    if plan.cheapest is None:
        return [NO_ANSWER]
    name, arm = plan.cheapest
    choice = next(each for each in plan.choices if each.choice == name)
    best = choice.arms[arm].total
    assert best is not None
    currency = inputs.currency
    has_cards = inputs.choice(name).accelerator.cards > 0
    years = amount(inputs.horizon_years, "years" if inputs.horizon_years > 1 else "year")
    with_arm = f": {ARM_LABEL[arm]} it" if has_cards else ""
    told = [
        f"{name}{with_arm} costs least, {_needs(best)}, "
        f"{money(best.present_value, currency)} over {years}."
    ]
    if not has_cards:
        told.append("It has no cards to compare with.")
    else:
        other = choice.arms[_OTHER[arm]]
        label = ARM_LABEL[other.arm].capitalize()
        if other.total is None:
            told.append(f"{label} it does not carry every site.")
        else:
            more = other.total.present_value - best.present_value
            costs = f"costs {money(more, currency)} more" if more else "costs the same"
            told.append(f"{label} the same host needs {_needs(other.total)} and {costs}.")
    told.append(
        f"Amounts are present values: what is paid later counts {inputs.discount_pct:g} % a year "
        "less."
    )
    return told


def hosts_takeaway(plan: FleetPlan, inputs: FleetInputs) -> str:
    """Return how many hosts each choice needs now.

    Parameters
    ----------
    plan : FleetPlan
        Every host choice.
    inputs : FleetInputs
        The fleet.
    """
    total = sum(site.total for site in inputs.sites)
    parts = []
    for index, choice in enumerate(plan.choices):
        found = {arm: of_arm.total for arm, of_arm in choice.arms.items()}
        counts = {arm: str(each.hosts) if each else "none" for arm, each in found.items()}
        if not inputs.choices[index].accelerator.cards:
            parts.append(f"{LETTERS[index]} {counts['software']}, no cards")
        else:
            parts.append(
                f"{LETTERS[index]} {counts['software']} without cards, {counts['offloaded']} with"
            )
    return f"Hosts for {counted(total, 'session')}, spare ones included: {'; '.join(parts)}."


def crossing_year(choice: ChoicePlan) -> tuple[int | None, str]:
    """Return when the arms of a host choice change places over time, and how they compare.

    Parameters
    ----------
    choice : ChoicePlan
        The plan of the host choice.

    Returns
    -------
    tuple of int or None, and str
        The year's end at which the dearer arm has become the cheaper one, 0 being the start; None
        where they never change places. Then the same in words, to be read after "cards". [years]
    """
    without, with_cards = choice.arms["software"].total, choice.arms["offloaded"].total
    if without is None or with_cards is None:
        return None, "cannot be compared: one of the arms does not carry every site"
    dearer = [one > other for one, other in zip(with_cards.worth, without.worth, strict=True)]
    last = next((at for at in range(len(dearer) - 1, 0, -1) if dearer[at] != dearer[at - 1]), None)
    if last is None:
        return None, "cost more all the time" if dearer[0] else "cost less from the start"
    if dearer[-1]:
        return last, f"cost more from the end of year {last} on"
    return last, f"are paid back by the end of year {last}"


def cost_takeaway(plan: FleetPlan, inputs: FleetInputs) -> str:
    """Return what cards save on each host choice, and from when on.

    Parameters
    ----------
    plan : FleetPlan
        Every host choice.
    inputs : FleetInputs
        The fleet.
    """
    parts = []
    for index, choice in enumerate(plan.choices):
        if not inputs.choices[index].accelerator.cards:
            parts.append(f"{LETTERS[index]} has no cards")
            continue
        without, with_cards = choice.arms["software"].total, choice.arms["offloaded"].total
        _, told = crossing_year(choice)
        if without is None or with_cards is None:
            parts.append(f"{LETTERS[index]}: cards {told}")
            continue
        saving = without.present_value - with_cards.present_value
        verb = "save" if saving >= 0 else "cost"
        more = "" if saving >= 0 else " more"
        parts.append(f"{LETTERS[index]}: cards {verb} {in_table(abs(saving))}{more} and {told}")
    return f"Present value in {inputs.currency}. {'; '.join(parts)}."


def map_takeaway(
    found: BreakEvenShare, share_pct: float, card_price: Decimal, currency: str
) -> str:
    """Return the break-even share in words, and where the fleet stands on the map.

    Parameters
    ----------
    found : BreakEvenShare
        The break-even share.
    share_pct : float
        The role's share of the fleet's sessions now. [%]
    card_price : Decimal
        The price of a card now. [currency]
    currency : str
        What amounts are in.
    """
    role = found.role
    price = f"At {money(card_price, currency)} a card,"
    if not found.found:
        verdict = "pay" if found.told.startswith("Cards cost no more") else "do not pay"
        ends = f"without {role} as with {role} alone"
        return f"{price} cards {verdict} {ends}; now it has {share_pct:.0f} %."
    told = f"{found.told[0].lower()}{found.told[1:]}"
    return f"{price} {told} Now {role} has {share_pct:.0f} %."


def refused(error: InputError, inputs_data: object, scenario: Scenario) -> dict[str, str]:
    """Return what is wrong with a fleet: the path of its control, and a sentence.

    Parameters
    ----------
    error : InputError
        The model's refusal.
    inputs_data : object
        The fleet as it was sent, for the names of sites and host choices.
    scenario : Scenario
        The scenario.
    """
    field = error.field
    names = [role.name for role in scenario.roles]
    if field.endswith("].sessions") and isinstance(error.value, str):
        site = _named(inputs_data, "sites", int(field[6 : field.index("]")]))
        listed = ", ".join(names)
        told = (
            f"{site} has sessions of {error.value}, a role that the scenario does not have; "
            f"its roles are {listed}."
        )
        return {"field": f"{field}.{error.value}", "message": told}
    named = InputError(_name(field, inputs_data), error.value, error.expected)
    return {"field": field, "message": refusal(named)}


def _name(field: str, inputs_data: object) -> str:
    if field in GENERAL:
        return GENERAL[field]
    if field == "currency":
        return CURRENCY
    if field == "spare":
        return "Spare hosts"
    placed = _PLACED.fullmatch(field)
    if placed is None:
        return {"sites": "Sites", "choices": "Host choices", "fleet": "The fleet"}.get(field, field)
    kind, index, rest = placed.groups()
    name = _named(inputs_data, kind, int(index))
    if rest is None:
        return name
    if rest == "name":
        return f"{name}, name"
    if kind == "sites":
        return f"{name}, {rest.removeprefix('sessions.').removeprefix('sessions')}"
    label = (CHOICE | CHOICE_MORE).get(rest)
    return f"{name}, {label or rest}"


def _named(inputs_data: object, kind: str, index: int) -> str:
    one = "Site" if kind == "sites" else "Host choice"
    try:
        name = inputs_data[kind][index]["name"]  # type: ignore[index]
    except (KeyError, IndexError, TypeError):
        name = None
    told = f" ({name})" if isinstance(name, str) and name.strip() else ""
    return f"{one} {index + 1}{told}"


def help_of(path: str) -> str:
    """Return what a number means, its range and where what stands there comes from.

    Parameters
    ----------
    path : str
        The field, see `app.labels_fleet.quantity_of`.
    """
    quantity = quantity_of(path)
    reach = f"{quantity.low:,.10g} to {quantity.high:,.10g} {quantity.unit}".rstrip()
    return f"{quantity.meaning} {reach}. Default: {quantity.provenance}."
