"""How does the CPU of one host peak over a working day, without the card and with it?

People come and go along a presence curve, log on, and change from activity to activity.
`simulate_day_both` draws their day once for both arms, in steps of one second. It works on changes
of activity, laid end to end on one line of time, never on sessions times seconds.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from model.accelerator import Accelerator, assign_most_active_first
from model.cpu import capacity_curve, core_rate
from model.errors import InputError
from model.hosts import ARMS, Arm, Kinds, check_arm, kinds
from model.scenario import Day, Scenario

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

MOST_REPLICATES = 1_000
_CHUNK = 400_000  # our choice: changes of activity handled at once
_CELLS = 65_536  # of the table by which an activity is drawn
_REDRAW = np.iinfo(np.uint16).max  # a cell that holds more than one activity
_BITS = 52  # whole numbers that a float holds and adds without rounding
_GRAIN = 2.0**-28  # works per second are rounded to it, so that their sums are exact


@dataclass(frozen=True, eq=False)
class DayResult:
    """The day of one arm, over all replicates; arrays have one entry for each minute.

    Parameters
    ----------
    arm : str
        "software" or "offloaded".
    start_s : int
        Start of the day after midnight. [s]
    minute_s : array
        Start of each minute, after the start of the day. [s]
    demand_p50_pct, demand_p95_pct, demand_max_pct : array
        Demand in steps of one second, over the minute and all replicates. [% of capacity]
    present_mean : array
        Sessions present. [sessions]
    crest_pct : float
        p99 of the demand of all seconds. [% of capacity]
    mean_pct : float
        Its mean. [% of capacity]
    crest_factor : float
        Crest over mean. [-] 1 where nothing is asked for.
    minutes_above_85_pct, minutes_above_100_pct : float
        Time of a day with more demand than that. [min]
    frames_dropped_pct : float
        Encoding work that found no room. [% of that wanted] 0 where nothing is encoded.
    carried_over_core_s : float
        The most application work ever carried over to the next second. [reference-core s]
    changes : int
        Activities begun, over all replicates.
    """

    arm: Arm
    start_s: int
    minute_s: IntArray
    demand_p50_pct: FloatArray
    demand_p95_pct: FloatArray
    demand_max_pct: FloatArray
    present_mean: FloatArray
    crest_pct: float
    mean_pct: float
    crest_factor: float
    minutes_above_85_pct: float
    minutes_above_100_pct: float
    frames_dropped_pct: float
    carried_over_core_s: float
    changes: int


def simulate_day(scenario: Scenario, arm: str, seed: int, replicates: int) -> DayResult:
    """Return the working day of one arm.

    Parameters
    ----------
    scenario : Scenario
        The scenario; its number of sessions belongs to the host.
    arm : str
        "software" or "offloaded".
    seed : int, 0 or more
        Any number; the same one gives the same day, to both arms. [-]
    replicates : int, 1 to 1000
        Days drawn. [days]

    Returns
    -------
    DayResult
        To the last bit what `simulate_day_both` gives for the arm.

    Raises
    ------
    InputError
        For an unknown arm, or a seed or a number of replicates that will not do.
    """
    checked = check_arm(arm)
    return _simulate(scenario, (checked,), seed, replicates)[checked]


def simulate_day_both(scenario: Scenario, seed: int, replicates: int) -> dict[Arm, DayResult]:
    """Return the working day of both arms, with the same people doing the same things.

    Parameters
    ----------
    scenario : Scenario
        The scenario; its number of sessions belongs to the host.
    seed : int, 0 or more
        Any number; the same one gives the same day. [-]
    replicates : int, 1 to 1000
        Days drawn. [days]

    Returns
    -------
    dict of str to DayResult
        By arm. Without a card, or with a share of 0, both are equal to the last bit.

    Raises
    ------
    InputError
        For a seed or a number of replicates that will not do.

    Notes
    -----
    A session is present while the presence curve lies above its rank, a number between 0 and 1.
    Its activities last for exponential times, and the next is drawn whatever the last one was,
    so that time is shared as the role's habit says. An activity counts from the first full
    second after it began. The first arrival after the start of the day begins with a logon, on
    one core until it is done. Demand is what a second is asked for: the work of applications
    and encoding, and the application work carried over from the second before. Applications
    come first; frames get what they leave, and what does not fit is dropped.

    Source
    ------
    Our own composition. Work carried over follows D. V. Lindley, The theory of queues with a
    single server, 1952, doi:10.1017/S0305004100027638.
    """
    return _simulate(scenario, ARMS, seed, replicates)


def crest_reduction_pct(software: DayResult, offloaded: DayResult) -> float:
    """Return by how much the card lowers the crest.

    Parameters
    ----------
    software : DayResult
        The day without the card.
    offloaded : DayResult
        The same day with it.

    Returns
    -------
    float
        Fall of the crest. [% of the crest without the card] 0 where that is 0.
    """
    if software.crest_pct == 0:
        return 0.0
    return (1 - offloaded.crest_pct / software.crest_pct) * 100


def _simulate(
    scenario: Scenario, arms: tuple[Arm, ...], seed: int, replicates: int
) -> dict[Arm, DayResult]:
    _check_whole("seed", seed, 0, None)
    _check_whole("replicates", replicates, 1, MOST_REPLICATES)
    rng = np.random.default_rng(int(seed))
    length = scenario.day.length_s
    people = _People(scenario)
    capacity = float(
        capacity_curve(scenario.host, scenario.reference_clock_ghz, scenario.host.threads)
    )
    per_day = max(int(people.changes_per_s.max() * length * scenario.sessions), length // 2, 1)
    together = int(np.clip(_CHUNK // per_day, 1, replicates))

    days: dict[Arm, _Tally] = {arm: _Tally(replicates, length, capacity) for arm in arms}
    present = np.zeros(length)
    changes = 0
    for first in range(0, replicates, together):
        batch = min(together, replicates - first)
        drawn = people.draw(rng, batch, "offloaded" in arms)
        present += drawn.present
        changes += drawn.changes
        for arm, tally in days.items():
            encode = drawn.encode
            if arm == "offloaded" and people.use_card:
                encode = np.maximum(encode - people.saved(drawn), 0)
            tally.add(first, drawn.app, encode)
    by_minute = (present / replicates).reshape(-1, 60).mean(axis=1)
    return {
        arm: tally.result(arm, scenario.day.start_s, by_minute, changes)
        for arm, tally in days.items()
    }


def _check_whole(field: str, value: object, low: int, high: int | None) -> None:
    whole = isinstance(value, int | np.integer) and not isinstance(value, bool)
    if not whole or value < low or (high is not None and value > high):  # type: ignore[operator]
        to = "or more" if high is None else f"to {high}"
        raise InputError(field, value, f"a whole number from {low} {to}".replace("from 0 or", "of 0 or"))


def presence(day: Day, rank: FloatArray) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return when sessions are present: while the presence curve lies above their rank.

    Parameters
    ----------
    day : Day
        The working day.
    rank : array of shape (sessions,), 0 to 1
        Ranks. [-]

    Returns
    -------
    tuple of three arrays
        Session, beginning and end of each stay [s after the start of the day], in the order
        of sessions and time.
    """
    points = np.array(day.present_points)
    inner = points[(points[:, 0] > 0) & (points[:, 0] < day.length_s), 0]
    at = np.concatenate([[0.0], inner, [float(day.length_s)]])
    share = np.interp(at, points[:, 0], points[:, 1])
    above = np.zeros((len(rank), len(at) + 2), dtype=bool)
    above[:, 1:-1] = share > rank[:, None]
    session, come = np.nonzero(above[:, 1:] & ~above[:, :-1])
    _, leave = np.nonzero(above[:, :-1] & ~above[:, 1:])

    def crossing(piece: IntArray) -> FloatArray:
        before, after = np.clip(piece - 1, 0, None), np.clip(piece, None, len(at) - 1)
        rise = share[after] - share[before]
        part = (rank[session] - share[before]) / np.where(rise == 0, 1, rise)
        return at[before] + part * (at[after] - at[before])

    return session, crossing(come), crossing(leave)


