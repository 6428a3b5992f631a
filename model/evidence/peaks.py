"""How high are the peaks of a column, and how long do they last?

Reading off a high percentile is easy; the question is what it is worth. A busy minute is sixty
high readings but one event, so the intervals count how many independent readings the exceedances
are worth. Readings that were lost are not guessed at: they may well have been the highest.
"""

from dataclasses import dataclass
from math import ceil, exp, sqrt
from typing import Literal, TypeAlias

import numpy as np

from model.errors import InputError, check_within
from model.evidence.autocorrelation import andrews_lag, effective_sample_size, long_run_variance
from model.evidence.record import FloatArray

Interval: TypeAlias = tuple[float, float | None]

QUANTILE_RULE: Literal["linear"] = (
    "linear"  # numpy's default: between the two readings around rank 1 + (n - 1) p
)
_NORMAL_95 = 1.959963984540054
_FEW_READINGS = 20  # independent ones; below it no interval is given


@dataclass(frozen=True)
class Quantile:
    """A percentile of the readings.

    Parameters
    ----------
    value : float
        By numpy's default rule, "linear". [as measured]
    interval : tuple or None
        Its 95 % interval; an upper end of None means that no upper limit can be given, since it
        lies beyond the highest reading. [as measured] None where nothing can be said.
    effective_rows : float
        Independent readings that the exceedances are worth. [rows]
    """

    value: float
    interval: Interval | None
    effective_rows: float


@dataclass(frozen=True)
class Peaks:
    """The peaks of one column.

    Parameters
    ----------
    mean, highest : float
        Of the readings that are there. [as measured]
    p50, p95, p99 : Quantile
        Percentiles.
    crest_factor : float or None
        Highest reading over root mean square. [-] None where all readings are 0.
    crest_interval : tuple or None
        What the root mean square leaves open, 95 %; the highest reading is that of this log, and
        a longer one has a higher. [-]
    peak_to_mean : float or None
        Highest reading over mean. [-] None where the mean is not above 0.
    threshold : float
        As given. [as measured]
    above_s : float
        Time above the threshold. [s]
    above_share : float
        The same as a share of the time observed. [-]
    above_interval : tuple
        95 % interval of the share. [-]
    observed_s, lost_s : float
        Time with readings, and time without. [s]
    warnings : tuple of str
        What a reader must know, in sentences.
    """

    mean: float
    highest: float
    p50: Quantile
    p95: Quantile
    p99: Quantile
    crest_factor: float | None
    crest_interval: tuple[float, float] | None
    peak_to_mean: float | None
    threshold: float
    above_s: float
    above_share: float
    above_interval: tuple[float, float]
    observed_s: float
    lost_s: float
    warnings: tuple[str, ...]


def peak_statistics(values: FloatArray, interval_s: float | FloatArray, threshold: float) -> Peaks:
    """Return how high the readings of one column go, and for how long.

    Parameters
    ----------
    values : array of shape (rows,)
        Readings, NaN where one is missing. [as measured]
    interval_s : float or array of shape (rows,), above 0
        How long each reading holds. [s]
    threshold : float
        Above which time is counted. [as measured]

    Returns
    -------
    Peaks
        A constant column has itself as every percentile, without intervals.

    Raises
    ------
    InputError
        For the first argument outside its range, and for a column without readings.

    Notes
    -----
    Intervals of percentiles stand between two readings in order of size, whose ranks come from
    the binomial distribution with as many readings as the exceedances are worth independent
    ones. They hold where the memory is short against the time between exceedances and are too
    narrow beyond it: at a correlation of 0.95 between neighbours, take them as approximate.
    Percentiles count readings; time above the threshold counts how long each one holds.

    Source
    ------
    Order statistics: H. A. David and H. N. Nagaraja, Order Statistics, 3rd edition, Wiley, 2003,
    section 7.1, doi:10.1002/0471722162. Interval of a share: E. B. Wilson, "Probable inference,
    the law of succession, and statistical inference", J. American Statistical Association
    22(158), 1927, 209-212, doi:10.1080/01621459.1927.10502953.
    """
    values = np.asarray(values, dtype=float)
    if values.ndim != 1 or np.isinf(values).any() or np.isnan(values).all():
        raise InputError("values", values, "a row of numbers, NaN where a reading is missing")
    holds_s = np.asarray(interval_s, dtype=float)
    if holds_s.shape not in ((), values.shape) or not np.all((holds_s > 0) & (holds_s < 1e300)):
        raise InputError("interval_s", interval_s, "one number above 0 s, or one for each reading")
    holds_s = np.broadcast_to(holds_s, values.shape)
    check_within("threshold", threshold, -1e300, 1e300)

    there = ~np.isnan(values)
    present, held_s = values[there], holds_s[there]
    ordered = np.sort(present)
    p50, p95, p99 = (_quantile(present, ordered, share) for share in (0.5, 0.95, 0.99))
    mean, highest = float(present.mean()), float(ordered[-1])
    crest, crest_interval = _crest(present)
    observed_s, above_s = float(held_s.sum()), float(held_s[present > threshold].sum())
    share = above_s / observed_s
    above = (present > threshold).astype(float)
    worth = _effective_rows(above) * float(held_s.mean() ** 2 / (held_s**2).mean())
    return Peaks(
        mean=mean,
        highest=highest,
        p50=p50,
        p95=p95,
        p99=p99,
        crest_factor=crest,
        crest_interval=crest_interval,
        peak_to_mean=highest / mean if mean > 0 else None,
        threshold=float(threshold),
        above_s=above_s,
        above_share=share,
        above_interval=_wilson(share, worth),
        observed_s=observed_s,
        lost_s=float(holds_s.sum()) - observed_s,
        warnings=tuple(_cautions(p95, p99, 1 - observed_s / float(holds_s.sum()))),
    )


