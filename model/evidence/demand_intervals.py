"""How far may demands be from the truth, where neighbouring rows of a log resemble each other?

`half_widths` takes what a fit left over and says how far chance may have moved each factor, how
many independent readings the rows amount to, and whether what is left follows a trend.
"""

from statistics import NormalDist

import numpy as np

from model.evidence.record import FloatArray

_LONGEST_MEMORY = 20  # lags of the autoregression [rows]
_NORMAL_95 = NormalDist().inv_cdf(0.975)


def half_widths(columns: FloatArray, residuals: FloatArray) -> tuple[FloatArray, float, float]:
    """Return half widths of 95 % intervals, independent rows, and the trend in standard errors.

    Parameters
    ----------
    columns : array of shape (rows, columns)
        What explained, rows evenly spaced in time. [any]
    residuals : array of shape (rows,)
        Values less fitted values of a fit without a bound. [value's unit]

    Returns
    -------
    tuple of an array of shape (columns,), a float and a float
        Half width for each factor [value's unit over the column's]; so many independent rows
        would say as much of the level [rows]; slope of the residuals over their order, in its
        standard errors [-]. Without residuals: 0, all rows, 0.

    Notes
    -----
    Of two variances the larger one counts: that of residuals taken as an autoregression which
    knows nothing of the columns, and that of the products of columns and residuals, prewhitened
    and weighted by a triangle with fixed-b limits, which allows noise to grow with the load.

    Source
    ------
    D. W. K. Andrews and J. C. Monahan, Econometrica 60(4), 1992, 953-966, doi:10.2307/2951574
    (prewhitening); N. M. Kiefer and T. J. Vogelsang, Econometric Theory 21(6), 2005, 1130-1164,
    doi:10.1017/S0266466605050565 (fixed-b limits).
    """
    rows, count = columns.shape
    if float(residuals @ residuals) <= 1e-24 * rows * float((columns**2).mean()):
        return np.zeros(count), float(rows), 0.0
    inverse: FloatArray = np.linalg.inv(columns.T @ columns).astype(float)
    spectrum, lost = _noise(columns, residuals, inverse)
    of_noise = inverse @ _weighted(columns, spectrum) @ inverse
    by_noise = _NORMAL_95 * np.sqrt(np.maximum(np.diag(of_noise), 0))

    width = int(np.ceil(1.3 * np.sqrt(rows)))
    share = width / rows
    limit = 1.96 + 2.9694 * share + 0.416 * share**2 - 0.5324 * share**3
    scores = columns * residuals[:, None]
    before, after = scores[:-1], scores[1:]
    memory = (after * before).sum(axis=0) / np.maximum((scores**2).sum(axis=0), 1e-300)
    memory = np.clip(memory, 0, 0.97)
    whitened = (after - memory * before) / (1 - memory)
    of_scores = inverse @ _triangle_sum(whitened, width) @ inverse * rows / (rows - count)
    by_scores = limit * np.sqrt(np.maximum(np.diag(of_scores), 0))

    mean_variance = float(_weighted(np.ones((rows, 1)), spectrum)[0, 0]) / rows**2
    variance = float(residuals @ residuals) / max(rows - lost, rows / 2)
    independent = min(variance / mean_variance, rows) if mean_variance > 0 else float(rows)
    return np.maximum(by_noise, by_scores), float(independent), _trend(residuals)


def _trend(residuals: FloatArray) -> float:
    """The slope of the residuals over their order, in standard errors."""
    time: FloatArray = np.arange(len(residuals), dtype=float) - (len(residuals) - 1) / 2
    slope = float(time @ residuals) / float(time @ time)
    level: FloatArray = (residuals - slope * time).astype(float)
    if float(level @ level) == 0:
        return 0.0
    spectrum, _ = _noise(time[:, None], level, np.array([[1 / float(time @ time)]]))
    return float(time @ residuals) / float(np.sqrt(_weighted(time[:, None], spectrum)[0, 0]))


def _noise(
    columns: FloatArray, residuals: FloatArray, inverse: FloatArray
) -> tuple[FloatArray, float]:
    """The spectrum of an autoregression fitted to the residuals, and what the fit took away.

    A fit by slowly changing columns takes slow noise away with it; that much variance is given
    back to all lags before the spectrum is fitted again.
    """
    rows = len(residuals)
    most = min(_LONGEST_MEMORY, rows // 20)
    moments = np.array([residuals[lag:] @ residuals[: rows - lag] for lag in range(most + 1)])
    moments = moments / rows
    padded = _padded(rows)
    first = _autoregression_spectrum(moments, rows, padded)
    lost = float(np.trace(inverse @ _weighted(columns, first))) / moments[0]
    lost = min(lost, rows / 2)
    again = moments + moments[0] * lost / (rows - lost)
    return _autoregression_spectrum(again, rows, padded), lost


def _autoregression_spectrum(moments: FloatArray, rows: int, padded: int) -> FloatArray:
    """Fit by Yule and Walker's equations, the order by Akaike's criterion; return the spectrum."""
    weights, variance = np.zeros(0), float(moments[0])
    best_score, best, best_variance = rows * np.log(variance), weights, variance
    for order in range(1, len(moments)):
        partial = float(moments[order] - weights @ moments[1:order][::-1]) / variance
        weights = np.append(weights - partial * weights[::-1], partial)
        variance *= 1 - partial**2
        if variance <= 0:
            break
        score = rows * np.log(variance) + 2 * order
        if score < best_score:
            best_score, best, best_variance = score, weights, variance
    transfer = np.fft.rfft(np.concatenate([[1.0], -best]), padded)
    spectrum: FloatArray = best_variance / np.abs(transfer) ** 2
    return spectrum


def _padded(rows: int) -> int:
    return 1 << int(np.ceil(np.log2(2 * rows)))


def _weighted(columns: FloatArray, spectrum: FloatArray) -> FloatArray:
    """Variance matrix of the columns' products with noise of that spectrum."""
    padded = 2 * (len(spectrum) - 1)
    twice = np.full(len(spectrum), 2.0)
    twice[0] = twice[-1] = 1.0
    root = np.sqrt(spectrum * twice / padded)
    parts = np.fft.rfft(columns, padded, axis=0) * root[:, None]
    found: FloatArray = (parts.conj().T @ parts).real
    return found


def _triangle_sum(series: FloatArray, width: int) -> FloatArray:
    """Sum of autocovariances with weights falling evenly to 0 at the width, times the rows.

    Sums over all windows of that width, the ends included, give the same: no lag is looked at.
    """
    rows = len(series)
    running = np.concatenate([np.zeros((1, series.shape[1])), np.cumsum(series, axis=0)])
    begin = np.clip(np.arange(1 - width, rows), 0, rows)
    windows = running[np.clip(np.arange(1, rows + width), 0, rows)] - running[begin]
    found: FloatArray = windows.T @ windows / width
    return found
