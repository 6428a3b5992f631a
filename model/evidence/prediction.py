"""What does the model say that a host's CPU shows while so many sessions are present?

`predicted_for` gives the distribution over single moments, mixed over the numbers present;
`predicted_series` simulates logs row by row, for whatever depends on how moments follow each
other. `work_done` goes the other way, from busy threads to the work that they do.
"""

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt

from model.accelerator import assign_most_active_first
from model.cpu import capacity_curve
from model.defaults import MOST_SESSIONS
from model.errors import InputError, MeasurementError, check_above, check_within
from model.evidence.record import FloatArray, IntArray
from model.hosts import Arm, Kinds, check_arm, kinds, sampled_hosts, steps_to
from model.scenario import Scenario

Counted = Literal["threads", "cores"]

MOST_ROWS = 200_000
_POINTS = 32_768  # of the lattice of demands
_FULL_SHARE = 0.9995  # of its cores, from which a counter of cores is taken as full


@dataclass(frozen=True, eq=False)
class Distribution:
    """How often the host's CPU shows which value.

    Parameters
    ----------
    values_cores : array of shape (points,), rising
        Values. [cores]
    cumulative : array of shape (points,), rising to 1
        Chance of at most the value. [-]
    mean_cores : float
        Mean. [cores]
    """

    values_cores: FloatArray
    cumulative: FloatArray
    mean_cores: float

    def quantile(self, levels: npt.ArrayLike) -> FloatArray:
        """Return the values that are not exceeded in such shares of the time. [cores]"""
        found: FloatArray = np.interp(np.asarray(levels), self.cumulative, self.values_cores)
        return found


def predicted_for(
    scenario: Scenario,
    sessions_present: npt.ArrayLike,
    arm: str = "software",
    counted: Counted = "threads",
) -> Distribution:
    """Return the predicted distribution of a host's CPU while so many sessions were present.

    Parameters
    ----------
    scenario : Scenario
        The host and the habits of its people.
    sessions_present : array of shape (rows,), 0 or more
        Sessions at each moment; rounded to whole ones. [sessions]
    arm : str
        "software" or "offloaded".
    counted : str
        What a "core" is: "threads" of the hardware, or "cores".

    Returns
    -------
    Distribution
        Of single moments; at most all threads or cores of the host. Without sessions, 0.

    Raises
    ------
    InputError
        For an unknown arm, no row, or a number below 0.

    Notes
    -----
    Sessions are independent, so the transform of the demand of N of them is the N-th power of
    one's, and the mixture over the numbers present needs a single transform back. Where the
    card's limits bind, the nearest step of the sampled hosts stands in, scaled to the number.
    Demand becomes busy threads through the host's capacity curve, which knows turbo and SMT: the
    first thread of each core does most of the work, so that a host at 80 % of its capacity shows
    half of its threads busy. The reserve counts as busy in proportion. The number of busy threads
    is taken to stay the same within one reading.

    Source
    ------
    Our own composition; see `model.demand` and `model.cpu`.
    """
    checked = check_arm(arm)
    rounded = _checked_present(sessions_present)
    numbers, rows = np.unique(rounded, return_counts=True)
    weights = rows / rows.sum()
    of = kinds(scenario)
    most = max(int(numbers[-1]), 1)
    binds = np.zeros(len(numbers), dtype=bool)
    if checked == "offloaded" and scenario.accelerator.slots > 0:
        hosts = sampled_hosts(scenario, of, checked, most)
        ladder = steps_to(most)
        step = np.abs(ladder[None, :] - numbers[:, None]).argmin(axis=1)
        binds = hosts.limit_binds[step] & (numbers > 0)

    parts_values, parts_weights = [], []
    if not binds.all():
        values, chance = _mixture(scenario, of, checked, numbers[~binds], weights[~binds])
        parts_values.append(values)
        parts_weights.append(chance)
    for number, weight, at in (
        zip(numbers[binds], weights[binds], step[binds], strict=True) if binds.any() else ()
    ):
        row = int(np.flatnonzero(np.flatnonzero(hosts.limit_binds) == at)[0])
        drawn = hosts.demand[row] * (number / ladder[at])
        parts_values.append(drawn)
        parts_weights.append(np.full(len(drawn), weight / len(drawn)))
    demand, chance = np.concatenate(parts_values), np.concatenate(parts_weights)
    order = np.argsort(demand, kind="stable")
    values = _busy(scenario, demand[order], counted)
    chance = chance[order] / chance.sum()
    keep = chance > 1e-15
    return Distribution(values[keep], np.cumsum(chance[keep]), float(values @ chance))


