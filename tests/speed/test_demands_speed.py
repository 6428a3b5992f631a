"""What do demands cost, and how often do their intervals hold? Promise: a million rows in 6 s.

Run with `-m speed -s`. The figures are printed, not asserted: they are the machine's.
"""

import resource
import time
from typing import Any

import numpy as np
import pytest

from model.evidence.demands import estimate_demands
from tests.model.host_logs import counts_over_time, noise

PROMISE_S = 6
LOGS = 400  # of each setting; a share of 95 % is then known to 1.1 points a demand
TRUE = np.array([0.1, 0.45, 0.6])
NAMES = ["typing", "forms", "video"]


def bursts(rng: np.random.Generator, rows: int) -> Any:
    """Return noise that is high or low for a minute on average."""
    high = np.cumsum(rng.random(rows) < 1 / 60) % 2
    return 1.2 * (high - 0.5) + noise(rng, rows, 0.5, 0.25)


def heavy(rng: np.random.Generator, rows: int) -> Any:
    """Return noise with rare large values."""
    return 0.4 * rng.standard_t(3, rows)


def drift(rng: np.random.Generator, rows: int) -> Any:
    """Return noise about a level that rises by 1.6 cores."""
    return np.linspace(-0.8, 0.8, rows) + noise(rng, rows, 0.5, 0.5)


def with_load(rng: np.random.Generator, counts: Any) -> Any:
    """Return noise that grows with the number of people in films."""
    return noise(rng, len(counts), 0.8, 1.0) * (0.2 + counts[:, 2] / 6)


SETTINGS = {
    "lag-1 correlation 0": lambda rng, counts: noise(rng, len(counts), 0),
    "lag-1 correlation 0.8": lambda rng, counts: noise(rng, len(counts), 0.8),
    "lag-1 correlation 0.95": lambda rng, counts: noise(rng, len(counts), 0.95),
    "bursts of a minute": lambda rng, counts: bursts(rng, len(counts)),
    "rare large values": lambda rng, counts: heavy(rng, len(counts)),
    "noise grows with load": with_load,
    "drift": lambda rng, counts: drift(rng, len(counts)),
}


@pytest.mark.speed
def test_million_rows_of_eight_activities(capsys):
    """Demands from a million rows and eight activities; the time is printed."""
    rng = np.random.default_rng(1)
    counts = rng.integers(0, 9, (1_000_000, 8)).astype(float)
    total = 2 + counts @ np.linspace(0.05, 0.6, 8) + rng.standard_normal(1_000_000) * 0.3 + 3
    begin = time.perf_counter()

    estimate_demands(total, counts, list("abcdefgh"), 1.0)

    took = time.perf_counter() - begin
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    with capsys.disabled():
        print(f"\n1,000,000 rows: {took:.1f} s (promise {PROMISE_S} s), peak {peak:.2f} GiB")


@pytest.mark.speed
@pytest.mark.parametrize("rows", [900, 3_600])
def test_how_often_intervals_hold(rows, capsys):
    """The share of intervals that hold the true demand, and how often a drift is told."""
    with capsys.disabled():
        print(f"\n{rows} rows, {LOGS} logs a setting: typing, forms, video [%]; drift told [%]")
    for name, made in SETTINGS.items():
        rng = np.random.default_rng(7)
        inside, told = np.zeros(3), 0
        for _ in range(LOGS):
            counts = counts_over_time(rng, rows)
            total = 6 + counts @ TRUE + made(rng, counts)
            found = estimate_demands(np.maximum(total, 0), counts, NAMES, 1.0)
            inside += (found.low_cores <= TRUE) & (found.high_cores >= TRUE)
            told += any("through the log" in warning for warning in found.warnings)
        held = "  ".join(f"{share:5.1f}" for share in inside / LOGS * 100)
        with capsys.disabled():
            print(f"  {name:24s} {held}   {told / LOGS * 100:5.1f}")
