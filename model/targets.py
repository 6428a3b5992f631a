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


@dataclass(frozen=True)
class Limit:
    """A target or resource that may stop the next session.

    Parameters
    ----------
    name : str
        What it is called.
    column : str
        Column of the curve that is held against it. [%]
    target : str
        Field of `Targets` that says how far the column may go; "" for 100 %.
    told : str
        How a value that misses it is told; {value} and {target} are filled in, {host} is the host.
    in_short : str
        The same in a list of what is missed.
    at_least : bool
        Whether the column must not fall below the target, rather than not rise above it.
    """

    name: str
    column: str
    target: str
    told: str
    in_short: str
    at_least: bool = False

    def most_pct(self, scenario: Scenario) -> float:
        """How far the column may go, or must not fall below. [%]"""
        return float(getattr(scenario.targets, self.target)) if self.target else 100.0


# Where several fail with the same session, the first of them is the binding limit.
ALL_LIMITS: dict[str, Limit] = {
    "frames": Limit(
        "delivered frames", "frames_busy_pct", "min_frames_pct",
        "{value} % of frames are delivered at busy moments, target at least {target:g} %",
        "delivered frames {value:.1f} %, at least {target:g} %", at_least=True,
    ),
    "cpu": Limit(
        "CPU demand", "cpu_p95_pct", "max_cpu_p95_pct",
        "CPU demand (p95) is {value} %, target at most {target:g} %",
        "CPU demand (p95) {value:.1f} %, at most {target:g} %",
    ),
    "wait": Limit(
        "scheduler wait", "wait_busy_pct", "max_wait_pct",
        "scheduler wait at busy moments is {value} %, target at most {target:g} %",
        "scheduler wait {value:.1f} %, at most {target:g} %",
    ),
    "network": Limit(
        "network rate", "network_busy_pct", "max_network_pct",
        "the network rate at busy moments is {value} %, target at most {target:g} %",
        "network rate {value:.1f} %, at most {target:g} %",
    ),
    "memory": Limit(
        "memory", "memory_pct", "",
        "memory is used up ({host.memory_gib:g} GiB)",
        "memory {value:.0f} % of {host.memory_gib:g} GiB",
    ),
    "gpu_memory": Limit(
        "graphics memory", "gpu_memory_pct", "",
        "graphics memory is used up ({host.gpu_memory_gib:g} GiB)",
        "graphics memory {value:.0f} % of {host.gpu_memory_gib:g} GiB",
    ),
}  # fmt: skip
LIMITS: dict[str, str] = {key: limit.name for key, limit in ALL_LIMITS.items()}


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


def limits_missed(scenario: Scenario, curve: SaturationCurve) -> dict[str, npt.NDArray[np.bool_]]:
    """Return for every limit at which numbers of sessions it is missed.

    Parameters
    ----------
    scenario : Scenario
        The scenario, for its targets.
    curve : SaturationCurve
        The curve.
    """
    missed = {}
    for key, limit in ALL_LIMITS.items():
        values, most = getattr(curve, limit.column), limit.most_pct(scenario)
        missed[key] = values < most if limit.at_least else values > most
    return missed


def missed_in_words(scenario: Scenario, curve: SaturationCurve, sessions: int) -> tuple[str, ...]:
    """Return what is missed at one of a curve's numbers of sessions, each with its value.

    Parameters
    ----------
    scenario : Scenario
        The scenario, for its targets.
    curve : SaturationCurve
        The curve.
    sessions : int
        The number of sessions. [sessions]
    """
    at, row = curve.sessions == sessions, curve.at(sessions)
    return tuple(
        limit.in_short.format(
            value=row[limit.column], target=limit.most_pct(scenario), host=scenario.host
        )
        for limit, missed in zip(
            ALL_LIMITS.values(), limits_missed(scenario, curve).values(), strict=True
        )
        if missed[at].any()
    )


_NOTHING_FAILS = "nothing fails up to the largest number of sessions looked at"


def _in_words(scenario: Scenario, key: str, after: dict[str, float]) -> str:
    limit = ALL_LIMITS[key]
    target = limit.most_pct(scenario)
    value = _apart(after[limit.column], target)
    return limit.told.format(value=value, target=target, host=scenario.host)


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
