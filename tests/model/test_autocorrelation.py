"""Are readings that repeat each other counted for what they are worth?"""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from arch.bootstrap import optimal_block_length
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import lfilter
from statsmodels.stats.sandwich_covariance import S_hac_simple
from statsmodels.tsa.stattools import acf

from model.errors import InputError
from model.evidence.autocorrelation import (
    andrews_lag,
    autocorrelation,
    bootstrap_block_length,
    effective_sample_size,
    long_run_variance,
    stationary_bootstrap,
)
from tests.checked import Recorder

REFERENCES = Path(__file__).resolve().parents[1] / "references"
VALUES = json.loads((REFERENCES / "effect_values.json").read_text(encoding="utf-8"))
SERIES = pd.read_csv(REFERENCES / "correlated_series.csv")
ON_OFF = pd.read_csv(REFERENCES / "on_off_series.csv")


def around_state(column: str) -> np.ndarray:
    """Readings less the mean of their state."""
    return (ON_OFF[column] - ON_OFF.groupby("on")[column].transform("mean")).to_numpy()


def influence(column: str) -> np.ndarray:
    """What each reading adds to the difference of the means, on minus off, times the rows."""
    share = ON_OFF["on"].mean()
    return around_state(column) * (ON_OFF["on"].to_numpy() - share) / (share * (1 - share))


def remembering(seed: int, rows: int, alike: float) -> np.ndarray:
    """Noise of deviation 1 in which neighbours correlate as told."""
    fresh = np.random.default_rng(seed).standard_normal(rows + 500) * np.sqrt(1 - alike**2)
    return lfilter([1.0], [1.0, -alike], fresh)[500:]


@pytest.mark.parametrize("row", VALUES["autocorrelation"]["rows"], ids=lambda row: row["column"])
def test_correlations_agree_with_statsmodels(row: dict, checked: Recorder) -> None:
    """Correlations out to five rows are those of another program."""
    # Independent: statsmodels 0.15.0, acf; call in the file.
    assert autocorrelation(around_state(row["column"]), 5) == pytest.approx(
        np.array(row["lags_0_to_5"]), abs=1e-10
    )
    checked(
        "Evidence", f"correlation out to five rows, {row['column'].replace('_', ' ')}",
        "statsmodels 0.15.0, acf", row["lags_0_to_5"],
        autocorrelation(around_state(row["column"]), 5), kind="independent", abs=1e-10,
    )  # fmt: skip


def test_far_correlations_agree_with_near_ones() -> None:
    """Many distances at once, by Fourier transform, agree with one at a time."""
    values = SERIES["correlation_0.8"].to_numpy()
    # Independent: statsmodels, acf, summed directly.
    assert autocorrelation(values, 300) == pytest.approx(
        acf(values, nlags=300, fft=False), abs=1e-12
    )


@pytest.mark.parametrize(
    "row", VALUES["newey_west"]["rows"], ids=lambda row: f"{row['column']}_{row['lag']}"
)
def test_standard_error_agrees_with_statsmodels(row: dict, checked: Recorder) -> None:
    """The error of a difference by Newey and West is that of a regression in another program."""
    variance = long_run_variance(influence(row["column"]), row["lag"]) / len(ON_OFF)
    # Independent: statsmodels 0.15.0, OLS with HAC covariance; call in the file.
    checked(
        "Evidence", f"error of a difference, lag {row['lag']}, {row['column'].replace('_', ' ')}",
        "statsmodels 0.15.0, OLS with HAC covariance", row["standard_error"], variance**0.5,
        kind="independent", rel=1e-9,
    )  # fmt: skip


@pytest.mark.parametrize("row", VALUES["andrews"]["rows"], ids=lambda row: row["column"])
def test_lag_follows_andrews(row: dict) -> None:
    """The lag grows with the memory of the readings as Andrews' rule has it."""
    # Independent: the rule in a separate numpy script.
    assert andrews_lag(around_state(row["column"])) == row["lag"]


@pytest.mark.parametrize("row", VALUES["block_length"]["rows"], ids=lambda row: row["column"])
def test_piece_length_agrees_with_stored_value_of_arch(row: dict) -> None:
    """The mean length of a piece is the one another program chooses."""
    # Independent: arch 8.0.0, optimal_block_length; call in the file.
    assert bootstrap_block_length(SERIES[row["column"]].to_numpy()) == pytest.approx(
        row["stationary"], rel=1e-9
    )


def test_piece_length_agrees_with_arch_published(checked: Recorder) -> None:
    """The mean length of a piece is the one printed in the unit tests of arch."""
    fresh = np.random.RandomState(0).standard_normal(10_100)
    values = lfilter([1.0], [1.0, -0.3], fresh)[100:]
    # Published: the unit tests of arch, test_block_length.py, printed to six decimals.
    checked(
        "Evidence", "mean length of a piece for the bootstrap",
        "the unit tests of arch, test_block_length.py", 13.635665, bootstrap_block_length(values),
        kind="published", abs=5e-7,
    )  # fmt: skip


