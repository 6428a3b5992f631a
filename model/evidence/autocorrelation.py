"""How much do neighbouring readings repeat each other, and how unsure is a mean because of it?

Readings a second apart are not independent: a busy second follows a busy one. What is here says
by how much, how many independent readings a log is worth, and how far its mean may stray.
"""

from math import ceil, log10, sqrt

import numpy as np

from model.errors import InputError, check_at_least, check_within
from model.evidence.record import FloatArray

_DRAWS_AT_ONCE = 2_000_000  # pieces of a resample held in memory together
_LONGEST_MEMORY_SHARE = 0.995  # correlation of neighbours taken at most: a lag stays finite


def autocorrelation(values: FloatArray, lags: int) -> FloatArray:
    """Return how alike readings are that lie 0, 1, 2, ... rows apart.

    Parameters
    ----------
    values : array of shape (rows,)
        Evenly spaced readings without missing ones. [as measured]
    lags : int, 0 or more and below the number of rows
        The farthest distance. [rows]

    Returns
    -------
    array of shape (lags + 1,)
        Entry k for readings k rows apart, entry 0 is 1. [-] A constant series gives zeros after
        entry 0.

    Raises
    ------
    InputError
        For the first argument outside its range.

    Notes
    -----
    Every sum is divided by the number of all rows, so that no combination of the entries makes
    a negative variance.
    """
    values = _checked("values", values, 2)
    check_within("lags", lags, 0, len(values) - 1)
    deviation = values - values.mean()
    products = _lagged_products(deviation, int(lags))
    if products[0] == 0:
        return np.concatenate([[1.0], np.zeros(int(lags))])
    alike: FloatArray = products / products[0]
    return alike


def andrews_lag(values: FloatArray) -> int:
    """Return how far apart readings still have to be taken as related.

    Parameters
    ----------
    values : array of shape (rows,)
        Evenly spaced readings without missing ones. [as measured]

    Returns
    -------
    int
        The lag for `long_run_variance`. [rows] 0 where neighbours are not alike.

    Raises
    ------
    InputError
        For values that are not a row of at least three numbers.

    Notes
    -----
    The rule takes the readings for a first-order autoregression; memory of another shape (a slow
    swing below fast noise) gets too short a lag.

    Source
    ------
    D. W. K. Andrews, "Heteroskedasticity and autocorrelation consistent covariance matrix
    estimation", Econometrica 59(3), 1991, 817-858, doi:10.2307/2938229: Bartlett weights.
    """
    values = _checked("values", values, 3)
    alike = float(autocorrelation(values, 1)[1])
    alike = min(max(alike, 0.0), _LONGEST_MEMORY_SHARE)
    alpha = 4 * alike**2 / (1 - alike**2) ** 2
    lag: int = ceil(1.1447 * float(alpha * len(values)) ** (1 / 3))
    return min(lag, len(values) - 1)


def long_run_variance(values: FloatArray, lag: int) -> float:
    """Return the variance that, over the number of rows, is that of the mean.

    Parameters
    ----------
    values : array of shape (rows,)
        Evenly spaced readings without missing ones. [as measured]
    lag : int, 0 or more and below the number of rows
        How far apart readings are taken as related. [rows] 0 takes them as independent.

    Returns
    -------
    float
        The long-run variance. [as measured, squared] 0 for a constant series.

    Raises
    ------
    InputError
        For the first argument outside its range.

    Notes
    -----
    Bartlett weights, falling in a line from 1 at distance 0 to 0 at distance lag + 1. Too small
    when the log is not many times longer than the memory of the readings.

    Source
    ------
    W. K. Newey and K. D. West, "A simple, positive semi-definite, heteroskedasticity and
    autocorrelation consistent covariance matrix", Econometrica 55(3), 1987, 703-708,
    doi:10.2307/1913610.
    """
    values = _checked("values", values, 2)
    check_within("lag", lag, 0, len(values) - 1)
    products = _lagged_products(values - values.mean(), int(lag))
    weights = 1 - np.arange(int(lag) + 1) / (lag + 1)
    weights[1:] *= 2
    return max(float(weights @ products), 0.0) / len(values)


def effective_sample_size(values: FloatArray, lag: int | None = None) -> float:
    """Return how many independent readings would tell the mean as well.

    Parameters
    ----------
    values : array of shape (rows,)
        Evenly spaced readings without missing ones. [as measured]
    lag : int or None
        How far apart readings are taken as related; None chooses by `andrews_lag`. [rows]

    Returns
    -------
    float
        Readings, from 1 to the number of rows. [rows] A constant series counts as one reading.

    Raises
    ------
    InputError
        For the first argument outside its range.
    """
    values = _checked("values", values, 3)
    deviation = values - values.mean()
    if np.ptp(values) == 0:
        return 1.0
    long_run = long_run_variance(values, andrews_lag(values) if lag is None else lag)
    short_run = float(deviation @ deviation) / len(values)
    rows = len(values)
    return min(max(rows * short_run / long_run, 1.0), float(rows)) if long_run > 0 else float(rows)


