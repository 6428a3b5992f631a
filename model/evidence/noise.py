"""How do readings stray around their level while nothing is switched?

`noise_of` tells it from a short log recorded in advance, `variance_of_sum` what follows from it
for any mean or difference of readings, `covariances_of_blocks` for means of whole blocks.
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np
import numpy.typing as npt

from model.errors import InputError, check_above, check_at_least, check_within
from model.evidence.record import FloatArray


@dataclass(frozen=True)
class Noise:
    """How readings stray around their level while nothing is switched.

    Parameters
    ----------
    sd : float, above 0
        Standard deviation. [unit of the readings]
    carry : float, from 0 to 0.999
        What is left of a slow deviation one reading later. [-]
    slow_share : float, from 0 to 1
        Share of the variance that is slow; the rest is new in every reading. [-] With 1, `carry`
        is the correlation of neighbouring readings.
    interval_s : float, above 0
        From one reading to the next. [s]
    origin : str
        Whence it is known: "a guess", or the pilot log's name.
    """

    sd: float
    carry: float
    slow_share: float = 1.0
    interval_s: float = 1.0
    origin: str = "a guess"

    def __post_init__(self) -> None:
        """Refuse what is out of range."""
        check_above("sd", self.sd, 0)
        check_within("carry", self.carry, 0, 0.999)
        check_within("slow_share", self.slow_share, 0, 1)
        check_above("interval_s", self.interval_s, 0, unit="s")

    @property
    def lag_1(self) -> float:
        """Correlation of neighbouring readings."""
        return self.slow_share * self.carry


def noise_of(
    values: npt.ArrayLike,
    offload: npt.ArrayLike | None,
    interval_s: float,
    drop_s: float = 5.0,
    origin: str = "a pilot log",
) -> Noise:
    """Return the noise of a log recorded in advance, around the level of either state.

    Parameters
    ----------
    values : array of shape (rows,)
        Readings at equal steps of one activity; NaN where one is missing. [cores as a rule]
    offload : array of shape (rows,) or None
        1 on, 0 off, -1 unknown [-]; None where nothing was switched.
    interval_s : float, above 0
        From one reading to the next. [s]
    drop_s : float, 0 or more
        Seconds after each switch that do not count. [s]
    origin : str
        The log's name, kept with the noise.

    Returns
    -------
    Noise
        Slow noise that fades, plus noise that is new in every reading.

    Raises
    ------
    InputError
        For a series that is too short or does not vary.

    Notes
    -----
    The correlations up to twenty readings apart, or a tenth of the log, are fitted by least
    squares. As they are taken around a mean of the same readings they come out too small; what
    the mean itself strays is added back. A drift counts as slow noise, so the plan errs on the
    long side. Ten minutes say enough; a log of less than twenty times the time in which the noise
    fades says little about it.
    """
    check_above("interval_s", interval_s, 0, unit="s")
    check_at_least("drop_s", drop_s, 0, unit="s")
    readings = np.array(values, dtype=np.float64)
    if readings.ndim != 1:
        raise InputError("values", f"shape {readings.shape}", "a series of numbers")
    state = np.zeros(len(readings), dtype=np.int64)
    if offload is not None:
        state = np.asarray(offload, dtype=np.int64)
        if state.shape != readings.shape:
            raise InputError("offload", f"shape {state.shape}", f"as many as values, {len(state)}")
        unsettled = round(drop_s / interval_s)
        for switch in np.flatnonzero(np.diff(state)) + 1:
            readings[switch : switch + unsettled] = np.nan
        readings[state < 0] = np.nan
    stray = readings.copy()
    for each in np.unique(state):
        known = np.isfinite(readings) & (state == each)
        if known.any():
            stray[known] -= readings[known].mean()
    known = np.isfinite(stray)
    rows = int(known.sum())
    if rows < 60:
        raise InputError("values", f"{rows} steady readings", "at least 60")
    if float(np.ptp(stray[known])) <= 1e-12 * float(np.abs(readings[known]).max()):
        raise InputError("values", "readings that are all the same", "readings that vary")

    lags = np.arange(min(20, rows // 10) + 1)
    filled = np.where(known, stray, 0.0)
    counted = known.astype(np.float64)
    shared = np.array([counted[k:] @ counted[: len(counted) - k] for k in lags])
    covariance = np.array([filled[k:] @ filled[: len(filled) - k] for k in lags])
    covariance /= np.maximum(shared, 1.0)
    states = len(np.unique(state[known]))
    variance, carry, share = covariance[0], 0.0, 1.0
    for _ in range(3):  # the mean's own variance, from the fit so far, is added back
        mean_strays = variance * _of_mean(rows // states, carry, share)
        variance = float(covariance[0] + mean_strays)
        carry, share = _fading((covariance[1:] + mean_strays) / variance)
    return Noise(sqrt(variance), carry, share, interval_s, origin)


def variance_of_sum(weights: FloatArray, noise: Noise) -> float:
    """Return the exact variance of a weighted sum of readings.

    Parameters
    ----------
    weights : array of shape (rows,)
        Weight of each reading in turn, 0 for one that does not count. [-]
    noise : Noise
        How the readings stray.

    Returns
    -------
    float
        The variance. [unit of the noise squared] 0 where every weight is.

    Notes
    -----
    Equal to the weights, times the covariance matrix, times the weights. As the covariance only
    depends on the distance, the products of weights are first summed by distance.
    """
    size = 1 << (2 * len(weights) - 1).bit_length()
    spectrum = np.fft.rfft(weights, size)
    products = np.fft.irfft(np.abs(spectrum) ** 2, size)[: len(weights)]
    slow = noise.slow_share * noise.carry ** np.arange(1, len(weights))
    return float(max(products[0] + 2 * (slow @ products[1:]), 0.0)) * noise.sd**2


def covariances_of_blocks(
    noise: Noise, block_rows: int, steady_rows: int, blocks: int
) -> FloatArray:
    """Return how the means of blocks of equal length vary together.

    Parameters
    ----------
    noise : Noise
        How the readings stray.
    block_rows : int, 1 or more
        Readings from the begin of one block to the begin of the next. [rows]
    steady_rows : int, from 1 to `block_rows`
        The last readings of each block, of which its mean is taken. [rows]
    blocks : int, 1 or more
        How many blocks follow each other. [-]

    Returns
    -------
    array of shape (blocks,)
        Exact covariance of the means of two blocks that are 0, 1, 2, ... blocks apart.
        [unit of the noise squared]

    Notes
    -----
    The slow noise fades by one factor from reading to reading, so that the covariance of two
    blocks is a product of what it is within each and of the factor for the gap between them.
    """
    check_within("steady_rows", steady_rows, 1, block_rows)
    covariance = np.empty(blocks)
    covariance[0] = variance_of_sum(np.full(steady_rows, 1 / steady_rows), noise)
    gap_rows = block_rows * np.arange(1, blocks) - (steady_rows - 1)
    within = float((noise.carry ** np.arange(steady_rows)).mean())
    covariance[1:] = noise.sd**2 * noise.slow_share * noise.carry**gap_rows * within**2
    return covariance


def _of_mean(rows: int, carry: float, share: float) -> float:
    """Return the variance of a mean of successive readings, for readings of variance 1."""
    lags = np.arange(1, rows)
    return float(1 + 2 * share * ((1 - lags / rows) @ carry**lags)) / rows


def _fading(correlation: FloatArray) -> tuple[float, float]:
    """Return carry and slow share whose correlations come nearest to those given."""
    lags = np.arange(1, len(correlation) + 1)
    carry = np.concatenate([np.arange(0.0, 0.95, 0.01), np.arange(0.95, 0.9995, 0.001)])
    shape = carry[:, None] ** lags
    share = np.clip(shape @ correlation / np.maximum((shape**2).sum(axis=1), 1e-300), 0.0, 1.0)
    miss = ((correlation - share[:, None] * shape) ** 2).sum(axis=1)
    best = int(np.argmin(miss))
    if carry[best] == 0.0 or share[best] == 0.0:
        return 0.0, 1.0
    return float(carry[best]), float(share[best])
