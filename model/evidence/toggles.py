"""When was offload switched on and off, if the log does not say?

The display encoder's CPU stands at one of two levels: the higher while the CPU encodes, the lower
while the card does. `find_toggles` looks for two levels and refuses when it should not be
believed; what it finds is a proposal that someone who was there confirms.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, sqrt

import numpy as np
import numpy.typing as npt

from model.errors import InputError, check_above, check_at_least
from model.evidence.record import FloatArray, IntArray, checked_series

LEAST_SEPARATION = 3.5  # noise standard deviations between the levels; closer ones are refused
LEAST_SHARPNESS = 0.5  # of the way from level to level, within moments, at a typical toggle
LEAST_JUMP = 2.8  # times what the readings move elsewhere within moments, at a typical toggle,
FEW_TOGGLES = 2.2  # and that much more over the root of their number: a few may be mere luck
FAST_NOISE = 0.4  # lag-1 correlation; faster noise does not linger and makes no levels of its own
_RELUCTANCE = 0.125  # of the least dwell; see the notes of find_toggles
_MOST_PASSES = 6


@dataclass(frozen=True, eq=False)
class Toggles:
    """Where offload seems to have been switched, or why no answer is given.

    Parameters
    ----------
    rows : array of shape (toggles,)
        The first reading of each new spell, counted from 0. Empty where refused. [-]
    times_s : array of shape (toggles,)
        The same as time since the first reading. [s]
    to_on : array of shape (toggles,)
        Whether offload was switched on there.
    sharpness : array of shape (toggles,)
        How much of the way between the levels is covered within moments. [-] About 1 for a
        switch; a low one is in doubt.
    offload : array of shape (rows,)
        State of each reading: 1 on, 0 off; -1 throughout where refused.
    on_level, off_level : float
        Mean reading with offload and without. [as given] NaN where there are no two levels.
    noise_sd : float
        Standard deviation of the readings around their level. [as given]
    separation : float
        Distance of the levels in standard deviations of the noise. [-] Infinite without noise.
    refusal : str or None
        Why nothing was found, in a sentence or two for the reader; None where toggles were found.
    cautions : tuple of str
        What speaks against believing them, in sentences.
    """

    rows: IntArray
    times_s: FloatArray
    to_on: npt.NDArray[np.bool_]
    sharpness: FloatArray
    offload: IntArray
    on_level: float
    off_level: float
    noise_sd: float
    separation: float
    refusal: str | None
    cautions: tuple[str, ...]


def find_toggles(
    values: npt.ArrayLike,
    interval_s: float,
    least_dwell_s: float = 10.0,
    on_is_lower: bool = True,
) -> Toggles:
    """Find the moments at which readings go from one of two levels to the other.

    Parameters
    ----------
    values : array of shape (rows,)
        Readings at equal steps, the display encoder's CPU as a rule. [cores] Any other unit will
        do. NaN where one is missing.
    interval_s : float, above 0
        From one reading to the next. [s]
    least_dwell_s : float, above 0
        Offload stays on, or off, for at least as long. [s]
    on_is_lower : bool
        Whether the lower level means that offload is on, as it does for the encoder's CPU.

    Returns
    -------
    Toggles
        The toggles with what speaks for and against them. Without two clear levels there are
        none, and `refusal` says why.

    Raises
    ------
    InputError
        For readings that are no series of numbers, and for a time out of range.

    Notes
    -----
    Among all ways to divide the readings into spells on two levels, each spell no shorter than
    the least dwell, the best one is found exactly by dynamic programming; levels and spells are
    fitted in turn until they agree. Each reading votes with its place between the levels, and
    with a whole vote where it lies outside, so that a single peak counts no more than any other
    reading. A spell must win by a quarter of the least dwell: one of the least dwell goes at
    least 5/8 of the way, a long one half of it. Slow noise makes false spells far less often so.

    Any series can be divided in two. Hence three refusals: levels closer than 3.5 standard
    deviations of the noise, levels that the readings drift between instead of jumping, and, where
    the noise is slow, jumps hardly larger than the readings make anyway. A load that itself jumps
    between two levels passes all three, and an activity with a level of its own may be taken for a
    state of offload: look at one activity at a time and let someone confirm. A log shorter than
    thirty times the least dwell, of slow noise alone, passes about once in 300.
    """
    check_above("interval_s", interval_s, 0, unit="s")
    check_above("least_dwell_s", least_dwell_s, 0, unit="s")
    readings = checked_series(values)
    dwell = max(ceil(least_dwell_s / interval_s - 1e-9), 1)
    known = np.isfinite(readings)

    if known.sum() < 2 * dwell:
        return _refused(
            readings,
            f"There are {known.sum():,} readings; two spells of {least_dwell_s:g} s need at least "
            f"{2 * dwell:,}.",
        )
    if np.ptp(readings[known]) == 0:
        return _refused(readings, "Every reading is the same, so nothing was switched.")

    low, high = _two_levels(readings, dwell)
    ends: IntArray | None = None
    first_high = False
    for _ in range(_MOST_PASSES):
        new_ends, first_high = _best_spells(_votes(readings, low, high), dwell)
        if ends is not None and np.array_equal(ends, new_ends):
            break
        ends = new_ends
        if len(ends) == 0:
            break
        is_high = _is_high(len(readings), ends, first_high)
        low, high = _levels(readings, is_high, low, high)
    assert ends is not None
    if len(ends) == 0:
        return _refused(
            readings, "The readings keep to one level: no second one lasts long enough to be told."
        )

    ends = _placed(readings, ends, first_high, (low, high), dwell)
    is_high = _is_high(len(readings), ends, first_high)
    step = high - low
    held = np.clip(readings, low - step, high + step)  # a peak counts for a step at most
    noise_sd = _noise_sd(readings, is_high, (low, high))
    separation = step / noise_sd if noise_sd > 0 else float("inf")
    on_level, off_level = (low, high) if on_is_lower else (high, low)
    jumps, usual = _jumps(held, ends, is_high, dwell)
    slowness = _lag_1(held - np.where(is_high, high, low))
    typical = float(np.median(jumps))
    needed = LEAST_JUMP + FEW_TOGGLES / sqrt(len(ends))

    refusal = None
    if separation < LEAST_SEPARATION:
        refusal = (
            f"The two levels that fit best, {low:.3g} and {high:.3g}, are {separation:.1f} "
            f"standard deviations of the noise apart; below {LEAST_SEPARATION:g}, noise alone "
            "could look like them. Mark the toggles by hand, or measure again with a log of them."
        )
    elif typical < LEAST_SHARPNESS * step:
        refusal = (
            f"The readings drift between {low:.3g} and {high:.3g} instead of jumping, as a switch "
            "would make them. Mark the toggles by hand, or measure again with a log of them."
        )
    elif slowness >= FAST_NOISE and typical < needed * usual:
        refusal = (
            f"The readings move between {low:.3g} and {high:.3g} hardly faster than they move "
            f"otherwise: {typical / usual:.1f} times as far within moments, and at least "
            f"{needed:.1f} times is needed with {len(ends):,} "
            f"toggle{'' if len(ends) == 1 else 's'}. Mark the toggles by hand, or measure again "
            "with a log of them."
        )
    if refusal is not None:
        return _refused(readings, refusal, on_level, off_level, noise_sd, separation)

    on = is_high != on_is_lower
    return Toggles(
        rows=ends,
        times_s=np.asarray(ends * interval_s, dtype=np.float64),
        to_on=on[ends],
        sharpness=jumps / step,
        offload=on.astype(np.int64),
        on_level=on_level,
        off_level=off_level,
        noise_sd=noise_sd,
        separation=separation,
        refusal=None,
        cautions=_cautions(readings, ends, is_high, step, jumps / step, interval_s),
    )


def offload_between(toggle_rows: Sequence[int] | IntArray, rows: int, first_on: bool) -> IntArray:
    """Return the state of each reading from toggles that someone has confirmed or moved.

    Parameters
    ----------
    toggle_rows : sequence of int
        The first reading of each new spell, counted from 0, in any order. [-]
    rows : int, 1 or more
        How many readings there are. [-]
    first_on : bool
        Whether offload is on from the start.

    Returns
    -------
    array of shape (rows,)
        1 on, 0 off. Without toggles the first state throughout.

    Raises
    ------
    InputError
        For a toggle that does not lie between two readings, or two in one place.
    """
    check_at_least("rows", rows, 1)
    turned = np.zeros(rows, dtype=np.int64)
    for place, row in enumerate(toggle_rows):
        if not 1 <= row < rows:
            raise InputError(f"toggle_rows[{place}]", int(row), f"a row from 1 to {rows - 1:,}")
        if turned[row]:
            raise InputError(f"toggle_rows[{place}]", int(row), "a row without another toggle")
        turned[row] = 1
    return (int(first_on) + np.cumsum(turned)) % 2


def _two_levels(readings: FloatArray, dwell: int) -> tuple[float, float]:
    """Return two levels to start from: the best two groups of short medians.

    Medians over half the least dwell are less noisy than readings, free of single peaks, and most
    of them lie within one spell. All divisions of the sorted medians in two are compared, so
    nothing is left to chance.
    """
    medians = np.sort(_short_medians(readings, max(dwell // 2, 1)))
    count = np.arange(1, len(medians))
    total = np.cumsum(medians - medians[0])
    left, whole = total[:-1], total[-1]
    between = left**2 / count + (whole - left) ** 2 / (len(medians) - count)
    cut = int(np.argmax(between)) + 1
    low, high = float(medians[:cut].mean()), float(medians[cut:].mean())
    return (low, high) if high > low else (float(np.nanmin(readings)), float(np.nanmax(readings)))


def _short_medians(readings: FloatArray, length: int) -> FloatArray:
    """Return the medians of successive stretches, those without a reading left out."""
    missing = -len(readings) % length
    stretches = np.sort(np.append(readings, np.full(missing, np.nan)).reshape(-1, length), axis=1)
    count = np.isfinite(stretches).sum(axis=1)  # the missing ones are sorted to the end
    each = np.flatnonzero(count)
    count = count[each]
    middle: FloatArray = (stretches[each, (count - 1) // 2] + stretches[each, count // 2]) / 2
    return middle


def _votes(readings: FloatArray, low: float, high: float) -> FloatArray:
    """Return each reading's vote, -1 for the low level, 1 for the high one, 0 where missing."""
    votes = np.clip((2 * readings - low - high) / (high - low), -1.0, 1.0)
    return np.nan_to_num(votes, copy=False, nan=0.0)


