"""Do the most active displays get the card, and never more of them than it holds?"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from model.accelerator import Accelerator, assign_most_active_first
from tests.model.drawn import accelerators


def card(slots, megapixels_per_s=1_000_000, cards=1):
    """Return cards with so many display slots and so much pixel rate each."""
    return Accelerator.model_validate(
        {
            "cards": cards,
            "displays_per_card": slots,
            "megapixels_per_s_per_card": megapixels_per_s,
            "share_pct": 100,
        }
    )


# Derived: by hand, serving one display after another.
BY_HAND = [
    # displays of each kind, their pixel rates, cards, displays with a slot
    ([3, 2], [10, 50], card(4), [2, 2]),  # the more active kind first
    ([3, 2], [10, 50], card(1), [0, 1]),
    ([3, 2], [10, 50], card(9), [3, 2]),
    ([3, 2], [10, 50], card(1, cards=3), [1, 2]),  # cards add up
    ([3, 2], [10, 50], card(9, cards=0), [0, 0]),  # no card, no slot
    ([3, 2], [50, 50], card(4), [3, 1]),  # equal kinds in the order given
    ([5, 5], [10, 60], card(9, 130), [1, 2]),  # 130 = 2 * 60 + 10
    ([5, 5], [10, 60], card(9, 59), [5, 0]),  # too large for what is left: passed over
    ([1, 1, 5], [60, 50, 10], card(9, 100), [1, 0, 4]),
    ([5, 5], [0, 60], card(8, 120), [5, 2]),  # a display that does not change is free
    ([0, 4], [60, 10], card(2), [0, 2]),
    ([5], [0.1], card(9, 1), [5]),  # no display lost to rounding: 10 of 0.1 fit into 1
    ([10], [0.1], card(20, 1), [10]),
    ([3], [0.1 + 0.2], card(9, 1), [3]),
]


@pytest.mark.parametrize(("displays", "rates", "accelerator", "served"), BY_HAND)
def test_display_slots_go_where_a_person_would_give_them(
    displays, rates, accelerator, served, checked
):
    """The most active displays come first, until slots or pixel rate run out."""
    found = assign_most_active_first(displays, rates, accelerator)
    assert found.tolist() == served
    what = (
        f"{displays} displays of {[round(each, 3) for each in rates]} Mpixel/s on "
        f"{accelerator.slots} slots, {accelerator.megapixels_per_s:g} Mpixel/s"
    )
    source = "by hand, serving one display after another"
    checked("Card", what, source, served, found, kind="derived")


def test_hosts_are_served_apart():
    """Each column is a host of its own and gets what it would get alone."""
    displays = np.array([[3, 0, 9], [2, 1, 0]])
    together = assign_most_active_first(displays, [10, 50], card(4, 120))

    for host in range(3):
        alone = assign_most_active_first(displays[:, host], [10, 50], card(4, 120))
        assert together[:, host].tolist() == alone.tolist()


def test_nothing_in_motion_takes_no_slot():
    """Without displays nobody is served."""
    assert assign_most_active_first([0, 0], [10, 50], card(4)).tolist() == [0, 0]
    assert assign_most_active_first(np.zeros((0, 3), int), [], card(4)).shape == (0, 3)


@st.composite
def drawn_displays(draw):
    """Draw displays of up to six kinds on four hosts, and their pixel rates."""
    kinds = draw(st.integers(1, 6))
    displays = draw(arrays.arrays(np.int64, (kinds, 4), elements=st.integers(0, 60)))
    rates = draw(st.lists(st.sampled_from([0, 5, 12.5, 62.2, 124.4, 300]), min_size=kinds,
                          max_size=kinds))  # fmt: skip
    return displays, rates


@given(drawn_displays(), accelerators())
def test_no_card_holds_more_than_it_can(drawn, accelerator):
    """Slots and pixel rate are never exceeded, and nobody gets a slot who is not there."""
    displays, rates = drawn
    served = assign_most_active_first(displays, rates, accelerator)

    assert (served >= 0).all()
    assert (served <= displays).all()
    assert (served.sum(axis=0) <= accelerator.slots).all()
    limit = accelerator.megapixels_per_s * (1 + 1e-9)
    assert (np.array(rates) @ served <= limit).all()


@given(drawn_displays(), accelerators())
def test_nobody_is_left_out_who_would_fit(drawn, accelerator):
    """While a slot is free, whoever has none needs more pixel rate than is left."""
    displays, rates = drawn
    served = assign_most_active_first(displays, rates, accelerator)

    free = accelerator.slots - served.sum(axis=0)
    left = accelerator.megapixels_per_s - np.array(rates) @ served
    waiting = (served < displays) & (free > 0)
    needed = np.broadcast_to(np.array(rates)[:, None], displays.shape)
    assert (needed[waiting] > np.broadcast_to(left, displays.shape)[waiting] * (1 - 1e-9)).all()


@given(drawn_displays(), st.integers(0, 100), st.integers(0, 100))
def test_more_slots_serve_all_who_were_served(drawn, slots, more):
    """Where only slots limit, further slots take none away from anyone."""
    displays, rates = drawn
    few, many = (
        assign_most_active_first(displays, rates, card(max(number, 1), cards=min(number, 1)))
        for number in (slots, slots + more)
    )

    assert (many >= few).all()
    expected = np.minimum(displays.sum(axis=0), slots + more)
    assert many.sum(axis=0).tolist() == expected.tolist()


def test_larger_share_can_save_less_where_the_pixel_rate_binds():
    """One large display that may now use the card can keep out two that saved more together."""
    rates = [6, 5, 5]
    budget = card(slots=9, megapixels_per_s=10)
    saved_per_pixel = np.array([1.0, 1.0, 1.0])

    def saving(entitled):
        served = assign_most_active_first(entitled, rates, budget)
        return float(saved_per_pixel * rates @ served)

    # Derived: 5 + 5 fit into 10; once the display of 6 is let in, only 4 are left.
    assert saving([0, 1, 1]) == 10
    assert saving([1, 1, 1]) == 6


def test_a_card_takes_100_displays():
    """The card of the defaults encodes 100 full-screen videos of 1920x1080 at once."""
    usual = Accelerator()
    video_mpx_s = 1920 * 1080 * 24 / 1e6

    # Common practice, no source: a card takes up to 100 displays.
    assert assign_most_active_first([130], [video_mpx_s], usual).tolist() == [100]
