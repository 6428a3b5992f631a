"""Are peaks counted, and are their intervals honest about how little they rest on?"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from model.errors import InputError
from model.evidence.peaks import order_ranks, peak_statistics
from tests.checked import Recorder

REFERENCES = Path(__file__).resolve().parents[1] / "references"
SERIES = pd.read_csv(REFERENCES / "correlated_series.csv")


def test_percentile_by_numpys_default() -> None:
    """The 95th percentile of 1 to 10 is 9.55, by the rule that is named."""
    # Derived: rank 1 + 9 x 0.95 = 9.55.
    assert peak_statistics(np.arange(1.0, 11.0), 1.0, 0.0).p95.value == pytest.approx(9.55)


@pytest.mark.parametrize(
    ("readings", "share", "ranks"),
    [
        # Independent: scipy 1.17.1, binom.ppf(.025, n, p) and binom.ppf(.975, n, p) + 1.
        (600, 0.95, (559, 581)),
        (600, 0.99, (589, 599)),
        (1800, 0.99, (1773, 1791)),
    ],
)
def test_ranks_of_independent_readings(
    readings: int, share: float, ranks: tuple, checked: Recorder
) -> None:
    """A percentile lies between the readings of these ranks."""
    found = order_ranks(readings, share)
    what = f"ranks around the {share * 100:g} % point of {readings:,} readings"
    checked("Evidence", what, "scipy 1.17.1, binom.ppf", ranks, found, kind="independent")


@pytest.mark.parametrize(
    ("readings", "share"),
    # Derived: 0.99^368 = 0.0248 is below 0.025, 0.99^367 = 0.02502 is not; likewise 0.95^72.
    [(368, 0.99), (72, 0.95)],
)
def test_upper_limit_needs_enough_readings(readings: int, share: float) -> None:
    """From this number of independent readings on, the highest is an upper limit."""
    assert order_ranks(readings, share)[1] == readings
    assert order_ranks(readings - 1, share)[1] is None


@settings(max_examples=100, deadline=None, derandomize=True)
@given(
    readings=st.integers(1, 200_000),
    share=st.floats(0.01, 0.999),
    confidence=st.sampled_from([0.5, 0.8, 0.95, 0.99]),
)
def test_ranks_agree_with_scipy(readings: int, share: float, confidence: float) -> None:
    """The ranks are scipy's binomial quantiles, whatever the number of readings."""
    lower, upper = order_ranks(readings, share, confidence)
    tail = (1 - confidence) / 2
    # Independent: scipy, binomial distribution function; ranks at a tie of rounding may differ.
    assert binom.cdf(lower - 1, readings, share) <= tail * (1 + 1e-9)
    assert binom.cdf(lower, readings, share) >= tail * (1 - 1e-9)
    top = readings if upper is None else upper - 1
    assert binom.cdf(top, readings, share) >= (1 - tail) * (1 - 1e-9)
    assert (upper is None) == (binom.cdf(readings - 1, readings, share) < (1 - tail) * (1 - 1e-12))


@pytest.mark.parametrize(
    ("wave", "crest"),
    [
        # Derived: the root mean square of a sine is 1 over root 2, that of a pulse 1 over root N.
        (np.sin(2 * np.pi * np.arange(400) / 400), 2**0.5),
        (np.resize([1.0, -1.0], 400), 1.0),
        (np.where(np.arange(400) % 100 == 0, 1.0, 0.0), 10.0),
    ],
    ids=["sine", "square", "pulse"],
)
def test_crest_factor(wave: np.ndarray, crest: float) -> None:
    """The crest factor is that of the wave."""
    peaks = peak_statistics(wave, 1.0, 0.0)
    assert peaks.crest_factor == pytest.approx(crest, abs=1e-9)


def test_peak_to_mean_of_a_pulse() -> None:
    """One reading in a hundred carries a hundred times the mean."""
    peaks = peak_statistics(np.where(np.arange(400) % 100 == 0, 1.0, 0.0), 1.0, 0.5)
    # Derived: the mean is 1 in 100.
    assert peaks.peak_to_mean == pytest.approx(100)


