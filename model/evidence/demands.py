"""What does one session ask of the CPU in each activity, if only the host's total is known?

`estimate_demands` takes host totals and counts of who did what, and finds the demands, none of
them negative, that explain the totals best, with their intervals and with what to mind.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from model.errors import MeasurementError, check_above, check_at_least
from model.evidence.demand_cautions import (
    cautions_of_bound,
    cautions_of_counts,
    cautions_of_fit,
    cautions_of_limit,
    refuse_dependent,
)
from model.evidence.demand_intervals import half_widths
from model.evidence.least_squares import least_squares, nonnegative_least_squares
from model.evidence.record import FloatArray

FEWEST_ROWS = 20  # our choice: below, no interval means anything
_ROWS_PER_NUMBER = 3  # our choice, likewise


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
    other, which `model.evidence.demand_intervals` minds; missing rows are taken out as if time
    stood still. In simulated logs of 900 and 3,600 rows intervals hold the truth in 92 to 98 %,
    with bursts of a minute in a quarter of an hour in 87 to 91 %. A drift of the level that the
    counts do not explain is not covered: it is warned of.

    Source
    ------
    P. J. Denning and J. P. Buzen, "The operational analysis of queueing network models", ACM
    Computing Surveys 10(3), 1978, 225-261, doi:10.1145/356733.356735 (utilisation law).
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
    refuse_dependent(columns, unknowns)

    values = total[complete] - (base_cores or 0.0)
    plain = least_squares(columns, values)
    factors = nonnegative_least_squares(columns, values)
    half, independent, trend = half_widths(columns, plain.residuals)
    low = np.minimum(np.maximum(plain.coefficients - half, 0), factors)
    high = np.maximum(np.maximum(plain.coefficients + half, 0), factors)
    held = (factors == 0) & (plain.coefficients < 0)

    residual = values - columns @ factors
    spread = float(((values - values.mean()) ** 2).sum())
    r2 = 1 - float(residual @ residual) / spread if spread > 0 else 0.0
    scaled = columns / np.sqrt((columns**2).sum(axis=0))
    warnings += cautions_of_counts(columns, unknowns, base_cores is None)
    warnings += cautions_of_bound(unknowns, held, plain.coefficients, half)
    warnings += cautions_of_fit(rows, spread > 0, r2, independent, trend)
    if limit_cores is not None:
        warnings += cautions_of_limit(total[complete], limit_cores)
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
