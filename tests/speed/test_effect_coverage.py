"""Do nineteen of twenty intervals hold the truth, and what do they cost?

`CRESTLINE_LOGS=2000 pytest -m speed -s tests/speed/test_effect_coverage.py` prints the table for
2,000 logs a setting; without the variable there are fewer, and room for chance in what is asked.
"""

import os
from math import sqrt
from time import process_time

import numpy as np
import pytest
from scipy.signal import lfilter

from model.evidence.on_off import offload_effect
from model.evidence.peaks import peak_statistics

pytestmark = pytest.mark.speed

LOGS = int(os.environ.get("CRESTLINE_LOGS", "150"))
BLOCK_ROWS = 60
NORMAL_95 = 1.959963984540054
LEVEL_OFF, LEVEL_ON = 20.0, 8.0


def remembering(random, logs: int, rows: int, alike: float, tail: float | None = None):
    """Noise of deviation 1 whose neighbours correlate as told, normal or Student's t."""
    shape = (logs, rows + 400)
    fresh = random.standard_normal(shape)
    if tail is not None:
        fresh = random.standard_t(tail, shape) / sqrt(tail / (tail - 2))
    return lfilter([1.0], [1.0, -alike], fresh * sqrt(1 - alike**2), axis=1)[:, 400:]


def bursts(random, logs: int, rows: int, busy_s: float, quiet_s: float):
    """Spells of load of exponential height and length, mean 0 and deviation 1."""
    share = busy_s / (busy_s + quiet_s)
    busy = random.random(logs) < share
    height = random.exponential(size=logs)
    load = np.empty((logs, rows))
    for row in range(rows):
        ends = random.random(logs) < np.where(busy, 1 / busy_s, 1 / quiet_s)
        busy = busy ^ ends
        height = np.where(ends, random.exponential(size=logs), height)
        load[:, row] = busy * height
    fine = 0.1 * random.standard_normal((logs, rows))
    return (load - share + fine) / sqrt(2 * share - share**2 + 0.01)


def line(rows: int):
    """A drift that climbs by five deviations of the noise."""
    return 5 * np.linspace(-0.5, 0.5, rows)


def wave(rows: int):
    """A drift that swings once, four deviations from top to bottom."""
    return 2 * np.sin(2 * np.pi * np.arange(rows) / rows)


def walk(random, logs: int, rows: int):
    """A drift that wanders, by 0.05 deviations a second."""
    return 0.05 * np.cumsum(random.standard_normal((logs, rows)), axis=1)


# Each gives noise of (logs, rows), a drift of (rows,) or (logs, rows), and what offload makes of
# the noise.
SETTINGS = {
    "correlation 0": lambda r, n, m: (remembering(r, n, m, 0.0), 0.0, 1.0),
    "correlation 0.5": lambda r, n, m: (remembering(r, n, m, 0.5), 0.0, 1.0),
    "correlation 0.8": lambda r, n, m: (remembering(r, n, m, 0.8), 0.0, 1.0),
    "correlation 0.9": lambda r, n, m: (remembering(r, n, m, 0.9), 0.0, 1.0),
    "correlation 0.95": lambda r, n, m: (remembering(r, n, m, 0.95), 0.0, 1.0),
    "bursts, 5 s of 25 s": lambda r, n, m: (bursts(r, n, m, 5, 20), 0.0, 1.0),
    "heavy tails (t, 3)": lambda r, n, m: (remembering(r, n, m, 0.8, 3), 0.0, 1.0),
    "drift, line": lambda r, n, m: (remembering(r, n, m, 0.8), line(m), 1.0),
    "drift, walk": lambda r, n, m: (remembering(r, n, m, 0.8), walk(r, n, m), 1.0),
    "drift, wave": lambda r, n, m: (remembering(r, n, m, 0.8), wave(m), 1.0),
    "noise shrinks to 0.4": lambda r, n, m: (remembering(r, n, m, 0.8), 0.0, 0.4),
}
# Printed to be known, and asked for nothing: too little is left of the log's information.
BEYOND = {
    "correlation 0.98": lambda r, n, m: (remembering(r, n, m, 0.98), 0.0, 1.0),
    "bursts, 20 s of 80 s": lambda r, n, m: (bursts(r, n, m, 20, 60), 0.0, 1.0),
    "the same, shrunk": lambda r, n, m: (bursts(r, n, m, 20, 60), 0.0, 0.4),
    "5 s of 25 s, shrunk": lambda r, n, m: (bursts(r, n, m, 5, 20), 0.0, 0.4),
}


