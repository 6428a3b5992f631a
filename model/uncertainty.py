"""How sure are rated load, headroom, crest, hosts and cost, given how sure the inputs are?

`propagate` works out many draws of the uncertain inputs, every one on the same sampled hosts, and
gives for each answer the values that 10, 50 and 90 % of the draws do not exceed. Draws are shared
among processes; the result does not depend on how many.
"""

import math
import threading
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from model.all_draws import all_rows
from model.day import check_whole
from model.draws import P90, Input, draw_scores, inputs_of, scenario_at
from model.errors import InputError
from model.hosts import ARMS, Arm, check_arm, kinds
from model.one_draw import CURVES, FloatArray, IntArray, Row, prepared
from model.scenario import Scenario

DRAWS = 500
FEWEST_DRAWS = 10
MOST_DRAWS = 100_000
MOST_PROCESSES = 64
SHARES = (0.10, 0.50, 0.90)
ANSWERS = ("rated_load", "headroom_pct", "crest_pct", "hosts", "cost_per_year")
DIFFERENCES = ("gain_sessions", "crest_reduction_pct", "hosts_saved", "saved_per_year")

YearlyCost = Callable[[int, Arm], float]
Progress = Callable[[int, int], None]


@dataclass(frozen=True, eq=False)
class Band:
    """What 10, 50 and 90 % of the draws do not exceed; numbers, or arrays over sessions.

    Parameters
    ----------
    p10, p50, p90 : float or array
        Values that occur among the draws: the k-th of n with k = n times the share, rounded up.
        [unit of the answer]
    best : float or array
        The answer at the scenario's own inputs. [unit of the answer]
    """

    p10: Any
    p50: Any
    p90: Any
    best: Any


@dataclass(frozen=True, eq=False)
class Quantity:
    """One answer over all draws.

    Parameters
    ----------
    arm : str or None
        The arm; None for a difference between the arms.
    drawn : array of shape (draws,)
        The answer of each draw. [its unit] Hosts and costs are infinite where a host carries
        nobody.
    best : float
        The answer at the scenario's own inputs. [its unit]
    one_group : dict of str to (float, float)
        The answer with one group of inputs at its P10 and at its P90, all others left as they
        are. [its unit]
    """

    arm: Arm | None
    drawn: FloatArray
    best: float
    one_group: dict[str, tuple[float, float]]

    @property
    def band(self) -> Band:
        """Its P10, P50 and P90. [its unit]"""
        return _band(self.drawn, self.best)


@dataclass(frozen=True, eq=False)
class Uncertainty:
    """All draws of one scenario.

    Parameters
    ----------
    scenario : Scenario
        What was asked.
    seed : int
        Start of the random numbers. [-]
    inputs : tuple of Input
        What was uncertain.
    scores : array of shape (draws, inputs)
        Standard normal score of each input in each draw. [-]
    answers : dict of arm to dict of str to Quantity
        By arm and name of `ANSWERS`; hosts and cost only where they were asked for.
    differences : dict of str to Quantity
        By name of `DIFFERENCES`: what the card changes, both arms on the same inputs.
    limits : dict of arm to dict of str to float
        Key of `model.targets.LIMITS` and share of the draws in which it binds, largest first. [-]
    carries_nobody : dict of arm to float
        Share of the draws in which not even one session meets every target. [-]
    sessions : array
        Numbers of sessions of the curves. [sessions]
    curves : dict of arm to dict of str to Band
        Bands over `sessions`, by arm and name of `CURVES`.
    """

    scenario: Scenario
    seed: int
    inputs: tuple[Input, ...]
    scores: FloatArray
    answers: dict[Arm, dict[str, Quantity]]
    differences: dict[str, Quantity]
    limits: dict[Arm, dict[str, float]]
    carries_nobody: dict[Arm, float]
    sessions: IntArray
    curves: dict[Arm, dict[str, Band]]

    @property
    def draws(self) -> int:
        """Number of draws."""
        return len(self.scores)

    def of(self, answer: str, arm: str | None = None) -> Quantity:
        """Return one answer by name and arm, a difference without an arm; InputError for none."""
        known = self.differences if arm is None else self.answers[check_arm(arm)]
        if answer not in known:
            raise InputError("answer", answer, f"one of {', '.join(known)}")
        return known[answer]