def _best_spells(votes: FloatArray, dwell: int) -> tuple[IntArray, bool]:
    """Return where the best spells begin after the first, and whether the first is high.

    The best is the highest sum of votes in high spells less a fixed cost for each change. Let
    `high[t]` be the best for the first t readings if they end in a high spell that may be left,
    less the sum of all votes so far, and `low[t]` that for a low spell. Neither falls as t grows,
    and a change made one dwell ago is the only one that has newly come into question.
    """
    cost = _RELUCTANCE * dwell
    rows = len(votes)
    sums = np.concatenate([[0.0], np.cumsum(votes)]).tolist()
    none = float("-inf")
    high, low = [none] * dwell + [0.0] * dwell, [none] * dwell + [0.0] * dwell
    high_since, low_since = [0] * (2 * dwell), [0] * (2 * dwell)
    best_high = best_low = 0.0
    since_high = since_low = 0
    # A plain loop: each step needs the one before, and a dwell of ten readings leaves too little
    # between steps that wait for each other for arrays to be faster.
    for left in range(dwell, rows + 1 - dwell):
        total = sums[left]
        if low[left] - cost - total > best_high:
            best_high = low[left] - cost - total
            since_high = left
        if high[left] - cost + total > best_low:
            best_low = high[left] - cost + total
            since_low = left
        high.append(best_high)
        low.append(best_low)
        high_since.append(since_high)
        low_since.append(since_low)

    is_high = high[rows] + sums[rows] > low[rows]
    ends: list[int] = []
    place = rows
    while True:
        place = high_since[place] if is_high else low_since[place]
        if place == 0:
            return np.array(ends[::-1], dtype=np.int64), is_high
        ends.append(place)
        is_high = not is_high


