"""How long does a burst take when each source starts one per period, or late if it must?

Frames of a display and bursts of an application are paced: the next one starts a period after
the last one started, or as soon as that one is done, whichever is later. `paced_station` solves
this for sources of several classes; `pooled_stations` solves many stations at once, fast, with
all classes pooled into one law of the number runnable.
"""

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import numpy.typing as npt

from model.contention import StationResult, closed_station
from model.defaults import BURST_PHASES
from model.errors import InputError

FloatArray = npt.NDArray[np.float64]

_MOST_PHASES = 100
_MOST_ROUNDS = 400
_SETTLED = 1e-10


def pause_s(period_s: Any, response_s: Any, burst_phases: int | None = BURST_PHASES) -> Any:
    """Return the mean time from the end of a burst to the start of the next.

    Parameters
    ----------
    period_s : float or array, above 0
        Time from start to start if nothing is late. [s]
    response_s : float or array, 0 or more
        Mean time from the start of a burst to its end. [s]
    burst_phases : int from 1 to 100, or None
        Evenness of the response: an Erlang law of so many phases, whose coefficient of
        variation is 1 / sqrt(burst_phases); None for constant responses. [phases]

    Returns
    -------
    float or array
        E[(T - R)+]. [s] All of the period without response; nearly 0 far beyond it.

    Source
    ------
    Our own closure; the partial expectation of an Erlang law is standard calculus.
    """
    period = np.asarray(period_s, dtype=float)
    response = np.asarray(response_s, dtype=float)
    if burst_phases is None:
        return np.maximum(period - response, 0)
    with np.errstate(divide="ignore", over="ignore"):
        x = np.minimum(burst_phases * period / np.maximum(response, 1e-300), 700.0)
    done, one_phase_more = _erlang_tails(x, burst_phases)
    pause = period * (1 - done) - response * (1 - one_phase_more)
    return np.clip(pause, 0, period)


def paced_station(
    sources: npt.ArrayLike,
    service_s: npt.ArrayLike,
    period_s: npt.ArrayLike,
    capacity: npt.ArrayLike,
    burst_phases: int | None = BURST_PHASES,
) -> StationResult:
    """Return response time, delivered rate and queue of paced sources that share a CPU.

    Parameters
    ----------
    sources : array of shape (classes,), whole numbers
        Number of sources of each class. [sources]
    service_s : array of shape (classes,), 0 or more
        Mean work of one burst. [core·s at reference speed]
    period_s : array of shape (classes,), above 0
        Time from start to start if nothing is late. [s]
    capacity : array of shape (2 or more,), entry 0 is 0
        Work delivered per second while 0, 1, 2, ... sources are runnable. [reference-core s/s]
    burst_phases : int from 1 to 100, or None
        Evenness of the work from burst to burst, see `pause_s`. [phases]

    Returns
    -------
    StationResult
        As of `closed_station`; the throughput is the rate that is really delivered.

    Raises
    ------
    InputError
        For the first argument that will not do.

    Notes
    -----
    The think time of each class is E[(T - R)+] at its own response, found as a fixed point
    with the exact station. With constant bursts (None) that is max(T - R, 0): it holds for
    bursts that hardly vary, and overstates the queue of an overloaded host by tens of per
    cent where they do, because a source then pauses at times although its mean response
    exceeds its period. Sources that move in step are outside the model.

    Source
    ------
    The exact station: Baskett, Chandy, Muntz, Palacios 1975, see `closed_station`. The
    closure is our own, checked against an event simulation.
    """
    _check_phases(burst_phases)
    count = np.asarray(sources)
    service = np.asarray(service_s, dtype=float)
    period = np.asarray(period_s, dtype=float)
    if period.shape != count.shape or service.shape != count.shape:
        raise InputError("period_s", f"{period.size} entries", f"{count.size}, one for each class")
    for index, value in enumerate(period):
        if not (np.isfinite(value) and value > 0):
            raise InputError(f"period_s[{index}]", float(value), "a number above 0 s")

    result = closed_station(count, service, period, capacity)
    response = result.response_s
    damping = 0.5
    last = np.inf
    for _ in range(_MOST_ROUNDS):
        think = np.maximum(pause_s(period, response, burst_phases), 1e-9 * period)
        result = closed_station(count, service, think, capacity)
        with np.errstate(divide="ignore", invalid="ignore"):
            step = np.where(response > 0, np.log(result.response_s / response), 0.0)
        change = float(np.abs(step).max(initial=0.0))
        if change < _SETTLED:
            break
        damping = min(damping * 1.1, 0.9) if change < last else max(damping * 0.6, 0.02)
        last = change
        response = response * np.exp(damping * step)
    return result


