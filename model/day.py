"""How does the CPU of one host peak over a working day, without the card and with it?

People come and go along a presence curve, log on, and change from activity to activity.
`simulate_day_both` draws their day once for both arms, in steps of one second. It works on changes
of activity, laid end to end on one line of time, never on sessions times seconds.
"""

from dataclasses import dataclass

import numpy as np

from model.cpu import capacity_curve
from model.errors import InputError
from model.hosts import ARMS, Arm, check_arm
from model.laws import check_carried
from model.people import CHUNK, FloatArray, IntArray, People
from model.scenario import Scenario

MOST_REPLICATES = 1_000


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
    so that time is shared as the role's habit says; each stay begins afresh. An activity counts
    from the first full second after it began. The first arrival after the start of the day
    begins with a logon, on one core until it is done or the day ends. Demand is what a second
    is asked for: the work of applications and encoding, and the application work carried over
    from the second before. Applications come first; frames get what they leave, and what does
    not fit is dropped. Quantiles are values that occur: the k-th of n with k = n times the
    share, rounded up.

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
    check_whole("seed", seed, 0, None)
    check_whole("replicates", replicates, 1, MOST_REPLICATES)
    rng = np.random.default_rng(int(seed))
    people, length = People(scenario), scenario.day.length_s
    days = {arm: _Tally(scenario, replicates) for arm in arms}
    per_day = max(people.changes_per_session * scenario.sessions, length / 2)
    at_once = int(np.clip(CHUNK / per_day, 1, replicates))
    present, changes = np.zeros(length + 1), 0
    for first in range(0, replicates, at_once):
        drawn = people.draw(rng, min(at_once, replicates - first), "offloaded" in arms)
        present += drawn.present
        changes += drawn.changes
        for arm, tally in days.items():
            tally.add(first, people.app_work(drawn), people.encoding_work(drawn, arm))
    by_minute = (present[:length] / replicates).reshape(-1, 60).mean(axis=1)
    return {arm: tally.result(arm, by_minute, changes) for arm, tally in days.items()}


def check_whole(field: str, value: object, low: int, high: int | None) -> None:
    """Refuse what is not a whole number within its bounds.

    Parameters
    ----------
    field : str
        Name of the value.
    value : object
        The value.
    low : int
        Its lower bound. [-]
    high : int or None
        Its upper bound; None without one. [-]

    Raises
    ------
    InputError
        For anything else, a truth value included.
    """
    whole = isinstance(value, int | np.integer) and not isinstance(value, bool)
    if not (whole and low <= value and (high is None or value <= high)):  # type: ignore[operator]
        reach = f"of {low} or more" if high is None else f"from {low} to {high}"
        raise InputError(field, value, f"a whole number {reach}")


class _Tally:
    """The demand of one arm, second by second, and what becomes of it."""

    def __init__(self, scenario: Scenario, replicates: int) -> None:
        host = scenario.host
        self.capacity = float(capacity_curve(host, scenario.reference_clock_ghz, host.threads))
        self.start_s, self.length = scenario.day.start_s, scenario.day.length_s
        self.demand_pct = np.empty((self.length // 60, replicates, 60), dtype=np.float32)
        self.wanted = self.dropped = self.carried = 0.0

    def add(self, first: int, app: FloatArray, encode: FloatArray) -> None:
        """Serve some days, the first of them in that row; applications before frames."""
        offered = app + encode
        self.wanted += float(encode.sum())
        if offered.max() > self.capacity:
            arrived = app.reshape(-1, self.length + 1)[:, :-1]
            before = carried_over(arrived, self.capacity)
            check_carried(arrived, before, self.capacity)
            self.carried = max(self.carried, float(before.max()))
            offered += before.reshape(-1)
            self.dropped += float(np.clip(offered - self.capacity, 0, encode).sum())
        offered *= 100 / self.capacity
        by_day = offered.reshape(-1, self.length + 1)[:, :-1]
        by_minute = by_day.reshape(len(by_day), -1, 60).swapaxes(0, 1)
        self.demand_pct[:, first : first + len(by_day)] = by_minute

    def result(self, arm: Arm, present_mean: FloatArray, changes: int) -> DayResult:
        """Sum up all days."""
        days = self.demand_pct.shape[1]
        minutes = self.demand_pct.reshape(len(self.demand_pct), -1)
        at = [int(np.ceil(share * minutes.shape[1])) - 1 for share in (0.50, 0.95, 1)]
        minutes.partition(at, axis=1)
        p50, p95, highest = (minutes[:, rank].astype(float) for rank in at)
        demand = minutes.reshape(-1)
        rank = int(np.ceil(0.99 * demand.size)) - 1
        demand.partition(rank)
        crest, mean = float(demand[rank]), float(demand.mean(dtype=np.float64))
        return DayResult(
            arm=arm,
            start_s=self.start_s,
            minute_s=np.arange(0, self.length, 60),
            demand_p50_pct=p50,
            demand_p95_pct=p95,
            demand_max_pct=highest,
            present_mean=present_mean,
            crest_pct=crest,
            mean_pct=mean,
            crest_factor=crest / mean if mean > 0 else 1.0,
            minutes_above_85_pct=np.count_nonzero(demand > 85) / days / 60,
            minutes_above_100_pct=np.count_nonzero(demand > 100) / days / 60,
            frames_dropped_pct=self.dropped / self.wanted * 100 if self.wanted > 0 else 0.0,
            carried_over_core_s=self.carried,
            changes=changes,
        )


def carried_over(work: FloatArray, capacity: float) -> FloatArray:
    """Return the work that is left over from the second before.

    Parameters
    ----------
    work : array of shape (days, seconds)
        Work that arrives in each second. [reference-core s]
    capacity : float, above 0
        Work that can be done in a second. [reference-core s/s]

    Returns
    -------
    array of shape (days, seconds + 1)
        Work left over before each second, and after the last. [reference-core s]

    Source
    ------
    D. V. Lindley, The theory of queues with a single server, 1952,
    doi:10.1017/S0305004100027638, in closed form.
    """
    before = np.zeros((len(work), work.shape[1] + 1))
    if work.max() > capacity:
        surplus = np.cumsum(work - capacity, axis=1)
        least = np.minimum(np.minimum.accumulate(surplus, axis=1), 0)
        before[:, 1:] = surplus - least
    return before