def propagate(
    scenario: Scenario,
    draws: int = DRAWS,
    seed: int = 1,
    processes: int = 1,
    *,
    spreads_pct: Mapping[str, float] | None = None,
    total_sessions: int | None = None,
    yearly_cost: YearlyCost | None = None,
    progress: Progress | None = None,
    cancel: threading.Event | None = None,
) -> Uncertainty | None:
    """Return how sure the answers for a scenario are.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    draws : int from 10 to 100,000
        Number of draws. [draws]
    seed : int, 0 or more
        Any number; the same one gives the same result on any number of processes. [-]
    processes : int from 1 to 64
        Processes that share the work; with 1 it is done here. [processes]
    spreads_pct : mapping of str to float from 0 to 300, or None
        Spreads by group of inputs in place of those of `model.draws.GROUPS`. [%]
    total_sessions : int, 1 or more, or None
        Sessions of the whole fleet; None where hosts are not asked for. [sessions]
    yearly_cost : callable or None
        yearly_cost(hosts, arm) gives the cost of so many hosts of an arm, in one's own currency.
    progress : callable or None
        progress(done, total) is told after every few evaluations, in this thread.
    cancel : threading.Event or None
        Once it is set, work ends within a moment.

    Returns
    -------
    Uncertainty or None
        None where it was cancelled.

    Raises
    ------
    InputError
        For the first argument that will not do.

    Notes
    -----
    Inputs are drawn by a Latin hypercube. Sampled hosts are the same in every draw (common
    random numbers), so draws differ by their inputs alone; rated load and curves of a draw are
    those that `model.assess` gives for its inputs. The crest of a draw is the simulated day's at
    the scenario's own inputs, moved in the ratio of the p99 of demand over the presence curve.
    Against 200 days and more it is off by 1 % at most with 20 sessions and more where the card has
    room for all displays, and by 7 % with fewer sessions or a full card, as long as application
    work alone fits on the host. It is the crest of many days: how one day differs from the next
    is not in its band, nor is anything that the model leaves out.

    Source
    ------
    Our own composition; sampling after McKay, Beckman and Conover, see `latin_hypercube`.
    """
    check_whole("draws", draws, FEWEST_DRAWS, MOST_DRAWS)
    check_whole("seed", seed, 0, None)
    check_whole("processes", processes, 1, MOST_PROCESSES)
    if total_sessions is not None:
        check_whole("total_sessions", total_sessions, 1, None)
    if yearly_cost is not None and total_sessions is None:
        raise InputError("total_sessions", None, "the sessions of the fleet that the cost is of")
    inputs = inputs_of(scenario, spreads_pct)
    scores = draw_scores(inputs, draws, seed)
    groups = list(dict.fromkeys(each.group for each in inputs))
    alone = [sign * position for position in _alone(scenario, inputs) for sign in (-1, 1)]
    rows = np.concatenate([np.array(alone).reshape(-1, len(inputs)), scores]) if inputs else scores
    work = prepared(scenario, inputs)
    done = all_rows(work, rows, processes, progress, cancel)
    if done is None:
        return None
    everything = _Table([work.base, *done], total_sessions, yearly_cost)
    pairs = {group: (1 + 2 * number, 2 + 2 * number) for number, group in enumerate(groups)}
    first = 1 + 2 * len(groups)

    def quantity(values: FloatArray, arm: Arm | None) -> Quantity:
        ends = {
            group: (float(values[low]), float(values[high])) for group, (low, high) in pairs.items()
        }
        return Quantity(arm, values[first:], float(values[0]), ends)

    limits: dict[Arm, dict[str, float]] = {}
    curves: dict[Arm, dict[str, Band]] = {}
    for place, arm in enumerate(ARMS):
        seen = Counter(row.limit[place] for row in done[first - 1 :] if row.limit[place])
        limits[arm] = {limit: count / draws for limit, count in seen.most_common()}
        drawn = np.array([row.curves[place] for row in done[first - 1 :]])
        curves[arm] = {
            name: _band(drawn[:, number], work.base.curves[place][number])
            for number, name in enumerate(CURVES)
        }
    return Uncertainty(
        scenario=scenario,
        seed=seed,
        inputs=inputs,
        scores=scores,
        answers={
            arm: {name: quantity(values, arm) for name, values in everything.answers(arm).items()}
            for arm in ARMS
        },
        differences={
            name: quantity(values, None) for name, values in everything.differences().items()
        },
        limits=limits,
        carries_nobody={
            arm: sum(row.rated[place] == 0 for row in done[first - 1 :]) / draws
            for place, arm in enumerate(ARMS)
        },
        sessions=work.sessions,
        curves=curves,
    )


