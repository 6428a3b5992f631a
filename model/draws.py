"""How sure is each input, and which scenarios could just as well be true?

`inputs_of` lists the inputs of a scenario that are uncertain and by how much: as a log measured
them, or by `GROUPS`. `draw_scores` draws them by a Latin hypercube, and `scenario_at` gives the
scenario of one draw. Nothing here computes an answer.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any

import numpy as np
import numpy.typing as npt

from model.defaults import FIELDS, Quantity
from model.errors import InputError, check_within
from model.scenario import Measured, Scenario, from_data, measured_path, to_data

FloatArray = npt.NDArray[np.float64]

_NORMAL = NormalDist()
P90 = _NORMAL.inv_cdf(0.90)  # score of the P90; that of the P10 is its negative
_P97_5 = _NORMAL.inv_cdf(0.975)  # a measured interval holds 95 %
_FAR = 6.0  # scores beyond which a bound is never met
_BEYOND = 40.0  # and beyond which nothing is left of the law
_UNIT = "% above and below"


@dataclass(frozen=True)
class Group:
    """Inputs that are uncertain for one reason, and are ranked together.

    Parameters
    ----------
    label : str
        What they are, in words that go into a sentence.
    spread : Quantity
        Default spread: the P90 of an input lies so much above its value, the P10 so much below
        (value times, and value divided by, one plus the spread).
    shared : float
        Part of the variance (of logarithms) that all inputs of the group have in common. [-]
    how : str
        How they are measured, in words that go into a sentence.
    """

    label: str
    spread: Quantity
    shared: float
    how: str


def _spread(value: float, meaning: str, provenance: str) -> Quantity:
    return Quantity(value, _UNIT, 0, 300, meaning, provenance)


# Half of the variance of a cost is shared: a trial on another processor, with another release or
# with richer pictures moves the costs of all activities alike. Our choice.
_HALF = 0.5

GROUPS: dict[str, Group] = {
    "software": Group(
        "encoding costs without the card",
        _spread(
            20, "CPU work of one frame encoded without a card.",
            "our choice: pictures and processors differ from those of the trial",
        ),
        _HALF, "a trial with offload off",
    ),
    "offloaded": Group(
        "encoding costs with the card",
        _spread(
            30, "CPU work left for one frame that a card encodes.",
            "our choice: small work is known less well, and it depends on the driver",
        ),
        _HALF, "a trial with offload on",
    ),
    "application": Group(
        "application work",
        _spread(
            25, "CPU work of one burst of an application.",
            "our choice: releases and documents differ from those of the trial",
        ),
        _HALF, "a log of the CPU of desktops in use",
    ),
    "roles": Group(
        "the mix of roles",
        _spread(15, "Share of sessions of a role.", "our choice: heads can be counted"),
        0.0, "count who is on the hosts",
    ),
    "habits": Group(
        "the mix of activities",
        _spread(
            30, "Share of time of an activity, the same factor in every role.",
            "our choice: habits are mostly told, seldom counted",
        ),
        0.0, "a log of what people spend their time on",
    ),
    "dwell": Group(
        "how long activities last",
        _spread(
            50, "Time that people stay with an activity.",
            "our choice: hardly anyone has timed it",
        ),
        _HALF, "time how long people stay with each",
    ),
    "clock": Group(
        "the clock",
        _spread(
            3, "Clock that all cores hold when all are busy.",
            "our choice: power and cooling settle it",
        ),
        0.0, "read it while every core is busy",
    ),
    "smt": Group(
        "the SMT yield",
        _spread(
            30, "What the second thread of a core adds.",
            "common practice, no source: gains from about a fifth to a third are reported",
        ),
        0.0, "compare the work done with SMT on and off",
    ),
    "picture": Group(
        "frame rates and display streams",
        _spread(
            0, "Frames that a picture wants, and its network rate.",
            "our choice: known unless a log says how well they were measured",
        ),
        0.0, "a log of frames and network rates",
    ),
}  # fmt: skip

_OF_AN_ACTIVITY = {  # its numbers: their group, and whether they are drawn without a measurement
    "app_burst_ms": ("application", True),
    "app_bursts_per_s": ("application", False),  # the work is their product: one factor is enough
    "frame_rate_hz": ("picture", True),
    "software_ms_per_frame": ("software", True),
    "offloaded_ms_per_frame": ("offloaded", True),
    "network_mbps": ("picture", True),
    "dwell_s": ("dwell", True),
}


@dataclass(frozen=True)
class Input:
    """One uncertain number, and the law from which it is drawn.

    Parameters
    ----------
    group : str
        Key of `GROUPS`.
    part, owner, number : str
        Where it stands: "activities", "roles" or "habits" and a name, or "host" and "".
    value : float
        Its median: the scenario's value; 1 for a share, which is drawn as a factor.
    below, above : float
        Standard deviations on either side of it: of the logarithm, or in the number's own unit.
    logarithmic : bool
        Whether the law is lognormal, else normal with two sides.
    low, high : float
        Where the law is cut off: the range that the field allows.
    shared : float
        Correlation with the other inputs of its group; 0 for what was measured. [-]
    measured : bool
        Whether a log gave value and spread.
    """

    group: str
    part: str
    owner: str
    number: str
    value: float
    below: float
    above: float
    logarithmic: bool
    low: float
    high: float
    shared: float
    measured: bool = False

    @property
    def path(self) -> str:
        """Name of the number: "activities[typing].app_burst_ms", "host.clock_ghz"."""
        return f"{self.part}[{self.owner}].{self.number}" if self.owner else f"host.{self.number}"

    def at(self, score: float) -> float:
        """The value at a standard normal score. [unit of the number]"""
        spread = self.above if score > 0 else self.below
        moved = (
            self.value * math.exp(score * spread)
            if self.logarithmic
            else self.value + score * spread
        )
        return min(max(moved, self.low), self.high)

    def score_of(self, value: float) -> float:
        """The score at which the law has a value; infinite where it never does. [-]"""
        if self.logarithmic:
            if value <= 0:
                return -math.inf
            return math.log(value / self.value) / (self.above if value > self.value else self.below)
        spread = self.above if value > self.value else self.below
        distance = value - self.value
        return distance / spread if spread > 0 else math.copysign(math.inf, distance)


def inputs_of(
    scenario: Scenario, spreads_pct: Mapping[str, float] | None = None
) -> tuple[Input, ...]:
    """Return the inputs of a scenario that are uncertain, group by group.

    Parameters
    ----------
    scenario : Scenario
        The scenario; what it marks as measured is drawn from its own interval.
    spreads_pct : mapping of str to float from 0 to 300, or None
        Spreads by group in place of those of `GROUPS`. [%] With 0 only what was measured varies.

    Raises
    ------
    InputError
        For an unknown group, or a spread that will not do.

    Notes
    -----
    A number that is 0, a share of 0 or 100 % and an activity that nobody does are taken as known.
    """
    sigma = {name: _sigma(each) for name, each in spreads_of(spreads_pct).items()}
    inputs = [*_host_inputs(scenario, sigma), *_activity_inputs(scenario, sigma)]
    if sigma["roles"] > 0 and sum(role.weight_pct > 0 for role in scenario.roles) > 1:
        inputs += [
            _share("roles", role.name, "weight_pct", sigma["roles"])
            for role in scenario.roles
            if role.weight_pct > 0
        ]
    if sigma["habits"] > 0:
        mixed = {
            name
            for role in scenario.roles
            if role.weight_pct > 0
            for name, share in role.activity_pct.items()
            if 0 < share < sum(role.activity_pct.values())
        }
        inputs += [
            _share("habits", activity.name, "activity_pct", sigma["habits"])
            for activity in scenario.activities
            if activity.name in mixed
        ]
    order = list(GROUPS)
    return tuple(sorted(inputs, key=lambda each: order.index(each.group)))


def spreads_of(spreads_pct: Mapping[str, float] | None = None) -> dict[str, float]:
    """Return the spread of every group.

    Parameters
    ----------
    spreads_pct : mapping of str to float from 0 to 300, or None
        Spreads by group in place of those of `GROUPS`. [%]

    Raises
    ------
    InputError
        For an unknown group, or a spread that will not do.
    """
    given = dict(spreads_pct or {})
    for name, spread in given.items():
        if name not in GROUPS:
            raise InputError(f"spreads_pct.{name}", spread, f"one of {', '.join(GROUPS)}")
        known = GROUPS[name].spread
        check_within(f"spreads_pct.{name}", spread, known.low, known.high, "%")
    default = {name: group.spread.value or 0.0 for name, group in GROUPS.items()}
    return {name: float(given.get(name, spread)) for name, spread in default.items()}


def _sigma(spread_pct: float) -> float:
    return math.log1p(spread_pct / 100) / P90


def _share(group: str, owner: str, number: str, sigma: float) -> Input:
    return Input(
        group, group, owner, number, 1.0, sigma, sigma, True, 0.0, math.inf, GROUPS[group].shared
    )


def _host_inputs(scenario: Scenario, sigma: Mapping[str, float]) -> Iterable[Input]:
    host = scenario.host
    of_host = {"clock_ghz": "clock"}
    if host.threads_per_core > 1:
        of_host["smt_yield"] = "smt"
    for number, group in of_host.items():
        value, field = getattr(host, number), FIELDS[f"host.{number}"]
        if sigma[group] > 0 and value > 0:
            yield Input(
                group, "host", "", number, value, sigma[group], sigma[group], True,
                field.low, field.high, GROUPS[group].shared,
            )  # fmt: skip


def _activity_inputs(scenario: Scenario, sigma: Mapping[str, float]) -> Iterable[Input]:
    marks = {mark.path: mark for mark in scenario.measured}
    done = {
        name
        for role in scenario.roles
        if role.weight_pct > 0
        for name, share in role.activity_pct.items()
        if share > 0
    }
    for activity in scenario.activities:
        for number, (group, unmeasured) in _OF_AN_ACTIVITY.items():
            value, field = getattr(activity, number), FIELDS[f"activities.{number}"]
            still = activity.frame_rate_hz == 0 and number.endswith("_ms_per_frame")
            if activity.name not in done or value == 0 or still:
                continue
            mark = marks.get(measured_path(activity.name, number))
            known = (group, "activities", activity.name, number, value)
            if mark is not None:
                below, above = _measured_spread(mark)
                if below > 0 or above > 0:
                    yield Input(*known, below, above, False, field.low, field.high, 0.0, True)
            elif unmeasured and sigma[group] > 0:
                spread, shared = sigma[group], GROUPS[group].shared
                yield Input(*known, spread, spread, True, field.low, field.high, shared)


def _measured_spread(mark: Measured) -> tuple[float, float]:
    return (mark.value - mark.low) / _P97_5, (mark.high - mark.value) / _P97_5


def latin_hypercube(draws: int, columns: int, rng: np.random.Generator) -> FloatArray:
    """Return numbers between 0 and 1 that fill every column evenly.

    Parameters
    ----------
    draws : int, 1 or more
        Number of rows. [draws]
    columns : int, 0 or more
        Number of columns, independent of each other. [-]
    rng : numpy Generator
        Whence chance comes.

    Returns
    -------
    array of shape (draws, columns)
        Each of as many equal parts of a column as there are draws holds one number. [-]

    Source
    ------
    M. D. McKay, R. J. Beckman and W. J. Conover, A comparison of three methods for selecting
    values of input variables in the analysis of output from a computer code, Technometrics
    21(2), 1979, 239-245, doi:10.1080/00401706.1979.10489755.
    """
    strata = np.argsort(rng.random((draws, columns)), axis=0)
    filled: FloatArray = (strata + rng.random((draws, columns))) / draws
    return filled


def draw_scores(inputs: tuple[Input, ...], draws: int, seed: int) -> FloatArray:
    """Return the standard normal scores at which inputs are drawn.

    Parameters
    ----------
    inputs : tuple of Input
        The inputs.
    draws : int, 1 or more
        Number of draws. [draws]
    seed : int, 0 or more
        Any number; the same one gives the same scores. [-]

    Returns
    -------
    array of shape (draws, inputs)
        Scores; each column fills its parts evenly. [-] Two inputs of a group correlate by its
        shared part, others not at all. Where a law is cut off, its scores lie within what is left.
    """
    rng = np.random.default_rng([int(seed), int(draws)])
    groups = list(GROUPS)
    even = latin_hypercube(draws, len(inputs) + len(groups), rng)
    drawn = _scores_of(even)
    scores = np.empty((draws, len(inputs)))
    for column, each in enumerate(inputs):
        common = drawn[:, len(inputs) + groups.index(each.group)]
        score = each.shared**0.5 * common + (1 - each.shared) ** 0.5 * drawn[:, column]
        rank = np.argsort(np.argsort(score))  # a sum of two does not fill its parts evenly
        score = _scores_of((rank + even[:, column] * draws % 1) / draws)
        low, high = each.score_of(each.low), each.score_of(each.high)
        if low > -_FAR or high < _FAR:
            below, above = _NORMAL.cdf(max(low, -_BEYOND)), _NORMAL.cdf(min(high, _BEYOND))
            shares = np.array([_NORMAL.cdf(float(each)) for each in score])
            score = _scores_of(below + shares * (above - below))
        scores[:, column] = score
    return scores


def _scores_of(shares: FloatArray) -> FloatArray:
    """The standard normal scores that lie above such shares of all."""
    inside = np.clip(shares, 1e-300, 1 - 1e-16)
    scores = [_NORMAL.inv_cdf(share) for share in inside.ravel().tolist()]
    return np.array(scores).reshape(shares.shape)


def scenario_at(scenario: Scenario, inputs: tuple[Input, ...], scores: npt.ArrayLike) -> Scenario:
    """Return the scenario of one draw.

    Parameters
    ----------
    scenario : Scenario
        The scenario that is uncertain.
    inputs : tuple of Input
        Its uncertain inputs.
    scores : array of shape (inputs,)
        The score of each. [-]

    Returns
    -------
    Scenario
        With shares that add up to 100 % again, and without marks of measurements.
    """
    data = to_data(scenario)
    data.pop("measured", None)
    activities = {each["name"]: each for each in data["activities"]}
    roles = {each["name"]: each for each in data["roles"]}
    parts = set()
    for each, score in zip(inputs, np.asarray(scores, dtype=float), strict=True):
        parts.add(each.part)
        value = each.at(float(score))
        if each.part == "host":
            data["host"][each.number] = value
        elif each.part == "activities":
            activities[each.owner][each.number] = value
        elif each.part == "roles":
            roles[each.owner]["weight_pct"] *= value
        else:
            for role in data["roles"]:
                if each.owner in role["activity_pct"]:
                    role["activity_pct"][each.owner] *= value
    if "roles" in parts:
        weights = _to_100({role["name"]: role["weight_pct"] for role in data["roles"]})
        for role in data["roles"]:
            role["weight_pct"] = weights[role["name"]]
    if "habits" in parts:
        for role in data["roles"]:
            role["activity_pct"] = _to_100(role["activity_pct"])
    return from_data(data)


def _to_100(shares: dict[str, Any]) -> dict[str, float]:
    total = sum(shares.values())
    return {name: min(share / total * 100, 100.0) for name, share in shares.items()}
