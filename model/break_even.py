"""From which card price down, and from which mix on, do the cards pay for themselves?

The cost of a fleet is a straight line in the price of a card, so the break-even price is a plain
division. Over the mix it moves in steps of whole hosts; there a search gives a bracket. The map
puts both together.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal, localcontext
from fractions import Fraction

from model.errors import InputError
from model.fleet import ChoicePlan, plan_mixes, scenario_mix, site_mixes
from model.fleet_costs import FleetYear, cash_by_time
from model.fleet_inputs import FleetInputs
from model.host_rating import HostRatings, Mix
from model.money import discounted, exact, to_cent
from model.scenario import Scenario

MOST_MAP_SHARES = 101
MOST_MAP_PRICES = 201


@dataclass(frozen=True)
class CardPrice:
    """The price of one card at which a fleet costs the same with cards and without.

    Parameters
    ----------
    price : Decimal or None
        Below it cards pay; below 0 they pay at no price. [currency] None where there is no such
        price; `told` says why.
    told : str
        In words.
    """

    price: Decimal | None
    told: str


def break_even_card_price(
    inputs: FleetInputs, plan: ChoicePlan, site: str | None = None
) -> CardPrice:
    """Return the card price at which the present values of both arms are equal.

    Parameters
    ----------
    inputs : FleetInputs
        The fleet that was planned.
    plan : ChoicePlan
        The plan of the host choice.
    site : str or None
        A site; None for all of them together.

    Returns
    -------
    CardPrice
        Rounded to the cent: put back, present values differ by half a cent for each card, and
        by what rounding of the sites' amounts leaves.
    """
    years = [_years(plan, arm, site) for arm in ("software", "offloaded")]
    if years[0] is None or years[1] is None:
        return CardPrice(None, "No price: one of the arms cannot carry every session.")
    exact_price = _exact_price(inputs, plan.choice, years[0], years[1])
    if exact_price is None:
        return CardPrice(None, "No price: this host has no cards.")
    price = to_cent(exact_price)
    if price < 0:
        return CardPrice(price, "Cards do not pay even as a gift.")
    return CardPrice(price, f"Cards pay below {price:,} {inputs.currency} for each card.")


def _years(plan: ChoicePlan, arm: str, site: str | None) -> tuple[FleetYear, ...] | None:
    of_arm = plan.arms["software" if arm == "software" else "offloaded"]
    if site is None:
        return None if of_arm.total is None else of_arm.total.years
    for each in of_arm.sites:
        if each.site == site:
            return None if each.costs is None else each.costs.years
    raise InputError("site", site, "the name of one of the sites")


def _exact_price(
    inputs: FleetInputs,
    choice: str,
    without: Sequence[FleetYear],
    with_cards: Sequence[FleetYear],
) -> Decimal | None:
    discount = exact("discount_pct", inputs.discount_pct)
    cards = discounted([year.cards_bought for year in with_cards], discount)
    if not cards:
        return None
    with localcontext(prec=50):
        dearer = discounted(cash_by_time(with_cards), discount)
        saved = discounted(cash_by_time(without), discount) - dearer
        return inputs.choice(choice).card_price + saved / cards


@dataclass(frozen=True)
class BreakEvenShare:
    """The share of one role at which a fleet costs the same with cards and without.

    Parameters
    ----------
    role : str
        The role whose share was moved.
    low_pct, high_pct : Fraction
        The bracket: the arms change places between these shares; 0 and 100 where they do not.
        [% of the sessions of every site]
    saving_low, saving_high : Decimal or None
        What the cards save at both ends, as a present value; negative where they cost more.
        [currency] None where one of the arms cannot carry every session.
    found : bool
        Whether the arms change places.
    told : str
        In words.
    """

    role: str
    low_pct: Fraction
    high_pct: Fraction
    saving_low: Decimal | None
    saving_high: Decimal | None
    found: bool
    told: str


def break_even_share(
    inputs: FleetInputs,
    scenario: Scenario,
    choice: str,
    role: str,
    step_pct: float = 1.0,
    ratings: HostRatings | None = None,
) -> BreakEvenShare:
    """Return the share of a role at which cards begin, or cease, to pay.

    Parameters
    ----------
    inputs : FleetInputs
        The fleet.
    scenario : Scenario
        Roles, activities and targets.
    choice : str
        Name of the host choice.
    role : str
        The role that takes sessions from all others, which keep their proportions: the one with
        moving pictures, for instance.
    step_pct : float, 0.1 to 50
        Width of the bracket, at most. [%]
    ratings : HostRatings or None
        As for `model.fleet.plan_fleet`.

    Returns
    -------
    BreakEvenShare
        With its bracket. Where one arm cannot carry every session the other pays.

    Raises
    ------
    InputError
        For a role, host choice or step that will not do.

    Notes
    -----
    Halves the bracket from 0 and 100 % on, as if the saving only rose or only fell. Whole hosts
    make it move in steps, so close to the share found the arms may change places more than once.
    """
    if not 0.1 <= step_pct <= 50:
        raise InputError("step_pct", step_pct, "a number from 0.1 to 50 %")
    of_choice = inputs.model_copy(update={"choices": (inputs.choice(choice),)})
    known = HostRatings() if ratings is None else ratings

    def saving(share_pct: Fraction) -> Decimal:
        mixes = mixes_at(of_choice, scenario, role, share_pct)
        return _saving(plan_mixes(of_choice, scenario, mixes, known).choices[0])

    low, high = Fraction(0), Fraction(100)
    at_low, at_high = saving(low), saving(high)
    if (at_low >= 0) == (at_high >= 0):
        verdict = "cost no more" if at_low >= 0 else "cost more"
        told = f"Cards {verdict} both without the role {role} and with everyone in it."
        return BreakEvenShare(role, low, high, _told(at_low), _told(at_high), False, told)
    while high - low > Fraction(exact("step_pct", step_pct)):
        middle = Fraction(round((low + high) * 5), 10)  # a tenth of a per cent is enough
        at_middle = saving(middle)
        if (at_middle >= 0) == (at_low >= 0):
            low, at_low = middle, at_middle
        else:
            high, at_high = middle, at_middle
    between = f"between {float(low):g} and {float(high):g} %"
    side = "above" if at_high >= 0 else "below"
    told = f"Cards pay {side} a share of {role} {between}; whole hosts make the cost move in steps."
    return BreakEvenShare(role, low, high, _told(at_low), _told(at_high), True, told)


def mixes_at(
    inputs: FleetInputs, scenario: Scenario, role: str, share_pct: Fraction
) -> tuple[Mix, ...]:
    """Return every site's mix with the share of one role changed.

    Parameters
    ----------
    inputs : FleetInputs
        The fleet.
    scenario : Scenario
        The scenario; where a site has nobody else, the others come in its proportions.
    role : str
        The role.
    share_pct : Fraction, 0 to 100
        Its share of the sessions of every site; the others keep their proportions. [%]

    Raises
    ------
    InputError
        For a role that is unknown or has no other one beside it.
    """
    names = [each.name for each in scenario.roles]
    usual = scenario_mix(scenario)
    if role not in names:
        raise InputError("role", role, f"one of {', '.join(names)}")
    index = names.index(role)
    if usual[index] == 1:
        raise InputError("role", role, "a role with others beside it in the scenario")
    share = share_pct / 100
    mixes = []
    for mix in site_mixes(inputs, scenario):
        others = usual if mix[index] == 1 else mix
        scale = (1 - share) / (1 - others[index])
        mixes.append(tuple(share if i == index else w * scale for i, w in enumerate(others)))
    return tuple(mixes)


def _saving(plan: ChoicePlan) -> Decimal:
    """What the cards save; without end where only they carry every session."""
    without, with_cards = plan.arms["software"].total, plan.arms["offloaded"].total
    if with_cards is None:
        return Decimal("-Infinity")
    return (
        Decimal("Infinity")
        if without is None
        else (without.present_value - with_cards.present_value)
    )


def _told(saving: Decimal) -> Decimal | None:
    return saving if saving.is_finite() else None


@dataclass(frozen=True)
class BreakEvenMap:
    """What cards save over their price and the share of one role.

    Parameters
    ----------
    role : str
        The role whose share is moved.
    share_pct : tuple of float
        Its shares. [% of the sessions of every site]
    card_price : tuple of Decimal
        Prices of a card. [currency]
    saving : tuple of tuples, shares by prices
        Present value that the cards save; negative where they cost more. [currency] None where
        one of the arms cannot carry every session.
    break_even_price : tuple of length shares
        Card price below which cards pay: the line between both sides of the map. [currency] None
        where there is none.
    """

    role: str
    share_pct: tuple[float, ...]
    card_price: tuple[Decimal, ...]
    saving: tuple[tuple[Decimal | None, ...], ...]
    break_even_price: tuple[Decimal | None, ...]


def break_even_map(
    inputs: FleetInputs,
    scenario: Scenario,
    choice: str,
    role: str,
    share_pct: Sequence[float],
    card_price: Sequence[float | Decimal],
    ratings: HostRatings | None = None,
) -> BreakEvenMap:
    """Return what cards save for each share of a role and each price of a card.

    Parameters
    ----------
    inputs : FleetInputs
        The fleet; the card price of the choice is not used.
    scenario : Scenario
        Roles, activities and targets.
    choice : str
        Name of the host choice.
    role : str
        The role whose share is moved, as in `break_even_share`.
    share_pct : sequence of 1 to 101 numbers from 0 to 100
        Shares of the role. [%]
    card_price : sequence of 1 to 201 numbers of 0 or more
        Prices of a card. [currency]
    ratings : HostRatings or None
        As for `model.fleet.plan_fleet`.

    Raises
    ------
    InputError
        For a role, host choice, share or price that will not do.

    Notes
    -----
    Each share costs one rating for each site and arm; prices cost nothing.
    """
    _check_axis("share_pct", share_pct, MOST_MAP_SHARES, 100)
    _check_axis("card_price", card_price, MOST_MAP_PRICES, None)
    prices = tuple(exact(f"card_price[{i}]", price, 2) for i, price in enumerate(card_price))
    of_choice = inputs.model_copy(update={"choices": (inputs.choice(choice),)})
    known = HostRatings() if ratings is None else ratings
    discount = exact("discount_pct", inputs.discount_pct)
    savings: list[tuple[Decimal | None, ...]] = []
    break_even: list[Decimal | None] = []
    for share in share_pct:
        mixes = mixes_at(of_choice, scenario, role, Fraction(exact("share_pct", share)))
        plan = plan_mixes(of_choice, scenario, mixes, known).choices[0]
        break_even.append(break_even_card_price(of_choice, plan).price)
        without, with_cards = plan.arms["software"].total, plan.arms["offloaded"].total
        if without is None or with_cards is None:
            savings.append((None,) * len(prices))
            continue
        cards = discounted([year.cards_bought for year in with_cards.years], discount)
        free = without.present_value - with_cards.present_value
        free += of_choice.choices[0].card_price * cards
        savings.append(tuple(to_cent(free - price * cards) for price in prices))
    shares = tuple(float(share) for share in share_pct)
    return BreakEvenMap(role, shares, prices, tuple(savings), tuple(break_even))


def _check_axis(
    name: str, values: Sequence[float | Decimal], most: int, high: float | None
) -> None:
    if not 1 <= len(values) <= most:
        raise InputError(name, f"{len(values)} numbers", f"1 to {most} numbers")
    for index, value in enumerate(values):
        number = exact(f"{name}[{index}]", value)
        if number < 0 or (high is not None and number > high):
            expected = "a number of 0 or more" if high is None else f"a number from 0 to {high:g} %"
            raise InputError(f"{name}[{index}]", value, expected)