@dataclass(eq=False)
class _Drawn:
    """Sums over the sessions at each second; one row of seconds for each replicate."""

    present: FloatArray  # over the replicates [sessions]
    app: FloatArray  # application work [reference-core s/s]
    encode: FloatArray  # encoding without the card
    saving: FloatArray  # what the card would save had it room for everyone
    card: FloatArray  # displays and pixel rate asked of the card, in one number
    displays: list[FloatArray]  # displays by class, several classes in one number
    changes: int = 0


class _People:
    """All that is the same for each day of a scenario: habits, weights, the card's classes."""

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        of = kinds(scenario)
        states = len(of.chance)
        self.absent = 2 * states  # states of sessions that may use the card, then the others
        card = scenario.accelerator
        self.use_card = card.slots > 0 and card.share_pct > 0
        dwell = np.array([activity.dwell_s for activity in scenario.activities])[of.activity]
        self.dwell_s = np.concatenate([dwell, dwell, [0.0]]).astype(np.float32)
        self.habit, self.next = [], []
        self.changes_per_s = np.zeros(len(scenario.roles))
        self.spread_s = np.zeros(len(scenario.roles))
        for role in range(len(scenario.roles)):
            own = np.flatnonzero(of.role == role)
            if own.size == 0:  # nobody has the role
                own, chance = np.zeros(1, dtype=int), np.ones(1)
            else:
                chance = of.chance[own] / of.chance[own].sum()
            jump = chance / dwell[own]
            rate = float(jump.sum())
            self.habit.append(_Table(own, chance))
            self.next.append(_Table(own, jump / rate))
            self.changes_per_s[role] = rate
            second_moment = float(2 * (jump / rate) @ dwell[own] ** 2)
            self.spread_s[role] = max(second_moment - rate**-2, 0.0) ** 0.5

        full = of.demand[of.first + of.moving]
        barred, nobody = np.zeros(states), np.zeros(1)
        app, demand = of.app_demand[of.first], of.demand[of.first]
        self.app = _exact(np.concatenate([app, app, nobody]))
        self.encode = _exact(np.concatenate([demand, demand, nobody])) - self.app
        self.saving = _exact(np.concatenate([demand - full, barred, nobody]))
        self.classes = _Classes(of, card, scenario.sessions)

    def draw(self, rng: np.random.Generator, days: int, with_card: bool) -> _Drawn:
        """Draw some days."""
        scenario, length = self.scenario, self.scenario.day.length_s
        row, sessions = length + 1, self.scenario.sessions
        weight = np.array([role.weight_pct for role in scenario.roles])
        edges = np.cumsum(weight / weight.sum()) * sessions + rng.random((days, 1))
        edges[:, -1] = sessions
        place = np.broadcast_to(np.arange(sessions), (days, sessions))
        role = np.zeros((days, sessions), dtype=np.int64)
        for edge in np.floor(edges[:, :-1]).T:
            role += place >= edge[:, None]
        strata = np.argsort(rng.random((days, sessions)), axis=1)
        rank = ((strata + rng.random((days, sessions))) / sessions).ravel()
        entitled = rng.random(days * sessions)
        order = np.lexsort((entitled, role.ravel()))
        start = (np.arange(days * sessions) // sessions * row)[order]

        weights: list[FloatArray] = [self.app, self.encode]
        if with_card and self.use_card:
            weights += [self.saving, *self.classes.weights]
        sums = np.zeros((len(weights), days * row))
        present = np.zeros(row)
        logons = np.zeros(days * row + 1)
        changes = 0
        per_session = max(float(self.changes_per_s.max()) * length, len(scenario.day.present_pct), 1)
        at_once = max(int(_CHUNK / per_session), 1)
        barred = entitled >= scenario.accelerator.share_pct / 100
        for begin in range(0, len(order), at_once):
            who = order[begin : begin + at_once]
            session, come_s, leave_s = presence(scenario.day, rank[who])
            first, last = np.ceil(come_s).astype(np.int64), np.ceil(leave_s).astype(np.int64)
            present += np.bincount(first, minlength=row) - np.bincount(last, minlength=row)
            base = start[begin : begin + at_once][session]
            arrives = (np.diff(session, prepend=-1) > 0) & (first > 0)
            logons += self._logons((base + first)[arrives], base[arrives] + length, len(logons))
            stays = _Stays(
                role.ravel()[who][session], barred[who][session],
                base + come_s + 1, base + first, base + last,
            )  # fmt: skip
            while len(stays.role):
                second, state, begun, stays = self._activities(rng, stays)
                changes += begun
                for total, one in zip(sums, weights, strict=True):
                    value = one.take(state)
                    value[1:] -= value[:-1].copy()
                    total += np.bincount(second, value, minlength=days * row)
        sums[0] += logons[:-1]
        totals = np.cumsum(sums, axis=1).reshape(len(weights), days, row)[:, :, :length]
        nothing = np.zeros(0)
        card = list(totals[2:]) or [nothing, nothing]
        return _Drawn(
            np.cumsum(present)[:length], totals[0], totals[1], card[0], card[1], card[2:], changes
        )

    def _logons(self, at: IntArray, end: IntArray, size: int) -> FloatArray:
        """Changes of the work per second by logons that begin at those places of the line."""
        rate = core_rate(self.scenario.host, self.scenario.reference_clock_ghz)
        work = self.scenario.day.logon_core_s
        whole = int(work // rate)
        rest = work - whole * rate
        change = rate * np.bincount(at, minlength=size)
        change -= (rate - rest) * np.bincount(np.minimum(at + whole, end), minlength=size)
        return change - rest * np.bincount(np.minimum(at + whole + 1, end), minlength=size)

    def _activities(
        self, rng: np.random.Generator, stays: "_Stays"
    ) -> tuple[IntArray, npt.NDArray[np.uint16], int, "_Stays"]:
        """Fill stays with activities; return where each begins, which it is, and what is left.

        As many are drawn for each stay as will mostly do, and one "absent" after them; a stay
        that they do not fill is handed back.
        """
        rate = self.changes_per_s[stays.role]
        mean = np.maximum(stays.end - stays.begin, 0) * rate
        many = (mean + self.spread_s[stays.role] * rate * np.sqrt(mean)).astype(np.int64) + 3
        first = np.cumsum(many) - many
        number = int(many.sum())
        state = np.empty(number, dtype=np.uint16)
        for role in range(len(rate) and len(self.scenario.roles)):
            low, high = np.searchsorted(stays.role, (role, role + 1))
            if low == high:
                continue
            span = slice(first[low], first[high] if high < len(first) else number)
            state[span] = self.next[role].draw(rng, span.stop - span.start)
            if stays.new:
                state[first[low:high]] = self.habit[role].draw(rng, high - low)
            cut = low + int(np.searchsorted(stays.barred[low:high], True))
            if cut < high:
                state[first[cut] : span.stop] += np.uint16(self.absent // 2)
        state[first + many - 1] = self.absent
        lasts = rng.standard_exponential(number, dtype=np.float32)
        lasts *= self.dwell_s.take(state)
        total = np.add.reduceat(lasts, first, dtype=np.float64)
        time = np.empty(number)
        time[1:] = lasts[:-1]
        done = stays.begin + total
        time[first] = stays.begin
        time[first[1:]] -= done[:-1]
        np.cumsum(time, out=time)
        second = time.astype(np.int64)
        second[first] = stays.first
        after = second[first + many - 1]
        end = np.repeat(stays.end, many)
        begun = int(np.count_nonzero(second < end))
        np.minimum(second, end, out=second)
        short = after < stays.end
        rest = _Stays(
            stays.role[short], stays.barred[short], done[short], after[short], stays.end[short],
            new=False,
        )  # fmt: skip
        return second, state, begun - len(rest.role), rest

    def saved(self, drawn: _Drawn) -> FloatArray:
        """What the card saves at each second. [reference-core s/s]"""
        return drawn.saving - self.classes.lost(drawn.card, drawn.displays)


@dataclass(frozen=True, eq=False)
class _Stays:
    """Stays on the line of time, by role, those that may use the card first."""

    role: IntArray
    barred: npt.NDArray[np.bool_]
    begin: FloatArray  # one second late, so that rounding down gives the first full second
    first: IntArray
    end: IntArray
    new: bool = True


def _exact(weight: FloatArray) -> FloatArray:
    return np.round(weight / _GRAIN) * _GRAIN


class _Table:
    """Draws states by a table of equal cells; a cell across a border is looked at again."""

    def __init__(self, states: IntArray, chance: FloatArray) -> None:
        self.states = states.astype(np.uint16)
        self.upto = np.cumsum(chance)
        self.upto[-1] = 1.0
        low = np.searchsorted(self.upto, np.arange(_CELLS) / _CELLS, side="right")
        high = np.searchsorted(self.upto, (np.arange(_CELLS) + 1) / _CELLS)
        self.cells = np.where(low == high, self.states[np.minimum(low, len(states) - 1)], _REDRAW)
        self.cells = self.cells.astype(np.uint16)

    def draw(self, rng: np.random.Generator, number: int) -> npt.NDArray[np.uint16]:
        cell = rng.integers(0, _CELLS, number, dtype=np.uint16)
        state = self.cells.take(cell)
        again = np.flatnonzero(state == _REDRAW)
        exact = (cell[again] + rng.random(len(again))) / _CELLS
        state[again] = self.states[np.searchsorted(self.upto, exact, side="right")]
        return state


class _Classes:
    """States that are alike to the card, most active first, and the displays they move.

    Several whole numbers are packed into one float, so that one sum over changes serves them.
    """

    def __init__(self, of: Kinds, card: Accelerator, sessions: int) -> None:
        self.accelerator = card
        states, found = len(of.chance), dict[tuple[float, ...], list[int]]()
        for state in np.argsort(-of.pixel_rate_mpx_s, kind="stable"):
            first, moving = of.first[state], of.moving[state]
            if moving:
                saves = of.demand[first] - of.demand[first : first + moving + 1]
                found.setdefault((of.pixel_rate_mpx_s[state], *saves), []).append(int(state))
        self.rates = [key[0] for key in found]
        self.saves = [np.array(key[1:]) for key in found]  # by displays with a slot
        moving = np.concatenate([of.moving, np.zeros(states + 1)])
        pixels = moving * np.append(np.tile(of.pixel_rate_mpx_s, 2), 0.0)
        bits = int(np.ceil(np.log2(sessions * max(moving.max(), 1) + 1)))
        self.bits, self.per_pack = bits, max(_BITS // bits, 1)
        self.pixel_span = 2.0 ** np.ceil(np.log2(sessions * max(float(pixels.max()), 1.0) * 2))
        grain = self.pixel_span * 2.0 ** (bits - _BITS)
        self.weights = [moving * self.pixel_span + np.round(pixels / grain) * grain]
        tight = sessions * moving.max() > card.slots
        if tight or sessions * pixels.max() > card.megapixels_per_s * (1 - 1e-6):
            for number, members in enumerate(reversed(found.values())):
                if number % self.per_pack == 0:
                    self.weights.append(np.zeros(2 * states + 1))
                self.weights[-1][members] = moving[members] * 2.0 ** (
                    number % self.per_pack * bits
                )

    def lost(self, card: FloatArray, packs: list[FloatArray]) -> FloatArray:
        """Saving lost for want of room on the card, at each second. [reference-core s/s]"""
        limits = self.accelerator
        lost = np.zeros(card.shape)
        if not packs:
            return lost
        wanted = np.floor(card / self.pixel_span)
        too_many = card - wanted * self.pixel_span > limits.megapixels_per_s * (1 - 1e-6)
        at = np.nonzero(too_many)
        if at[0].size:
            classes = range(len(self.rates))
            displays = np.array([self._displays(packs, number, at) for number in classes])
            served = assign_most_active_first(displays, self.rates, limits)
            lost[at] = sum(self._lost(n, displays[n], displays[n] - served[n]) for n in classes)
        flat, packs = lost.reshape(-1), [pack.reshape(-1) for pack in packs]
        over = np.flatnonzero((wanted > limits.slots) & ~too_many)
        excess = wanted.reshape(-1)[over].astype(np.int64) - limits.slots
        for number in reversed(range(len(self.rates))):  # the least active give way first
            if over.size == 0:
                break
            displays = self._displays(packs, number, over)
            without = np.minimum(displays, excess)
            flat[over] += self._lost(number, displays, without)
            left = excess > without
            over, excess = over[left], (excess - without)[left]
        return lost

    def _displays(self, packs: list[FloatArray], number: int, at: Any) -> IntArray:
        pack, place = divmod(len(self.rates) - 1 - number, self.per_pack)
        return packs[pack][at].astype(np.int64) >> place * self.bits & (1 << self.bits) - 1

    def _lost(self, number: int, displays: IntArray, without: IntArray) -> FloatArray:
        saves = self.saves[number]
        each = len(saves) - 1
        if each == 1:
            return without * saves[1]
        full, rest = np.divmod(displays - without, each)
        return (displays // each - full) * saves[each] - saves[rest]


class _Tally:
    """The demand of one arm, second by second, and what becomes of it."""

    def __init__(self, replicates: int, length_s: int, capacity: float) -> None:
        self.capacity = capacity
        self.demand_pct = np.empty((replicates, length_s), dtype=np.float32)
        self.wanted = self.dropped = self.carried = 0.0

    def add(self, first: int, app: FloatArray, encode: FloatArray) -> None:
        """Serve some days, the first of them in that row."""
        offered = app + encode
        self.wanted += float(encode.sum())
        if offered.max() > self.capacity:
            before, most = carried_over(app, self.capacity)
            self.carried = max(self.carried, most)
            offered += before
            self.dropped += float(np.clip(offered - self.capacity, 0, encode).sum())
        np.multiply(
            offered, 100 / self.capacity, out=self.demand_pct[first : first + len(app)],
            casting="same_kind",
        )  # fmt: skip

    def result(
        self, arm: Arm, start_s: int, present_mean: FloatArray, changes: int
    ) -> DayResult:
        """Sum up all days."""
        demand = self.demand_pct
        replicates, length = demand.shape
        minutes = np.ascontiguousarray(
            demand.reshape(replicates, length // 60, 60).transpose(1, 0, 2)
        ).reshape(length // 60, -1)
        at = [int(np.ceil(share * minutes.shape[1])) - 1 for share in (0.50, 0.95)]
        minutes.partition(sorted({*at, minutes.shape[1] - 1}), axis=1)
        p50, p95, highest = (minutes[:, i].astype(float) for i in (*at, minutes.shape[1] - 1))
        rank = int(np.ceil(0.99 * demand.size)) - 1
        crest = float(np.partition(demand, rank, axis=None)[rank])
        mean = float(demand.mean(dtype=np.float64))
        above = [np.count_nonzero(demand > limit) / replicates / 60 for limit in (85, 100)]
        return DayResult(
            arm=arm,
            start_s=start_s,
            minute_s=np.arange(0, length, 60),
            demand_p50_pct=p50,
            demand_p95_pct=p95,
            demand_max_pct=highest,
            present_mean=present_mean,
            crest_pct=crest,
            mean_pct=mean,
            crest_factor=crest / mean if mean > 0 else 1.0,
            minutes_above_85_pct=above[0],
            minutes_above_100_pct=above[1],
            frames_dropped_pct=self.dropped / self.wanted * 100 if self.wanted > 0 else 0.0,
            carried_over_core_s=self.carried,
            changes=changes,
        )


def carried_over(work: FloatArray, capacity: float) -> tuple[FloatArray, float]:
    """Return the work left over from the second before, and the most that is ever left.

    Parameters
    ----------
    work : array of shape (days, seconds), 0 or more
        Work that arrives in each second. [reference-core s]
    capacity : float, above 0
        Work done in a second at most. [reference-core s]

    Returns
    -------
    tuple of array of shape (days, seconds) and float
        Work carried over into each second, and the most carried out of one. [reference-core s]

    Source
    ------
    D. V. Lindley, The theory of queues with a single server, 1952,
    doi:10.1017/S0305004100027638: left = max(left before + work - capacity, 0).
    """
    before = np.zeros(work.shape)
    if work.max(initial=0.0) <= capacity:
        return before, 0.0
    surplus = np.cumsum(work - capacity, axis=1)
    left = surplus - np.minimum(np.minimum.accumulate(surplus, axis=1), 0)
    before[:, 1:] = left[:, :-1]
    return before, float(left.max())
