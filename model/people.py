"""Who is there at each second of a working day, what do they do, and what does that ask for?

People come and go along a presence curve, log on, and change from activity to activity. Stays and
changes of activity are laid end to end on one line of time, day after day; what they ask of the
CPU and of the card is summed over the sessions, never held for each of them.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from model.accelerator import Accelerator, assign_most_active_first
from model.cpu import core_rate
from model.hosts import Arm, Kinds, kinds
from model.scenario import Day, Scenario

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

CHUNK = 400_000  # our choice: changes of activity handled at once
_CELLS = 65_536  # of the table by which an activity is drawn
_REDRAW = np.iinfo(np.uint16).max  # a cell that holds more than one activity
_BITS = 52  # of a whole number that a float holds, and adds without rounding
_GRAIN = 2.0**-28  # work per second is rounded to it, so that its sums are exact
_APP, _ENCODE, _SAVING, _CARD, _PACKS = range(5)  # rows of what is summed over the sessions


class Drawn:
    """Sums over the sessions; for each day one row of its seconds and the one after them."""

    def __init__(self, rows: int, days: int, length_s: int) -> None:
        self.shape = (days, length_s + 1)
        self.changing = np.zeros((rows, days * (length_s + 1)))
        self.present = np.zeros(length_s + 1)  # over the days [sessions]
        self.changes = 0
        self._summed: dict[int, FloatArray] = {}

    def each_second(self, row: int) -> FloatArray:
        """Return a quantity at each second, day after day."""
        if row not in self._summed:
            self._summed[row] = np.cumsum(self.changing[row])
        return self._summed[row]


@dataclass(frozen=True, eq=False)
class _Stays:
    """Stays on the line of time, by role, those that may use the card first."""

    role: IntArray
    barred: npt.NDArray[np.bool_]
    begin: FloatArray  # one second late, so that rounding down gives the first full second
    first: IntArray
    end: IntArray


class People:
    """All that is the same for each day of a scenario: habits and what activities cost."""

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        card = scenario.accelerator
        self.use_card = card.slots > 0 and card.share_pct > 0
        of = kinds(scenario)
        states, roles = len(of.chance), len(scenario.roles)
        # States of sessions that may use the card, then of those that may not, then "absent".
        dwell_s = np.array([activity.dwell_s for activity in scenario.activities])[of.activity]
        self.dwell_s = np.concatenate([dwell_s, dwell_s, [0.0]]).astype(np.float32)
        self.barred_from, self.absent = states, 2 * states
        self.habit: dict[int, _Table] = {}
        self.following: dict[int, _Table] = {}
        self.rate, self.spread_s = np.ones(roles), np.zeros(roles)
        for role in np.unique(of.role):
            own = np.flatnonzero(of.role == role)
            chance = of.chance[own] / of.chance[own].sum()
            rate = float((chance / dwell_s[own]).sum())
            following = chance / dwell_s[own] / rate
            self.habit[role] = _Table(own, chance)
            self.following[role] = _Table(own, following)
            self.rate[role] = rate
            self.spread_s[role] = (2 * following @ dwell_s[own] ** 2 - rate**-2) ** 0.5
        self.changes_per_session = float(self.rate[list(self.habit)].max()) * scenario.day.length_s

        none, app = np.zeros(states + 1), of.app_demand[of.first]
        encode = of.demand[of.first] - app
        saving = of.demand[of.first] - of.demand[of.first + of.moving]
        self.card = Card(of, card, scenario.sessions)
        self.weights = [
            _exact(np.concatenate([app, app, [0.0]])),
            _exact(np.concatenate([encode, encode, [0.0]])),
            _exact(np.concatenate([saving, none])),
            *(np.concatenate([weight, none]) for weight in self.card.weights),
        ]

    def draw(self, rng: np.random.Generator, days: int, with_card: bool) -> Drawn:
        """Draw some days; the numbers drawn do not depend on the card."""
        day, sessions = self.scenario.day, self.scenario.sessions
        weights = self.weights if with_card and self.use_card else self.weights[:_SAVING]
        drawn = Drawn(len(weights), days, day.length_s)
        shares = np.cumsum([role.weight_pct for role in self.scenario.roles])
        upto = np.floor(shares / shares[-1] * sessions + rng.random((days, 1)))
        upto[:, -1] = sessions
        counts = np.diff(upto, prepend=0, axis=1).astype(int).ravel()
        role = np.repeat(np.tile(np.arange(len(shares)), days), counts)
        strata = np.argsort(rng.random((days, sessions)), axis=1)
        rank = ((strata + rng.random((days, sessions))) / sessions).ravel()
        entitled = rng.random(days * sessions)
        barred = entitled >= self.scenario.accelerator.share_pct / 100
        start = np.repeat(np.arange(days) * drawn.shape[1], sessions)
        order = np.lexsort((entitled, role))
        size = max(int(CHUNK / max(self.changes_per_session, len(day.present_pct))), 1)
        for begin in range(0, len(order), size):
            who = order[begin : begin + size]
            session, come_s, leave_s = _presence(day, rank[who])
            first, last = np.ceil(come_s).astype(np.int64), np.ceil(leave_s).astype(np.int64)
            np.add.at(drawn.present, first, 1.0)
            np.add.at(drawn.present, last, -1.0)
            who = who[session]
            base = start[who]
            arrives = (np.diff(session, prepend=-1) > 0) & (come_s > 0)
            self._log_on(drawn.changing[_APP], (base + first)[arrives], base[arrives])
            stays = _Stays(role[who], barred[who], base + come_s + 1, base + first, base + last)
            tables = self.habit
            while len(stays.role):
                second, state, begun, stays = self._activities(rng, stays, tables)
                drawn.changes += begun
                for row, weight in enumerate(weights):
                    value = weight.take(state)
                    value[1:] = value[1:] - value[:-1]
                    np.add.at(drawn.changing[row], second, value)
                tables = self.following
        drawn.present = np.cumsum(drawn.present)
        return drawn

    def app_work(self, drawn: Drawn) -> FloatArray:
        """Return the work of applications, the same on both arms. [reference-core s/s]"""
        return drawn.each_second(_APP)

    def encoding_work(self, drawn: Drawn, arm: Arm) -> FloatArray:
        """Return the encoding that is left to the CPU at each second. [reference-core s/s]"""
        encode = drawn.each_second(_ENCODE)
        if arm == "offloaded" and self.use_card:
            encode = encode - drawn.each_second(_SAVING) + self.card.lost(drawn)
        return encode

    def slots_in_use(self, drawn: Drawn) -> IntArray:
        """Return the display slots taken at each second; none where no session may use them."""
        if not self.use_card:
            return np.zeros(drawn.changing.shape[1], dtype=np.int64)
        return self.card.slots_in_use(drawn)

    def _log_on(self, work: FloatArray, at: IntArray, day: IntArray) -> None:
        """Add logons that begin at those places of the line, in days that begin at those."""
        rate = float(_exact(core_rate(self.scenario.host, self.scenario.reference_clock_ghz)))
        whole, rest = divmod(self.scenario.day.logon_core_s, rate)
        end = day + self.scenario.day.length_s
        np.add.at(work, at, rate)
        np.add.at(work, np.minimum(at + int(whole), end), _exact(rest) - rate)
        np.add.at(work, np.minimum(at + int(whole) + 1, end), -_exact(rest))

    def _activities(
        self, rng: np.random.Generator, stays: _Stays, tables: "dict[int, _Table]"
    ) -> tuple[IntArray, npt.NDArray[np.uint16], int, _Stays]:
        """Fill stays; return where activities begin, which, how many, and what is not filled.

        As many are drawn for each stay as will mostly do, and then "absent"; the stays that
        they do not fill are handed back. `tables` draw the first activity of each stay.
        """
        mean = np.maximum(stays.end - stays.begin, 0) * self.rate[stays.role]
        many = np.sqrt(mean) * self.spread_s[stays.role] * self.rate[stays.role] + mean + 3
        upto = np.cumsum(many.astype(np.int64))
        last = upto - 1
        first = np.concatenate([[0], upto[:-1]])
        state = np.empty(upto[-1], dtype=np.uint16)
        for role in self.habit:
            low, high = np.searchsorted(stays.role, (role, role + 1))
            if low < high:
                span = slice(first[low], upto[high - 1])
                state[span] = self.following[role].draw(rng, span.stop - span.start)
                state[first[low:high]] = tables[role].draw(rng, high - low)
                cut = low + np.searchsorted(stays.barred[low:high], True)
                state[upto[cut - 1] if cut else 0 : span.stop] += np.uint16(self.barred_from)
        state[last] = self.absent
        lasts = rng.standard_exponential(len(state), dtype=np.float32)
        lasts *= self.dwell_s.take(state)
        done = stays.begin + np.add.reduceat(lasts, first, dtype=np.float64)
        time = np.empty(len(state))
        time[1:] = lasts[:-1]
        time[first] = stays.begin
        time[first[1:]] -= done[:-1]
        second = np.cumsum(time, out=time).astype(np.int64)
        second[first] = stays.first
        end = np.repeat(stays.end, np.diff(upto, prepend=0))
        after = second[last]
        short = after < stays.end
        begun = int(np.count_nonzero(second < end)) - int(np.count_nonzero(short))
        rest = _Stays(
            stays.role[short], stays.barred[short], done[short], after[short], stays.end[short]
        )
        return np.minimum(second, end, out=second), state, begun, rest


def _presence(day: Day, rank: FloatArray) -> tuple[IntArray, FloatArray, FloatArray]:
    """Session, beginning and end of each stay [s], sorted: rank below the presence curve."""
    points = np.array(day.present_points)
    inside = (points[:, 0] > 0) & (points[:, 0] < day.length_s)
    at = np.concatenate([[0.0], points[inside, 0], [float(day.length_s)]])
    share = np.interp(at, points[:, 0], points[:, 1])
    above = np.zeros((len(rank), len(at) + 2), dtype=bool)
    above[:, 1:-1] = share > rank[:, None]
    session, come = np.nonzero(above[:, 1:] & ~above[:, :-1])
    leave = np.nonzero(above[:, :-1] & ~above[:, 1:])[1]

    def crossing(piece: IntArray) -> FloatArray:
        before, after = np.maximum(piece - 1, 0), np.minimum(piece, len(at) - 1)
        rise = share[after] - share[before]
        part = (rank[session] - share[before]) / np.where(rise == 0, 1, rise)
        when: FloatArray = at[before] + part * (at[after] - at[before])
        return when

    return session, crossing(come), crossing(leave)


def _exact(weight: npt.ArrayLike) -> FloatArray:
    rounded: FloatArray = np.round(np.asarray(weight) / _GRAIN) * _GRAIN
    return rounded


class _Table:
    """Draws states by a table of equal cells; in a cell with a border it looks more closely."""

    def __init__(self, states: IntArray, chance: FloatArray) -> None:
        self.states = states.astype(np.uint16)
        self.upto = np.cumsum(chance)[:-1]  # the last state reaches to 1
        borders = np.minimum(self.upto * _CELLS, _CELLS - 1).astype(int)
        self.cells = np.repeat(self.states, np.diff(borders, prepend=0, append=_CELLS))
        self.cells[borders] = _REDRAW

    def draw(self, rng: np.random.Generator, number: int) -> npt.NDArray[np.uint16]:
        """Draw so many states."""
        cell = rng.integers(0, _CELLS, number, dtype=np.uint16)
        state = self.cells.take(cell)
        again = np.flatnonzero(state == _REDRAW)
        exact = (cell[again] + rng.random(len(again))) / _CELLS
        state[again] = self.states[np.searchsorted(self.upto, exact, side="right")]
        return state


class Card:
    """What the card is asked for, and what is lost where that is too much.

    States that are alike to the card are one class. Whole numbers are packed into one float,
    displays and pixel rate first, then the displays of several classes, least active first, so
    that few sums over the changes serve all.
    """

    def __init__(self, of: Kinds, card: Accelerator, sessions: int) -> None:
        self.limits = card
        classes: dict[tuple[float, ...], list[int]] = {}
        for state in np.argsort(of.pixel_rate_mpx_s, kind="stable"):
            first, moving = of.first[state], of.moving[state]
            if moving:
                saves = _exact(of.demand[first] - of.demand[first : first + moving + 1])
                classes.setdefault((of.pixel_rate_mpx_s[state], *saves), []).append(state)
        self.rates = [key[0] for key in classes]
        self.saves = [np.array(key[1:]) for key in classes]  # by displays that have a slot
        pixels = of.moving * of.pixel_rate_mpx_s
        most, most_pixels = sessions * int(of.moving.max()), sessions * float(pixels.max())
        self.bits = most.bit_length() + 1
        self.pixel_limit = card.megapixels_per_s * (1 - 1e-6)
        self.pixel_span = 2.0 ** np.ceil(np.log2(most_pixels * 2 + 1))
        grain = self.pixel_span * 2.0 ** (self.bits - _BITS)
        self.weights = [of.moving * self.pixel_span + np.round(pixels / grain) * grain]
        self.binds = most > card.slots or most_pixels > self.pixel_limit
        self.places = []  # of each class: which row, and which bits of it
        for number, members in enumerate(classes.values() if self.binds else ()):
            pack, place = divmod(number, _BITS // self.bits)
            if place == 0:
                self.weights.append(np.zeros(len(of.chance)))
            self.weights[-1][members] = of.moving[members] * 2.0 ** (place * self.bits)
            self.places.append((_PACKS + pack, place * self.bits))

    def lost(self, drawn: Drawn) -> FloatArray:
        """Saving lost for want of room on the card. [reference-core s/s]"""
        lost = np.zeros(drawn.changing.shape[1])
        if not self.binds:
            return lost
        wanted, heavy = self._wanted(drawn)
        classes = range(len(self.rates))
        at = np.flatnonzero(heavy)
        if at.size:
            displays, served = self._served(drawn, at)
            for n in classes:
                lost[at] += self._lost(n, displays[-1 - n], (displays - served)[-1 - n])
        at = np.flatnonzero((wanted > self.limits.slots) & ~heavy)
        excess = wanted[at].astype(np.int64) - self.limits.slots
        for n in classes:  # only slots are short: the least active go without
            if at.size:
                displays = self._displays(drawn, n, at)
                without = np.minimum(displays, excess)
                lost[at] += self._lost(n, displays, without)
                more = excess > without
                at, excess = at[more], (excess - without)[more]
        return lost

    def slots_in_use(self, drawn: Drawn) -> IntArray:
        """Display slots taken at each second."""
        wanted, heavy = self._wanted(drawn)
        in_use = np.minimum(wanted, self.limits.slots).astype(np.int64)
        at = np.flatnonzero(heavy) if self.binds else np.empty(0, dtype=np.int64)
        if at.size:
            in_use[at] = self._served(drawn, at)[1].sum(axis=0)
        return in_use

    def _wanted(self, drawn: Drawn) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
        """Displays that want a slot at each second, and where their pixel rate is too high."""
        asked = drawn.each_second(_CARD)
        wanted = np.floor(asked / self.pixel_span)
        return wanted, asked - wanted * self.pixel_span > self.pixel_limit

    def _served(self, drawn: Drawn, at: IntArray) -> tuple[IntArray, IntArray]:
        """Displays of each class, most active first, and how many of them have a slot."""
        displays = np.array([self._displays(drawn, n, at) for n in range(len(self.rates))[::-1]])
        return displays, assign_most_active_first(displays, self.rates[::-1], self.limits)

    def _displays(self, drawn: Drawn, number: int, at: IntArray) -> IntArray:
        row, shift = self.places[number]
        return drawn.each_second(row)[at].astype(np.int64) >> shift & (1 << self.bits) - 1

    def _lost(self, number: int, displays: IntArray, without: IntArray) -> FloatArray:
        saves = self.saves[number]
        each = len(saves) - 1
        full, rest = np.divmod(displays - without, each)
        lost: FloatArray = (displays // each - full) * saves[each] - saves[rest]
        return lost
