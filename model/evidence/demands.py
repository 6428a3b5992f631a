"""What does one session ask of the CPU in each activity, if only the host's total is known?

`estimate_demands` takes host totals and counts of who did what, and finds the demands, none of
them negative, that explain the totals best. `least_squares` and `nonnegative_least_squares` are
the arithmetic under it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any

import numpy as np
import numpy.typing as npt

from model.errors import MeasurementError, check_above, check_at_least
from model.evidence.record import FloatArray

FEWEST_ROWS = 20  # our choice: below, no interval means anything
_ROWS_PER_NUMBER = 3  # our choice, likewise
_LONGEST_MEMORY = 20  # lags of the autoregression [rows]
_ALIKE = 10.0  # our choice, common practice: a variance inflated tenfold is told
_CONSTANT_SHARE = 0.999  # our choice: a base of which the counts imitate so much is told
_DEPENDENT = 1e-10  # share of a column that no other column holds, below it there is none
_NORMAL_95 = NormalDist().inv_cdf(0.975)
_STEEP = 3.0  # standard errors of a trend in the residuals that is told
_FEW_INDEPENDENT = 30  # our choice


@dataclass(frozen=True, eq=False)
class LeastSquares:
    """A straight fit of values by columns.

    Parameters
    ----------
    coefficients : array of shape (columns,)
        One factor for each column. [value's unit over the column's]
    standard_errors : array of shape (columns,)
        As if every row were independent of the others. [as `coefficients`]
    residuals : array of shape (rows,)
        Values less fitted values. [value's unit]
    residual_sd : float
        Root of the residual sum of squares over its degrees of freedom. [value's unit]
    """

    coefficients: FloatArray
    standard_errors: FloatArray
    residuals: FloatArray
    residual_sd: float


def least_squares(columns: FloatArray, values: FloatArray) -> LeastSquares:
    """Return the factors by which columns explain values best.

    Parameters
    ----------
    columns : array of shape (rows, columns)
        What explains, one unit for each column. [any]
    values : array of shape (rows,)
        What is to be explained. [any]

    Returns
    -------
    LeastSquares
        Residual spread and standard errors are 0 with as many columns as rows.

    Raises
    ------
    MeasurementError
        With fewer rows than columns, or where a column follows from the others.

    Notes
    -----
    Columns are scaled to length one, taken apart by Householder reflections, and the result
    refined once by fitting what is left over, which is worked out in twice the digits: a spread
    of a tenth around ten million keeps all the digits that the values themselves hold. Numbers of
    very different size and columns that nearly imitate each other, years beside populations, keep
    at least nine digits.

    Source
    ------
    A. Bjoerck, Numerical Methods for Least Squares Problems, SIAM, 1996,
    doi:10.1137/1.9781611971484, chapter 2. T. J. Dekker, "A floating-point technique for
    extending the available precision", Numerische Mathematik 18(3), 1971, 224-242,
    doi:10.1007/BF01397083 (twice the digits).
    """
    rows, count = columns.shape
    if rows < count:
        raise MeasurementError("rows", rows, f"at least {count}, as many as unknowns")
    length = np.sqrt((columns**2).sum(axis=0))
    scaled = columns / np.where(length > 0, length, 1.0)
    q, r = np.linalg.qr(scaled)
    if np.abs(np.diag(r)).min(initial=1.0) < _DEPENDENT:
        at = int(np.argmin(np.abs(np.diag(r))))
        raise MeasurementError(f"column {at}", "a sum of others", "columns none of which follows")
    solution = np.linalg.solve(r, q.T @ values)
    left_over = _left_over(columns, solution / length, values)
    solution = solution + np.linalg.solve(r, q.T @ left_over)
    factors = solution / length
    residuals = _left_over(columns, factors, values)
    spread = float(np.sqrt(residuals @ residuals / (rows - count))) if rows > count else 0.0
    errors = spread * np.sqrt((np.linalg.inv(r) ** 2).sum(axis=1))
    return LeastSquares(factors, errors / length, residuals, spread)


def _left_over(columns: FloatArray, factors: FloatArray, values: FloatArray) -> FloatArray:
    """Return values less columns times factors, rounded only once at the end."""
    rest, lost = values, np.zeros(len(values))
    for column, factor in zip(columns.T, -factors, strict=True):
        product = column * factor
        head, tail = _halves(column)
        factor_head, factor_tail = _halves(factor)
        lost += tail * factor_tail - (
            ((product - head * factor_head) - tail * factor_head) - head * factor_tail
        )
        total = rest + product
        of_product = total - rest
        lost += (rest - (total - of_product)) + (product - of_product)
        rest = total
    return rest + lost


def _halves(number: Any) -> tuple[Any, Any]:
    """Return two numbers of half the digits whose sum a number is."""
    spread = 134_217_729.0 * number  # 2 to the 27th, plus 1
    head = spread - (spread - number)
    return head, number - head


def nonnegative_least_squares(columns: FloatArray, values: FloatArray) -> FloatArray:
    """Return the factors, none below 0, by which columns explain values best.

    Parameters
    ----------
    columns : array of shape (rows, columns)
        What explains, one unit for each column. [any]
    values : array of shape (rows,)
        What is to be explained. [any]

    Returns
    -------
    array of shape (columns,)
        The factors; exactly 0 where a negative one would explain more. [value's unit over the
        column's]

    Notes
    -----
    A column enters while it would lower the sum of squares, and leaves when its factor would
    fall below 0. Only the triangle of one decomposition is worked on, so a million rows cost
    no more than a thousand after the first step.

    Source
    ------
    C. L. Lawson and R. J. Hanson, Solving Least Squares Problems, Prentice-Hall, 1974 (SIAM,
    1995, doi:10.1137/1.9781611971217), chapter 23.
    """
    length = np.sqrt((columns**2).sum(axis=0))
    scaled = columns / np.where(length > 0, length, 1.0)
    q, r = np.linalg.qr(scaled)
    target = q.T @ values
    negligible = 1e-12 * float(np.sqrt(values @ values))
    count = columns.shape[1]
    free = np.zeros(count, dtype=bool)
    factors = np.zeros(count)
    for _ in range(10 * count):
        slope = r.T @ (target - r @ factors)
        slope[free | (length == 0)] = -np.inf
        best = int(np.argmax(slope))
        if slope[best] <= negligible:
            break
        free[best] = True
        while free.any():
            wanted = np.zeros(count)
            wanted[free] = np.linalg.lstsq(r[:, free], target, rcond=None)[0]
            below = free & (wanted <= 0)
            if not below.any():
                factors = wanted
                break
            step = float((factors[below] / (factors[below] - wanted[below])).min())
            factors = factors + step * (wanted - factors)
            free &= factors > 1e-15 * np.abs(factors).max()
            factors[~free] = 0.0
    return factors / np.where(length > 0, length, 1.0)


@dataclass(frozen=True, eq=False)
class Demands:
    """What sessions in each activity ask of a host's CPU.

    Parameters
    ----------
    names : tuple of str
        The activities that the counts have.
    demand_cores, low_cores, high_cores : array of shape (activities,)
        CPU of one session while in the activity, and its 95 % interval. [core s/s] The log's own
        cores, not the reference core's.
    base_cores, base_low_cores, base_high_cores : float
        What the host uses without sessions, likewise. [core s/s]
    held_at_zero : tuple of str
        Activities whose demand would be negative if it might.
    r2 : float
        Share of the variance of the total that the counts explain. [-]
    condition : float
        Condition number of the counts and the base, each scaled to length one. [-] From about
        30 on, some of the demands cannot be told apart.
    fitted_cores, residual_cores : array of shape (rows,)
        The total as explained, and what is left. [core s/s] NaN where a row was not used.
    residual_sd_cores : float
        Spread of what is left. [core s/s]
    independent_rows : float
        So many independent readings would say as much of the level. [rows]
    rows_used : int
        Rows that were complete. [rows]
    warnings : tuple of str
        What to mind, in sentences.
    """

    names: tuple[str, ...]
    demand_cores: FloatArray
    low_cores: FloatArray
    high_cores: FloatArray
    base_cores: float
    base_low_cores: float
    base_high_cores: float
    held_at_zero: tuple[str, ...]
    r2: float
    condition: float
    fitted_cores: FloatArray
    residual_cores: FloatArray
    residual_sd_cores: float
    independent_rows: float
    rows_used: int
    warnings: tuple[str, ...]


def estimate_demands(
    host_cores: npt.ArrayLike,
    counts: npt.ArrayLike,
    names: Sequence[str],
    interval_s: float,
    base_cores: float | None = None,
    limit_cores: float | None = None,
) -> Demands:
    """Return what one session asks of the CPU in each activity.

    Parameters
    ----------
    host_cores : array of shape (rows,)
        CPU of the whole host, evenly spaced in time; NaN where missing. [core s/s]
    counts : array of shape (rows, activities)
        Sessions in each activity at the same times; NaN where missing. [sessions]
    names : sequence of str
        The activities' names.
    interval_s : float, above 0
        Time from one row to the next. [s]
    base_cores : float, 0 or more, or None
        What the host uses without sessions, where that is known; None finds it too. [core s/s]
    limit_cores : float, above 0, or None
        The most the host can show, to warn of rows at its limit; None does not look. [core s/s]

    Returns
    -------
    Demands
        An activity that never occurs is left out, with a warning.

    Raises
    ------
    MeasurementError
        For arrays that do not fit together, too few complete rows, no activity that occurs, or
        counts one of which follows exactly from the others.

    Notes
    -----
    The utilisation law: the host's mean use is the sum over the activities of sessions times
    demand. It holds below saturation; work that a full host postpones or drops is not in the
    total. Intervals are those of the fit without the bound, cut at 0, which keeps their
    coverage, and stretched to hold the estimate. Rows that follow each other resemble each
    other, so the variance is the larger of two: of residuals taken as an autoregression that
    knows nothing of the counts, and of the products of counts and residuals, prewhitened and
    weighted by a triangle with fixed-b limits, which allows noise to grow with the load. Missing
    rows are taken out as if time stood still. In simulated logs of 900 and 3,600 rows intervals
    hold the truth in 92 to 98 %, with bursts of a minute in a quarter of an hour in 87 to 91 %.
    A drift of the level that the counts do not explain is not covered: it is warned of.

    Source
    ------
    P. J. Denning and J. P. Buzen, "The operational analysis of queueing network models", ACM
    Computing Surveys 10(3), 1978, 225-261, doi:10.1145/356733.356735 (utilisation law);
    D. W. K. Andrews and J. C. Monahan, Econometrica 60(4), 1992, 953-966, doi:10.2307/2951574
    (prewhitening); N. M. Kiefer and T. J. Vogelsang, Econometric Theory 21(6), 2005, 1130-1164,
    doi:10.1017/S0266466605050565 (fixed-b limits).
    """
    total, sessions, named = _checked(host_cores, counts, names, interval_s)
    if base_cores is not None:
        check_at_least("base_cores", base_cores, 0, unit="cores")
    if limit_cores is not None:
        check_above("limit_cores", limit_cores, 0, unit="cores")
    complete = np.isfinite(total) & np.isfinite(sessions).all(axis=1)
    occurs = np.atleast_1d((sessions[complete] > 0).any(axis=0))
    warnings = [
        f'"{name}" never occurs in the counts: nothing can be said of it.'
        for name, seen in zip(named, occurs.tolist(), strict=True)
        if not seen
    ]
    kept = [name for name, seen in zip(named, occurs.tolist(), strict=True) if seen]
    rows = int(complete.sum())
    columns = sessions[complete][:, occurs]
    if base_cores is None:
        columns = np.column_stack([np.ones(rows), columns])
    unknowns = ["the base", *kept] if base_cores is None else kept
    fewest = max(FEWEST_ROWS, _ROWS_PER_NUMBER * len(unknowns))
    if not kept:
        raise MeasurementError("counts", 0, "at least one activity that occurs")
    if rows < fewest:
        raise MeasurementError("rows", rows, f"at least {fewest} rows in which nothing is missing")
    _refuse_dependent(columns, unknowns)

    values = total[complete] - (base_cores or 0.0)
    plain = least_squares(columns, values)
    factors = nonnegative_least_squares(columns, values)
    half, independent, trend = _half_widths(columns, plain.residuals)
    low = np.minimum(np.maximum(plain.coefficients - half, 0), factors)
    high = np.maximum(np.maximum(plain.coefficients + half, 0), factors)
    held = (factors == 0) & (plain.coefficients < 0)

    residual = values - columns @ factors
    spread = float(((values - values.mean()) ** 2).sum())
    r2 = 1 - float(residual @ residual) / spread if spread > 0 else 0.0
    scaled = columns / np.sqrt((columns**2).sum(axis=0))
    warnings += _warn_alike(columns, unknowns, base_cores is None)
    for at in np.flatnonzero(held):
        factor = float(plain.coefficients[at])
        warnings.append(_held_sentence(unknowns[at], factor, factor + float(half[at])))
    if spread == 0:
        warnings.append("The host's total never changes: the counts have nothing to explain.")
    elif r2 < 0.5:
        warnings.append(
            f"The counts explain only {max(r2, 0) * 100:.0f} % of how the host's total varies: "
            "something else uses the CPU, or the counts belong to other times."
        )
    if abs(trend) > _STEEP:
        direction = "rises" if trend > 0 else "falls"
        warnings.append(
            f"What the counts do not explain {direction} through the log: the intervals are too "
            "narrow until its cause is found or the log is cut into shorter ones."
        )
    if independent < _FEW_INDEPENDENT:
        warnings.append(
            f"Neighbouring rows are so alike that {rows:,} of them say as much as about "
            f"{max(independent, 1):.0f} independent ones: take the intervals as rough, and measure "
            "for longer."
        )
    if limit_cores is not None:
        full = float((total[complete] >= 0.97 * limit_cores).mean())
        if full > 0:
            warnings.append(
                f"In {max(full * 100, 0.1):.1f} % of the rows the host is at its limit: work "
                "waited or was dropped there, and the demands come out too small."
            )
    fitted_all, residual_all = np.full(len(total), np.nan), np.full(len(total), np.nan)
    fitted_all[complete] = total[complete] - residual
    residual_all[complete] = residual
    first = 1 if base_cores is None else 0
    known = base_cores or 0.0
    return Demands(
        names=tuple(kept),
        demand_cores=factors[first:],
        low_cores=low[first:],
        high_cores=high[first:],
        base_cores=float(factors[0]) if first else known,
        base_low_cores=float(low[0]) if first else known,
        base_high_cores=float(high[0]) if first else known,
        held_at_zero=tuple(unknowns[at] for at in np.flatnonzero(held)),
        r2=r2,
        condition=float(np.linalg.cond(scaled)),
        fitted_cores=fitted_all,
        residual_cores=residual_all,
        residual_sd_cores=float(np.sqrt(residual @ residual / (rows - len(unknowns)))),
        independent_rows=independent,
        rows_used=rows,
        warnings=tuple(warnings),
    )


def _checked(
    host_cores: npt.ArrayLike, counts: npt.ArrayLike, names: Sequence[str], interval_s: float
) -> tuple[FloatArray, FloatArray, list[str]]:
    check_above("interval_s", interval_s, 0, unit="s")
    total = np.asarray(host_cores, dtype=float)
    sessions = np.asarray(counts, dtype=float)
    if total.ndim != 1:
        raise MeasurementError("host_cores", f"{total.ndim} dimensions", "one value for each row")
    if sessions.ndim != 2 or sessions.shape != (len(total), len(names)):
        expected = f"{len(total)} rows of {len(names)} counts, one for each name"
        raise MeasurementError("counts", f"an array of shape {sessions.shape}", expected)
    if len(set(names)) < len(names):
        raise MeasurementError("names", ", ".join(names), "each name once")
    if np.isinf(total).any() or np.nanmin(total, initial=0) < 0:
        raise MeasurementError("host_cores", "negative or infinite", "cores of 0 or more")
    if np.isinf(sessions).any() or np.nanmin(sessions, initial=0) < 0:
        raise MeasurementError("counts", "negative or infinite", "sessions, 0 or more")
    return total, sessions, list(names)


def _refuse_dependent(columns: FloatArray, unknowns: list[str]) -> None:
    """Refuse counts of which one is a sum of others, and say which."""
    scaled = columns / np.sqrt((columns**2).sum(axis=0))
    _, singular, right = np.linalg.svd(np.linalg.qr(scaled, mode="r"))
    if singular[-1] > 1e-9 * singular[0]:
        return
    part = np.abs(right[-1])
    involved = [name for name, share in zip(unknowns, part, strict=True) if share > 1e-6]
    shown = ", ".join(involved[:6])
    if "the base" in involved:
        cure = (
            "a total that changes: as many people were there all the time, so give base_cores, "
            "what the host uses without anyone, or leave one activity out"
        )
    else:
        cure = "counts that change independently: join these activities to one"
    raise MeasurementError("counts", f"always in step: {shown}", cure)


def _warn_alike(columns: FloatArray, unknowns: list[str], with_base: bool) -> list[str]:
    """Say which demands can hardly be told apart."""
    warnings = []
    if with_base:
        counts, names = columns[:, 1:], unknowns[1:]
        level = counts.mean(axis=0)
        second_moments = counts.T @ counts / len(counts)
        imitated = float(level @ np.linalg.lstsq(second_moments, level, rcond=None)[0])
        if imitated > _CONSTANT_SHARE:
            warnings.append(
                "The number of people hardly changes, so what they use can hardly be told from "
                "what the host uses without them: give base_cores, or measure an evening too."
            )
    else:
        counts, names = columns, unknowns
    spread = counts.std(axis=0)
    for name, each in zip(names, spread, strict=True):
        if each == 0:
            warnings.append(f'The count of "{name}" never changes.')
    varying = np.flatnonzero(spread > 0)
    if len(varying) < 2:
        return warnings
    correlation: FloatArray = np.asarray(np.corrcoef(counts[:, varying].T))
    inflation = np.diag(np.linalg.pinv(correlation, hermitian=True))
    told: set[frozenset[int]] = set()
    for at in np.flatnonzero(inflation > _ALIKE):
        others = np.abs(correlation[at])
        others[at] = -1
        partner = int(np.argmax(others))
        pair = frozenset((int(at), partner))
        if pair in told:
            continue
        told.add(pair)
        one, other = names[varying[at]], names[varying[partner]]
        value = float(correlation[at, partner])
        if value > 0.8:
            warnings.append(
                f'"{one}" and "{other}" rise and fall together (correlation {value:.2f}): trust '
                "the sum of their demands, not each alone."
            )
        elif value < -0.8:
            warnings.append(
                f'"{one}" falls when "{other}" rises (correlation {value:.2f}): trust the '
                "difference of their demands, not each alone."
            )
        else:
            warnings.append(
                f'The count of "{one}" nearly follows from the other counts: its demand can '
                "hardly be told from theirs."
            )
    return warnings


def _held_sentence(name: str, factor: float, above: float) -> str:
    subject = name if name == "the base" else f'"{name}"'
    start = f"{subject[0].upper()}{subject[1:]} is held at 0 (without the bound {factor:.3g} cores)"
    if above < 0:
        return f"{start}, and chance does not explain it: its count may stand for something else."
    return f"{start}, which chance explains."


# ------------------------------------------------------------------------- variance in time


def _half_widths(columns: FloatArray, residuals: FloatArray) -> tuple[FloatArray, float, float]:
    """Half widths of 95 % intervals, independent rows, and the trend in standard errors."""
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
