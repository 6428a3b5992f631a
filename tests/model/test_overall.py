"""The mean over several activities: what one alone gives, what many give, what is refused."""

import numpy as np
import pytest
from scipy import stats

from model.errors import InputError
from model.evidence.overall import mean_of_estimates


def test_one_estimate_comes_back_as_it_is():
    """A trial of one part has that part's interval."""
    mean, (low, high) = mean_of_estimates([-0.5], [0.02], [7.0])
    assert mean == -0.5
    # Derived: nothing is averaged.
    assert (low, high) == pytest.approx((-0.52, -0.48), abs=1e-12)


def test_alike_estimates_share_their_degrees(checked):
    """Four estimates alike have half the standard error, with four times the degrees."""
    mean, (low, high) = mean_of_estimates([1.0, 2.0, 3.0, 4.0], [0.1] * 4, [5.0] * 4)
    # Independent: scipy's quantiles of Student's t.
    error = 0.1 / stats.t.ppf(0.975, 5)
    half = stats.t.ppf(0.975, 20) * error / 2
    assert mean == 2.5
    assert (low, high) == pytest.approx((2.5 - half, 2.5 + half), abs=1e-9)
    checked(
        "Evidence", "interval of the mean of four trials", "scipy's quantiles of Student's t",
        [2.5 - half, 2.5 + half], [low, high], kind="independent", abs=1e-9,
    )  # fmt: skip


def test_interval_holds_the_mean_in_19_of_20_trials():
    """Over many made-up trials of unequal noise the interval holds the true mean as it should."""
    rng = np.random.default_rng(20261125)
    held = 0
    for _ in range(2_000):
        parts = [rng.normal(1.0, sd, 9) for sd in (0.1, 0.5, 2.0)]
        values = [part.mean() for part in parts]
        halves = [stats.t.ppf(0.975, 8) * part.std(ddof=1) / 3 for part in parts]
        _, (low, high) = mean_of_estimates(values, halves, [8.0] * 3)
        held += low <= 1.0 <= high
    # Derived: 95 % of 2,000, within four standard errors of a share.
    assert held / 2_000 == pytest.approx(0.95, abs=4 * (0.95 * 0.05 / 2_000) ** 0.5)


def test_estimates_without_spread_give_an_interval_of_no_width():
    """Without noise there is nothing to be unsure of."""
    assert mean_of_estimates([1.0, 3.0], [0.0, 0.0], [4.0, 4.0]) == (2.0, (2.0, 2.0))


@pytest.mark.parametrize(
    ("values", "halves", "degrees", "confidence", "field"),
    [
        ([], [], [], 0.95, "values"),
        ([1.0], [0.1, 0.1], [3.0], 0.95, "values"),
        ([1.0], [-0.1], [3.0], 0.95, "half_widths"),
        ([1.0], [0.1], [0.0], 0.95, "half_widths"),
        ([1.0], [0.1], [3.0], 1.0, "confidence"),
    ],
)
def test_lists_that_do_not_fit_are_refused(values, halves, degrees, confidence, field):
    """What cannot be averaged is named."""
    with pytest.raises(InputError) as told:
        mean_of_estimates(values, halves, degrees, confidence)
    assert told.value.field == field