def predicted_series(
    scenario: Scenario,
    sessions_present: npt.ArrayLike,
    interval_s: float,
    arm: str = "software",
    counted: Counted = "threads",
    seed: int = 1,
    series: int = 1,
) -> FloatArray:
    """Return simulated readings of a host's CPU while so many sessions were present.

    Parameters
    ----------
    scenario : Scenario
        The host and the habits of its people.
    sessions_present : array of shape (rows,), 0 or more
        Sessions at each moment; rounded to whole ones. [sessions]
    interval_s : float, above 0
        Time from one row to the next. [s]
    arm : str
        "software" or "offloaded".
    counted : str
        What a "core" is: "threads" of the hardware, or "cores".
    seed : int
        Starts the draws. [-]
    series : int, 1 or more
        How many to draw. [series]

    Returns
    -------
    array of shape (series, rows)
        CPU at each moment. [core s/s]

    Raises
    ------
    InputError
        For an unknown arm, no row or more than 200,000, or a number below 0.

    Notes
    -----
    Each session goes from activity to activity through the whole log, staying in each for an
    exponential time, and counts while it is present; who came last leaves first. Roles, and who
    may use the card, have their shares among any number of first comers. Logons are not
    simulated.
    """
    checked = check_arm(arm)
    check_above("interval_s", interval_s, 0, unit="s")
    check_within("series", series, 1, 10_000)
    present = _checked_present(sessions_present)
    if len(present) > MOST_ROWS:
        raise MeasurementError("rows", len(present), f"at most {MOST_ROWS:,}; take every n-th row")
    of = kinds(scenario)
    rng = np.random.default_rng(seed)
    found = np.empty((series, len(present)))
    for row in range(series):
        demand = _simulated_demand(scenario, of, checked, present, interval_s, rng)
        found[row] = _busy(scenario, demand, counted)
    return found


def work_done(
    scenario: Scenario, shown_cores: npt.ArrayLike, counted: Counted = "threads"
) -> FloatArray:
    """Return the work that a host does while it shows so many threads or cores busy.

    Parameters
    ----------
    scenario : Scenario
        The host.
    shown_cores : array of shape (rows,), 0 or more
        What the host's counter shows: of 64 threads at 50 %, 32. [core s/s] NaN where missing.
    counted : str
        What a "core" is: "threads" of the hardware, or "cores".

    Returns
    -------
    array of shape (rows,)
        Work per second. [reference-core s/s] NaN where nothing is shown, and where a counter of
        cores is full, since second threads do not show there.

    Raises
    ------
    InputError
        For anything else counted, or a number below 0.

    Notes
    -----
    Busy threads are not proportional to work: with both threads of a core busy each does less
    than one alone. What sessions ask for adds up as work, so a total is turned into work before
    it is laid to their account (`model.evidence.demands`). What is shown is a mean over the
    reading; threads that come and go within it do a little less than is returned, since the curve
    bends downwards where second threads set in.
    """
    if counted not in get_args(Counted):
        raise InputError("counted", counted, '"threads" or "cores"')
    shown = np.asarray(shown_cores, dtype=float)
    known = np.isfinite(shown)
    if counted == "cores" and scenario.host.threads > scenario.host.cores:
        known = known & (shown < scenario.host.cores * _FULL_SHARE)
    work = np.full(shown.shape, np.nan)
    work[known] = capacity_curve(scenario.host, scenario.reference_clock_ghz, shown[known])
    return work


def _checked_present(sessions_present: npt.ArrayLike) -> IntArray:
    present = np.asarray(sessions_present, dtype=float)
    if present.ndim != 1 or present.size == 0:
        raise MeasurementError("sessions_present", present.size, "one number for each row")
    if not (np.isfinite(present).all() and present.min() >= 0 and present.max() <= MOST_SESSIONS):
        expected = f"numbers from 0 to {MOST_SESSIONS}"
        raise MeasurementError("sessions_present", "a number out of range", expected)
    whole: IntArray = np.rint(present).astype(np.int64)
    return whole


def _busy(scenario: Scenario, demand: FloatArray, counted: Counted) -> FloatArray:
    """Threads or cores that are busy while so much work is asked for. [cores]"""
    if counted not in ("threads", "cores"):
        raise InputError("counted", counted, '"threads" or "cores"')
    busy = np.arange(scenario.host.threads + 1, dtype=float)
    capacity = capacity_curve(scenario.host, scenario.reference_clock_ghz, busy)
    rising = np.concatenate([[True], np.diff(capacity) > 0])
    found: FloatArray = np.interp(demand, capacity[rising], busy[rising])
    return np.minimum(found, scenario.host.cores) if counted == "cores" else found


