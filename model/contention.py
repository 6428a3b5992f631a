"""How long does a burst take, and how many run at once, when sources share one host's CPU?

Each source alternates: it thinks, then asks for CPU. All that are runnable share equally
whatever the host delivers while so many of them run. `closed_station` answers exactly, for
sources of several classes and any delivered capacity.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from numbers import Real
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from model.errors import InputError
from model.laws import check_station

FloatArray = npt.NDArray[np.float64]

MOST_SOURCES = 1_000_000  # our choice: one host carries thousands, and a slip of the pen is caught
_SMALLEST, _LARGEST = 1e-30, 1e30  # times and capacities; products of a few stay in a float's range

# Shares are read off where they are above _READABLE of the largest. Those below _DROPPED are left
# out: far too small to be missed by anything readable, and not yet slow denormals.
_READABLE = 1e-100
_DROPPED = 1e-290
_NEGLIGIBLE_LOG = -600.0  # logarithm of a share, of the largest, that no result can show


@dataclass(frozen=True, eq=False)
class StationResult:
    """What the sources of one station get.

    Parameters
    ----------
    response_s : array of shape (classes,)
        Mean time from the start of a burst to its end. [s]
    throughput_hz : array of shape (classes,)
        Bursts completed per second by one source of the class. [1/s]
    queue_pmf : array of shape (all sources + 1,)
        Entry n is the share of time with exactly n runnable sources. [-] Sums to 1.
    delivered : float
        Mean work done per second. [reference-core s/s]
    largest_capacity : float
        The largest capacity that the station was given. [reference-core s/s]
    """

    response_s: FloatArray
    throughput_hz: FloatArray
    queue_pmf: FloatArray
    delivered: float
    largest_capacity: float

    @property
    def utilisation(self) -> float:
        """Work done, as a share of the largest capacity that the station was given. [-]"""
        return self.delivered / self.largest_capacity

    @property
    def mean_runnable(self) -> float:
        """Mean number of runnable sources. [sources]"""
        return float(np.arange(len(self.queue_pmf)) @ self.queue_pmf)


def closed_station(
    sources: npt.ArrayLike,
    service_s: npt.ArrayLike,
    think_s: npt.ArrayLike,
    capacity: npt.ArrayLike,
) -> StationResult:
    """Return response time, throughput and queue of sources that share one host's CPU.

    A fixed set of sources alternates between thinking and bursts of CPU work. The
    runnable ones share equally what the host delivers while so many of them run.

    Parameters
    ----------
    sources : array of shape (classes,), whole numbers, at most 1,000,000 in all
        Number of sources of each class. [sources]
    service_s : array of shape (classes,), 0 or from 1e-30 to 1e30
        Mean work of one burst. [core·s at reference speed]
    think_s : array of shape (classes,), 0 or from 1e-30 to 1e30
        Mean time from the end of a burst to the start of the next. [s]
    capacity : array of shape (2 or more,), entry 0 is 0, others from 1e-30 to 1e30
        Work delivered per second while 0, 1, 2, ... sources are runnable; it may rise or
        fall. Beyond its last entry it stays at that entry. [reference-core s/s]

    Returns
    -------
    StationResult
        Without sources the queue is always empty. A class without work (service 0) has
        response 0; one without think time is always runnable. A class without sources
        gets the response and throughput that one added source of it would see.

    Raises
    ------
    InputError
        For the first argument that will not do, an entry by its index: "service_s[2]".
        A class with neither work nor think time is refused: it would never stop.

    Notes
    -----
    With p = S / (S + Z), the number runnable has P(n) proportional to PB(n) w(n), where PB
    is the law of the number of successes in independent trials, one with chance p per
    source, and w(n) = n! / (capacity[1] ... capacity[n]). Given means of bursts and think
    times, no other property of their distributions matters to these results.

    It does not hold where some sources have priority or several threads, where capacity
    depends on which sources run, or where sources move in step: without any randomness
    the start decides for ever who meets whom.

    PB is formed by direct convolution. Before that all chances are tilted (odds times a
    common factor, taken back out of w), which moves its bulk to where the queue is; where
    one tilt does not reach, further ones follow. Only positive numbers are added: no result
    loses digits to cancellation. Time grows with the square of the number of sources, not
    with the number of combinations.

    Source
    ------
    F. Baskett, K. M. Chandy, R. R. Muntz and F. G. Palacios, "Open, closed, and mixed
    networks of queues with different classes of customers", J. ACM 22(2), 1975, 248-260,
    doi:10.1145/321879.321887: stations of types 2 (processor sharing) and 3 (think).
    """
    number, service, think, mu = _checked(sources, service_s, think_s, capacity)
    total = int(number.sum())
    largest_capacity = float(mu.max())
    mu = np.concatenate([mu, np.full(max(total + 2 - len(mu), 0), mu[-1])])[: total + 2]
    log_step = np.log(np.arange(1, total + 1) / mu[1 : total + 1])  # log of w(n) / w(n - 1)

    present = number > 0
    always = present & (think == 0)
    moving = present & (think > 0) & (service > 0)  # the rest of those present never run
    least = int(number[always].sum())
    most = least + int(number[moving].sum())

    with np.errstate(under="ignore"):  # what is too small to hold is too small to matter
        law = _queue_law(
            number[moving], np.log(service[moving] / think[moving]), log_step[least:most]
        )
    queue_pmf = np.zeros(total + 1)
    queue_pmf[least : most + 1] = law.pmf

    per_runnable = mu[1:] / np.arange(1, total + 2)  # what one of 1, 2, ... runnable sources gets
    response = service * (queue_pmf @ (1 / per_runnable))  # of one added source
    response[always] = service[always] / (queue_pmf[1:] @ per_runnable[:total])
    response[moving] = think[moving] * law.runnable / law.thinking
    throughput = 1 / (think + response)

    for array in (response, throughput, queue_pmf):
        array.setflags(write=False)
    delivered = float(queue_pmf @ mu[: total + 1])
    at = present & (service > 0)
    check_station(number[at], service[at], response[at], throughput[at], queue_pmf, delivered)
    return StationResult(response, throughput, queue_pmf, delivered, largest_capacity)


def poisson_binomial(counts: npt.ArrayLike, chances: npt.ArrayLike) -> FloatArray:
    """Return the law of the number of successes in independent trials.

    Parameters
    ----------
    counts : array of shape (classes,), whole numbers, at most 1,000,000 in all
        Number of trials of each class. [trials]
    chances : array of shape (classes,), from 0 to 1
        Chance of success in one trial. [-]

    Returns
    -------
    array of shape (all trials + 1,)
        Entry n is the probability of exactly n successes. [-] Without trials, entry 0 is 1.
        Entries below about 1e-290 of the largest are 0; all others are right in relation
        to their own size.

    Raises
    ------
    InputError
        For the first argument that will not do, an entry by its index: "chances[2]".
    """
    number = _counts("counts", counts)
    chance = _numbers("chances", chances, len(number))
    _refuse("chances", chance, (chance >= 0) & (chance <= 1), "a number from 0 to 1")

    certain = int(number[chance == 1].sum())
    open_ = (number > 0) & (chance > 0) & (chance < 1)
    with np.errstate(under="ignore"):
        log_odds = np.log(chance[open_]) - np.log1p(-chance[open_])
        law = _Run(0, np.ones(1))
        for trials, each in zip(number[open_], log_odds, strict=True):
            law = _sum_law(law, _binomial(int(trials), float(each)))
    pmf = np.zeros(int(number.sum()) + 1)
    pmf[certain + law.start : certain + law.start + len(law.values)] = law.values
    pmf /= pmf.sum()
    return pmf


# ---------------------------------------------------------------------------- the queue's law


class _QueueLaw(NamedTuple):
    """Law of the number runnable, and per class the numbers runnable and thinking on average."""

    pmf: FloatArray
    runnable: FloatArray
    thinking: FloatArray


class _Run(NamedTuple):
    """A run of neighbouring entries of a long array; outside the run all are 0."""

    start: int
    values: FloatArray

    def between(self, first: int, last: int) -> FloatArray:
        """Return entries `first` to `last`, both included."""
        out = np.zeros(last - first + 1)
        low, high = max(first, self.start), min(last + 1, self.start + len(self.values))
        if low < high:
            out[low - first : high - first] = self.values[low - self.start : high - self.start]
        return out


def _queue_law(number: FloatArray, log_odds: FloatArray, log_step: FloatArray) -> _QueueLaw:
    """Return the law with weights PB(n) w(n), where log w rises by `log_step`.

    Stretches of n are done one after another, the one with the mode first, each with the
    tilt that makes its middle the likeliest. A stretch that no result can show is passed by.
    """
    total = int(number.sum())
    if total == 0:
        return _QueueLaw(np.ones(1), np.zeros(0), np.zeros(0))

    rough = _rough_log_share(number, log_odds, log_step)
    mode = int(rough.argmax())
    wanted = rough >= rough[mode] + _NEGLIGIBLE_LOG

    # All is counted from the mode, so that the large logarithms there cancel before rounding.
    tilt = _tilt_to_mean(number, log_odds, mode)
    log_odds, log_step = log_odds + tilt, log_step - tilt
    below = -np.cumsum(log_step[:mode][::-1])[::-1]
    log_w = np.concatenate([below, [0.0], np.cumsum(log_step[mode:])])

    pmf = np.zeros(total + 1)
    runnable, thinking = np.zeros(len(number)), np.zeros(len(number))
    reference: float | None = None
    low, high = mode, mode - 1  # so far done: low to high, both included
    step = 0.0
    while True:
        if wanted[high + 1 :].any():
            upwards = True
            first = high + 1 + int(wanted[high + 1 :].argmax())
        elif wanted[:low].any():
            upwards = False
            first = low - 1 - int(wanted[:low][::-1].argmax())
        else:
            break

        # Reach beyond the first missing entry, but so that it is still readable.
        centre = first + step if upwards else first - step
        tilt = _tilt_to_mean(number, log_odds, centre)
        prefixes, classes = _tilted_laws(number, log_odds + tilt)
        law = prefixes[-1]
        readable = np.flatnonzero(law.values >= _READABLE * law.values.max()) + law.start
        start, stop = int(readable[0]), int(readable[-1])
        if not start <= first <= stop:
            step /= 2
            continue
        step = float(stop - start) / 2
        if reference is None:
            low, high = start, stop
        elif upwards:
            start, high = max(start, first), stop
        else:
            stop, low = min(stop, first), start

        n = np.arange(start, stop + 1)
        share = law.between(start, stop)
        log_weight = log_w[n] + _log_untilt(number, log_odds, tilt, n)
        scale = float((np.log(share) + log_weight).max())
        if reference is None:
            reference = scale
        if scale < reference - 700:
            continue
        weight = _Run(start, np.exp(log_weight - scale))
        factor = np.exp(scale - reference)
        pmf[n] += share * weight.values * factor
        found_runnable, found_thinking = _class_means(number, prefixes, classes, weight)
        runnable += found_runnable * factor
        thinking += found_thinking * factor
    return _QueueLaw(pmf / pmf.sum(), runnable, thinking)


def _rough_log_share(number: FloatArray, log_odds: FloatArray, log_step: FloatArray) -> FloatArray:
    """Return log PB(n) w(n), up to a constant, a few units too high at most.

    PB(n) is at most generating(t) exp(-n t) for every tilt t (Chernoff's bound), and little
    below that for the tilt whose mean is n.
    """
    log_reach = float(np.log(number.sum())) + 5
    tilt, last = float(-log_odds.max()) - log_reach, float(-log_odds.min()) + log_reach
    tilts = []
    while tilt < last:
        tilts.append(tilt)
        chance = _logistic(log_odds + tilt)
        spread = float(np.sqrt(number @ (chance * (1 - chance))))
        tilt += min(1.0, 3 / max(spread, 1e-9))
    tilts.append(last)

    means = np.array([number @ _logistic(log_odds + tilt) for tilt in tilts])
    none = np.zeros(1, dtype=np.int64)
    bounds = np.array([_log_untilt(number, log_odds, tilt, none)[0] for tilt in tilts])
    n = np.arange(len(log_step) + 1)
    above = np.clip(np.searchsorted(means, n), 1, len(tilts) - 1)
    each = np.array(tilts)
    log_pb = np.minimum(bounds[above - 1] - n * each[above - 1], bounds[above] - n * each[above])
    rough: FloatArray = log_pb + np.concatenate([[0.0], np.cumsum(log_step)])
    return rough


def _tilt_to_mean(number: FloatArray, log_odds: FloatArray, mean: float) -> float:
    """Return the tilt that gives the wanted mean, kept half a source off both ends."""
    mean = min(max(mean, 0.5), float(number.sum()) - 0.5)
    log_reach = float(np.log(number.sum())) + 5
    low, high = float(-log_odds.max() - log_reach), float(-log_odds.min() + log_reach)
    while high - low > 1e-6:
        middle = (low + high) / 2
        if number @ _logistic(log_odds + middle) < mean:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _log_untilt(
    number: FloatArray, log_odds: FloatArray, tilt: float, n: npt.NDArray[np.int64]
) -> FloatArray:
    """Return the logarithm of the factor that turns a tilted PB(n) back into PB(n).

    It is log E[exp(tilt n)] - tilt n; sources with odds above 1 are counted from the other
    end, which keeps digits.
    """
    likely = log_odds > 0
    sign = np.where(likely, -1.0, 1.0)
    change = np.logaddexp(0, sign * (log_odds + tilt)) - np.logaddexp(0, sign * log_odds)
    untilt: FloatArray = number @ change - (n - number[likely].sum()) * tilt
    return untilt


def _tilted_laws(number: FloatArray, log_odds: FloatArray) -> tuple[list[_Run], list[_Run]]:
    """Return the laws of the first 0, 1, 2, ... classes together, and of each class alone."""
    prefixes = [_Run(0, np.ones(1))]
    classes = []
    for sources, each in zip(number, log_odds, strict=True):
        classes.append(_binomial(int(sources), float(each)))
        prefixes.append(_sum_law(prefixes[-1], classes[-1]))
    return prefixes, classes


def _class_means(
    number: FloatArray, prefixes: list[_Run], classes: list[_Run], weight: _Run
) -> tuple[FloatArray, FloatArray]:
    """Return per class the weighted numbers runnable and thinking.

    `weight` belongs to the number runnable in all classes; going back class by class, it
    becomes the mean weight given the number runnable in the classes before.
    """
    runnable, thinking = np.zeros(len(number)), np.zeros(len(number))
    for k in range(len(number) - 1, -1, -1):
        before, own = prefixes[k], classes[k]
        first = before.start + own.start
        last = first + len(before.values) + len(own.values) - 2
        here = weight.between(first, last)
        share = own.values * np.correlate(here, before.values, "valid")
        count = np.arange(own.start, own.start + len(own.values))
        runnable[k] = count @ share
        thinking[k] = (number[k] - count) @ share
        weight = _Run(before.start, np.correlate(here, own.values, "valid"))
    return runnable, thinking


def _sum_law(one: _Run, other: _Run) -> _Run:
    """Return the law of the sum of two independent counts."""
    return _trimmed(one.start + other.start, np.convolve(one.values, other.values))


def _binomial(trials: int, log_odds: float) -> _Run:
    """Return the binomial law, multiplied up and down from its mode."""
    mode = min(int((trials + 1) * float(_logistic(np.array(log_odds)))), trials)
    spread = np.sqrt(mode * (1 - mode / trials))
    reach = 50 * int(spread) + 2000  # beyond it every entry is below _DROPPED
    odds = np.exp(log_odds)
    up = np.arange(mode, min(trials, mode + reach))
    down = np.arange(mode, max(0, mode - reach), -1)
    values = np.concatenate(
        [
            np.cumprod(down / ((trials - down + 1) * odds))[::-1],
            [1.0],
            np.cumprod((trials - up) * odds / (up + 1)),
        ]
    )
    return _trimmed(mode - len(down), values)


def _trimmed(start: int, values: FloatArray) -> _Run:
    """Drop both ends where they are negligible; make the sum 1."""
    kept = np.flatnonzero(values >= _DROPPED * values.max())
    values = values[kept[0] : kept[-1] + 1]
    return _Run(start + int(kept[0]), values / values.sum())


def _logistic(log_odds: FloatArray) -> FloatArray:
    chance: FloatArray = np.exp(-np.logaddexp(0, -log_odds))
    return chance


# ---------------------------------------------------------------------------- what is given


def _checked(
    sources: npt.ArrayLike,
    service_s: npt.ArrayLike,
    think_s: npt.ArrayLike,
    capacity: npt.ArrayLike,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return the four arguments as arrays, or refuse the first that will not do."""
    number = _counts("sources", sources)
    service = _numbers("service_s", service_s, len(number))
    _refuse("service_s", service, _usable(service) | (service == 0), f"0 or {_RANGE} s")
    think = _numbers("think_s", think_s, len(number))
    _refuse("think_s", think, _usable(think) | (think == 0), f"0 or {_RANGE} s")
    _refuse("think_s", think, (think > 0) | (service > 0), "above 0 s where service_s is 0")
    mu = _numbers("capacity", capacity)
    if len(mu) < 2:
        raise InputError("capacity", mu.tolist(), "an entry for 0 runnable sources and for 1")
    _refuse("capacity", mu[:1], mu[:1] == 0, "0, as nothing is delivered while nothing runs")
    usable = _usable(mu)
    usable[0] = True
    _refuse("capacity", mu, usable, f"{_RANGE} reference-core s/s")
    return number, service, think, mu


_RANGE = "a number from 1e-30 to 1e30"


def _usable(values: FloatArray) -> npt.NDArray[np.bool_]:
    return (values >= _SMALLEST) & (values <= _LARGEST)


def _counts(name: str, values: npt.ArrayLike) -> FloatArray:
    """Return whole numbers of 0 or more that total at most MOST_SOURCES."""
    number = _numbers(name, values)
    whole = (number >= 0) & (number <= MOST_SOURCES) & (number == np.floor(number))
    _refuse(name, number, whole, f"a whole number from 0 to {MOST_SOURCES}")
    if number.sum() > MOST_SOURCES:
        raise InputError(name, int(number.sum()), f"at most {MOST_SOURCES} in all")
    return number


def _numbers(name: str, given: npt.ArrayLike, length: int | None = None) -> FloatArray:
    """Return a list of numbers as an array; NaN and infinity are left to the caller."""
    expected = "a list of numbers" if length is None else f"a list of {length} numbers"
    plain = isinstance(given, Sequence) and not isinstance(given, (str, bytes))
    array = None if plain else np.asarray(given)
    if array is not None and array.ndim != 1:
        raise InputError(name, given, expected)
    if array is not None and array.dtype.kind in "iuf":
        numbers = array.astype(np.float64)
    else:
        entries = list(given) if array is None else array.tolist()  # type: ignore[arg-type]
        numbers = np.empty(len(entries))
        for index, entry in enumerate(entries):
            try:
                if isinstance(entry, (bool, np.bool_)) or not isinstance(entry, Real):
                    raise TypeError
                numbers[index] = float(entry)
            except (TypeError, OverflowError):
                raise InputError(f"{name}[{index}]", entry, "a number") from None
    if length is not None and len(numbers) != length:
        raise InputError(name, numbers.tolist(), expected)
    return numbers


def _refuse(name: str, values: FloatArray, good: npt.NDArray[np.bool_], expected: str) -> None:
    """Refuse the first entry that is not good."""
    if not good.all():
        index = int(np.argmin(good))
        raise InputError(f"{name}[{index}]", float(values[index]), expected)
