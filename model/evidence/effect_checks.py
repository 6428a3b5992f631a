"""Do other roads lead to the same difference between on and off?

Neighbouring pairs of blocks and fours of them need no model of the drift; two more roads, with an
error that allows for readings that repeat each other and with a bootstrap, work on single readings.
"""

from math import sqrt

import numpy as np

from model.evidence.autocorrelation import (
    andrews_lag,
    bootstrap_block_length,
    long_run_variance,
    stationary_bootstrap,
)
from model.evidence.blocks import Blocks, BoolArray
from model.evidence.effect import Check
from model.evidence.record import FloatArray
from model.evidence.student import t_quantile

_MOST_BOOTSTRAP_ROWS = 3_000  # longer logs are resampled in equal bins of rows
_NORMAL_95 = 1.959963984540054


def checks_of(
    values: FloatArray, blocks: Blocks, confidence: float, resamples: int, seed: int
) -> tuple[Check, ...]:
    """Return the difference by neighbouring pairs and fours, and by single readings.

    Parameters
    ----------
    values : array of shape (rows,)
        Readings of one column, NaN where one is missing. [as measured]
    blocks : Blocks
        The log cut into blocks.
    confidence : float, above 0 and below 1
        Of every interval. [-]
    resamples : int, 0 or more
        Of the bootstrap; 0 leaves out both roads that work on single readings. [-]
    seed : int, 0 or more
        Of the bootstrap. [-]

    Returns
    -------
    tuple of Check
        Those for which there are enough pairs or readings.
    """
    pairs = _pairs(blocks)
    checks = []
    for name, differences in (("pairs", pairs), ("quads", _quads(pairs))):
        values_of = np.array([difference for difference, _, _ in differences])
        if len(values_of) >= 2:
            half = t_quantile(0.5 + confidence / 2, len(values_of) - 1) * float(
                values_of.std(ddof=1)
            )
            mean, half = float(values_of.mean()), half / sqrt(len(values_of))
            checks.append(Check(name, mean, (mean - half, mean + half), len(values_of)))
    used, on = rows_used(values, blocks)
    enough = on.any() and not on.all() and len(used) >= 9
    if resamples == 0 or not enough or np.ptp(used) == 0:
        return tuple(checks)
    residual = around_state(used, on)
    difference = float(used[on].mean() - used[~on].mean())
    share = float(on.mean())
    lag = andrews_lag(residual)
    influence = (on - share) * residual / (share * (1 - share))
    normal = _NORMAL_95 if confidence == 0.95 else t_quantile(0.5 + confidence / 2, 1e6)
    half = normal * sqrt(long_run_variance(influence, lag) / len(used))
    checks.append(Check("hac", difference, (difference - half, difference + half), lag))

    bin_rows = -(-len(used) // _MOST_BOOTSTRAP_ROWS)
    columns = np.column_stack([on, used * on, used * ~on])
    whole = len(used) // bin_rows * bin_rows
    columns = columns[:whole].reshape(-1, bin_rows, 3).mean(axis=1)
    piece = bootstrap_block_length(residual[:whole].reshape(-1, bin_rows).mean(axis=1))
    shares, sums_on, sums_off = stationary_bootstrap(columns, piece, resamples, seed).T
    both = (shares > 0) & (shares < 1)
    drawn = sums_on[both] / shares[both] - sums_off[both] / (1 - shares[both])
    if len(drawn) > resamples / 2:
        low, high = np.quantile(drawn, [0.5 - confidence / 2, 0.5 + confidence / 2])
        ends = (float(low), float(high))
        checks.append(Check("bootstrap", difference, ends, piece * bin_rows))
    return tuple(checks)


def _pairs(blocks: Blocks) -> list[tuple[float, int, bool]]:
    """Return on minus off of neighbouring blocks, where each pair begins, and if it begins on."""
    pairs = []
    block = 0
    while block + 1 < len(blocks.on):
        neighbours = blocks.number[block + 1] == blocks.number[block] + 1
        if neighbours and blocks.on[block] != blocks.on[block + 1]:
            first_on = bool(blocks.on[block])
            step = float(blocks.level[block + 1] - blocks.level[block])
            pairs.append((-step if first_on else step, int(blocks.number[block]), first_on))
            block += 2
        else:
            block += 1
    return pairs


def _quads(pairs: list[tuple[float, int, bool]]) -> list[tuple[float, int, bool]]:
    """Return the mean of two pairs that follow each other in opposite orders."""
    quads = []
    pair = 0
    while pair + 1 < len(pairs):
        (one, begin, first_on), (other, next_begin, next_on) = pairs[pair], pairs[pair + 1]
        if next_begin == begin + 2 and first_on != next_on:
            quads.append(((one + other) / 2, begin, first_on))
            pair += 2
        else:
            pair += 1
    return quads


def rows_used(values: FloatArray, blocks: Blocks) -> tuple[FloatArray, BoolArray]:
    """Return the readings in blocks, and which of them have offload on.

    Parameters
    ----------
    values : array of shape (rows,)
        Readings of one column. [as measured]
    blocks : Blocks
        The log cut into blocks.
    """
    rows = np.flatnonzero(blocks.block_of_row >= 0)
    return values[rows], blocks.on[blocks.block_of_row[rows]]


def around_state(used: FloatArray, on: BoolArray) -> FloatArray:
    """Return readings less the mean of their state.

    Parameters
    ----------
    used : array of shape (rows,)
        Readings in blocks. [as measured]
    on : array of bool, shape (rows,)
        Whether offload was on. [-]
    """
    mean_on = used[on].mean() if on.any() else 0.0
    mean_off = used[~on].mean() if not on.all() else 0.0
    return used - np.where(on, mean_on, mean_off)