@dataclass(frozen=True, eq=False)
class PooledStations:
    """What sources get at each of many stations.

    Parameters
    ----------
    response_per_work : array of shape (stations, classes)
        Time that one core-second of work of the class takes. [s per reference-core s]
    mean_runnable : array of shape (stations,)
        Mean number of runnable sources. [sources]
    mean_waiting : array of shape (stations,)
        Mean number of runnable sources beyond the hardware threads. [sources]
    """

    response_per_work: FloatArray
    mean_runnable: FloatArray
    mean_waiting: FloatArray


def delivered_share(load: Any, burst_phases: int = BURST_PHASES) -> Any:
    """Return the share of wanted bursts or frames that a paced source delivers.

    Parameters
    ----------
    load : float or array, 0 or more
        Mean response over period. [-]
    burst_phases : int from 1 to 100
        Evenness of the work, see `pause_s`. [phases]

    Returns
    -------
    float or array
        T / E[max(T, R)]. [-] 1 without load.
    """
    load = np.asarray(load, dtype=float)
    return 1 / (load + pause_s(1.0, load, burst_phases))


def pooled_stations(
    sources: FloatArray,
    utilisation: FloatArray,
    capacity: FloatArray,
    threads: int,
    burst_phases: int = BURST_PHASES,
) -> PooledStations:
    """Return what paced sources get at many stations of one host, all classes pooled.

    Parameters
    ----------
    sources : array of shape (stations, classes), 0 or more, fractions allowed
        Sources of each class at each station. [sources]
    utilisation : array of shape (classes,), 0 or more
        Work per period of the class. [reference-core s/s]
    capacity : array of shape (2 or more,), entry 0 is 0
        Work delivered per second while 0, 1, 2, ... sources run. [reference-core s/s]
    threads : int, 1 or more
        Hardware threads; runnable sources beyond them wait. [threads]
    burst_phases : int from 1 to 100
        Evenness of the work, see `pause_s`. [phases]

    Returns
    -------
    PooledStations
        A station without sources has the response of a single burst and no wait.

    Notes
    -----
    All classes are slowed alike, R_k = s S_k; class k is then runnable a share q_k of the
    time. The number runnable without contention is a sum of independent trials with chances
    q_k; it is replaced by a shifted binomial with the same mean, variance and third moment
    (always possible: the shift counts the sources that never pause). Weighted as in the exact
    station, with the common odds factor 1/s taken out, its mean must stay the sum of q_k:
    one equation for s, solved by Newton's method within its bounds. For a single class the
    result is that of `paced_station`.

    Source
    ------
    Our own; the weights are those of Baskett, Chandy, Muntz, Palacios 1975.
    """
    busy = utilisation > 0
    number, work = sources[:, busy], utilisation[busy]
    response = np.full(sources.shape, 1 / capacity[1])
    runnable, waiting = np.zeros(len(sources)), np.zeros(len(sources))
    law = _PooledLaw(capacity, threads)
    for part in np.array_split(np.argsort(number @ work, kind="stable"), _PARTS):
        if part.size:
            response[np.ix_(part, busy)], runnable[part], waiting[part] = _solved(
                number[part], work, capacity, law, burst_phases
            )
    return PooledStations(response, runnable, waiting)


