"""Does the arithmetic of the evidence keep nine digits of published reference problems?"""

import json
from decimal import Decimal, getcontext
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from model.errors import MeasurementError
from model.evidence.autocorrelation import autocorrelation
from model.evidence.least_squares import least_squares
from model.evidence.log_text import Upload
from model.evidence.readings import look_at, read_log

REFERENCES = Path(__file__).resolve().parents[1] / "references"
PUBLISHED = json.loads((REFERENCES / "statistics_published.json").read_text(encoding="utf-8"))
NINE_DIGITS = 1e-9
TWELVE_DIGITS = 1e-12

RULES = {
    "numacc2": ["1.2"] + ["1.1", "1.3"] * 500,
    "numacc3": ["1000000.2"] + ["1000000.1", "1000000.3"] * 500,
    "numacc4": ["10000000.2"] + ["10000000.1", "10000000.3"] * 500,
}
# Around ten million, numbers of 53 bits lie 1.9e-9 apart, so that those next to 10000000.1 and
# 10000000.3 are 5.6e-10 too far from each other, relatively: no arithmetic on them finds nine
# digits of a spread that the decimals have. In tenths they are whole numbers, and exact.
IN_TENTHS = {"numacc4"}


def written(row, in_tenths=False):
    """Return a dataset's decimals as they are certified, or ten times as large."""
    texts = RULES[row["name"]] if row["name"] in RULES else [repr(each) for each in row["data"]]
    return [f"{Decimal(text).shift(1):f}" for text in texts] if in_tenths else texts


def read_as_log(texts):
    """Return numbers as Crestline reads them from a log of text, which has none below zero."""
    if any(text.startswith("-") for text in texts):
        return np.array([float(text) for text in texts])
    rows = "".join(f"{second},{text}\n" for second, text in enumerate(texts))
    upload = Upload("values.csv", f"elapsed s,frames per s\n{rows}".encode())
    answers = {"time": "elapsed s", "time_format": "elapsed_s", "sessions": "frames per s"}
    proposed = look_at(upload).proposed
    mapping = proposed.model_copy(update={"frames_hz": None} | answers)
    return read_log(upload, mapping).columns["sessions"]


def exact_statistics(numbers):
    """Return mean, standard deviation and lag-1 correlation of numbers, in fractions."""
    values = [Fraction(each) for each in numbers]
    mean = sum(values) / len(values)
    square = sum((value - mean) ** 2 for value in values)
    product = sum((one - mean) * (other - mean) for one, other in pairwise(values))
    getcontext().prec = 50
    variance = square / (len(values) - 1)
    spread = (Decimal(variance.numerator) / Decimal(variance.denominator)).sqrt()
    return float(mean), float(spread), float(product / square)


UNIVARIATE = [
    pytest.param(row, in_tenths, id=row["name"] + (" in tenths" if in_tenths else ""))
    for row in PUBLISHED["univariate"]
    for in_tenths in ((False, True) if row["name"] in RULES else (False,))
]


@pytest.mark.parametrize(("row", "in_tenths"), UNIVARIATE)
def test_mean_and_spread_keep_nine_digits(row, in_tenths, checked):
    """Mean, standard deviation and lag-1 correlation of a column come out as certified."""
    values = read_as_log(written(row, in_tenths))
    scale = 10 if in_tenths else 1
    # Published: NIST/ITL StRD certified values, see tests/references/README.md.
    certified = row["certified"]

    fit = least_squares(np.ones((len(values), 1)), values)

    assert fit.coefficients[0] == pytest.approx(scale * certified["mean"], rel=NINE_DIGITS)
    assert np.mean(values) == pytest.approx(scale * certified["mean"], rel=NINE_DIGITS)
    assert autocorrelation(values, 1)[1] == pytest.approx(certified["lag1"], rel=NINE_DIGITS)
    if row["name"] in IN_TENTHS and not in_tenths:
        return  # the spread: in tenths, and exactly for the numbers given in the test below
    assert fit.residual_sd == pytest.approx(scale * certified["sd"], rel=NINE_DIGITS)
    checked(
        "Evidence", f"mean, spread and lag-1 correlation of the dataset {row['name']}"
        + (", in tenths" if in_tenths else ""), PUBLISHED["source"],
        [scale * certified["mean"], scale * certified["sd"], certified["lag1"]],
        [fit.coefficients[0], fit.residual_sd, autocorrelation(values, 1)[1]],
        kind="published", rel=NINE_DIGITS,
    )  # fmt: skip
    assert fit.standard_errors[0] == pytest.approx(
        scale * certified["sd"] / len(values) ** 0.5, rel=NINE_DIGITS
    )


@pytest.mark.parametrize(("row", "in_tenths"), UNIVARIATE)
def test_spread_is_exact_for_the_numbers_read(row, in_tenths):
    """A log gives the numbers nearest to its decimals; their statistics lose nothing more."""
    texts = written(row, in_tenths)
    values = read_as_log(texts)
    # Independent: Python's fractions and decimals, exact sums over the binary numbers.
    mean, spread, lag1 = exact_statistics(float(text) for text in texts)

    fit = least_squares(np.ones((len(values), 1)), values)

    assert fit.coefficients[0] == pytest.approx(mean, rel=TWELVE_DIGITS)
    assert fit.residual_sd == pytest.approx(spread, rel=TWELVE_DIGITS)
    assert autocorrelation(values, 1)[1] == pytest.approx(lag1, rel=1e-10)


