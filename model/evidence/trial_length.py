"""Which is the shortest trial that is exact enough?

A goal is the smallest effect that must not be missed, or a half width of the interval.
`shortest` goes through numbers and lengths of blocks until the goal is met.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor, log10

from model.errors import InputError, check_above
from model.evidence.noise import Noise
from model.evidence.student import (
    mean_of_estimated_spread,
    power_of,
    smallest_effect_found,
    t_quantile,
)
from model.evidence.trial_exactness import Exactness, Order, exactness_of, steady_readings

LEAST_BLOCKS = 8  # four pairs; fewer leave the interval to chance
USUAL_BLOCKS = 16
MOST_BLOCKS = 128
BLOCK_CHOICES_S = (30.0, 45.0, 60.0, 90.0, 120.0, 180.0, 300.0)
_FEWEST_STEADY_READINGS = 5  # in a block, once its first seconds are dropped


@dataclass(frozen=True)
class Goal:
    """What is asked for, and how far a schedule is from it.

    Parameters
    ----------
    smallest_effect, half_width : float or None
        The effect that must not be missed, or the wanted half width; neither where the number of
        blocks is given. [as the noise]
    power : float
        Probability with which the smallest effect is found. [-]
    confidence : float
        Of the interval. [-]
    """

    smallest_effect: float | None
    half_width: float | None
    power: float
    confidence: float

    def half_width_of(self, exact: Exactness) -> float:
        """Half width of the interval that a schedule finds on average. [as the noise]"""
        found = exact.standard_error / exact.calibration * mean_of_estimated_spread(exact.degrees)
        return t_quantile(0.5 + self.confidence / 2, exact.degrees) * found

    def power_at(self, effect: float, exact: Exactness) -> float:
        """Probability with which a schedule finds an effect. [-]"""
        return power_of(
            effect, exact.standard_error, exact.degrees, self.confidence, exact.calibration
        )

    def effect_of(self, exact: Exactness) -> float:
        """The smallest effect that a schedule finds with that power. [as the noise]"""
        return smallest_effect_found(
            exact.standard_error, exact.degrees, self.power, self.confidence, exact.calibration
        )

    def met_by(self, exact: Exactness) -> bool:
        """Whether a schedule is exact enough."""
        if self.smallest_effect is not None:
            return self.power_at(self.smallest_effect, exact) >= self.power
        return self.half_width_of(exact) <= self.wanted

    def reached_by(self, exact: Exactness) -> float:
        """What the schedule reaches of the wanted quantity; the smaller, the better."""
        return self.effect_of(exact) if self.half_width is None else self.half_width_of(exact)

    @property
    def wanted(self) -> float:
        """The wanted quantity, where one is. [as the noise]"""
        wanted = self.smallest_effect if self.half_width is None else self.half_width
        assert wanted is not None
        return wanted


def check_goal(smallest_effect: float | None, half_width: float | None, blocks: int | None) -> None:
    """Refuse none or several of the three, or one out of range.

    Parameters
    ----------
    smallest_effect : float or None
        The smallest effect that must not be missed. [as the noise]
    half_width : float or None
        The wanted half width of the interval. [as the noise]
    blocks : int or None
        Blocks of an activity. [-]

    Raises
    ------
    InputError
        Says which one, and what would do.
    """
    given = [each for each in (smallest_effect, half_width, blocks) if each is not None]
    if len(given) != 1:
        raise InputError(
            "goal", f"{len(given)} given", "one of smallest_effect, half_width and blocks"
        )
    if smallest_effect is not None:
        check_above("smallest_effect", smallest_effect, 0)
    if half_width is not None:
        check_above("half_width", half_width, 0)
    if blocks is not None and (
        not isinstance(blocks, int)
        or isinstance(blocks, bool)
        or not LEAST_BLOCKS <= blocks <= MOST_BLOCKS
        or blocks % 4
    ):
        raise InputError("blocks", blocks, f"a multiple of 4 from {LEAST_BLOCKS} to {MOST_BLOCKS}")


def block_lengths(block_s: float | None, drop_s: float, noise: Noise) -> list[float]:
    """Return the lengths of blocks to be tried, each with enough readings that count.

    Parameters
    ----------
    block_s : float, above 0, or None
        The only length, or None for all of `BLOCK_CHOICES_S`. [s]
    drop_s : float
        Seconds at the begin of each block that do not count. [s]
    noise : Noise
        Gives the time from one reading to the next.

    Raises
    ------
    InputError
        Where the given block, or the longest one, leaves too few readings.
    """
    if block_s is None:
        lengths = [
            each
            for each in BLOCK_CHOICES_S
            if steady_readings(each, drop_s, noise) >= _FEWEST_STEADY_READINGS
        ]
        if not lengths:
            raise InputError("drop_s", drop_s, "less than the longest block, 300 s, leaves")
        return lengths
    check_above("block_s", block_s, 0, unit="s")
    if steady_readings(block_s, drop_s, noise) < _FEWEST_STEADY_READINGS:
        least = drop_s + _FEWEST_STEADY_READINGS * noise.interval_s
        raise InputError("block_s", block_s, f"a number of at least {least:g} s")
    return [float(block_s)]


def shortest(
    goal: Goal, lengths_s: Sequence[float], drop_s: float, noise: Noise, order: Order, seed: int
) -> Exactness:
    """Return the shortest schedule that reaches the goal, from the usual number of blocks on.

    Parameters
    ----------
    goal : Goal
        What is asked for.
    lengths_s : sequence of float
        Lengths of blocks to be tried. [s]
    drop_s : float
        Seconds at the begin of each block that do not count. [s]
    noise : Noise
        How the readings stray.
    order : str
        One of `ORDERS`.
    seed : int, 0 or more
        Decides by chance which state is first. [-]

    Raises
    ------
    InputError
        Where no schedule is exact enough; it tells what the longest one can do.
    """
    found: Exactness | None = None
    longest: list[Exactness] = []
    for block_s in lengths_s:
        most = exactness_of(order, seed, MOST_BLOCKS, block_s, drop_s, noise)
        if not goal.met_by(most):
            longest.append(most)
            continue
        for blocks in range(USUAL_BLOCKS, MOST_BLOCKS + 1, 4):
            if found is not None and blocks * block_s >= found.blocks * found.block_s:
                break
            exact = exactness_of(order, seed, blocks, block_s, drop_s, noise)
            if goal.met_by(exact):
                found = exact
                break
    if found is not None:
        return found
    best = min(longest, key=goal.reached_by)
    field = "smallest_effect" if goal.half_width is None else "half_width"
    raise InputError(
        field,
        goal.wanted,
        f"at least {_rounded_up(goal.reached_by(best))}, which is what {MOST_BLOCKS} blocks of "
        f"{best.block_s:g} s can do with this noise; longer blocks or less noise can do more",
    )


def _rounded_up(amount: float) -> str:
    """Return three digits of an amount that are no less than it."""
    step = 10.0 ** (floor(log10(amount)) - 2)
    return f"{ceil(amount / step - 1e-9) * step:.3g}"