def _solved(
    sources: FloatArray,
    utilisation: FloatArray,
    capacity: FloatArray,
    law: "_PooledLaw",
    burst_phases: int,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Response per work, mean runnable and mean waiting at stations of about the same load."""
    total = sources.sum(axis=1)
    at_least_one = np.maximum(total, 1)
    all_at_once = np.interp(at_least_one, np.arange(len(capacity)), capacity)
    fastest, slowest = np.log(1 / capacity[1]), np.log(at_least_one / all_at_once)
    low, high = np.full_like(total, fastest), np.maximum(slowest, fastest) + 1e-9
    offered = sources @ utilisation
    log_s = np.clip(
        np.log(1 / capacity[1]) + np.maximum(np.log(offered / capacity[-1] + 1e-300), 0) * 1.5,
        low,
        high,
    )
    own = np.zeros_like(log_s)
    runnable = np.zeros((len(log_s), len(utilisation)))
    chance = np.zeros_like(log_s)
    left = np.arange(len(log_s))  # the stations that have not settled
    moments = _moments(sources, utilisation, log_s, own, burst_phases)
    for _ in range(_MOST_NEWTON_STEPS):
        excess, spread, steepness = law.under_contention(moments, log_s[left])
        low[left] = np.where(excess > 0, log_s[left], low[left])
        high[left] = np.where(excess > 0, high[left], log_s[left])
        ratio = spread / moments.variance
        slope = ratio * (moments.slope / moments.variance - 1) - moments.slope / moments.variance
        step = np.clip(-excess / np.minimum(slope, -1e-6), -1.0, 1.0)
        proposed = log_s[left] + step
        outside = (proposed <= low[left]) | (proposed >= high[left])
        proposed = np.where(outside, (low[left] + high[left]) / 2, proposed)
        moving = np.abs(proposed - log_s[left]) > _POOLED_SETTLED
        log_s[left] = proposed
        own[left] = steepness * ratio
        runnable[left], chance[left] = moments.runnable, moments.chance
        left = left[moving]
        if not left.size:
            break
        moments = _moments(
            sources[left], utilisation, log_s[left], own[left], burst_phases,
            runnable[left] - chance[left][:, None],
        )  # fmt: skip
    moments = _moments(sources, utilisation, log_s, own, burst_phases, runnable - chance[:, None])
    return moments.response_per_work, moments.mean, law.waiting(moments, log_s)


_PARTS = 4  # stations of like load are solved together: the busiest need the widest laws
_MOST_NEWTON_STEPS = 40
_POOLED_SETTLED = 1e-3
_LEAST_VARIANCE = 1e-30
_FAR = 12.0  # standard deviations beyond which no source is ever seen waiting


@dataclass(frozen=True, eq=False)
class _Moments:
    """Mean, variance and third moment of the number runnable, and the mean's slope in log s."""

    mean: FloatArray
    variance: FloatArray
    slope: FloatArray
    chance: FloatArray  # of the shifted binomial
    pausing: FloatArray  # one less the chance, which would lose its digits near 1
    trials: FloatArray
    shift: FloatArray
    runnable: FloatArray  # each class's share of time at the CPU, q_k
    response_per_work: FloatArray

    def of(self, stations: npt.NDArray[np.int64]) -> "_Moments":
        """Return those of some of the stations."""
        return _Moments(*(getattr(self, field.name)[stations] for field in fields(self)))


def _moments(
    sources: FloatArray,
    utilisation: FloatArray,
    log_s: FloatArray,
    own: FloatArray,
    phases: int,
    beyond_average: FloatArray | None = None,
) -> _Moments:
    response_per_work = np.exp(log_s)[:, None] * np.ones_like(utilisation)
    if beyond_average is not None:  # a source that runs more than others meets fewer of them
        response_per_work *= np.exp(-own[:, None] * beyond_average)
    load = utilisation * response_per_work
    with np.errstate(divide="ignore"):
        done, one_phase_more = _erlang_tails(np.minimum(phases / load, 700.0), phases)
    longest = np.maximum(load * one_phase_more + 1 - done, load)  # E[max(1, R / T)]
    q = np.minimum(load / longest, 1.0)
    rest = 1 - q
    mean = (sources * q).sum(axis=1)
    variance = (sources * q * rest).sum(axis=1) + _LEAST_VARIANCE
    once = (sources * q * rest * rest).sum(axis=1) + _LEAST_VARIANCE / 2
    slope = (sources * q * (1 - load * one_phase_more / longest)).sum(axis=1) + _LEAST_VARIANCE
    pausing = np.clip(once / variance, 1e-15, 1 - 1e-9)
    chance = 1 - pausing
    trials = variance / (chance * pausing)
    shift = np.maximum(mean - trials * chance, 0)
    return _Moments(mean, variance, slope, chance, pausing, trials, shift, q, response_per_work)


class _PooledLaw:
    """The law of the number runnable at many stations, weighted by contention."""

    def __init__(self, capacity: FloatArray, threads: int) -> None:
        self._step = np.append(capacity, capacity[-1])
        self._threads = threads
        number = np.arange(1, len(capacity) + 1)
        self._steepness = np.diff(np.log(number / np.append(capacity[1:], capacity[-1])))

    def under_contention(
        self, of: _Moments, log_s: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """How far contention moves the mean, in variances, and the weighted variance.

        Third, how steeply one more runnable source slows the others, in logarithms.
        """
        number, free, weighted, weight = self._laws(of, log_s)
        before = (free * number).sum(axis=1)
        mean = (weighted * number).sum(axis=1)
        spread = (weighted * (number - mean[:, None]) ** 2).sum(axis=1)
        steepness = (weighted[:, 1:-1] * np.diff(weight, axis=1)).sum(axis=1)
        return (mean - before) / of.variance, spread, steepness

    def waiting(self, of: _Moments, log_s: FloatArray) -> FloatArray:
        """Mean number runnable beyond the hardware threads."""
        waiting = np.zeros(len(log_s))
        some = np.flatnonzero(of.mean + _FAR * np.sqrt(of.variance) + 1 > self._threads)
        if some.size:
            number, _, weighted, _ = self._laws(of.of(some), log_s[some])
            waiting[some] = (weighted * np.maximum(number - self._threads, 0)).sum(axis=1)
        return waiting

    def _laws(
        self, of: _Moments, log_s: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        # Contention widens the law where one more source slows the others steeply.
        ahead = (of.mean + 4 * np.sqrt(of.variance)).astype(np.int64)
        beyond = len(self._steepness) - 1
        steepest = np.where(
            ahead >= beyond,
            1 / np.maximum(of.mean, self._threads),
            self._steepness[np.minimum(ahead, beyond)],
        )
        widened = of.variance / np.maximum(1 - of.variance * steepest, 0.1)
        half = np.ceil(6.5 * np.sqrt(widened) + 4)
        last = np.ceil(of.trials - 1e-9)
        first = np.floor(np.clip(of.trials * of.chance - half, 0, None))
        width = int(np.minimum(2 * half, last - first).max(initial=1.0)) + 1
        k = first[:, None] + np.arange(width)
        number = of.shift[:, None] + k
        left = np.maximum(of.trials[:, None] - k, 0)[:, :-1]
        odds = (of.chance / of.pausing)[:, None]
        whole = np.minimum(number[:, 1:], len(self._step) - 2)
        index = whole.astype(np.int64)
        below = self._step[index]
        capacity = below + (whole - index) * (self._step[index + 1] - below)
        with np.errstate(divide="ignore"):
            free = np.log(left * odds / (k[:, 1:]))
        weight = np.log(number[:, 1:] / capacity) - log_s[:, None]
        return number, _normal(free), _normal(free + weight), weight


def _normal(log_step: FloatArray) -> FloatArray:
    log_p = np.zeros((log_step.shape[0], log_step.shape[1] + 1))
    np.cumsum(log_step, axis=1, out=log_p[:, 1:])
    log_p -= log_p.max(axis=1, keepdims=True)
    p: FloatArray = np.exp(log_p)
    p /= p.sum(axis=1, keepdims=True)
    return p


def _erlang_tails(x: Any, phases: int) -> tuple[Any, Any]:
    """Chances that fewer than `phases`, and at most `phases`, Poisson events of mean x fall."""
    term = np.exp(-x)
    fewer = term.copy() if isinstance(term, np.ndarray) else term
    for i in range(1, phases):
        term = term * x / i
        fewer = fewer + term
    return fewer, fewer + term * x / phases


def _check_phases(burst_phases: int | None) -> None:
    if burst_phases is None:
        return
    whole = isinstance(burst_phases, int) and not isinstance(burst_phases, bool)
    if not (whole and 1 <= burst_phases <= _MOST_PHASES):
        raise InputError("burst_phases", burst_phases, f"a whole number from 1 to {_MOST_PHASES}")
