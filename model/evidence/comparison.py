"""Does the model say of this host what was measured on it?

`compare` holds the predicted distribution of the host's CPU against readings: quantile by
quantile, by the distance between the two, and at the p50, p95 and p99, with intervals that mind
how alike neighbouring readings are. The verdict is a sentence.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from model.errors import MeasurementError, check_above, check_within
from model.evidence.comparison_chance import chance_of
from model.evidence.comparison_verdict import (
    QuantileDifference,
    Verdict,
    below_limit,
    verdict_of,
)
from model.evidence.prediction import Counted, Distribution, predicted_for, predicted_series
from model.evidence.record import FloatArray
from model.hosts import kinds
from model.scenario import Scenario

LEVELS = (0.50, 0.95, 0.99)
LEVEL_NOTE = (
    "The larger of two chances: that the measured log, put among logs which the model simulates "
    "for the same people, lies as far from the others; and that whole stretches of time, exchanged "
    "between measured and simulated logs, do. Where model and host agree, it falls below 5 % in "
    "no more than about 5 % of logs."
)
SIMULATED = 59  # our choice: simulated logs; the smallest chance is one in sixty
_ROWS_COMPARED = 4_000  # our choice: of a longer log, every n-th row is simulated
RESAMPLES = 999
TOLERANCE_PCT = 10.0  # our choice: what a host's answer may be out by and still serve a plan
_FEWEST_ROWS = 30
_FEWEST_SERIES = 19
_QQ_LEVELS = np.concatenate(
    [[0.001, 0.005], np.arange(0.01, 0.995, 0.01), [0.995, 0.999]]
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Comparison:
    """What was predicted for a host beside what was measured on it.

    Parameters
    ----------
    predicted_quantiles_cores, measured_quantiles_cores : array of shape (points,)
        The same quantiles of both: a QQ plot shows one over the other. [cores]
    levels : array of shape (points,)
        Which quantiles. [-]
    distance_cores : float
        Wasserstein distance: how far the CPU would have to be moved, on average. [cores]
    mean_difference_cores : float
        Measured less predicted mean. [cores]
    chance : float
        How often a distance as large arises where model and host agree. [-]
    level_note : str
        How far `chance` may be believed.
    quantiles : tuple of QuantileDifference
        p50, p95 and p99.
    rows_used, blocks : int
        Readings, and stretches of time exchanged. [rows], [stretches]
    verdict : str
        "trust", "undecided" or "distrust".
    sentence : str
        The verdict in words.
    warnings : tuple of str
        What to mind.
    """

    predicted_quantiles_cores: FloatArray
    measured_quantiles_cores: FloatArray
    levels: FloatArray
    distance_cores: float
    mean_difference_cores: float
    chance: float
    level_note: str
    quantiles: tuple[QuantileDifference, ...]
    rows_used: int
    blocks: int
    verdict: Verdict
    sentence: str
    warnings: tuple[str, ...]


def compare(
    scenario: Scenario,
    arm: str,
    measured_cores: npt.ArrayLike,
    sessions_present: npt.ArrayLike,
    interval_s: float,
    counted: Counted = "threads",
    tolerance_pct: float = TOLERANCE_PCT,
    seed: int = 1,
) -> Comparison:
    """Return what the model predicts for a host beside what was measured on it.

    Parameters
    ----------
    scenario : Scenario
        The host and the habits of its people; its number of sessions and its day are not used.
    arm : str
        "software" or "offloaded": what was the case while the log was taken.
    measured_cores : array of shape (rows,)
        CPU of the whole host, evenly spaced; NaN where missing. [core s/s]
    sessions_present : array of shape (rows,)
        Sessions on the host at the same times; rounded to whole ones. [sessions] Rows where it is
        NaN are left out.
    interval_s : float, above 0
        Time from one row to the next. [s]
    counted : str
        What a "core" of the log is: "threads" of the hardware, or "cores".
    tolerance_pct : float, from 1 to 50
        By how much a quantile may be out and the model still be trusted. [%]
    seed : int
        Starts the simulated series and the exchanges. [-] The same seed gives the same answer.

    Returns
    -------
    Comparison
        The answer.

    Raises
    ------
    InputError
        For an unknown arm, arrays that do not fit together, too few or too many rows.
    """
    measured = np.asarray(measured_cores, dtype=float)
    present = np.asarray(sessions_present, dtype=float)
    if present.shape != measured.shape:
        expected = f"one number for each of the {measured.size} rows"
        raise MeasurementError("sessions_present", f"{present.size} numbers", expected)
    held = np.where(np.isfinite(present), present, 0.0)
    every = -(-len(held) // _ROWS_COMPARED)
    series = predicted_series(
        scenario, held[::every], interval_s * every, arm, counted, seed, SIMULATED
    )
    measured = np.where(np.isfinite(present), measured, np.nan)
    used = held[np.isfinite(measured)]
    if used.size == 0:
        raise MeasurementError("rows", 0, "rows with both the host's CPU and the sessions present")
    predicted = predicted_for(scenario, used, arm, counted)
    compared = compare_distribution(
        predicted,
        series,
        measured,
        every,
        limit_cores=float(scenario.host.threads if counted == "threads" else scenario.host.cores),
        tolerance_pct=tolerance_pct,
        seed=seed + 1,
    )
    of = kinds(scenario)
    dwell_s = np.array([activity.dwell_s for activity in scenario.activities])[of.activity]
    typical_s = 1 / float(of.chance @ (1 / dwell_s))
    notes = list(compared.warnings)
    if interval_s > typical_s / 2:
        notes.append(
            f"A row of the log is a mean over {interval_s:g} s, in which people change what they "
            "do: its peaks are flatter than the moments predicted. Compare with a finer log."
        )
    return Comparison(**{**vars(compared), "warnings": tuple(notes)})


def compare_distribution(
    predicted: Distribution,
    series_cores: npt.ArrayLike,
    measured_cores: npt.ArrayLike,
    every: int = 1,
    limit_cores: float | None = None,
    tolerance_pct: float = TOLERANCE_PCT,
    resamples: int = RESAMPLES,
    seed: int = 1,
) -> Comparison:
    """Return how far a measured distribution lies from a predicted one, and whether chance may.

    Parameters
    ----------
    predicted : Distribution
        What is predicted.
    series_cores : array of shape (19 series or more, rows simulated)
        The prediction as simulated logs, in the rows 0, `every`, 2 `every`, ... [core s/s]
    measured_cores : array of shape (rows,)
        What was measured; NaN where missing. [core s/s]
    every : int, 1 or more
        Every so many rows are simulated. [rows]
    limit_cores : float, above 0, or None
        The most that the host can show; quantiles at it say nothing. [cores] None has no limit.
    tolerance_pct : float, from 1 to 50
        By how much a quantile may be out and the model still be trusted. [%]
    resamples : int, 99 or more
        Exchanges, and draws for the intervals. [resamples]
    seed : int
        Starts them. [-]

    Returns
    -------
    Comparison
        The answer.

    Raises
    ------
    InputError
        For arrays that do not fit together, a tolerance out of range, or fewer than 30 readings.

    Notes
    -----
    A log is a single draw: who happens to be there stays for hours. So intervals and chance mind
    both how far whole simulated logs lie apart and how alike neighbouring readings are
    (`model.evidence.comparison_chance`). Quantiles of the readings follow numpy's default rule.

    Source
    ------
    L. V. Kantorovich and G. S. Rubinstein, 1958; in one dimension: S. S. Vallender, Theory of
    Probability and Its Applications 18(4), 1974, 784-786, doi:10.1137/1118101 (distance as an
    area).
    """
    check_within("every", every, 1, 1_000_000, unit="rows")
    check_within("tolerance_pct", tolerance_pct, 1, 50, unit="%")
    check_within("resamples", resamples, 99, 100_000)
    if limit_cores is not None:
        check_above("limit_cores", limit_cores, 0, unit="cores")
    measured = np.asarray(measured_cores, dtype=float)
    series = np.atleast_2d(np.asarray(series_cores, dtype=float))
    columns = -(-measured.size // every)
    if measured.ndim != 1 or len(series) < _FEWEST_SERIES or series.shape[1] != columns:
        expected = f"at least {_FEWEST_SERIES} series of {columns} rows"
        raise MeasurementError("series_cores", f"an array of shape {series.shape}", expected)
    if np.isinf(measured).any() or np.nanmin(measured, initial=0) < 0:
        raise MeasurementError("measured_cores", "negative or infinite", "cores of 0 or more")
    known = np.isfinite(measured)
    rows = int(known.sum())
    if rows < _FEWEST_ROWS:
        raise MeasurementError("rows", rows, f"at least {_FEWEST_ROWS} readings")
    simulated, thin = series[:, known[::every]], measured[::every][known[::every]]
    measured = measured[known]
    if len(thin) < _FEWEST_ROWS:
        raise MeasurementError("rows", len(thin), f"at least {_FEWEST_ROWS} readings compared")

    by_chance = chance_of(thin, simulated, LEVELS, resamples, seed)
    warnings = list(by_chance.warnings)
    differences = []
    expected_cores = predicted.quantile(LEVELS)
    for level, one, other, by in zip(
        LEVELS, np.quantile(measured, LEVELS).tolist(), expected_cores.tolist(),
        by_chance.half_width_cores.tolist(), strict=True,
    ):  # fmt: skip
        gap = one - other
        differences.append(QuantileDifference(level, one, other, gap, gap - by, gap + by))
    told = below_limit(differences, limit_cores)
    if len(told) < len(differences):
        warnings.append(
            "A full host shows no more CPU however much is asked of it: where both the log and the "
            "prediction are at the limit, their agreement says nothing."
        )
    verdict, sentence = verdict_of(told, tolerance_pct)
    return Comparison(
        predicted_quantiles_cores=predicted.quantile(_QQ_LEVELS),
        measured_quantiles_cores=np.quantile(measured, _QQ_LEVELS),
        levels=_QQ_LEVELS,
        distance_cores=_distance_to(predicted, measured),
        mean_difference_cores=float(measured.mean()) - predicted.mean_cores,
        chance=by_chance.chance,
        level_note=LEVEL_NOTE,
        quantiles=tuple(differences),
        rows_used=rows,
        blocks=by_chance.blocks,
        verdict=verdict,
        sentence=sentence,
        warnings=tuple(warnings),
    )


def wasserstein_distance(
    one: npt.ArrayLike,
    other: npt.ArrayLike,
    one_weights: npt.ArrayLike | None = None,
    other_weights: npt.ArrayLike | None = None,
) -> float:
    """Return how far values must be moved on average to turn one sample into the other.

    Parameters
    ----------
    one, other : array of any length above 0
        The samples. [one unit for both]
    one_weights, other_weights : array, 0 or more, or None
        Weight of each value; None weighs all alike. [-]

    Returns
    -------
    float
        The area between the two distribution functions. [the samples' unit]

    Source
    ------
    S. S. Vallender, Theory of Probability and Its Applications 18(4), 1974, 784-786,
    doi:10.1137/1118101.
    """
    first, second = np.asarray(one, dtype=float), np.asarray(other, dtype=float)
    first_w = np.ones(len(first)) if one_weights is None else np.asarray(one_weights, dtype=float)
    second_w = (
        np.ones(len(second)) if other_weights is None else np.asarray(other_weights, dtype=float)
    )
    values = np.concatenate([first, second])
    steps = np.concatenate([first_w / first_w.sum(), -second_w / second_w.sum()])
    order = np.argsort(values, kind="stable")
    gap = np.abs(np.cumsum(steps[order])[:-1])
    return float(gap @ np.diff(values[order]))


def _distance_to(predicted: Distribution, measured: FloatArray) -> float:
    weights = np.diff(predicted.cumulative, prepend=0.0)
    return wasserstein_distance(measured, predicted.values_cores, None, weights)
