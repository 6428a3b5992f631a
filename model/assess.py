"""What is the whole answer for one scenario? The door that most pages use.

`assess` puts both arms side by side: the curve over sessions, the rated load and what limits it,
and the same host at the number of sessions asked for. `what_if` answers what is asked next in
every meeting: one card lost, one core fewer, no SMT. `one_desktop` shows single activities.
"""

import threading
from collections import OrderedDict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from model.accelerator import Accelerator
from model.cpu import capacity_curve, core_rate
from model.defaults import MOST_SESSIONS
from model.hosts import ARMS, Arm
from model.paced import delivered_share
from model.saturation import SaturationCurve, saturation_curve
from model.scenario import Scenario, canonical, load
from model.sessions import Role
from model.targets import RatedLoad, first_look, rate, rated_load, without_a_card

_Asked = tuple[str, Arm, int]  # a scenario's text, the arm, the most sessions
_Answered = tuple[SaturationCurve, RatedLoad]
Work = Callable[[Callable[[_Asked], _Answered], list[_Asked]], Iterable[_Answered]]


@dataclass(frozen=True, eq=False)
class Assessment:
    """Both arms of one scenario, side by side.

    Parameters
    ----------
    scenario : Scenario
        What was asked.
    curves : dict
        The saturation curve of each arm, from 1 session to beyond the larger rated load.
    rated : dict
        The rated load of each arm.
    now : dict
        Each arm's values at the scenario's number of sessions.
    gain_sessions : int
        Sessions that the card adds to the rated load. [sessions]
    """

    scenario: Scenario
    curves: dict[Arm, SaturationCurve]
    rated: dict[Arm, RatedLoad]
    now: dict[Arm, dict[str, float]]
    gain_sessions: int

    @property
    def gain_pct(self) -> float | None:
        """Sessions that the card adds, of those without it; None where those are 0. [%]"""
        without = self.rated["software"].rated_load
        return self.gain_sessions / without * 100 if without else None


def assess(scenario: Scenario, work: Work = map) -> Assessment:
    """Return the answer for one scenario, both arms.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    work : callable
        work(function, items) gives the function's result for each item, in their order: `map`,
        or the map of several processes that take an arm each.
    """
    horizon = min(first_look(scenario), MOST_SESSIONS)
    while True:
        most = _round_up(max(horizon, round(1.1 * scenario.sessions)))
        asked = [(_text_of(scenario, arm), arm, most) for arm in ARMS]
        answers = _KNOWN.answers(asked, work)
        curves = {arm: curve for arm, (curve, _) in zip(ARMS, answers, strict=True)}
        rated = {arm: load for arm, (_, load) in zip(ARMS, answers, strict=True)}
        if all(r.limit for r in rated.values()) or most >= MOST_SESSIONS:
            break
        horizon = min(2 * most, MOST_SESSIONS)
    now = {arm: curve.at(scenario.sessions) for arm, curve in curves.items()}
    gain = rated["offloaded"].rated_load - rated["software"].rated_load
    return Assessment(scenario, curves, rated, now, gain)


def _text_of(scenario: Scenario, arm: Arm) -> str:
    """What a curve depends on: not the number of sessions asked for, nor, without one, the card."""
    changes: dict[str, object] = {"sessions": 1}
    if arm == "software":
        changes["accelerator"] = Accelerator(cards=0)
    return canonical(scenario.model_copy(update=changes))


def one_arm(asked: _Asked) -> _Answered:
    """Return curve and rated load of one arm; a process that shares the work can be given it.

    Parameters
    ----------
    asked : tuple
        Canonical scenario as JSON text, arm, and the most sessions to look at. [sessions]
    """
    scenario_text, arm, most = asked
    scenario = load(scenario_text)
    curve = saturation_curve(scenario, arm, np.arange(1, most + 1))
    return curve, rate(scenario, curve)


