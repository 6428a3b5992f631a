"""Do the fast answers for this very scenario agree with the exact ones?

Curves are worked out fast: all sources of a host pooled into one law, demand joined between steps
of sessions. `self_check` takes the same hosts, at the few numbers of sessions that matter, through
the exact station class by class and through the exact law of demand, and says how far apart they
are. It takes about a second, so a page asks for it in the background.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from model.cpu import capacity_curve
from model.demand import demand_law
from model.errors import InputError
from model.hosts import ARMS, BUSY_GROUP, Arm, Kinds, kinds, sampled_hosts
from model.paced import delivered_share, paced_station, pooled_stations
from model.saturation import saturation_curve
from model.scenario import Scenario

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

MOST_APART_PCT = 3.0  # our choice: less than what no trial could tell
MOST_CHECKED_SESSIONS = 1_000  # the exact station takes the square of their number
USUAL_GROUP = 2  # hosts with demand about the median
_FLOORS = {  # below it a difference is set against the floor [unit of the value]
    "wait_pct": 1.0,
    "frames_pct": 1.0,
    "stretch": 1.0,
    "demand_p95_pct": 1.0,
    "demand_p99_pct": 1.0,
}


@dataclass(frozen=True)
class Comparison:
    """One value, fast and exact.

    Parameters
    ----------
    arm : str
        "software" or "offloaded".
    sessions : int
        Sessions on the host. [sessions]
    moment : str
        "usual" for hosts with demand about the median, "busy" for those about the 95th per cent,
        "all" for a value over all of them.
    name : str
        "wait_pct" (scheduler wait), "frames_pct" (delivered frames), "stretch" (response
        slow-down), "demand_p95_pct" or "demand_p99_pct".
    fast, exact : float
        The value by both roads. [in its name; the stretch has none]
    """

    arm: Arm
    sessions: int
    moment: str
    name: str
    fast: float
    exact: float

    @property
    def apart_pct(self) -> float:
        """How far apart. [% of the exact value, or of its floor where that is more]"""
        return abs(self.fast - self.exact) / max(abs(self.exact), _FLOORS[self.name]) * 100


@dataclass(frozen=True)
class SelfCheck:
    """All comparisons for one scenario.

    Parameters
    ----------
    comparisons : tuple of Comparison
        All of them.
    """

    comparisons: tuple[Comparison, ...]

    @property
    def worst(self) -> Comparison | None:
        """The comparison with the largest difference; None where nothing could be compared."""
        return max(self.comparisons, key=lambda each: each.apart_pct, default=None)

    @property
    def agrees(self) -> bool:
        """Whether no value is further apart than `MOST_APART_PCT`."""
        return self.worst is None or self.worst.apart_pct <= MOST_APART_PCT


def self_check(scenario: Scenario, sessions: Sequence[int]) -> SelfCheck:
    """Return how far the fast answers are from exact ones.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    sessions : sequence of int
        Numbers of sessions to look at, such as those asked for and the rated loads; those beyond
        `MOST_CHECKED_SESSIONS` and those below 1 are left out. [sessions]

    Returns
    -------
    SelfCheck
        Both arms; one of them where the card changes nothing.

    Raises
    ------
    InputError
        For a number of sessions that is not whole.

    Notes
    -----
    Wait, frames and stretch are compared on the mean host of a group, its counts rounded to whole
    sources, by `model.paced.paced_station` (every class with its own response, the exact station
    inside) and by the pooled law that the curves use. Demand is compared where no limit of the
    card binds: the curve against the exact law at just this number of sessions. Both roads share
    the closure by which paced sources pause; that one is checked by event simulation in the tests.
    """
    for number in sessions:
        if isinstance(number, bool) or not isinstance(number, int | np.integer):
            raise InputError("sessions", number, "whole numbers of sessions")
    wanted = sorted({int(n) for n in sessions if 1 <= n <= MOST_CHECKED_SESSIONS})
    card = scenario.accelerator
    arms = ARMS if card.slots > 0 and card.share_pct > 0 else ARMS[:1]
    found = [each for arm in arms for each in _of_arm(scenario, arm, wanted)] if wanted else []
    return SelfCheck(tuple(found))


def _of_arm(scenario: Scenario, arm: Arm, sessions: list[int]) -> Iterator[Comparison]:
    of = kinds(scenario)
    hosts = sampled_hosts(scenario, of, arm, sessions[-1])
    curve = saturation_curve(scenario, arm, sessions)
    for number in sessions:
        step = int(np.searchsorted(hosts.sessions, number))
        for group, moment in ((USUAL_GROUP, "usual"), (BUSY_GROUP, "busy")):
            counts = _whole(hosts.grouped[step, group])
            at = int(hosts.sessions[step])
            for name, fast, exact in _one_station(scenario, of, counts):
                yield Comparison(arm, at, moment, name, fast, exact)
        if not hosts.limit_binds[: step + 1].any():
            row = curve.at(number)
            law = _exact_demand(scenario, of, arm, number)
            for name in ("p95", "p99"):
                exact = float(law[name])
                yield Comparison(
                    arm, number, "all", f"demand_{name}_pct", row[f"cpu_{name}_pct"], exact
                )


def _one_station(
    scenario: Scenario, of: Kinds, counts: IntArray
) -> Iterator[tuple[str, float, float]]:
    """Wait, frames and stretch of one host, by both roads."""
    threads = scenario.host.threads
    capacity = capacity_curve(scenario.host, scenario.reference_clock_ghz, np.arange(threads + 1))
    sources = counts @ of.sources
    here = (sources > 0) & (of.utilisation > 0)
    if not here.any():
        return
    number, work = sources[here], of.utilisation[here]
    fast = pooled_stations(sources[None, :].astype(float), of.utilisation, capacity, threads)
    exact = paced_station(number.astype(np.int64), work, np.ones(len(work)), capacity)
    vcpus = np.array([role.vcpus for role in scenario.roles])
    total = float(counts @ np.repeat(vcpus[of.role], of.moving + 1)) / 100
    runnable = np.arange(len(exact.queue_pmf))
    waiting = float(exact.queue_pmf @ np.maximum(runnable - threads, 0))
    yield "wait_pct", float(fast.mean_waiting[0]) / total, waiting / total
    slow = {"fast": fast.response_per_work[0][here], "exact": exact.response_s / work}
    wanted = (counts @ of.frames)[here]
    if wanted.sum() > 0:
        frames = {
            road: float(wanted @ delivered_share(each * work) / wanted.sum()) * 100
            for road, each in slow.items()
        }
        yield "frames_pct", frames["fast"], frames["exact"]
    share = number * work / float(number @ work)
    stretch = {road: float(share @ each * capacity[1]) for road, each in slow.items()}
    yield "stretch", stretch["fast"], stretch["exact"]


def _exact_demand(scenario: Scenario, of: Kinds, arm: Arm, sessions: int) -> dict[str, float]:
    """Quantiles of demand at one number of sessions. [% of capacity]"""
    host = scenario.host
    capacity = float(capacity_curve(host, scenario.reference_clock_ghz, host.threads))
    share = scenario.accelerator.share_pct / 100 if arm == "offloaded" else 0.0
    chance = np.concatenate([of.chance * share, of.chance * (1 - share)])
    demand = np.concatenate([of.demand[of.first + of.moving], of.demand[of.first]])
    law = demand_law(chance[chance > 0], demand[chance > 0], [sessions], capacity)
    return {name: getattr(law, name)[0] / capacity * 100 for name in ("p95", "p99")}


def _whole(counts: FloatArray) -> IntArray:
    """Counts rounded to whole numbers of the same total, those with the largest rest upwards."""
    whole = np.floor(counts + 1e-9).astype(np.int64)
    missing = max(round(float(counts.sum())) - int(whole.sum()), 0)
    most = np.argsort(whole - counts, kind="stable")[:missing]
    whole[most] += 1
    return whole