def _band(drawn: FloatArray, best: Any) -> Band:
    p10, p50, p90 = np.quantile(drawn, SHARES, axis=0, method="inverted_cdf")
    if drawn.ndim == 1:
        return Band(float(p10), float(p50), float(p90), float(best))
    return Band(p10, p50, p90, best)


def _alone(scenario: Scenario, inputs: tuple[Input, ...]) -> list[FloatArray]:
    """For each group the scores at its P90, the others at 0.

    The inputs of a group are moved as they most likely lie where the sum of what they do to the
    mean demand of a session has its P90.
    """
    rest = np.zeros(len(inputs))
    usual = _mean_demand(scenario)
    slope = np.zeros(len(inputs))
    for index in range(len(inputs)):
        rest[index] = 0.5
        slope[index] = _mean_demand(scenario_at(scenario, inputs, rest)) - usual
        rest[index] = 0.0
    slope[np.abs(slope) < 1e-9 * usual] = 0.0
    positions = []
    for group in dict.fromkeys(each.group for each in inputs):
        own = np.array([each.group == group for each in inputs])
        direction = slope[own] if slope[own].any() else np.ones(int(own.sum()))
        root = np.sqrt([each.shared for each in inputs if each.group == group])
        common = np.outer(root, root)
        np.fill_diagonal(common, 1.0)
        moved = common @ direction
        scores = np.zeros(len(inputs))
        scores[own] = P90 * moved / np.sqrt(direction @ moved)
        positions.append(scores)
    return positions


def _mean_demand(scenario: Scenario) -> float:
    """Mean demand of a session, without a card and with every display on one."""
    of = kinds(scenario)
    return float(of.chance @ (of.demand[of.first] + of.demand[of.first + of.moving]))


class _Table:
    """The rows as one array for each answer: the scenario's own first."""

    def __init__(
        self, rows: list[Row], total_sessions: int | None, yearly_cost: YearlyCost | None
    ) -> None:
        self._answers: dict[Arm, dict[str, FloatArray]] = {}
        for place, arm in enumerate(ARMS):
            rated = np.array([row.rated[place] for row in rows], dtype=float)
            answers = {
                "rated_load": rated,
                "headroom_pct": np.array([row.headroom[place] for row in rows]),
                "crest_pct": np.array([row.crest[place] for row in rows]),
            }
            if total_sessions is not None:
                hosts = np.full(len(rows), math.inf)
                hosts[rated > 0] = np.ceil(total_sessions / rated[rated > 0])
                answers["hosts"] = hosts
                if yearly_cost is not None:
                    price = {math.inf: math.inf}
                    for number in set(hosts[rated > 0].tolist()):
                        price[number] = float(yearly_cost(int(number), arm))
                    answers["cost_per_year"] = np.array([price[each] for each in hosts.tolist()])
            self._answers[arm] = answers

    def answers(self, arm: Arm) -> dict[str, FloatArray]:
        return self._answers[arm]

    def differences(self) -> dict[str, FloatArray]:
        one, other = (self._answers[arm] for arm in ARMS)
        without = one["crest_pct"]
        left = np.where(without > 0, other["crest_pct"] / np.maximum(without, 1e-300), 1.0)
        found = {
            "gain_sessions": other["rated_load"] - one["rated_load"],
            "crest_reduction_pct": (1 - left) * 100,
        }
        for name, answer in (("hosts_saved", "hosts"), ("saved_per_year", "cost_per_year")):
            if answer in one:
                both = np.isfinite(one[answer]) | np.isfinite(other[answer])
                with np.errstate(invalid="ignore"):
                    found[name] = np.where(both, one[answer] - other[answer], 0.0)
        return found
