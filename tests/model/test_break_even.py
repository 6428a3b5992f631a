"""Do both arms cost the same at the break-even price, and change places at the share told?"""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.break_even import (
    break_even_card_price,
    break_even_map,
    break_even_share,
    mixes_at,
)
from model.errors import InputError
from model.fleet import plan_fleet
from model.scenario import from_data, to_data
from tests.model.fleets import SCENARIO, fleet, rated, rated_by_share, rating

ROLE = "training room"


def at_card_price(inputs, price):
    """Return the fleet with another card price."""
    choice = inputs.choices[0].model_copy(update={"card_price": price})
    return inputs.model_copy(update={"choices": (choice,)})


def test_break_even_price_worked_by_hand(checked):
    """The price follows from what the cards save, for each card bought."""
    ratings = rated(rating(40, 1.0), rating(60, 0.5))
    plan = plan_fleet(fleet(), SCENARIO, ratings).choices[0]
    found = break_even_card_price(fleet(), plan)

    # Derived: by hand, 99.95 + (4599.7554 - 3769.9963) / 3 cards, all bought at the start.
    assert found.price == Decimal("376.54")
    told = "break-even price of a card"
    checked("Fleet and cost", told, "by hand, to the cent", 376.54, found.price, kind="derived")
    assert found.told == "Cards pay below 376.54 currency units for each card."
    assert break_even_card_price(fleet(), plan, "quay") == found


@given(
    st.integers(1, 9), st.integers(20, 90), st.integers(30, 200), st.integers(0, 40),
    st.integers(1, 3), st.integers(0, 300_000),
)  # fmt: skip
def test_break_even_price_put_back_makes_both_arms_cost_the_same(
    sites, software, offloaded, growth_pct, cards, price_cents
):
    """At the break-even price present values differ by rounding only."""
    inputs = fleet(
        sites=[{"name": f"s{n}", "sessions": {ROLE: 37 * n}} for n in range(1, sites + 1)],
        growth_pct_per_year=growth_pct,
        horizon_years=5,
        choice={"accelerator": {"cards": cards}, "card_price": price_cents / 100},
    )
    ratings = rated(rating(software, 0.5), rating(offloaded, 0.3))
    plan = plan_fleet(inputs, SCENARIO, ratings).choices[0]
    price = break_even_card_price(inputs, plan).price
    arms = plan_fleet(at_card_price(inputs, price), SCENARIO, ratings).choices[0].arms
    values = [arms[arm].total.present_value for arm in ("software", "offloaded")]

    bought = sum(year.cards_bought for year in arms["offloaded"].total.years)
    # Derived: half a cent for each card, and half a cent for each site and arm.
    assert abs(values[0] - values[1]) <= Decimal("0.005") * (bought + 2 * sites)


def test_price_below_nothing_and_no_price_are_told():
    """Cards that do not pay as a gift, no cards, and an arm without a plan each have words."""
    same = rated(rating(40), rating(40))
    plan = plan_fleet(fleet(), SCENARIO, same).choices[0]
    no_cards = fleet(choice={"accelerator": {"cards": 0}})
    bare = plan_fleet(no_cards, SCENARIO, same).choices[0]
    unable = plan_fleet(fleet(), SCENARIO, rated(rating(0), rating(40))).choices[0]

    assert break_even_card_price(fleet(), plan).price < 0  # a card's watts are not free
    assert break_even_card_price(fleet(), plan).told == "Cards do not pay even as a gift."
    assert break_even_card_price(no_cards, bare).price is None
    assert "no cards" in break_even_card_price(no_cards, bare).told
    assert break_even_card_price(fleet(), unable).price is None
    assert "cannot carry" in break_even_card_price(fleet(), unable, "quay").told
    with pytest.raises(InputError, match="site is 'other'"):
        break_even_card_price(fleet(), plan, "other")


def stepped(**changes):
    """Return a fleet in which a host costs 1000, one with a card 2000, and nothing else."""
    bare = {"host_price": 1000, "card_price": 1000, "yearly_cost_per_host": 0}
    people = {ROLE: 600, "berth planner": 200, "chart drafter": 400}
    return fleet(
        sites=[{"name": "quay", "sessions": people}],
        growth_pct_per_year=0,
        spare={"hosts": 0},
        energy_price_per_kwh=0,
        choice=bare | changes,
    )


def falling(share_pct):
    """Return the rated load without cards as moving pictures take their share."""
    return int(100 - 0.8 * share_pct)


@pytest.mark.parametrize("step_pct", [1.0, 0.1, 7])
def test_break_even_share_lies_in_its_bracket(step_pct):
    """The share at which cards begin to pay is where a pencil finds it."""
    ratings = rated_by_share(ROLE, falling, lambda _share: 60)
    found = break_even_share(stepped(), SCENARIO, "host", ROLE, step_pct, ratings)

    # Derived: with cards 1200 / 60 = 20 hosts of 2000; without, 40 hosts of 1000 once a host
    # carries 30 or fewer, 100 - 0.8 s < 31, above 86.25 %. Below, 39 hosts.
    assert found.found
    assert found.low_pct <= Fraction("86.25") <= found.high_pct
    assert found.high_pct - found.low_pct <= Fraction(str(step_pct))
    assert found.saving_low < 0 <= found.saving_high
    assert found.told.startswith(f"Cards pay above a share of {ROLE} between ")