def test_time_above_counts_how_long_readings_hold() -> None:
    """Time above a threshold goes by the clock, not by the number of readings."""
    peaks = peak_statistics(
        np.array([70.0, 90.0, 85.0, 60.0, 95.0]), np.array([1.0, 1.0, 3.0, 1.0, 1.0]), 80.0
    )
    # Derived: 1 + 3 + 1 of 7 s; three of five readings would be 0.6.
    assert (peaks.above_s, peaks.observed_s) == (5, 7)
    assert peaks.above_share == pytest.approx(5 / 7)


def test_lost_readings_are_not_guessed() -> None:
    """Readings that are missing count neither above nor below, and the reader is told."""
    values = SERIES["correlation_0.5"].to_numpy().copy()
    whole = peak_statistics(values, 1.0, 3.0)
    values[values > 3.0] = np.nan
    holed = peak_statistics(values, 1.0, 3.0)
    assert holed.above_s == 0
    # Derived: what was above is lost, and nothing else.
    assert holed.lost_s == pytest.approx(whole.above_s)
    assert holed.observed_s + holed.lost_s == pytest.approx(len(values))
    assert any("true peaks are higher" in sentence for sentence in holed.warnings)


def test_memory_widens_intervals() -> None:
    """The longer readings repeat each other, the less their percentiles are known."""
    widths = []
    for alike in ("0", "0.8", "0.95"):
        values = SERIES[f"correlation_{alike}"].to_numpy()
        quantile = peak_statistics(values, 1.0, 0.0).p95
        low, high = quantile.interval
        assert low <= quantile.value <= high
        widths.append((high - low) / values.std())
    assert widths[0] < widths[1] < widths[2]


def test_independent_readings_get_ranks_of_the_binomial() -> None:
    """Without memory the interval of p95 ends at the readings the binomial names."""
    values = np.random.default_rng(4).permutation(600.0 + np.arange(600))
    quantile = peak_statistics(values, 1.0, 0.0).p95
    lower, upper = order_ranks(int(quantile.effective_rows), 0.95)
    share = 600 / int(quantile.effective_rows)
    # Derived: reading of rank r is 599 + r.
    assert quantile.interval == (599 + int(lower * share), 599 + -int(-upper * share // 1))


def test_short_log_has_no_upper_limit() -> None:
    """A p99 of 300 readings has no upper limit, and the reader is told."""
    peaks = peak_statistics(np.random.default_rng(1).standard_normal(300), 1.0, 0.0)
    # Derived: 0.99^300 = 0.049, so the highest reading is below p99 too often.
    assert peaks.p99.interval[1] is None
    assert any("No upper limit for the 99th" in sentence for sentence in peaks.warnings)


def test_constant_column_is_its_own_peak() -> None:
    """A column that never changes has one value everywhere and no interval."""
    peaks = peak_statistics(np.full(500, 2.0), 1.0, 2.0)
    assert (peaks.p50.value, peaks.p95.value, peaks.highest) == (2, 2, 2)
    assert peaks.p95.interval is None
    assert peaks.crest_factor == 1
    assert peaks.above_s == 0
    assert peak_statistics(np.zeros(500), 1.0, 2.0).crest_factor is None


def test_saturated_column_counts_its_plateau_as_events() -> None:
    """A column stuck at its ceiling is worth its stretches at the ceiling, not its readings."""
    stuck = np.tile(np.repeat([100.0, 20.0], [50, 450]), 4)
    # Derived: four stretches of 50 s; far fewer independent readings than 2,000.
    assert peak_statistics(stuck, 1.0, 99.0).p95.effective_rows < 100


@pytest.mark.parametrize(
    ("arguments", "field"),
    [
        ((np.array([]), 1.0, 0.0), "values"),
        ((np.array([np.nan]), 1.0, 0.0), "values"),
        ((np.array([1.0, np.inf]), 1.0, 0.0), "values"),
        ((np.ones(3), 0.0, 0.0), "interval_s"),
        ((np.ones(3), np.ones(2), 0.0), "interval_s"),
        ((np.ones(3), 1.0, float("nan")), "threshold"),
    ],
)
def test_wrong_input_is_named(arguments: tuple, field: str) -> None:
    """What cannot be used is named."""
    with pytest.raises(InputError) as caught:
        peak_statistics(*arguments)
    assert caught.value.field == field
