"""How long must a trial be, and in which order is offload switched, to answer the question?

One desktop repeats one activity while offload is switched on and off in blocks of equal length;
their levels are compared as `offload_effect` does it. `plan_trial` works out, before anyone spends
an hour on it, how exact the answer will be.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from model.errors import InputError, check_at_least
from model.evidence.noise import Noise
from model.evidence.record import FloatArray
from model.evidence.student import t_cdf, t_quantile
from model.evidence.trial_exactness import ORDERS, Exactness, Order, exactness_of, states_of
from model.evidence.trial_length import Goal, block_lengths, check_goal, shortest
from model.evidence.trial_sheet import CAUTIONS, CHECKLIST, RunRow, run_sheet

_CURVE_POINTS = 61


@dataclass(frozen=True, eq=False)
class TrialPlan:
    """A trial: its order, its length and what it will be able to tell.

    Parameters
    ----------
    activities : tuple of str
        In the order in which they are done.
    order : str
        Name of the order of blocks.
    seed : int
        From which chance was taken; the same seed gives the same plan. [-]
    states : tuple of tuple of bool
        For each activity, whether offload is on, block by block.
    blocks : int
        Blocks for each activity, half of them with offload. [-]
    block_s, drop_s, settle_s : float
        Length of a block, seconds dropped at its begin, and time before each activity. [s]
    noise : Noise
        What was assumed.
    standard_error : float
        Standard deviation of the effect that one activity's part will find. [as the noise]
    degrees : float
        Degrees of freedom of the interval. [-] At most the blocks, less the drift's terms and two;
        fewer where slow noise ties neighbouring blocks together.
    interval_calibration : float
        The true standard error over the root mean square of those that the method will find. [-]
        Near 1; above 1 the interval is somewhat too short, because blocks are too short to show
        all of the noise's memory; below 1 too long.
    interval_coverage : float
        How often the interval will hold the true effect, which follows from it. [-]
    confidence : float
        How often it should. [-]
    half_width : float
        Expected half width of the interval around the effect. [as the noise]
    power : float
        Probability with which `smallest_effect` is told from zero. [-]
    smallest_effect : float
        The smallest effect found with that probability. [as the noise]
    effects, powers : array of shape (points,)
        The power curve: true effect [as the noise], probability that it is found [-].
    activity_s, total_s : float
        Time for one activity, and for the whole trial. [s]
    run_sheet : tuple of RunRow
        Every block in its turn.
    checklist, cautions : tuple of str
        To be printed with the run sheet, above and below it.
    """

    activities: tuple[str, ...]
    order: Order
    seed: int
    states: tuple[tuple[bool, ...], ...]
    blocks: int
    block_s: float
    drop_s: float
    settle_s: float
    noise: Noise
    standard_error: float
    degrees: float
    interval_calibration: float
    interval_coverage: float
    confidence: float
    half_width: float
    power: float
    smallest_effect: float
    effects: FloatArray
    powers: FloatArray
    activity_s: float
    total_s: float
    run_sheet: tuple[RunRow, ...]
    checklist: tuple[str, ...]
    cautions: tuple[str, ...]


def plan_trial(
    activities: Sequence[str],
    noise: Noise,
    *,
    smallest_effect: float | None = None,
    half_width: float | None = None,
    blocks: int | None = None,
    block_s: float | None = 60.0,
    drop_s: float = 5.0,
    settle_s: float = 60.0,
    order: Order = "Thue-Morse",
    seed: int = 1,
    power: float = 0.8,
    confidence: float = 0.95,
) -> TrialPlan:
    """Return the shortest trial that answers with the wanted exactness.

    One of three is given: the smallest effect that must not be missed, the wanted half width of
    the interval, or the number of blocks, which shows what a trial of that length can do.

    Parameters
    ----------
    activities : sequence of str
        What the desktop does, one part of the trial each, in an order that chance decides.
    noise : Noise
        How the readings stray, from `noise_of` or as a guess.
    smallest_effect : float or None, above 0
        The smallest effect that is to be told from zero with probability `power`.
        [unit of the noise]
    half_width : float or None, above 0
        The wanted half width of the interval, on average. [as the noise]
    blocks : int or None, a multiple of 4 from 8 to 128
        Blocks for each activity. [-]
    block_s : float or None, above 0
        Length of a block. [s] None for the length from 30 s to 300 s that makes the trial
        shortest; it must be given where the blocks are.
    drop_s : float, 0 or more
        Seconds at the begin of each block that do not count. [s]
    settle_s : float, 0 or more
        Time before each activity's first block. [s]
    order : str
        "Thue-Morse" (0110 1001 ...) evens out straight and bent drifts, "ABBA" straight ones;
        "permuted" draws the order in each pair, half of the pairs either way. In all of them each
        pair of neighbouring blocks has one with and one without offload.
    seed : int, 0 or more
        Decides by chance which state is first and which activity. [-]
    power : float, above 1 - confidence and up to 0.999
        Probability with which the smallest effect is found. [-]
    confidence : float, above 0 and below 1
        Of the interval. [-]

    Returns
    -------
    TrialPlan
        Order, length, exactness, power curve and run sheet.

    Raises
    ------
    InputError
        For a value out of range, for none or several of the three, and where no trial of up to
        128 blocks is exact enough: what the longest one can do is told.

    Notes
    -----
    The trial is planned for the method of `offload_effect`, which takes a smooth drift out of the
    levels of blocks; `exactness_of` gives its standard error for the noise. In 600 simulated
    trials each, for 8, 16 and 32 blocks of 60 s and correlations from 0 to 0.98, half widths lay
    between 5 % below and 1 % above those planned, and the power of 80 % came out at 80 to 84 %.

    The usual formula, which multiplies a time for independent readings by how correlated they are,
    is off in both directions: it ignores that neighbouring blocks share slow noise, and it ignores
    that few blocks tell little about the noise. Blocks come in fours, so that any number of them
    is evened out; 16 and more are better than 8. A drift that is rougher than one term for four
    blocks can follow widens the interval beyond the plan, the less so the shorter the blocks.
    """
    names = _checked_names(activities)
    if not isinstance(noise, Noise):
        raise InputError("noise", type(noise).__name__, "a Noise, from a pilot log or a guess")
    check_goal(smallest_effect, half_width, blocks)
    check_at_least("drop_s", drop_s, 0, unit="s")
    check_at_least("settle_s", settle_s, 0, unit="s")
    if order not in ORDERS:
        raise InputError("order", order, f"one of {', '.join(ORDERS)}")
    if not isinstance(seed, int) or isinstance(seed, bool) or seed < 0:
        raise InputError("seed", seed, "a whole number of 0 or more")
    if not 0 < confidence < 1:
        raise InputError("confidence", confidence, "a number above 0 and below 1")
    if not 1 - confidence < power <= 0.999:
        raise InputError("power", power, f"a number above {1 - confidence:g}, up to 0.999")
    if block_s is None and blocks is not None:
        raise InputError("block_s", None, "a number above 0 s, as the number of blocks is given")
    lengths = block_lengths(block_s, drop_s, noise)

    goal = Goal(smallest_effect, half_width, power, confidence)
    if blocks is not None:
        best = exactness_of(order, seed, blocks, lengths[0], drop_s, noise)
    else:
        best = shortest(goal, lengths, drop_s, noise, order, seed)
    return _written(best, goal, names, noise, order, seed, drop_s, settle_s)


def _checked_names(activities: Sequence[str]) -> tuple[str, ...]:
    names = (activities,) if isinstance(activities, str) else tuple(activities)
    if not names:
        raise InputError("activities", "none", "at least one activity")
    for place, name in enumerate(names):
        if not isinstance(name, str) or not name.strip():
            raise InputError(f"activities[{place}]", name, "a name")
        if name in names[:place]:
            raise InputError(f"activities[{place}]", name, "a name that is not there twice")
    return names


def _written(
    exact: Exactness,
    goal: Goal,
    names: tuple[str, ...],
    noise: Noise,
    order: Order,
    seed: int,
    drop_s: float,
    settle_s: float,
) -> TrialPlan:
    """Return the plan with its power curve and run sheet."""
    generator = np.random.default_rng(seed)
    states = [states_of(order, exact.blocks, generator)]
    for _ in names[1:]:  # the first state takes turns, so that no state always comes first
        last = states[-1]
        following = states_of(order, exact.blocks, generator)
        states.append(
            following if following[0] != last[0] else tuple(not state for state in following)
        )
    in_turn = tuple(names[place] for place in generator.permutation(len(names)))
    found = goal.effect_of(exact)
    effects = np.linspace(0.0, 2 * found, _CURVE_POINTS)
    powers = [goal.power_at(effect, exact) for effect in effects.tolist()]
    activity_s = settle_s + exact.blocks * exact.block_s
    critical = t_quantile(0.5 + goal.confidence / 2, exact.degrees)
    coverage = 1 - 2 * t_cdf(-critical / exact.calibration, exact.degrees)
    cautions: tuple[str, ...] = CAUTIONS
    if coverage < goal.confidence - 0.01:
        cautions += (
            f"This noise is so slow that blocks of {exact.block_s:g} s do not show all of it: what "
            f"is called a {100 * goal.confidence:g} % interval will hold the truth in about "
            f"{100 * coverage:.0f} % of such trials. Longer blocks mend that.",
        )
    return TrialPlan(
        activities=in_turn,
        order=order,
        seed=seed,
        states=tuple(states),
        blocks=exact.blocks,
        block_s=exact.block_s,
        drop_s=float(drop_s),
        settle_s=float(settle_s),
        noise=noise,
        standard_error=exact.standard_error,
        degrees=exact.degrees,
        interval_calibration=exact.calibration,
        interval_coverage=coverage,
        confidence=goal.confidence,
        half_width=goal.half_width_of(exact),
        power=goal.power,
        smallest_effect=found,
        effects=effects,
        powers=np.array(powers),
        activity_s=activity_s,
        total_s=activity_s * len(names),
        run_sheet=run_sheet(in_turn, states, exact.block_s, drop_s, settle_s),
        checklist=tuple(line.format(interval=f"{noise.interval_s:g}") for line in CHECKLIST),
        cautions=cautions,
    )