def test_share_above_which_cards_cease_to_pay_is_told_the_other_way():
    """Where only few moving pictures make cards pay, the sentence says below."""
    ratings = rated_by_share(ROLE, lambda share: 20 + int(share), lambda _share: 60)
    found = break_even_share(stepped(), SCENARIO, "host", ROLE, ratings=ratings)

    # Derived: without cards 40 hosts or fewer from 30 a host on; 41 to 60 before, 35 of 34.3.
    assert found.saving_low >= 0 > found.saving_high
    assert " below " in found.told
    assert found.low_pct <= 11 <= found.high_pct


@pytest.mark.parametrize(
    ("card_price", "told"), [(0, "cost no more both"), (100_000, "cost more both")]
)
def test_cards_that_pay_always_or_never_have_no_break_even_share(card_price, told):
    """Without a change of places the whole range is told, with what cards save at its ends."""
    ratings = rated_by_share(ROLE, falling, lambda _share: 100)
    inputs = stepped(card_price=card_price)
    found = break_even_share(inputs, SCENARIO, "host", ROLE, ratings=ratings)

    assert not found.found
    assert (found.low_pct, found.high_pct) == (0, 100)
    assert told in found.told


def test_arm_that_cannot_carry_everyone_loses():
    """Where only cards carry the sessions they pay at any price."""
    ratings = rated_by_share(ROLE, lambda share: 0 if share > 40 else 100, lambda _share: 60)
    found = break_even_share(stepped(), SCENARIO, "host", ROLE, ratings=ratings)

    assert found.low_pct <= 40 <= found.high_pct
    assert found.saving_high is None


def test_share_of_a_role_leaves_the_others_in_proportion():
    """Sessions move from the others, who stay in the proportions they had."""
    (mix,) = mixes_at(stepped(), SCENARIO, ROLE, Fraction(40))

    # Derived: 60 % in the proportions of 200 planners and 400 drafters.
    assert mix == (Fraction(20, 100), 0, Fraction(40, 100), Fraction(40, 100))


def test_site_with_nobody_else_takes_the_others_of_the_scenario():
    """Where one role is alone, the others come as the scenario has them."""
    (mix,) = mixes_at(fleet(), SCENARIO, ROLE, Fraction(20))

    # Derived: the scenario's 35, 30 and 15 of 80, times 80 %.
    assert [float(share * 100) for share in mix] == [35, 30, 15, 20]


def test_role_without_others_is_refused():
    """A role that is unknown, or the only one, has no break-even share."""
    data = to_data(SCENARIO)
    for role in data["roles"]:
        role["weight_pct"] = 100 if role["name"] == ROLE else 0
    alone = from_data(data)

    with pytest.raises(InputError, match="role is 'cook'; expected one of berth planner"):
        mixes_at(fleet(), SCENARIO, "cook", Fraction(50))
    with pytest.raises(InputError, match="expected a role with others beside it"):
        mixes_at(fleet(), alone, ROLE, Fraction(50))
    with pytest.raises(InputError, match=r"step_pct is 0; expected a number from 0\.1 to 50 %"):
        break_even_share(fleet(), SCENARIO, "host", ROLE, 0)
    with pytest.raises(InputError, match="choice is 'other'"):
        break_even_share(fleet(), SCENARIO, "other", ROLE)


def test_map_holds_what_whole_plans_say():
    """Each point of the map is the difference of two plans at that price and mix."""
    ratings = rated_by_share(ROLE, falling, lambda _share: 60)
    prices = [0, 999.99, 2500]
    drawn = break_even_map(stepped(), SCENARIO, "host", ROLE, [0, 50, 100], prices, ratings)

    for price, saving in zip(prices, drawn.saving[1], strict=True):
        inputs = at_card_price(stepped(), Decimal(str(price)))
        arms = plan_fleet(inputs, SCENARIO, ratings).choices[0].arms  # 600 of 1200 are 50 %
        parted = arms["software"].total.present_value - arms["offloaded"].total.present_value
        assert saving == parted
    # Derived: at 100 % 1200 / 20 = 60 hosts of 1000 against 20 with a card: 40,000 / 20 cards.
    assert drawn.break_even_price[2] == 2000
    assert drawn.saving[2][0] == 40_000


def test_map_has_no_number_where_an_arm_cannot_carry_everyone():
    """Where an arm has no plan the map stays empty."""
    ratings = rated_by_share(ROLE, lambda share: 0 if share > 40 else 100, lambda _share: 60)
    drawn = break_even_map(stepped(), SCENARIO, "host", ROLE, [0, 80], [0, 1], ratings)

    assert drawn.saving[1] == (None, None)
    assert drawn.break_even_price[1] is None
    assert None not in drawn.saving[0]


@pytest.mark.parametrize(
    ("shares", "prices", "told"),
    [
        ([], [1], "share_pct is '0 numbers'; expected 1 to 101 numbers"),
        ([101], [1], r"share_pct\[0\] is 101; expected a number from 0 to 100 %"),
        ([50], [1, -1], r"card_price\[1\] is -1; expected a number of 0 or more"),
        ([50], [0.001], r"card_price\[0\] is 0.001; expected a number with at most 2"),
        ([50], [1] * 202, "card_price is '202 numbers'"),
    ],
)
def test_axes_of_the_map_are_checked(shares, prices, told):
    """A share or price out of range is named with its place."""
    ratings = rated(rating(40), rating(60))
    with pytest.raises(InputError, match=told):
        break_even_map(stepped(), SCENARIO, "host", ROLE, shares, prices, ratings)
