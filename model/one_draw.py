"""What does one draw of the uncertain inputs give?

Rated load and curves of a draw are those that `model.assess` gives for its inputs; only the crest
is not simulated again, but moved with the p99 of demand over the presence curve.
"""

from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from model.assess import assess
from model.day import simulate_day_both
from model.defaults import MOST_SESSIONS
from model.draws import Input, scenario_at
from model.hosts import ARMS, Arm, steps_to
from model.saturation import SaturationCurve, saturation_curve
from model.scenario import Day, Scenario
from model.targets import rate

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

CURVES = ("headroom_pct", "wait_busy_pct", "frames_busy_pct")

_DAYS = 20  # replicates of the day to which the crest is tied
_MOST_DAYS_TIMES_SESSIONS = 20_000
_DAY_SEED = 1


@dataclass(frozen=True, eq=False)
class Row:
    """What one draw gives, software arm first.

    Parameters
    ----------
    rated : tuple of int
        Rated load. [sessions]
    limit : tuple of str
        What binds, a key of `model.targets.LIMITS`; "" where nothing does.
    headroom : tuple of float
        With the scenario's sessions. [%]
    crest : tuple of float
        Of the day. [%]
    curves : array of shape (arms, curves, sessions)
        By name of `CURVES`. [%]
    """

    rated: tuple[int, int]
    limit: tuple[str, str]
    headroom: tuple[float, float]
    crest: tuple[float, float]
    curves: FloatArray


@dataclass(frozen=True, eq=False)
class Work:
    """All that a draw needs besides its scores.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    inputs : tuple of Input
        What is uncertain.
    most : int
        Up to which its curves are known. [sessions]
    sessions : array
        Those of the curves that are kept. [sessions]
    crest_per_p99 : tuple of float
        Crest of the simulated day over the p99 of demand, by arm. [-]
    base : Row
        What the scenario's own inputs give.
    """

    scenario: Scenario
    inputs: tuple[Input, ...]
    most: int
    sessions: IntArray
    crest_per_p99: tuple[float, float]
    base: Row


def prepared(scenario: Scenario, inputs: tuple[Input, ...]) -> Work:
    """Return what all draws of a scenario share, with the row of its own inputs.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    inputs : tuple of Input
        What is uncertain.
    """
    answer = assess(scenario)
    most = int(answer.curves["software"].sessions[-1])
    ladder = steps_to(most)
    sessions = np.append(ladder[ladder < most], most)
    replicates = max(1, min(_DAYS, _MOST_DAYS_TIMES_SESSIONS // scenario.sessions))
    days = simulate_day_both(scenario, _DAY_SEED, replicates)
    at_base = [_p99_of_the_day(scenario.day, scenario.sessions, answer.curves[arm]) for arm in ARMS]
    software, offloaded = (
        days[arm].crest_pct / p99 if p99 > 0 else 0.0
        for arm, p99 in zip(ARMS, at_base, strict=True)
    )
    nothing = Row((0, 0), ("", ""), (0.0, 0.0), (0.0, 0.0), np.empty(0))
    work = Work(scenario, inputs, most, sessions, (software, offloaded), nothing)
    return replace(work, base=_row(work, scenario))


def rows_of(work: Work, scores: FloatArray) -> list[Row]:
    """Return what some draws give, in their order.

    Parameters
    ----------
    work : Work
        What all draws share.
    scores : array of shape (draws, inputs)
        Standard normal score of each input in each draw. [-]
    """
    return [_row(work, scenario_at(work.scenario, work.inputs, each)) for each in scores]


def _row(work: Work, scenario: Scenario) -> Row:
    card = scenario.accelerator
    alike = card.slots == 0 or card.share_pct == 0
    rated, limit, headroom, crest, curves = [], [], [], [], []
    curve: SaturationCurve | None = None
    for arm, scale in zip(ARMS, work.crest_per_p99, strict=True):
        if curve is None or not alike:
            curve, load = _curve_and_load(scenario, arm, work.most)
        rated.append(load[0])
        limit.append(load[1])
        headroom.append(float(curve.headroom_pct[scenario.sessions - 1]))
        crest.append(scale * _p99_of_the_day(scenario.day, scenario.sessions, curve))
        curves.append([getattr(curve, name)[work.sessions - 1] for name in CURVES])
    return Row(
        (rated[0], rated[1]), (limit[0], limit[1]), (headroom[0], headroom[1]),
        (crest[0], crest[1]), np.array(curves),
    )  # fmt: skip


def _curve_and_load(
    scenario: Scenario, arm: Arm, most: int
) -> tuple[SaturationCurve, tuple[int, str]]:
    horizon = most
    while True:
        curve = saturation_curve(scenario, arm, np.arange(1, horizon + 1))
        load = rate(scenario, curve)
        if load.limit or horizon >= MOST_SESSIONS:
            return curve, (load.rated_load, load.limit)
        horizon = min(2 * horizon, MOST_SESSIONS)


# Chance that a standard normal number lies below a score.
_SCORES = np.linspace(-9, 9, 3_601)
_BELOW = np.array([NormalDist().cdf(float(score)) for score in _SCORES])
_EVERY_S = 300.0  # presence hardly changes within it
_HALVINGS = 24
_P95, _P99 = (NormalDist().inv_cdf(share) for share in (0.95, 0.99))


def _p99_of_the_day(day: Day, sessions: int, curve: SaturationCurve) -> float:
    """The demand that is exceeded 1 % of the day, from the quantiles at each time. [%]"""
    points = np.array(day.present_points)
    moments = np.arange(_EVERY_S / 2, day.length_s, _EVERY_S)
    present = np.interp(moments, points[:, 0], points[:, 1]) * sessions
    numbers = np.concatenate([[0.0], curve.sessions])
    p50, p95, p99 = (
        np.interp(present, numbers, np.concatenate([[0.0], values]))
        for values in (curve.cpu_p50_pct, curve.cpu_p95_pct, curve.cpu_p99_pct)
    )
    inner = np.maximum((p95 - p50) / _P95, 1e-9)  # more demand by so much for each score
    outer = np.maximum((p99 - p95) / (_P99 - _P95), 1e-9)
    low, high = 0.0, float(p99.max())
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        score = np.where(middle < p95, (middle - p50) / inner, _P95 + (middle - p95) / outer)
        above = 1 - float(np.interp(score, _SCORES, _BELOW).mean())
        low, high = (middle, high) if above > 0.01 else (low, middle)
    return high