@settings(max_examples=30, deadline=None, derandomize=True)
@given(seed=st.integers(0, 10_000), rows=st.integers(30, 900), alike=st.floats(-0.5, 0.97))
def test_variance_agrees_with_statsmodels(seed: int, rows: int, alike: float) -> None:
    """On any series the long-run variance is that of another program."""
    values = remembering(seed, rows, alike)
    centred = (values - values.mean())[:, None]
    # Independent: statsmodels, S_hac_simple, with Bartlett weights.
    expected = float(S_hac_simple(centred, nlags=7)[0, 0]) / rows
    assert long_run_variance(values, 7) == pytest.approx(expected, rel=1e-9)


def test_piece_length_agrees_with_arch() -> None:
    """On nearly any series the mean length of a piece is the one another program chooses."""
    agree = 0
    for seed in range(60):
        values = remembering(seed, 200 + 10 * seed, 0.97 * seed / 60)
        # Independent: arch, optimal_block_length; it may choose less than one row.
        theirs = max(float(optimal_block_length(values)["stationary"].iloc[0]), 1.0)
        agree += bootstrap_block_length(values) == pytest.approx(theirs, rel=1e-9)
    # Derived: arch scales a correlation by the norms of one row less than it sums, which in rare
    # cases moves one across the line of chance.
    assert agree >= 57


@pytest.mark.parametrize(
    "row", VALUES["stationary_bootstrap"]["rows"], ids=lambda row: row["column"]
)
def test_resamples_scatter_as_their_limit(row: dict) -> None:
    """The means of resamples scatter as endlessly many of them would."""
    values = SERIES[row["column"]].to_numpy()
    means = stationary_bootstrap(values[:, None], 20, 4_000, 11)[:, 0]
    # Derived: a sum over circular covariances; 4,000 resamples are good to 1.1 % (one sd).
    assert means.std(ddof=1) == pytest.approx(row["standard_error"], rel=0.05)
    # Derived: resamples are unbiased; 4 standard errors of their mean.
    assert means.mean() == pytest.approx(values.mean(), abs=4 * row["standard_error"] / 4_000**0.5)


def test_resamples_of_whole_log_turn_it() -> None:
    """Pieces as long as the log give back its mean almost always, columns kept together."""
    rows = np.column_stack([np.arange(50.0), 2 * np.arange(50.0)])
    means = stationary_bootstrap(rows, 1e9, 20, 3)
    # Derived: a piece that runs through all rows has their mean.
    assert means == pytest.approx(np.tile([24.5, 49.0], (20, 1)))


def test_equal_seeds_give_equal_resamples() -> None:
    """The same seed gives the same answer, another one another."""
    values = SERIES[["correlation_0"]].to_numpy()
    first, again, other = (stationary_bootstrap(values, 3, 50, seed) for seed in (0, 0, 1))
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)


def test_effective_sample_size_follows_theory() -> None:
    """An autoregression's readings are worth (1 - c) / (1 + c) independent ones each."""
    sizes = [effective_sample_size(remembering(seed, 4_000, 0.6)) for seed in range(20)]
    # Derived: (1 - 0.6) / (1 + 0.6) of 4,000; the estimate counts up to 15 % too many.
    assert np.mean(sizes) == pytest.approx(1_000, rel=0.15)


def test_limits() -> None:
    """A constant series is worth one reading, has no memory, and no variance."""
    constant = np.full(40, 3.5)
    assert effective_sample_size(constant) == 1
    assert bootstrap_block_length(constant) == 1
    assert long_run_variance(constant, 5) == 0
    assert autocorrelation(constant, 3).tolist() == [1, 0, 0, 0]
    alternating = np.resize([1.0, -1.0], 40)
    # Derived: opposite neighbours make a mean surer, never counted as more than the rows.
    assert effective_sample_size(alternating) == 40
    assert andrews_lag(alternating) == 0


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: autocorrelation(np.array([1.0, np.nan]), 1), "values"),
        (lambda: autocorrelation(np.arange(5.0), 5), "lags"),
        (lambda: long_run_variance(np.arange(5.0), -1), "lag"),
        (lambda: effective_sample_size(np.arange(2.0)), "values"),
        (lambda: stationary_bootstrap(np.arange(5.0), 2, 5, 1), "columns"),
        (lambda: stationary_bootstrap(np.ones((5, 1)), 0.5, 5, 1), "block_rows"),
    ],
)
def test_wrong_input_is_named(call, field: str) -> None:
    """What cannot be used is named."""
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.field == field
