"""Which made-up counts and noise do the tests of demands take a host's total from?"""

from typing import Any

import numpy as np
from scipy.signal import lfilter


def counts_over_time(
    rng: np.random.Generator,
    rows: int,
    sessions: int = 30,
    dwell_rows: tuple[int, ...] = (180, 60, 20, 90),
    share: tuple[int, ...] = (2, 3, 2, 3),
) -> Any:
    """Return counts of people who go from activity to activity; the last is not counted."""
    follow = np.array(share) / np.array(dwell_rows)
    follow = follow / follow.sum()
    changes = np.zeros((rows + 1, len(dwell_rows)))
    for _ in range(sessions):
        many = int(3 * rows / (follow @ dwell_rows)) + 20
        state = rng.choice(len(dwell_rows), many, p=follow)
        ends = np.cumsum(rng.exponential(np.array(dwell_rows)[state]))
        begins = np.concatenate([[0.0], ends[:-1]])
        state, begins, ends = (each[begins < rows] for each in (state, begins, ends))
        np.add.at(changes, (begins.astype(int), state), 1)
        np.add.at(changes, (np.minimum(ends, rows).astype(int), state), -1)
    return np.cumsum(changes, axis=0)[:rows, :-1]


def noise(rng: np.random.Generator, rows: int, lag1: float, spread: float = 0.6) -> Any:
    """Return noise in which each row remembers the one before it."""
    drawn = lfilter([1], [1, -lag1], rng.standard_normal(rows + 400))[400:]
    return spread * (1 - lag1**2) ** 0.5 * drawn
