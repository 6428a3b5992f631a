"""Does the arithmetic of the evidence keep nine digits of published reference problems?"""

import json
from pathlib import Path

import numpy as np
import pytest

from model.errors import MeasurementError
from model.evidence.autocorrelation import autocorrelation
from model.evidence.demands import least_squares

REFERENCES = Path(__file__).resolve().parents[1] / "references"
PUBLISHED = json.loads((REFERENCES / "statistics_published.json").read_text(encoding="utf-8"))
NINE_DIGITS = 1e-9

# Published: NIST/ITL StRD certified values, see tests/references/README.md. Input that binary
# numbers do not hold exactly (10000000.2 with deviations of 0.1) limits two of them whatever the
# method: the certified values belong to the decimal input.
DIGITS_OF_INPUT = {"numacc3": 5e-9, "numacc4": 5e-8}


def data_of(row):
    """Return a dataset's values, made by its rule where it has one."""
    rules = {
        "numacc2": lambda: [1.2] + [1.1, 1.3] * 500,
        "numacc3": lambda: [1000000.2] + [1000000.1, 1000000.3] * 500,
        "numacc4": lambda: [10000000.2] + [10000000.1, 10000000.3] * 500,
    }
    values = row["data"] if "data" in row else rules[row["name"]]()
    return np.array(values, dtype=float)


@pytest.mark.parametrize("row", PUBLISHED["univariate"], ids=lambda row: row["name"])
def test_mean_and_spread_keep_nine_digits(row):
    """Mean, standard deviation and lag-1 correlation of a column come out as certified."""
    values = data_of(row)
    certified = row["certified"]

    fit = least_squares(np.ones((len(values), 1)), values)

    tolerance = DIGITS_OF_INPUT.get(row["name"], NINE_DIGITS)
    assert fit.coefficients[0] == pytest.approx(certified["mean"], rel=NINE_DIGITS)
    assert fit.residual_sd == pytest.approx(certified["sd"], rel=tolerance)
    assert fit.standard_errors[0] == pytest.approx(
        certified["sd"] / len(values) ** 0.5, rel=tolerance
    )
    assert np.mean(values) == pytest.approx(certified["mean"], rel=NINE_DIGITS)
    assert autocorrelation(values, 1)[1] == pytest.approx(certified["lag1"], rel=NINE_DIGITS)


@pytest.mark.parametrize("row", PUBLISHED["linear"], ids=lambda row: row["name"])
def test_straight_fit_keeps_nine_digits(row):
    """Coefficients and their standard errors come out as certified, collinear columns included."""
    columns, values = np.array(row["X"]), np.array(row["y"])
    certified = row["certified"]

    fit = least_squares(columns, values)

    assert fit.coefficients == pytest.approx(np.array(certified["beta"]), rel=NINE_DIGITS)
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