def order_ranks(readings: int, share: float, confidence: float = 0.95) -> tuple[int, int | None]:
    """Return the ranks between which a percentile lies, among independent readings.

    Parameters
    ----------
    readings : int, 1 or more
        How many there are. [rows]
    share : float, above 0 and below 1
        0.95 for the 95th percentile. [-]
    confidence : float, above 0 and below 1
        At least this, for the two ranks together. [-]

    Returns
    -------
    tuple of int and int or None
        Ranks from 1, the smallest reading; 0 where even that is no lower limit, and None where
        the highest reading is no upper one. [-]

    Raises
    ------
    InputError
        For the first argument outside its range.
    """
    check_within("readings", readings, 1, 1e9)
    for name, value in (("share", share), ("confidence", confidence)):
        if not 0 < value < 1:
            raise InputError(name, value, "a number above 0 and below 1")
    tail = (1 - confidence) / 2
    spread = 12 * sqrt(readings * share * (1 - share)) + 12
    first = max(int(readings * share - spread), 0)
    last = min(int(readings * share + spread), readings)
    count = np.arange(first, last + 1)
    odds = np.log((readings - count[:-1]) / (count[:-1] + 1) * (share / (1 - share)))
    weight = np.concatenate([[0.0], np.cumsum(odds)])
    at_most = np.cumsum(np.exp(weight - weight.max()))  # beyond twelve deviations nothing is left
    at_most /= at_most[-1]
    lower = int(count[int(np.searchsorted(at_most, tail))])
    upper = int(count[min(int(np.searchsorted(at_most, 1 - tail)), len(count) - 1)]) + 1
    return lower, upper if upper <= readings else None


def _quantile(present: FloatArray, ordered: FloatArray, share: float) -> Quantile:
    """Return a percentile with the readings between which it lies."""
    value = float(np.quantile(ordered, share, method=QUANTILE_RULE))
    exceeds = present > value if ordered[-1] > value else present >= value
    effective = _effective_rows(exceeds.astype(float))
    if effective < _FEW_READINGS or ordered[0] == ordered[-1]:
        return Quantile(value, None, effective)
    worth = int(effective)
    lower, upper = order_ranks(worth, share)
    rows = len(ordered)
    low = max(int(lower * rows / worth), 1) if lower > 0 else 1
    high = None if upper is None else ceil(upper * rows / worth)
    high_value = None if high is None or high > rows else float(ordered[high - 1])
    return Quantile(value, (float(ordered[low - 1]), high_value), effective)


def _effective_rows(exceeds: FloatArray) -> float:
    """Return how many independent readings a row of ones and zeros is worth."""
    if len(exceeds) < 3:
        return float(len(exceeds))
    if np.ptp(exceeds) == 0:
        return float(len(exceeds))
    return effective_sample_size(exceeds)


def _crest(present: FloatArray) -> tuple[float | None, tuple[float, float] | None]:
    """Return the highest reading over the root mean square, with its interval. [-]"""
    squares = present**2
    mean_square = float(squares.mean())
    if mean_square == 0:
        return None, None
    crest = float(np.abs(present).max()) / sqrt(mean_square)
    if len(present) < _FEW_READINGS or np.ptp(squares) == 0:
        return crest, None
    variance = long_run_variance(squares, andrews_lag(squares)) / len(squares)
    half = _NORMAL_95 * sqrt(variance) / mean_square / 2  # of the logarithm of the root
    return crest, (max(crest * exp(-half), 1.0), crest * exp(half))


def _wilson(share: float, worth: float) -> tuple[float, float]:
    """Return the interval of a share of `worth` independent readings. [-]"""
    square = _NORMAL_95**2 / worth
    middle = (share + square / 2) / (1 + square)
    half = sqrt(square * share * (1 - share) + square**2 / 4) / (1 + square)
    return max(middle - half, 0.0), min(middle + half, 1.0)


def _cautions(p95: Quantile, p99: Quantile, lost_share: float) -> list[str]:
    """Return what a reader must know about the peaks."""
    cautions = []
    for name, quantile in (("95th", p95), ("99th", p99)):
        if quantile.interval is None:
            cautions.append(
                f"The log is too short or too uniform for an interval of the {name} percentile."
            )
        elif quantile.interval[1] is None:
            cautions.append(
                f"No upper limit for the {name} percentile: its exceedances are worth only about "
                f"{quantile.effective_rows:.0f} independent readings."
            )
    if lost_share > 0:
        cautions.append(
            f"{100 * lost_share:.2g} % of the time has no readings; if they were lost when the "
            "host was busiest, the true peaks are higher."
        )
    return cautions
