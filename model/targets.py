"""How many sessions does a host carry, and what stops the next one?

The rated load is the largest number of sessions at which every target and resource still holds;
the binding limit is the first of them to fail with one session more.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from model.accelerator import Accelerator
from model.cpu import capacity_curve
from model.defaults import MOST_SESSIONS
from model.hosts import check_arm, kinds
from model.saturation import SaturationCurve, saturation_curve
from model.scenario import Scenario

_SMALLEST_HORIZON = 20
LIMITS: dict[str, str] = {
    "cpu": "CPU demand",
    "wait": "scheduler wait",
    "frames": "delivered frames",
    "network": "network rate",
    "memory": "memory",
    "gpu_memory": "graphics memory",
}


@dataclass(frozen=True, eq=False)
class RatedLoad:
    """The most sessions that meet every target on one arm.

    Parameters
    ----------
    arm : str
        "software" or "offloaded".
    rated_load : int
        The most sessions; 0 if even one session misses a target. [sessions]
    limit : str
        Key of `LIMITS` of what fails first with one session more; "" where nothing fails up
        to the largest number looked at.
    binding_limit : str
        The same in words, with the value at one session more and the target.
    slots_full : bool
        Whether nearly every display slot is taken with one session more.
    row : dict
        All values of the curve at the rated load (at one session where it is 0).
    """

    arm: str
    rated_load: int
    limit: str
    binding_limit: str
    slots_full: bool
    row: dict[str, float]


def rated_load(scenario: Scenario, arm: str) -> RatedLoad:
    """Return the rated load of a scenario's host on one arm.

    Parameters
    ----------
    scenario : Scenario
        The scenario; its own number of sessions is not used.
    arm : str
        "software" or "offloaded".

    Raises
    ------
    InputError
        For an unknown arm.

    Notes
    -----
    Looks up to 100,000 sessions. All targets only get worse with more sessions, so the first
    number that fails settles it.
    """
    check_arm(arm)
    horizon = first_look(scenario)
    while True:
        rated = rate(scenario, saturation_curve(scenario, arm, np.arange(1, horizon + 1)))
        if rated.limit or horizon >= MOST_SESSIONS:
            return rated
        horizon = min(horizon * 2, MOST_SESSIONS)


def rate(scenario: Scenario, curve: SaturationCurve) -> RatedLoad:
    """Return the rated load that a curve shows, its sessions being 1, 2, ... without a gap.

    Parameters
    ----------
    scenario : Scenario
        The scenario, for its targets.
    curve : SaturationCurve
        The curve.
    """
    failing = limits_missed(scenario, curve)
    missed = np.array(list(failing.values()))
    any_missed = missed.any(axis=0)
    if not any_missed.any():
        row = curve.at(int(curve.sessions[-1]))
        return RatedLoad(curve.arm, int(curve.sessions[-1]), "", _NOTHING_FAILS, False, row)
    first = int(np.argmax(any_missed))
    limit = list(failing)[int(np.argmax(missed[:, first]))]
    rated = int(curve.sessions[first]) - 1
    after = curve.at(rated + 1)
    slots = scenario.accelerator.slots
    full = curve.arm == "offloaded" and slots > 0 and after["slots_mean"] > 0.97 * slots
    return RatedLoad(
        curve.arm, rated, limit, _in_words(scenario, limit, after), full, curve.at(max(rated, 1))
    )


def limits_missed(
    scenario: Scenario, curve: SaturationCurve
) -> dict[str, npt.NDArray[np.bool_]]:
    """Return for every limit at which numbers of sessions it is missed.

    Parameters
    ----------
    scenario : Scenario
        The scenario, for its targets.
    curve : SaturationCurve
        The curve.
    """
    targets = scenario.targets
    return {
        "frames": curve.frames_busy_pct < targets.min_frames_pct,
        "cpu": curve.cpu_p95_pct > targets.max_cpu_p95_pct,
        "wait": curve.wait_busy_pct > targets.max_wait_pct,
        "network": curve.network_busy_pct > targets.max_network_pct,
        "memory": curve.memory_pct > 100,
        "gpu_memory": curve.gpu_memory_pct > 100,
    }


_NOTHING_FAILS = "nothing fails up to the largest number of sessions looked at"


def _in_words(scenario: Scenario, limit: str, after: dict[str, float]) -> str:
    targets = scenario.targets
    host = scenario.host
    cpu = _apart(after["cpu_p95_pct"], targets.max_cpu_p95_pct)
    wait = _apart(after["wait_busy_pct"], targets.max_wait_pct)
    frames = _apart(after["frames_busy_pct"], targets.min_frames_pct)
    network = _apart(after["network_busy_pct"], targets.max_network_pct)
    words = {
        "cpu": f"CPU demand (p95) is {cpu} %, target at most {targets.max_cpu_p95_pct:g} %",
        "wait": f"scheduler wait at busy moments is {wait} %, "
        f"target at most {targets.max_wait_pct:g} %",
        "frames": f"{frames} % of frames are delivered at busy moments, "
        f"target at least {targets.min_frames_pct:g} %",
        "network": f"the network rate at busy moments is {network} %, "
        f"target at most {targets.max_network_pct:g} %",
        "memory": f"memory is used up ({host.memory_gib:g} GiB)",
        "gpu_memory": f"graphics memory is used up ({host.gpu_memory_gib:g} GiB)",
    }
    return words[limit]


def _apart(value: float, target: float) -> str:
    """A value with as many digits as it takes to tell it from the target."""
    for digits in (1, 2, 3):
        text = f"{value:.{digits}f}"
        if float(text) != target:
            return text
    return f"{value:.6g}"


def first_look(scenario: Scenario) -> int:
    """Return a number of sessions likely beyond the rated load of both arms.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    """
    of = kinds(scenario)
    capacity = float(
        capacity_curve(scenario.host, scenario.reference_clock_ghz, scenario.host.threads)
    )
    lightest = float(of.chance @ of.demand[of.first + of.moving])
    by_cpu = 1.15 * capacity / max(lightest, 1e-9)
    weights = [role.weight_pct for role in scenario.roles]
    memory = float(np.average([role.memory_gib for role in scenario.roles], weights=weights))
    by_memory = scenario.host.memory_gib / memory + 1 if memory > 0 else np.inf
    return int(np.clip(min(by_cpu, by_memory) + 2, _SMALLEST_HORIZON, MOST_SESSIONS))


def without_a_card(scenario: Scenario) -> Scenario:
    """Return the scenario with one card less.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    """
    card: Accelerator = scenario.accelerator
    fewer = card.model_copy(update={"cards": max(card.cards - 1, 0)})
    return scenario.model_copy(update={"accelerator": fewer})
