"""How many sessions of a mix does one of the hosts that could be bought carry, and how busy is it?

`rate_host` is the slow part of a fleet; `HostRatings` keeps what it found.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from model.accelerator import Accelerator
from model.defaults import MOST_SESSIONS
from model.fleet_inputs import HostChoice
from model.hosts import Arm
from model.saturation import saturation_curve
from model.scenario import Scenario, canonical, load
from model.targets import first_look, rate

Asked = tuple[str, Arm]  # a scenario's text, without its number of sessions; the arm
Mix = tuple[Fraction, ...]  # share of each of the scenario's roles, adding up to 1
Work = Callable[[Callable[[Asked], "HostRating"], list[Asked]], Iterable["HostRating"]]


@dataclass(frozen=True)
class HostRating:
    """What one host carries of one mix on one arm.

    Parameters
    ----------
    rated_load : int
        The most sessions that meet every target. [sessions]
    limit : str
        Key of `model.targets.LIMITS` of what fails first with one session more.
    binding_limit : str
        The same in words.
    slots_full : bool
        Whether nearly every display slot is taken with one session more.
    cpu_mean_pct : tuple of float
        Mean CPU demand at 0, 1, ... up to `rated_load` sessions. [% of capacity]
    """

    rated_load: int
    limit: str
    binding_limit: str
    slots_full: bool
    cpu_mean_pct: tuple[float, ...]

    def utilisation_pct(self, sessions: float) -> float:
        """Return how busy the host is with so many sessions, at most 100. [%]"""
        numbers = np.arange(len(self.cpu_mean_pct))
        return min(float(np.interp(sessions, numbers, self.cpu_mean_pct)), 100.0)


def rate_host(asked: Asked) -> HostRating:
    """Return what a scenario's host carries on one arm; processes that share work can be given it.

    Parameters
    ----------
    asked : tuple
        The scenario as canonical JSON text, and the arm.
    """
    text, arm = asked
    scenario = load(text)
    horizon = first_look(scenario)
    while True:
        curve = saturation_curve(scenario, arm, np.arange(1, horizon + 1))
        rated = rate(scenario, curve)
        if rated.limit or horizon >= MOST_SESSIONS:
            break
        horizon = min(2 * horizon, MOST_SESSIONS)
    carried = curve.cpu_mean_pct[: rated.rated_load].tolist()
    return HostRating(
        rated.rated_load, rated.limit, rated.binding_limit, rated.slots_full, (0.0, *carried)
    )


class HostRatings:
    """The ratings found so far: whoever keeps it does not wait again when only a price changes.

    Parameters
    ----------
    work : callable
        work(function, items) gives the function's result for each item, in their order: `map`,
        or the map of several processes.
    most : int
        How many are kept; the oldest go first.
    """

    def __init__(self, work: Work = map, most: int = 10_000) -> None:
        self._work = work
        self._most = most
        self._found: dict[Asked, HostRating] = {}

    def of(self, asked: Sequence[Asked]) -> list[HostRating]:
        """Return all ratings, working out together those that are not known."""
        found = {key: self._found[key] for key in asked if key in self._found}
        missing = list(dict.fromkeys(key for key in asked if key not in found))
        if missing:
            found |= dict(zip(missing, self._work(rate_host, missing), strict=True))
            kept = self._found | found
            self._found = dict(list(kept.items())[-self._most :])
        return [found[key] for key in asked]


def question(scenario: Scenario, mix: Mix, choice: HostChoice, arm: Arm) -> Asked:
    """Return what `rate_host` is asked: equal mixes, however large the sites, ask the same.

    Parameters
    ----------
    scenario : Scenario
        Roles, activities and targets.
    mix : tuple of Fraction
        Shares of the roles.
    choice : HostChoice
        Whose host, and on the offloaded arm whose cards.
    arm : str
        "software" or "offloaded".
    """
    roles = tuple(
        role.model_copy(update={"weight_pct": float(share * 100)})
        for role, share in zip(scenario.roles, mix, strict=True)
    )
    card = choice.accelerator if arm == "offloaded" else Accelerator(cards=0)
    changes: dict[str, object] = {
        "name": "one host of the fleet",
        "sessions": 1,
        "host": choice.host,
        "accelerator": card,
        "roles": roles,
        "measured": (),
    }
    return canonical(scenario.model_copy(update=changes)), arm
