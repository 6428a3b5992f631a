"""Is money exact to the cent, and is a later amount worth what the textbooks say?"""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.errors import InputError
from model.money import discount_factor, discounted, exact, present_value, to_cent

# Published, second-hand: C. P. Friedman and J. C. Wyatt, Evaluation Methods in Biomedical
# Informatics, 2nd ed., Springer, 2006, answer to self-test 11.3, read in an online reprint.
# 5 % a year; what is paid in year 1 is discounted by one year.
FRIEDMAN_WYATT = (
    "C. P. Friedman and J. C. Wyatt, Evaluation Methods in Biomedical Informatics, 2nd ed., "
    "Springer, 2006, answer to self-test 11.3"
)
FRIEDMAN_WYATT_MULTIPLIERS = ["0.9524", "0.9070", "0.8638", "0.8227", "0.7835"]
FRIEDMAN_WYATT_STREAMS = [
    # amounts of years 1 to 5, their worth to the unit, the sum to the unit
    (
        [100_000, 40_000, 10_000, 10_000, 10_000],
        [95_238, 36_281, 8_638, 8_227, 7_835],
        156_220,
    ),
    ([0, 30_000, 40_000, 50_000, 60_000], [0, 27_211, 34_554, 41_135, 47_012], 149_911),
]


def test_discount_factors_are_the_published_ones(checked):
    """One unit paid after so many years is worth the printed multiplier, to its four digits."""
    found = [discount_factor(Decimal(5), year) for year in range(1, 6)]

    assert [str(round(each, 4)) for each in found] == FRIEDMAN_WYATT_MULTIPLIERS
    checked(
        "Fleet and cost", "discount factors of five years at 5 %", FRIEDMAN_WYATT,
        FRIEDMAN_WYATT_MULTIPLIERS, found, kind="published, second-hand", abs=5e-5,
    )  # fmt: skip


@pytest.mark.parametrize(("amounts", "worth", "total"), FRIEDMAN_WYATT_STREAMS)
def test_streams_are_worth_the_published_amounts(amounts, worth, total, checked):
    """Costs and benefits of five years are worth what the book's table says, to the unit."""
    for year, (amount, expected) in enumerate(zip(amounts, worth, strict=True), 1):
        alone = present_value([0] * year + [amount], Decimal(5))
        assert abs(alone - expected) <= Decimal("0.5")

    assert abs(present_value([0, *amounts], Decimal(5)) - total) <= Decimal("0.5")
    checked(
        "Fleet and cost", f"present value of {amounts} at 5 %", FRIEDMAN_WYATT, total,
        present_value([0, *amounts], Decimal(5)), kind="published, second-hand", abs=0.5,
    )  # fmt: skip


# Independent: examples in the documentation of other programs. numpy-financial, npv(0.08,
# [-40000, 5000, 8000, 12000, 30000]); numpy 1.15, npv(0.281, [-100, 39, 59, 55, 20]).
OTHER_PROGRAMS = [
    ("8", [-40_000, 5_000, 8_000, 12_000, 30_000], 3065.22267, 5e-6),
    ("28.1", [-100, 39, 59, 55, 20], -0.0084785916384548798, 1e-12),
]


@pytest.mark.parametrize(("discount_pct", "amounts", "expected", "rounding"), OTHER_PROGRAMS)
def test_present_value_is_that_of_other_programs(
    discount_pct, amounts, expected, rounding, checked
):
    """A stream that begins now is worth what two other programs print."""
    found = discounted(amounts, Decimal(discount_pct))

    assert float(found) == pytest.approx(expected, abs=rounding)
    checked(
        "Fleet and cost", f"present value of {amounts} at {discount_pct} %",
        "examples in the documentation of numpy-financial and of numpy 1.15", expected, found,
        kind="independent", abs=rounding,
    )  # fmt: skip


def test_equal_yearly_amounts_are_worth_their_closed_form():
    """Twenty equal payments are worth the annuity formula, which sums no series."""
    rate = Decimal("0.07")
    # Derived: the sum of a geometric series, (1 - (1 + d)^-n) / d.
    annuity = (1 - (1 + rate) ** -20) / rate

    assert discounted([0, *[1] * 20], Decimal(7)) == pytest.approx(annuity, rel=Decimal("1e-24"))


def test_money_now_and_money_without_a_discount_keep_their_worth():
    """Nothing is taken off what is paid now, nor at a rate of 0."""
    assert present_value([Decimal("19.99")], Decimal(40)) == Decimal("19.99")
    assert present_value([Decimal("0.01")] * 3, Decimal(0)) == Decimal("0.03")
    assert present_value([], Decimal(5)) == 0


@pytest.mark.parametrize(
    ("given", "written"),
    [
        (0.1, "0.1"),
        (19.9, "19.9"),
        (7, "7"),
        ("12.50", "12.50"),
        ("-3", "-3"),
        (Decimal("0.07"), "0.07"),
    ],
)
def test_number_is_taken_as_it_is_written(given, written):
    """A tenth is a tenth, not the binary fraction next to it."""
    assert exact("price", given, 2) == Decimal(written)


@pytest.mark.parametrize(
    "given",
    [0.001, 1.005, 0.1 + 0.2, "1,5", "", " 1", "1e3", "nan", float("nan"), float("inf"),
     Decimal("NaN"), True, None, [1], "\u0663"],
)  # fmt: skip
def test_what_is_no_amount_is_refused(given):
    """Parts of a cent, other notations and anything but a number are told with the field."""
    with pytest.raises(InputError, match=r"^price is .* at most 2 digits after the point\.$"):
        exact("price", given, 2)


@pytest.mark.parametrize(
    ("amount", "cents"),
    # Derived: by hand; a half goes to the even cent.
    [("0.005", "0.00"), ("0.015", "0.02"), ("0.025", "0.02"), ("-0.005", "0"), ("2.6749", "2.67")],
)
def test_half_a_cent_goes_to_the_even_cent(amount, cents):
    """Rounding leans neither up nor down."""
    assert to_cent(Decimal(amount)) == Decimal(cents)


@given(st.lists(st.integers(0, 10**12), min_size=1, max_size=40))
def test_cents_add_up_exactly(cents):
    """Amounts of any size, added as money, give the sum of their cents."""
    amounts = [exact("amount", f"{each // 100}.{each % 100:02}", 2) for each in cents]

    assert present_value(amounts, Decimal(0)) * 100 == sum(cents)


@given(
    st.lists(st.integers(0, 10**9), min_size=2, max_size=15),
    st.decimals("0.01", 50, places=2),
)
def test_later_money_is_never_worth_more(amounts, discount_pct):
    """With a discount the worth lies between that at once and that at the very end."""
    worth = discounted(amounts, discount_pct)

    last = discount_factor(discount_pct, len(amounts) - 1)
    assert sum(amounts) * last * Decimal("0.999999") <= worth <= sum(amounts)