@pytest.mark.parametrize("row", PUBLISHED["univariate"], ids=lambda row: row["name"])
def test_certified_statistics_are_those_of_the_decimals(row):
    """The certified values are those of the datasets as this repository holds them."""
    mean, spread, lag1 = exact_statistics(written(row))

    # Published: NIST/ITL StRD certified values, printed to 15 digits.
    certified = row["certified"]
    assert mean == pytest.approx(certified["mean"], rel=1e-14)
    assert spread == pytest.approx(certified["sd"], rel=1e-14)
    assert lag1 == pytest.approx(certified["lag1"], rel=1e-13)


def digits_of_pi(count):
    """Return the first digits of pi, the 3 included, by Machin's formula in whole numbers."""
    unit = 10 ** (count + 20)

    def arccot(number):
        total = term = unit // number
        divisor, square = 1, -(number**2)
        while term not in (0, -1):
            term //= square
            divisor += 2
            total += term // divisor
        return total

    rest = 4 * (4 * arccot(5) - arccot(239)) // 10**20
    digits = []
    for place in range(count, -1, -1):
        digit, rest = divmod(rest, 10**place)
        digits.append(digit)
    return digits


def test_dataset_of_digits_of_pi_is_not_made_of_pi():
    """The certified values of NIST's digits of pi belong to no 5,000 digits at its beginning.

    So that dataset is left out: nothing was at hand to tell which of its digits differ.
    """
    # Published: NIST/ITL StRD, PiDigits, 5,000 observations "3, 1, 4, 1, 5, ...": certified mean
    # and standard deviation. They fix the sums of the digits and of their squares.
    mean, spread = Fraction("4.5348"), Fraction("2.86733906028871")
    assert 5_000 * mean == 22_674
    assert float(spread**2 * 4_999 + 5_000 * mean**2) == pytest.approx(143_922, abs=1e-6)

    digits = digits_of_pi(5_000)

    # Published, from memory: the first digits, and the six nines from the 762nd decimal on.
    assert digits[:12] == [3, 1, 4, 1, 5, 9, 2, 6, 5, 3, 5, 8]
    assert digits[762:768] == [9] * 6
    # Derived: sums over the digits computed here, with the 3 in front and without it.
    for first, total, squares in ((0, 22_679, 143_977), (1, 22_677, 143_969)):
        part = digits[first : first + 5_000]
        assert (sum(part), sum(digit**2 for digit in part)) == (total, squares)


@pytest.mark.parametrize("row", PUBLISHED["linear"], ids=lambda row: row["name"])
def test_straight_fit_keeps_nine_digits(row, checked):
    """Coefficients and their standard errors come out as certified, collinear columns included."""
    columns, values = np.array(row["X"]), np.array(row["y"])
    certified = row["certified"]

    fit = least_squares(columns, values)

    assert fit.coefficients == pytest.approx(np.array(certified["beta"]), rel=NINE_DIGITS)
    checked(
        "Evidence", f"coefficients of the least-squares problem {row['name']}",
        PUBLISHED["source"], certified["beta"], fit.coefficients, kind="published",
        rel=NINE_DIGITS,
    )  # fmt: skip
    scale = float(np.abs(values).max())
    assert fit.residual_sd == pytest.approx(
        certified["residual_sd"], rel=NINE_DIGITS, abs=NINE_DIGITS * scale
    )
    assert fit.standard_errors == pytest.approx(
        np.array(certified["sd_beta"]), rel=NINE_DIGITS, abs=NINE_DIGITS
    )
    assert fit.residuals @ fit.residuals == pytest.approx(
        certified["residual_sd"] ** 2 * (len(values) - columns.shape[1]),
        rel=NINE_DIGITS,
        abs=NINE_DIGITS * scale**2,
    )


def test_straight_fit_through_as_many_points_leaves_nothing():
    """With as many columns as rows the fit is exact and has no spread."""
    fit = least_squares(np.array([[1.0, 0.0], [1.0, 2.0]]), np.array([3.0, 7.0]))

    # Derived: the line through (0, 3) and (2, 7).
    assert fit.coefficients == pytest.approx([3, 2])
    assert fit.residual_sd == 0


@pytest.mark.parametrize(
    ("columns", "told"),
    [
        (np.ones((1, 2)), "rows"),
        (np.array([[1.0, 2.0], [2.0, 4.0], [3.0, 6.0]]), "column"),
        (np.array([[1.0, 0.0], [2.0, 0.0], [3.0, 0.0]]), "column"),
    ],
    ids=["few rows", "in proportion", "always 0"],
)
def test_fit_without_an_answer_is_refused(columns, told):
    """Columns that leave the factors open are refused by name."""
    with pytest.raises(MeasurementError) as raised:
        least_squares(columns, np.ones(len(columns)))

    assert told in raised.value.field
