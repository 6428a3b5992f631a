"""How long does it take to find toggles, how often are they right, and how fast is a plan?"""

import resource
from time import process_time

import numpy as np
import pytest
from scipy.signal import lfilter

from model.evidence.changes import find_changes
from model.evidence.noise import Noise
from model.evidence.toggles import find_toggles
from model.evidence.trial import plan_trial

pytestmark = pytest.mark.speed

LOGS = 100  # a setting; more give closer figures


def noise(generator, rows: int, lag_1: float) -> np.ndarray:
    """Noise of deviation 1 whose correlation is lag_1 to the power of the distance."""
    fresh = generator.standard_normal(rows + 500) * np.sqrt(1 - lag_1**2)
    return lfilter([1.0], [1.0, -lag_1], fresh)[500:]


@pytest.mark.parametrize(("step", "lag_1"), [(8.0, 0.95), (4.0, 0.0), (0.0, 0.98)])
def test_a_million_readings_take_two_seconds(step, lag_1):
    """A log of a million readings, toggled every minute or never, is searched while one waits."""
    rows = 1_000_000
    readings = noise(np.random.default_rng(1), rows, lag_1) - step * (np.arange(rows) // 60 % 2)

    begin = process_time()
    toggles = find_toggles(readings, 1.0)
    on_cpu_s = process_time() - begin
    most_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"step {step:g}, lag-1 {lag_1:g}: {on_cpu_s:.2f} s, {len(toggles.rows):,} toggles, "
        f"{most_mib:,.0f} MiB at most so far"
    )

    # Derived: the promise.
    assert on_cpu_s <= 2
    # Derived: a toggle each minute; slow noise makes a few more in eleven days.
    assert len(toggles.rows) == pytest.approx(rows // 60 if step else 0, rel=0.001)


def test_three_hours_are_divided_exactly_in_seconds():
    """Every division of 10,800 readings is compared in about a second."""
    readings = noise(np.random.default_rng(2), 10_800, 0.0) + 5 * (np.arange(10_800) > 4_000)

    begin = process_time()
    changes = find_changes(readings, 10)
    on_cpu_s = process_time() - begin
    print(f"three hours at 1 Hz, penalty chosen: {on_cpu_s:.2f} s")

    assert changes.tolist() == [4_001]
    # Derived: the promise, three searches until the penalty settles.
    assert on_cpu_s <= 5


def test_plans_follow_a_slider():
    """A plan of four activities, block length chosen, is there within half a second."""
    begin = process_time()
    plan_trial(["a", "b", "c", "d"], Noise(1, 0.9), smallest_effect=0.5, block_s=None)
    on_cpu_s = process_time() - begin
    print(f"plan: {on_cpu_s * 1e3:.0f} ms")

    # Derived: the promise.
    assert on_cpu_s <= 0.5


def f1_and_refusals(step: float, lag_1: float, least: int, most: int) -> tuple[float, float]:
    """F1 at 3 s over all logs, refused ones included, and the share of logs refused."""
    hits = found = true = refused = 0
    for log in range(LOGS):
        generator = np.random.default_rng([3, log])
        ends = np.cumsum(generator.integers(least, most, 1_800 // least))
        ends = ends[ends < 1_800 - least]
        state = np.searchsorted(ends, np.arange(1_800), side="right") % 2
        toggles = find_toggles(noise(generator, 1_800, lag_1) - step * state, 1.0)
        refused += toggles.refusal is not None
        distance = np.abs(np.subtract.outer(toggles.rows, ends)) <= 3
        hits += int(distance.any(axis=0).sum())  # spells are longer than twice the tolerance
        found += len(toggles.rows)
        true += len(ends)
    return 2 * hits / (found + true), refused / LOGS


def test_table_of_toggles_found():
    """Prints F1 by step, slowness of the noise and length of the spells."""
    print(f"\nF1 at 3 s (share of logs refused), {LOGS} logs of 30 minutes each")
    print("step  lag-1    spells 10-40 s   20-60 s      120-300 s")
    for step, lag_1 in ((3, 0), (4, 0), (4, 0.5), (4, 0.8), (6, 0.9), (8, 0.8), (8, 0.95)):
        cells = []
        for least, most in ((10, 40), (20, 60), (120, 300)):
            f1, refused = f1_and_refusals(step, lag_1, least, most)
            cells.append(f"{f1:.3f} ({refused:4.0%})")
            if (step, lag_1) in ((4, 0), (8, 0.8), (8, 0.95)):
                # Derived: the promise.
                assert f1 >= 0.99
        print(f"{step:4}  {lag_1:5}    {'  '.join(cells)}", flush=True)


def test_table_of_toggles_invented():
    """Prints how often toggles are found where there are none, of which the first are promised."""
    rows = 900
    kinds = {
        "noise, lag-1 .5": lambda g: noise(g, rows, 0.5),
        "noise, lag-1 .95": lambda g: noise(g, rows, 0.95),
        "noise, lag-1 .98": lambda g: noise(g, rows, 0.98),
        "straight drift": lambda g: noise(g, rows, 0.9) + np.linspace(0, g.uniform(0, 20), rows),
        "waves": lambda g: (
            noise(g, rows, 0.5) + g.uniform(0, 20) * np.sin(np.linspace(0, g.uniform(1, 20), rows))
        ),
        "random walk": lambda g: np.cumsum(g.standard_normal(rows)),
        "bursts, heavy tails": lambda g: np.exp(1.2 * noise(g, rows, 0.95)),
        "load of two states": lambda g: (
            8 * (np.cumsum(g.random(rows) < 0.02) % 2) + noise(g, rows, 0.5)
        ),
    }
    print(f"\nlogs in which toggles are found although there are none, of {2 * LOGS}")
    for place, (kind, make) in enumerate(kinds.items()):
        found = sum(
            find_toggles(make(np.random.default_rng([5, log])), 1.0).refusal is None
            for log in range(2 * LOGS)
        )
        print(f"{found:6}  {kind}", flush=True)
        if place < 5:
            # Derived: the promise.
            assert found == 0