def bootstrap_block_length(values: FloatArray) -> float:
    """Return the mean length of the pieces from which a resample is best put together.

    Parameters
    ----------
    values : array of shape (rows,)
        Evenly spaced readings without missing ones. [as measured]

    Returns
    -------
    float
        For `stationary_bootstrap`, 1 or more. [rows] 1 for a constant series.

    Raises
    ------
    InputError
        For values that are not a row of at least nine numbers.

    Notes
    -----
    The correlations are followed out to twice the distance from which on several in a row are
    no larger than chance makes them, with weights that are 1 over the first half and fall to 0
    over the second.

    Source
    ------
    D. N. Politis and H. White, "Automatic block-length selection for the dependent bootstrap",
    Econometric Reviews 23(1), 2004, 53-70, doi:10.1081/ETC-120028836; corrected by A. Patton,
    D. N. Politis and H. White, Econometric Reviews 28(4), 2009, 372-375,
    doi:10.1080/07474930802459016.
    """
    values = _checked("values", values, 9)
    rows = len(values)
    quiet_run = max(5, int(log10(rows)))
    farthest = min(ceil(sqrt(rows)) + quiet_run, rows - 2)
    deviation = values - values.mean()
    products = _lagged_products(deviation, farthest)
    if products[0] == 0:
        return 1.0

    squares = np.concatenate([[0.0], np.cumsum(deviation**2)])
    lag = np.arange(farthest + 1)
    norm = np.sqrt(squares[rows - lag] * (squares[rows] - squares[lag]))
    alike = np.abs(products) / np.where(norm > 0, norm, 1.0)
    quiet = alike < 2 * sqrt(log10(rows) / rows)
    run = np.convolve(quiet[: farthest + 1], np.ones(quiet_run), mode="valid") == quiet_run
    begins = np.flatnonzero(run[:-1])
    reach = min(2 * max(int(begins[0]), 1), farthest) if len(begins) else farthest

    lag = np.arange(1, reach + 1)
    weight = np.minimum(2 * (1 - lag / reach), 1.0)
    covariance = products[: reach + 1] / rows
    slope = 2 * float(weight * lag @ covariance[1:])
    level = float(covariance[0]) + 2 * float(weight @ covariance[1:])
    longest = float(ceil(min(3 * sqrt(rows), rows / 3)))
    if level == 0:
        return longest
    best: float = ((slope / level) ** 2 * rows) ** (1 / 3)
    return min(max(best, 1.0), longest)


def stationary_bootstrap(
    columns: FloatArray, block_rows: float, resamples: int, seed: int
) -> FloatArray:
    """Return the means of columns in logs put together again from pieces of the one measured.

    Parameters
    ----------
    columns : array of shape (rows, columns)
        Evenly spaced readings without missing ones; a row stays together. [as measured]
    block_rows : float, 1 or more
        Mean length of a piece, see `bootstrap_block_length`. [rows]
    resamples : int, 1 or more
        How many logs are put together. [-]
    seed : int, 0 or more
        Of the random numbers; equal seeds give equal answers. [-]

    Returns
    -------
    array of shape (resamples, columns)
        The mean of each column in each log. [as measured]

    Raises
    ------
    InputError
        For the first argument outside its range.

    Notes
    -----
    Pieces begin anywhere, have geometric lengths and run on from the last row to the first. Sums
    over pieces are differences of running sums, so that the work goes with the number of pieces
    and not with that of rows.

    Source
    ------
    D. N. Politis and J. P. Romano, "The stationary bootstrap", J. American Statistical
    Association 89(428), 1994, 1303-1313, doi:10.1080/01621459.1994.10476870.
    """
    columns = np.asarray(columns, dtype=float)
    if columns.ndim != 2 or len(columns) < 2 or not np.isfinite(columns).all():
        raise InputError("columns", columns, "a table of at least two rows of finite numbers")
    check_at_least("block_rows", block_rows, 1, unit="rows")
    check_at_least("resamples", resamples, 1)
    check_at_least("seed", seed, 0)

    rows = len(columns)
    centre = columns.mean(axis=0)
    running = np.zeros((2 * rows + 1, columns.shape[1]))
    np.cumsum(np.concatenate([columns, columns]) - centre, axis=0, out=running[1:])
    random = np.random.default_rng(seed)
    pieces = rows / block_rows
    most = ceil(pieces + 8 * sqrt(pieces) + 8)
    means = np.empty((resamples, columns.shape[1]))
    at_once = max(_DRAWS_AT_ONCE // most, 1)
    for begin in range(0, resamples, at_once):
        count = min(at_once, resamples - begin)
        length = random.geometric(1 / block_rows, (count, most))
        length[:, -1] = rows  # eight deviations beyond the mean number of pieces: never short
        stop = np.minimum(np.cumsum(np.minimum(length, rows), axis=1), rows)
        length = np.diff(stop, axis=1, prepend=0)
        first = random.integers(0, rows, (count, most))
        means[begin : begin + count] = (running[first + length] - running[first]).sum(axis=1)
    shifted: FloatArray = means / rows + centre
    return shifted


def _lagged_products(deviation: FloatArray, lags: int) -> FloatArray:
    """Return the sums of products of readings 0 to `lags` rows apart."""
    if lags < 64:
        rows = len(deviation)
        return np.array([deviation[: rows - k] @ deviation[k:] for k in range(lags + 1)])
    size = 1 << (len(deviation) + lags - 1).bit_length()
    spectrum = np.fft.rfft(deviation, size)
    products: FloatArray = np.fft.irfft(np.abs(spectrum) ** 2, size)
    return products[: lags + 1]


def _checked(name: str, values: FloatArray, least_rows: int) -> FloatArray:
    """Return a row of numbers as floats, or say what is wrong with it."""
    values = np.asarray(values, dtype=float)
    if values.ndim != 1 or len(values) < least_rows or not np.isfinite(values).all():
        raise InputError(name, values, f"a row of at least {least_rows} finite numbers")
    return values
