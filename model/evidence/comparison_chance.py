"""How far may chance alone move a measured log from a predicted one?

A log is a single draw, and neighbouring readings are alike. `chance_of` puts the measured log
among simulated logs, and exchanges whole stretches of time between them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from model.evidence.autocorrelation import andrews_lag, effective_sample_size
from model.evidence.record import FloatArray
from model.evidence.student import t_quantile

_EXCHANGED = 4  # our choice: simulated logs whose stretches are exchanged with measured ones
_BINS = 1_000
_MOST_BLOCKS, _FEWEST_BLOCKS = 200, 8
_MEMORIES = 5  # our choice: a stretch lasts at least so many times as long as readings stay alike
_LONG = 20  # our choice: readings are followed at least over a twentieth of the log


@dataclass(frozen=True, eq=False)
class Chance:
    """What chance does to a log and its quantiles.

    Parameters
    ----------
    chance : float
        How often a distance as large arises where model and host agree. [-]
    half_width_cores : array of shape (levels,)
        Half widths of the 95 % intervals of measured less predicted quantiles. [cores]
    blocks : int
        Stretches of time exchanged. [stretches]
    warnings : tuple of str
        What to mind.
    """

    chance: float
    half_width_cores: FloatArray
    blocks: int
    warnings: tuple[str, ...]


def chance_of(
    measured_cores: FloatArray,
    simulated_cores: FloatArray,
    levels: Sequence[float],
    resamples: int,
    seed: int,
) -> Chance:
    """Return how often chance puts a log as far away, and how far it moves each quantile.

    Parameters
    ----------
    measured_cores : array of shape (rows,)
        What was measured. [core s/s]
    simulated_cores : array of shape (series, rows)
        Simulated logs of the same rows. [core s/s]
    levels : sequence of float
        Which quantiles: 0.95 for the p95. [-]
    resamples : int
        Exchanges, and draws for the intervals. [resamples]
    seed : int
        Starts them. [-]

    Notes
    -----
    The intervals take the larger of two spreads, and the chance is the larger of two. One is that
    of whole simulated logs, among which the measured one is put (a Monte Carlo test). The other
    needs nothing of the model's course in time: the log is cut into stretches several times as
    long as the difference between measured and simulated readings stays alike. For the intervals,
    stretches are drawn with replacement, the same ones from both, so that the course of the day
    cancels; for the chance, each stretch of the measured log is exchanged for one of the
    simulated ones at random. Where there are fewer than eight stretches, simulated logs alone
    must do, with a warning. Exchanges work on counts in 1,000 bins.

    Source
    ------
    G. A. Barnard, Journal of the Royal Statistical Society B 25(2), 1963, 294 (Monte Carlo test);
    H. R. Kuensch, Annals of Statistics 17(3), 1989, 1217-1241, doi:10.1214/aos/1176347265
    (stretches).
    """
    warnings: list[str] = []
    logs = np.vstack([measured_cores, simulated_cores])
    chance = _chance_among(_histograms(logs, 1)[0][:, 0])
    spread = np.quantile(simulated_cores, levels, axis=1).std(axis=1, ddof=1)
    spread = spread * np.sqrt(1 + 1 / len(simulated_cores))
    half: FloatArray = (t_quantile(0.975, len(simulated_cores) - 1) * spread).astype(float)
    blocks = _blocks(measured_cores - simulated_cores.mean(axis=0), warnings)
    if blocks >= _FEWEST_BLOCKS:
        rng = np.random.default_rng(seed)
        counts, centres = _histograms(logs[: _EXCHANGED + 1], blocks)
        chance = max(chance, _chance_of_exchange(counts, resamples, rng))
        by_blocks = _spread(counts, centres, levels, resamples, rng)
        half = np.maximum(half, t_quantile(0.975, blocks - 1) * by_blocks)
    return Chance(chance, half, blocks, tuple(warnings))


def _blocks(difference: FloatArray, warnings: list[str]) -> int:
    """How many stretches of time the log is cut into."""
    rows = len(difference)
    if float(difference.std()) <= 1e-12 * max(float(np.abs(difference).max()), 1e-300):
        independent = float(rows)
    else:
        lag = max(andrews_lag(difference), rows // _LONG)
        independent = min(max(effective_sample_size(difference, min(lag, rows - 1)), 1.0), rows)
    blocks = int(min(independent / _MEMORIES, _MOST_BLOCKS, rows / 2))
    if blocks < _FEWEST_BLOCKS:
        warnings.append(
            f"The log says no more than about {independent:.0f} independent readings would: how "
            "far chance may reach is taken from the model alone. Measure for longer."
        )
    return blocks


def _histograms(logs: FloatArray, blocks: int) -> tuple[FloatArray, FloatArray]:
    """Readings in each bin, by log and stretch; the bins' centres."""
    low, high = float(logs.min()), float(logs.max())
    width = max(high - low, 1e-12) / _BINS
    rows = logs.shape[1]
    begin = np.arange(rows) * blocks // rows * _BINS
    counts = np.empty((len(logs), blocks, _BINS), dtype=np.float32)
    for log, values in zip(counts, logs, strict=True):
        bins = np.clip(((values - low) / width).astype(int), 0, _BINS - 1)
        log[:] = np.bincount(begin + bins, minlength=blocks * _BINS).reshape(blocks, _BINS)
    centres: FloatArray = np.arange(_BINS, dtype=float) * width + (low + width / 2)
    return counts.astype(float), centres


def _chance_among(counts: FloatArray) -> float:
    """How often a log lies as far from all others as the first one does."""
    every = len(counts)
    rest = (counts.sum(axis=0) - counts) / (every - 1)
    distances = np.abs(np.cumsum(counts - rest, axis=1)).sum(axis=1)
    return float((distances >= distances[0] * (1 - 1e-9)).mean())


def _chance_of_exchange(counts: FloatArray, resamples: int, rng: np.random.Generator) -> float:
    every, blocks, _ = counts.shape
    total = counts.sum(axis=(0, 1))
    plays = rng.integers(0, every, (resamples, blocks))
    plays = np.vstack([np.zeros((1, blocks), dtype=plays.dtype), plays])
    picked = np.zeros((resamples + 1, counts.shape[2]))
    for one in range(every):
        picked += (plays == one).astype(float) @ counts[one]
    gap = np.cumsum(picked - (total - picked) / (every - 1), axis=1)
    distances = np.abs(gap).sum(axis=1)
    return float((distances >= distances[0] * (1 - 1e-9)).mean())


def _spread(
    counts: FloatArray,
    centres: FloatArray,
    levels: Sequence[float],
    resamples: int,
    rng: np.random.Generator,
) -> FloatArray:
    """Standard error of measured less simulated quantiles."""
    blocks = counts.shape[1]
    times = rng.multinomial(blocks, np.full(blocks, 1 / blocks), resamples).astype(float)
    measured, simulated = (
        _binned_quantiles(times @ of, centres, levels) for of in (counts[0], counts[1:].sum(axis=0))
    )
    few = np.sqrt(blocks / (blocks - 1))
    spread: FloatArray = (measured - simulated).std(axis=0) * few
    return spread


def _binned_quantiles(
    counts: FloatArray, centres: FloatArray, levels: Sequence[float]
) -> FloatArray:
    cumulative = np.cumsum(counts, axis=1)
    cumulative /= cumulative[:, -1:]
    at = [np.minimum((cumulative < level).sum(axis=1), len(centres) - 1) for level in levels]
    found: FloatArray = centres[np.array(at).T]
    return found