def _is_high(rows: int, ends: IntArray, first_high: bool) -> npt.NDArray[np.bool_]:
    lengths = np.diff(np.concatenate([[0], ends, [rows]]))
    return np.repeat((np.arange(len(lengths)) % 2 == 0) == first_high, lengths)


def _levels(
    readings: FloatArray, is_high: npt.NDArray[np.bool_], low: float, high: float
) -> tuple[float, float]:
    """Return the mean reading of either state, peaks held to one distance beyond the levels."""
    held = np.clip(readings, 2 * low - high, 2 * high - low)
    known = np.isfinite(held)
    new_low, new_high = (
        float(held[chosen].mean()) if chosen.any() else as_before
        for chosen, as_before in ((known & ~is_high, low), (known & is_high, high))
    )
    return (new_low, new_high) if new_high > new_low else (low, high)


def _placed(
    readings: FloatArray,
    ends: IntArray,
    first_high: bool,
    levels: tuple[float, float],
    dwell: int,
) -> IntArray:
    """Return the toggles, each moved within half a dwell to where slow noise makes it likeliest.

    Slow noise can carry the readings across the middle some seconds early or late, but not in one
    step: what counts is each reading less what the one before leads to expect. A move that would
    make a spell too short is undone.
    """
    low, high = levels
    reach = dwell // 2
    if reach == 0:
        return ends
    is_high = _is_high(len(readings), ends, first_high)
    known = np.flatnonzero(np.isfinite(readings))  # the others can neither speak nor be chosen
    held = np.clip(readings[known], 2 * low - high, 2 * high - low)
    carry = _lag_1(held - np.where(is_high[known], high, low))
    most = ((high - low) / 2) ** 2  # that one reading may count, so that no peak draws a toggle
    surprise = held[1:] - carry * held[:-1]  # of the known readings 1, 2, ...

    def deviation(here: float, before: float) -> FloatArray:
        squares = (surprise - here + carry * before) ** 2
        return np.concatenate([[0.0], np.minimum(squares, most)])

    # Every toggle and every place, among the known readings, that it may take.
    window = np.searchsorted(known, ends)[:, None] + np.arange(-reach, reach + 1)
    window = np.clip(window, 1, len(known) - 1)
    cost = np.empty(window.shape)
    for rising, before, after in ((True, low, high), (False, high, low)):
        mine = is_high[ends] == rising
        old, new = deviation(before, before), deviation(after, after)
        # Readings before the toggle as of the old level, those behind it as of the new one.
        sums = np.concatenate([[0.0], np.cumsum(old - new)])
        cost[mine] = (sums[:-1] - new + deviation(after, before))[window[mine]]
    moved: IntArray = known[window[np.arange(len(ends)), np.argmin(cost, axis=1)]]
    moved = np.where(np.abs(moved - ends) <= reach, moved, ends)
    while True:
        short = np.diff(np.concatenate([[0], moved, [len(readings)]])) < dwell
        undo = (short[:-1] | short[1:]) & (moved != ends)
        if not undo.any():
            return moved
        moved[undo] = ends[undo]