def thue_morse(blocks: int) -> np.ndarray:
    """The order 0110 1001 1001 0110 ..., 1 for on."""
    return np.array([block.bit_count() % 2 for block in range(blocks)])


def measure(setting, blocks: int) -> dict[str, float]:
    """Return coverages [%] and widths, of the headline and of pairs beside it."""
    random = np.random.default_rng([7, blocks])
    rows = blocks * BLOCK_ROWS
    offload = np.repeat(thue_morse(blocks), BLOCK_ROWS)
    noise, drift, shrunk = setting(random, LOGS, rows)
    clean = np.where(offload == 1, LEVEL_ON + shrunk * noise, LEVEL_OFF + noise)
    truth = LEVEL_ON - LEVEL_OFF
    used = np.arange(rows) % BLOCK_ROWS >= 5
    exact = clean[:, used & (offload == 1)].mean(1) - clean[:, used & (offload == 0)].mean(1)
    best = 2 * NORMAL_95 * float(exact.std())
    found = {"headline": [], "pairs": []}
    begin = process_time()
    for log in clean + drift:
        effect = offload_effect(log, offload, 1.0, resamples=0)
        found["headline"].append(effect.difference.interval)
        found["pairs"].append(effect.checks[0].interval)
    took_ms = (process_time() - begin) * 1e3 / LOGS
    answer = {"ms": took_ms}
    for name, intervals in found.items():
        low, high = np.array(intervals).T
        answer[f"{name} covers"] = 100 * float(np.mean((low <= truth) & (truth <= high)))
        answer[f"{name} width"] = float(np.mean(high - low)) / best
    return answer


def test_intervals_of_the_effect_cover_93_to_97_percent() -> None:
    """Intervals hold the truth as often as they say, with memory, bursts, tails and drift."""
    print(f"\n{LOGS} logs a setting, 60 s blocks in Thue-Morse order; widths over the one of who")
    print("knows noise and drift.                 blocks  headline: %  width   pairs: %  width")
    missed = []
    room = 300 * sqrt(0.95 * 0.05 / LOGS)  # three standard errors of a share, in percent
    for name, setting in {**SETTINGS, **BEYOND}.items():
        for blocks in (8, 16, 32):
            row = measure(setting, blocks)
            print(
                f"{'  (beyond) ' if name in BEYOND else ''}{name:28s}{blocks:8d}"
                f"{row['headline covers']:12.1f}{row['headline width']:8.2f}"
                f"{row['pairs covers']:10.1f}{row['pairs width']:8.2f}   {row['ms']:.1f} ms"
            )
            covers = row["headline covers"]
            if name in SETTINGS and not 95 - max(room, 2) <= covers <= 95 + max(room, 2):
                missed.append((name, blocks, covers))
    # Derived: the promise, or chance where few logs are drawn.
    assert missed == []


def test_intervals_of_p95_cover() -> None:
    """The interval of the 95th percentile holds it, approximately from a correlation of 0.95."""
    for alike, least in ((0.0, 91), (0.8, 89), (0.95, 70)):
        random = np.random.default_rng(5)
        logs = remembering(random, LOGS, 1_800, alike)
        hits, unlimited = 0, 0
        for log in logs:
            low, high = peak_statistics(log, 1.0, 0.0).p95.interval or (-np.inf, None)
            unlimited += high is None
            hits += low <= 1.6448536269514722 <= (np.inf if high is None else high)
        print(f"p95, correlation {alike}: {100 * hits / LOGS:.1f} %, {unlimited} without a limit")
        # Derived: 95 %, less what the estimated worth of the exceedances and chance take away.
        assert 100 * hits / LOGS >= least


def test_a_million_readings_take_a_few_seconds() -> None:
    """Twelve days at one reading a second, with 2,000 resamples, are answered at once."""
    random = np.random.default_rng(1)
    rows = 1_000_000
    offload = np.resize(np.repeat([0, 1], BLOCK_ROWS), rows)
    values = remembering(random, 1, rows, 0.9)[0] + 14 - 12 * offload
    begin = process_time()
    effect = offload_effect(values, offload, 1.0)
    middle = process_time()
    peaks = peak_statistics(values, 1.0, 15.0)
    end = process_time()
    print(f"1,000,000 rows: effect {middle - begin:.2f} s, peaks {end - middle:.2f} s on the CPU")
    assert effect.difference.interval is not None
    assert peaks.p99.interval is not None
    # Derived: our share of ten seconds for eight columns and the reading.
    assert end - begin < 4