def _one_session(scenario: Scenario, of: Kinds, arm: Arm) -> tuple[FloatArray, FloatArray]:
    """Chance and demand of all that one session can be doing if every display has its slot."""
    card = scenario.accelerator
    share = card.share_pct / 100 if arm == "offloaded" and card.slots > 0 else 0.0
    chance = np.concatenate([of.chance * share, of.chance * (1 - share)])
    demand = np.concatenate([of.demand[of.first + of.moving], of.demand[of.first]])
    return chance[chance > 0], demand[chance > 0]


def _mixture(
    scenario: Scenario, of: Kinds, arm: Arm, numbers: IntArray, weights: FloatArray
) -> tuple[FloatArray, FloatArray]:
    chance, demand = _one_session(scenario, of, arm)
    most, largest = int(numbers[-1]), float(demand.max())
    mean = float(chance @ demand)
    spread = float(np.sqrt(chance @ (demand - mean) ** 2))
    length = min(most * largest, most * mean + 14 * spread * most**0.5 + 8 * largest)
    if length == 0:
        return np.zeros(1), np.array([weights.sum()])
    delta = length / (_POINTS - 2)
    place = demand / delta
    below = np.floor(place).astype(int)
    one = np.zeros(_POINTS)
    np.add.at(one, below, chance * (1 - (place - below)))
    np.add.at(one, np.minimum(below + 1, _POINTS - 1), chance * (place - below))
    transform = np.fft.rfft(one)
    current, reached = np.ones_like(transform), 0
    mixed = np.zeros_like(transform)
    for number, weight in zip(numbers, weights, strict=True):
        current = current * transform ** int(number - reached)
        reached = int(number)
        mixed += weight * current
    law = np.maximum(np.fft.irfft(mixed, _POINTS), 0)
    return np.arange(_POINTS) * delta, law


def _simulated_demand(
    scenario: Scenario,
    of: Kinds,
    arm: Arm,
    present: IntArray,
    interval_s: float,
    rng: np.random.Generator,
) -> FloatArray:
    """Demand at each row: every session's activities laid end to end. [reference-core s/s]"""
    rows, states = len(present), len(of.chance)
    card = scenario.accelerator
    use_card = arm == "offloaded" and card.slots > 0
    sessions = np.zeros((2 if use_card else 1, states, rows), dtype=np.int32)
    dwell_rows = np.array([a.dwell_s for a in scenario.activities])[of.activity] / interval_s
    role_upto = np.cumsum(np.bincount(of.role, of.chance))
    at_row = np.arange(rows)
    numbers = np.arange(int(present.max(initial=0)))
    role_of = np.searchsorted(role_upto, _spread_evenly(numbers, 5**0.5, rng) * role_upto[-1])
    may_use = use_card & (_spread_evenly(numbers, 2**0.5, rng) < card.share_pct / 100)
    for session in numbers:
        role, entitled = role_of[session], may_use[session]
        own = np.flatnonzero(of.role == role)
        habit = of.chance[own] / of.chance[own].sum()
        following = habit / dwell_rows[own]
        following = following / following.sum()
        state = [int(rng.choice(own, p=habit))]
        ends = [float(rng.exponential(dwell_rows[state[0]]))]
        many = max(int((rows / float(following @ dwell_rows[own])) * 1.2) + 8, 8)
        while ends[-1] < rows:
            drawn = rng.choice(own, many, p=following)
            state.extend(drawn)
            ends.extend(ends[-1] + np.cumsum(rng.exponential(dwell_rows[drawn])))
        doing = np.array(state)[np.searchsorted(np.array(ends), at_row, side="right")]
        here = present > session
        sessions[int(entitled), doing[here], at_row[here]] += 1
    demand: FloatArray = of.demand[of.first] @ sessions.sum(axis=0)
    if use_card:
        moving = of.moving[:, None]
        displays = sessions[1] * moving
        served = assign_most_active_first(displays, list(of.pixel_rate_mpx_s), card)
        full, rest = np.divmod(served, np.maximum(moving, 1))
        last = np.broadcast_to(of.first[:, None], rest.shape)
        demand = demand - (of.demand[of.first] - of.demand[of.first + of.moving]) @ full
        demand = demand - (of.demand[last] - of.demand[last + rest]).sum(axis=0)
    return demand


def _spread_evenly(numbers: IntArray, step: float, rng: np.random.Generator) -> FloatArray:
    """Numbers from 0 to 1 of which the first n always have about the right share below any."""
    spread: FloatArray = (rng.random() + numbers * step / 2) % 1
    return spread