def _lag_1(stray: FloatArray) -> float:
    """Return the correlation of neighbouring deviations, from 0 to 0.99."""
    here, before = stray[1:], stray[:-1]
    both = np.isfinite(here) & np.isfinite(before)
    power = float(np.nansum(stray**2))
    return min(max(float(here[both] @ before[both]) / power, 0.0), 0.99) if power > 0 else 0.0


def _noise_sd(
    readings: FloatArray, is_high: npt.NDArray[np.bool_], levels: tuple[float, float]
) -> float:
    """Return the deviation from the levels, either state counting half however long it lasted.

    Else a load with rare bursts would pass for two levels: its quiet time outweighs them. A peak
    counts for no more than one distance of the levels.
    """
    step = levels[1] - levels[0]
    stray = np.clip(readings - np.where(is_high, levels[1], levels[0]), -step, step)
    known = np.isfinite(stray)
    squares = [np.mean(stray[known & (is_high == state)] ** 2) for state in (False, True)]
    return float(np.sqrt(np.mean(squares)))


def _jumps(
    readings: FloatArray, ends: IntArray, is_high: npt.NDArray[np.bool_], dwell: int
) -> tuple[FloatArray, float]:
    """Return how far the readings move at each toggle, in its direction, and usually elsewhere.

    A move is from the mean of half a dwell before to that of half a dwell after. The readings next
    to the toggle are left out, since they may be mixed. Elsewhere is where a move touches no
    toggle; the usual move there is the root of the mean square, 0 where no spell is long enough.
    """
    reach = max(dwell // 2, 1)
    gap = 1 if reach >= 3 else 0
    rows = len(readings)
    known = np.isfinite(readings)
    total = np.concatenate([[0.0], np.cumsum(np.where(known, readings - readings[known][0], 0.0))])
    count = np.concatenate([[0], np.cumsum(known)])
    # moves[t] compares rows t - gap - reach .. t - gap with t + gap .. t + gap + reach.
    places = np.arange(rows)
    edges = [np.clip(places + offset, 0, rows) for offset in (-gap - reach, -gap, gap, gap + reach)]
    with np.errstate(invalid="ignore"):  # no reading on one side: NaN
        before, after = (
            (total[last] - total[first]) / (count[last] - count[first])
            for first, last in (edges[:2], edges[2:])
        )
    moves = after - before
    elsewhere = np.ones(rows, dtype=bool)
    for offset in range(-gap - reach + 1, gap + reach):
        elsewhere[np.clip(ends + offset, 0, rows - 1)] = False
    elsewhere &= np.isfinite(moves)
    usual = float(np.sqrt(np.mean(moves[elsewhere] ** 2))) if elsewhere.any() else 0.0
    return np.nan_to_num(np.where(is_high[ends], moves[ends], -moves[ends]), nan=0.0), usual


def _cautions(
    readings: FloatArray,
    ends: IntArray,
    is_high: npt.NDArray[np.bool_],
    step: float,
    sharpness: FloatArray,
    interval_s: float,
) -> tuple[str, ...]:
    """Return what speaks against the toggles, in sentences."""
    told = []
    if len(ends) == 1:
        told.append(
            "There is one toggle only: whatever else changed at that time would look the same."
        )
    doubtful = ends[sharpness < LEAST_SHARPNESS] * interval_s
    if len(doubtful):
        times = ", ".join(f"{time:,.0f} s" for time in doubtful[:5])
        more = f" and {len(doubtful) - 5:,} more" if len(doubtful) > 5 else ""
        told.append(f"The readings hardly jump at {times}{more}.")
    starts = np.concatenate([[0], ends])
    known = np.isfinite(readings)
    count = np.add.reduceat(known.astype(np.float64), starts)
    total = np.add.reduceat(np.where(known, readings, 0.0), starts)
    mean = total[count > 0] / count[count > 0]
    state = is_high[starts][count > 0]
    for which, name in ((True, "higher"), (False, "lower")):
        levels = mean[state == which]
        if len(levels) > 1 and float(np.ptp(levels)) > step / 2:
            told.append(
                f"Spells on the {name} level differ by more than half the distance of the levels: "
                "something other than the switch moves the readings, such as a change of activity."
            )
    return tuple(told)


def _refused(
    readings: FloatArray,
    why: str,
    on_level: float = float("nan"),
    off_level: float = float("nan"),
    noise_sd: float = float("nan"),
    separation: float = float("nan"),
) -> Toggles:
    return Toggles(
        rows=np.empty(0, dtype=np.int64),
        times_s=np.empty(0),
        to_on=np.empty(0, dtype=bool),
        sharpness=np.empty(0),
        offload=np.full(len(readings), -1, dtype=np.int64),
        on_level=on_level,
        off_level=off_level,
        noise_sd=noise_sd,
        separation=separation,
        refusal=why,
        cautions=(),
    )
