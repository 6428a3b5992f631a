"""What does a working day ask of the CPU, session by session and second by second?

A plain event simulation: a heap of arrivals, changes of activity and departures, and running sums
that are read at every full second. It shares with Crestline the scenario's records and the rules
of the day, and none of the code that draws and sums it.
"""

from dataclasses import dataclass
from heapq import heapify, heappop, heappush
from itertools import accumulate
from random import Random

import numpy as np
import numpy.typing as npt

from model.cpu import capacity_curve, core_rate
from model.scenario import Scenario
from model.sessions import Activity, Role

FloatArray = npt.NDArray[np.float64]
_CHANGE, _LEAVE = range(2)


@dataclass(frozen=True, eq=False)
class _Doing:
    """What one session asks for: work [core·s/s], displays in motion, their rate [Mpixel/s]."""

    app: float
    encode: float
    saved: tuple[float, ...]  # by the displays that have a slot
    moving: int
    rate: float
    dwell_s: float


def plain_day(scenario: Scenario, seed: int) -> tuple[FloatArray, int]:
    """Return the demand of one day without and with the card, and how many events it took.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    seed : int
        Seed of all chance. [-]

    Returns
    -------
    tuple of array of shape (2, seconds) and int
        Demand at every second, work carried over included. [% of capacity]
    """
    rng = Random(seed)
    length = scenario.day.length_s
    clock, sessions = scenario.reference_clock_ghz, scenario.sessions
    capacity = float(capacity_curve(scenario.host, clock, scenario.host.threads))
    one_core = float(core_rate(scenario.host, clock))
    habits = [_habit(scenario, role, one_core) for role in scenario.roles]
    roles = _roles(scenario, rng)
    ranks = [(place + rng.random()) / sessions for place in rng.sample(range(sessions), sessions)]
    entitled = [rng.random() * 100 < scenario.accelerator.share_pct for _ in range(sessions)]
    if scenario.accelerator.slots == 0:
        entitled = [False] * sessions

    logon = [0.0] * length
    coming: list[tuple[float, int, float]] = []
    for session, rank in enumerate(ranks):
        stays = _stays(scenario, rank)
        coming += [(come, session, leave) for come, leave in stays]
        if stays and stays[0][0] > 0:
            left, second = scenario.day.logon_core_s, -int(-stays[0][0] // 1)
            while left > 0 and second < length:
                logon[second] += min(left, one_core)
                left, second = left - one_core, second + 1
    heapify(coming)

    changing: list[tuple[float, int, int]] = []
    doing: dict[int, _Doing] = {}
    until = [0.0] * sessions
    in_motion = {each for states, _, _ in habits for each in states if each.moving and each.rate}
    order = sorted(in_motion, key=lambda each: -each.rate)
    numbers = dict.fromkeys(order, 0)  # of sessions that may use the card
    app = encode = saved = 0.0
    carried = 0.0
    displays, pixels = 0, 0.0
    events = 0
    slots = scenario.accelerator.slots
    most_pixels = scenario.accelerator.megapixels_per_s * (1 - 1e-6)
    demand = np.empty((2, length))
    for second in range(length):
        while (coming and coming[0][0] <= second) or (changing and changing[0][0] <= second):
            if coming and (not changing or coming[0][0] <= changing[0][0]):
                now, session, leave = heappop(coming)
                until[session] = leave
                kind, first = _CHANGE, True
            else:
                now, session, kind = heappop(changing)
                first = False
            events += 1
            if old := doing.pop(session, None):
                app, encode = app - old.app, encode - old.encode
                if entitled[session] and old in numbers:
                    numbers[old] -= 1
                    saved -= old.saved[-1]
                    displays, pixels = displays - old.moving, pixels - old.moving * old.rate
            if kind == _LEAVE:
                continue
            states, habit, following = habits[roles[session]]
            new = rng.choices(states, cum_weights=habit if first else following)[0]
            doing[session] = new
            app, encode = app + new.app, encode + new.encode
            if entitled[session] and new in numbers:
                numbers[new] += 1
                saved += new.saved[-1]
                displays, pixels = displays + new.moving, pixels + new.moving * new.rate
            ends = now + rng.expovariate(1 / new.dwell_s)
            leaves = ends >= until[session]
            end = (until[session], session, _LEAVE) if leaves else (ends, session, _CHANGE)
            heappush(changing, end)
        saving = saved
        if displays > slots or pixels > most_pixels:
            saving = _saved(order, numbers, slots, most_pixels)
        work = app + logon[second] + carried
        demand[0, second] = work + encode
        demand[1, second] = work + encode - saving
        carried = max(0.0, work - capacity)
    return demand * (100 / capacity), events


def _saved(order: list[_Doing], numbers: dict[_Doing, int], slots: int, pixels: float) -> float:
    """What the card saves where not all find room, the most active served first."""
    saving = 0.0
    for each in order:
        served = min(numbers[each] * each.moving, slots, int(pixels / each.rate))
        slots, pixels = slots - served, pixels - served * each.rate
        whole, part = divmod(served, each.moving)
        saving += whole * each.saved[-1] + each.saved[part]
        if slots == 0:
            break
    return saving


def _habit(
    scenario: Scenario, role: Role, one_core: float
) -> tuple[list[_Doing], list[float], list[float]]:
    """Activities of a role; shares of time and of changes, summed up."""
    found = [
        (_doing(role, activity, one_core), role.activity_pct[activity.name])
        for activity in scenario.activities
        if role.activity_pct.get(activity.name, 0) > 0
    ]
    states = [each for each, _ in found]
    time = list(accumulate(share for _, share in found))
    return states, time, list(accumulate(share / each.dwell_s for each, share in found))


def _doing(role: Role, activity: Activity, one_core: float) -> _Doing:
    moving = role.displays_in_motion(activity)

    def demand(on_card: int) -> float:
        encode = role.encode_ms_per_frame(activity, on_card) * activity.frame_rate_hz / 1000
        if role.vcpus == 1 and moving:
            return min(activity.app_cores + encode, one_core)
        return min(activity.app_cores, one_core) + (min(encode, one_core) if moving else 0.0)

    app = min(activity.app_cores, one_core)
    return _Doing(
        app=app,
        encode=demand(0) - app,
        saved=tuple(demand(0) - demand(n) for n in range(moving + 1)),
        moving=moving,
        rate=role.pixel_rate_mpx_s(activity) if moving else 0.0,
        dwell_s=activity.dwell_s,
    )


def _roles(scenario: Scenario, rng: Random) -> list[int]:
    """The role of each session: shares of all, the odd one by chance."""
    weights = list(accumulate(role.weight_pct for role in scenario.roles))
    odd = rng.random()
    upto = [int(weight / weights[-1] * scenario.sessions + odd) for weight in weights[:-1]]
    upto.append(scenario.sessions)
    return [next(r for r, end in enumerate(upto) if n < end) for n in range(scenario.sessions)]


def _stays(scenario: Scenario, rank: float) -> list[tuple[float, float]]:
    """When a session is there: while the presence curve lies above its rank. [s]"""
    length = float(scenario.day.length_s)
    times, shares = zip(*scenario.day.present_points, strict=True)
    inner = [time for time in times if 0 < time < length]
    stays: list[tuple[float, float]] = []
    begun: float | None = None
    before, last = float(np.interp(0, times, shares)), 0.0
    if before > rank:
        begun = 0.0
    for time in [*inner, length]:
        after = float(np.interp(time, times, shares))
        if (before > rank) != (after > rank):
            crossing = last + (rank - before) / (after - before) * (time - last)
            if begun is None:
                begun = crossing
            else:
                stays.append((begun, crossing))
                begun = None
        before, last = after, time
    if begun is not None:
        stays.append((begun, length))
    return stays
