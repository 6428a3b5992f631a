"""Does the model say of this host what was measured on it?

`compare` holds the predicted distribution of the host's CPU against readings: quantile by
quantile, by the distance between the two, and at the p50, p95 and p99, with intervals that mind
how alike neighbouring readings are. The verdict is a sentence.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from model.errors import MeasurementError, check_above, check_within
from model.evidence.autocorrelation import andrews_lag, effective_sample_size
from model.evidence.prediction import Counted, Distribution, predicted_for, predicted_series
from model.evidence.record import FloatArray
from model.evidence.student import t_quantile
from model.hosts import kinds
from model.scenario import Scenario

Verdict = Literal["trust", "undecided", "distrust"]

LEVELS = (0.50, 0.95, 0.99)
LEVEL_NOTE = (
    "The larger of two chances: that the measured log, put among logs which the model simulates "
    "for the same people, lies as far from the others; and that whole stretches of time, exchanged "
    "between measured and simulated logs, do. Where model and host agree, it falls below 5 % in "
    "no more than about 5 % of logs."
)
SIMULATED = 59  # our choice: simulated logs; the smallest chance is one in sixty
_EXCHANGED = 4  # our choice: simulated logs whose stretches are exchanged with measured ones
_ROWS_COMPARED = 4_000  # our choice: of a longer log, every n-th row is simulated
RESAMPLES = 999
TOLERANCE_PCT = 10.0  # our choice: what a host's answer may be out by and still serve a plan
_BINS = 1_000
_MOST_BLOCKS, _FEWEST_BLOCKS = 200, 8
_MEMORIES = 5  # our choice: a stretch lasts at least so many times as long as readings stay alike
_FEWEST_ROWS = 30
_FEWEST_SERIES = 19
_FULL = 0.97  # our choice: of what the host can show
_LONG = 20  # our choice: readings are followed at least over a twentieth of the log
_QQ_LEVELS = np.concatenate(
    [[0.001, 0.005], np.arange(0.01, 0.995, 0.01), [0.995, 0.999]]
)  # fmt: skip


@dataclass(frozen=True)
class QuantileDifference:
    """One quantile, measured and predicted.

    Parameters
    ----------
    level : float
        Which quantile: 0.95 for the p95. [-]
    measured_cores, predicted_cores : float
        The quantile. [cores]
    difference_cores, low_cores, high_cores : float
        Measured less predicted, and its 95 % interval. [cores]
    """

    level: float
    measured_cores: float
    predicted_cores: float
    difference_cores: float
    low_cores: float
    high_cores: float

    @property
    def in_pct(self) -> tuple[float, float, float]:
        """Difference, low and high, of what is predicted. [%]"""
        by = 100 / max(self.predicted_cores, 1e-9)
        return self.difference_cores * by, self.low_cores * by, self.high_cores * by


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
    A log is a single draw: who happens to be there stays for hours. So the intervals take the
    larger of two spreads, and the chance is the larger of two. One is that of whole simulated
    logs, among which the measured one is put (a Monte Carlo test). The other needs nothing of the
    model's course in time: the log is cut into stretches several times as long as the difference
    between measured and simulated readings stays alike. For the intervals, stretches are drawn
    with replacement, the same ones from both, so that the course of the day cancels; for the
    chance, each stretch of the measured log is exchanged for one of the simulated ones at random.
    Where there are fewer than eight stretches, simulated logs alone must do, with a warning.
    Exchanges work on counts in 1,000 bins. Quantiles of the readings follow numpy's default rule.

    Source
    ------
    L. V. Kantorovich and G. S. Rubinstein, 1958; in one dimension: S. S. Vallender, Theory of
    Probability and Its Applications 18(4), 1974, 784-786, doi:10.1137/1118101 (distance as an
    area); G. A. Barnard, Journal of the Royal Statistical Society B 25(2), 1963, 294 (Monte Carlo
    test); H. R. Kuensch, Annals of Statistics 17(3), 1989, 1217-1241,
    doi:10.1214/aos/1176347265 (stretches).
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

    warnings: list[str] = []
    logs = np.vstack([thin, simulated])
    chance = _chance_among(_histograms(logs, 1)[0][:, 0])
    spread = np.quantile(simulated, LEVELS, axis=1).std(axis=1, ddof=1)
    spread = spread * np.sqrt(1 + 1 / len(simulated))
    half: FloatArray = (t_quantile(0.975, len(simulated) - 1) * spread).astype(float)
    blocks = _blocks(thin - simulated.mean(axis=0), warnings)
    if blocks >= _FEWEST_BLOCKS:
        rng = np.random.default_rng(seed)
        counts, centres = _histograms(logs[: _EXCHANGED + 1], blocks)
        chance = max(chance, _chance_of_exchange(counts, resamples, rng))
        by_blocks = _spread(counts, centres, resamples, rng)
        half = np.maximum(half, t_quantile(0.975, blocks - 1) * by_blocks)
    differences = []
    expected_cores = predicted.quantile(LEVELS)
    for level, one, other, by in zip(
        LEVELS, np.quantile(measured, LEVELS).tolist(), expected_cores.tolist(), half.tolist(),
        strict=True,
    ):  # fmt: skip
        gap = one - other
        differences.append(QuantileDifference(level, one, other, gap, gap - by, gap + by))
    told = [each for each in differences if not _at_limit(each, limit_cores)]
    if len(told) < len(differences):
        warnings.append(
            "A full host shows no more CPU however much is asked of it: where both the log and the "
            "prediction are at the limit, their agreement says nothing."
        )
    verdict, sentence = _verdict(told, tolerance_pct)
    return Comparison(
        predicted_quantiles_cores=predicted.quantile(_QQ_LEVELS),
        measured_quantiles_cores=np.quantile(measured, _QQ_LEVELS),
        levels=_QQ_LEVELS,
        distance_cores=_distance_to(predicted, measured),
        mean_difference_cores=float(measured.mean()) - predicted.mean_cores,
        chance=chance,
        level_note=LEVEL_NOTE,
        quantiles=tuple(differences),
        rows_used=rows,
        blocks=blocks,
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
    counts: FloatArray, centres: FloatArray, resamples: int, rng: np.random.Generator
) -> FloatArray:
    """Standard error of measured less simulated quantiles."""
    blocks = counts.shape[1]
    times = rng.multinomial(blocks, np.full(blocks, 1 / blocks), resamples).astype(float)
    measured, simulated = (
        _binned_quantiles(times @ of, centres) for of in (counts[0], counts[1:].sum(axis=0))
    )
    few = np.sqrt(blocks / (blocks - 1))
    spread: FloatArray = (measured - simulated).std(axis=0) * few
    return spread


def _binned_quantiles(counts: FloatArray, centres: FloatArray) -> FloatArray:
    cumulative = np.cumsum(counts, axis=1)
    cumulative /= cumulative[:, -1:]
    at = [np.minimum((cumulative < level).sum(axis=1), len(centres) - 1) for level in LEVELS]
    found: FloatArray = centres[np.array(at).T]
    return found


def _at_limit(difference: QuantileDifference, limit_cores: float | None) -> bool:
    lower = min(difference.measured_cores, difference.predicted_cores)
    return limit_cores is not None and lower >= _FULL * limit_cores


def _verdict(differences: list[QuantileDifference], tolerance_pct: float) -> tuple[Verdict, str]:
    if not differences:
        return "undecided", (
            "This log cannot tell whether the model may be trusted for this host, which was at its "
            "limit all the time: measure with fewer people."
        )
    outside = [
        each
        for each in differences
        if each.in_pct[1] > tolerance_pct or each.in_pct[2] < -tolerance_pct
    ]
    if outside:
        worst = max(outside, key=lambda each: abs(each.in_pct[0]))
        gap, low, high = worst.in_pct
        side = "above" if gap > 0 else "below"
        near, far = sorted((abs(low), abs(high)))
        return "distrust", (
            f"Do not trust the model for this host yet: the measured p{worst.level * 100:g} lies "
            f"{abs(gap):.0f} % {side} the predicted one (95 % interval {near:.0f} to {far:.0f} %), "
            f"more than the {tolerance_pct:g} % allowed. Measure what the activities cost here."
        )
    plural = "s" if len(differences) == 1 else ""
    each_name = [f"p{each.level * 100:g}" for each in differences]
    names = " and ".join(part for part in (", ".join(each_name[:-1]), each_name[-1]) if part)
    widest = max(max(abs(each.in_pct[1]), abs(each.in_pct[2])) for each in differences)
    if widest <= tolerance_pct:
        return "trust", (
            f"The model may be trusted for this host: {names} of the CPU lie{plural} within "
            f"{max(widest, 1):.0f} % of the prediction, the intervals included."
        )
    far_off = max(abs(each.in_pct[0]) for each in differences)
    return "undecided", (
        f"The log cannot tell yet: {names} lie{plural} up to {far_off:.0f} % from the prediction, "
        f"but with their intervals up to {widest:.0f} %, where {tolerance_pct:g} % is allowed. "
        "Measure for longer."
    )