class _Recent:
    """The last few arms that were worked out: an arm that a slider leaves alone costs nothing."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._answers: OrderedDict[_Asked, _Answered] = OrderedDict()
        self._lock = threading.Lock()

    def answers(self, asked: list[_Asked], work: Work) -> list[_Answered]:
        """Return all answers, working out those that are not known."""
        with self._lock:
            found = {key: self._answers[key] for key in asked if key in self._answers}
        missing = [key for key in asked if key not in found]
        found |= dict(zip(missing, work(one_arm, missing), strict=True))
        with self._lock:
            for key in asked:
                self._answers[key] = found[key]
                self._answers.move_to_end(key)
            while len(self._answers) > self._most:
                self._answers.popitem(last=False)
        return [found[key] for key in asked]


_KNOWN = _Recent(8)


@dataclass(frozen=True)
class WhatIf:
    """One change to the host and what it does to the rated load.

    Parameters
    ----------
    change : str
        What is changed, in words.
    rated : dict
        Rated load of each arm after it. [sessions]
    """

    change: str
    rated: dict[Arm, int]


def what_if(scenario: Scenario) -> list[WhatIf]:
    """Return the rated loads after each change that every meeting asks about.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    """
    host = scenario.host
    changes: list[tuple[str, Scenario]] = []
    if scenario.accelerator.cards:
        changes.append(("one card lost", without_a_card(scenario)))
    if host.cores > 1:
        fewer = host.model_copy(update={"cores": host.cores - 1})
        changes.append(("one core fewer", scenario.model_copy(update={"host": fewer})))
    if host.threads_per_core > 1:
        single = host.model_copy(update={"threads_per_core": 1})
        changes.append(("SMT switched off", scenario.model_copy(update={"host": single})))
    return [
        WhatIf(words, {arm: rated_load(changed, arm).rated_load for arm in ARMS})
        for words, changed in changes
    ]


@dataclass(frozen=True)
class DesktopActivity:
    """One desktop in one activity, alone on the host.

    Parameters
    ----------
    activity : str
        Name of the activity.
    app_pct : float
        Application work. [% of the desktop's vCPUs]
    encode_pct : dict
        Display encoding on each arm. [% of the desktop's vCPUs]
    frames_pct : dict
        Frames delivered of those wanted on each arm, 100 where none are wanted. [%]
    """

    activity: str
    app_pct: float
    encode_pct: dict[Arm, float]
    frames_pct: dict[Arm, float]


def one_desktop(scenario: Scenario, role: Role) -> list[DesktopActivity]:
    """Return what one desktop of a role uses in each activity, alone on the host.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    role : Role
        One of its roles.

    Notes
    -----
    In per cent of the desktop's own vCPUs, each taken as one core of this host; an activity
    that needs more than a core for encoding is shown held to one, as it would run.
    """
    one_core = core_rate(scenario.host, scenario.reference_clock_ghz)
    alone = float(capacity_curve(scenario.host, scenario.reference_clock_ghz, 1))
    has_card = scenario.accelerator.slots > 0 and scenario.accelerator.share_pct > 0
    rows = []
    for activity in scenario.activities:
        moving = role.displays_in_motion(activity)
        encode: dict[Arm, float] = {}
        frames: dict[Arm, float] = {}
        on_card: dict[Arm, int] = {"software": 0, "offloaded": moving if has_card else 0}
        for arm in ARMS:
            cores = role.encode_ms_per_frame(activity, on_card[arm]) * activity.frame_rate_hz / 1e3
            app = activity.app_cores if role.vcpus == 1 else 0.0
            encode[arm] = min(cores, one_core) / one_core / role.vcpus * 100
            frames[arm] = float(delivered_share((cores + app) / alone)) * 100 if moving else 100.0
        app_pct = min(activity.app_cores, one_core) / one_core / role.vcpus * 100
        rows.append(DesktopActivity(activity.name, app_pct, encode, frames))
    return rows


def _round_up(sessions: int) -> int:
    """The next number that makes a tidy end of an axis."""
    step: Any = 10 ** max(len(str(sessions)) - 2, 1)
    return int(min(-(-sessions // step) * step, MOST_SESSIONS))
