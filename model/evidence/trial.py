"""How long must a trial be, and in which order is offload switched, to answer the question?

One desktop repeats one activity while offload is switched on and off in blocks of equal length;
their levels are compared as `offload_effect` does it. `plan_trial` works out, before anyone spends
an hour on it, how exact the answer will be.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor, log10, sqrt
from typing import Literal, TypeAlias, get_args

import numpy as np

from model.errors import InputError, check_above, check_at_least
from model.evidence.block_fit import fit_blocks, mean_residual_square, relative_variances
from model.evidence.block_noise import BlockNoise, expected_block_noise
from model.evidence.blocks import Blocks
from model.evidence.noise import Noise, covariances_of_blocks
from model.evidence.record import FloatArray
from model.evidence.student import (
    mean_of_estimated_spread,
    power_of,
    smallest_effect_found,
    t_cdf,
    t_quantile,
)

Order: TypeAlias = Literal["Thue-Morse", "ABBA", "permuted"]
ORDERS: tuple[Order, ...] = get_args(Order)

LEAST_BLOCKS = 8  # four pairs; fewer leave the interval to chance
USUAL_BLOCKS = 16
MOST_BLOCKS = 128
BLOCK_CHOICES_S = (30.0, 45.0, 60.0, 90.0, 120.0, 180.0, 300.0)
_CURVE_POINTS = 61
_FEWEST_STEADY_READINGS = 5  # in a block, once its first seconds are dropped

CHECKLIST = (
    "This is a host and a desktop for trials, not in production: nobody works on it but us.",
    "Agreed by (name, date), who also answers for the host:",
    "How offload is switched off and on again has been tried once, and is written here:",
    "How everything is put back as it was, and who does it if the trial is broken off:",
    "The log records the encoder's CPU and frames delivered every {interval} s, with the clock "
    "time and, if possible, the state of offload.",
    "The clock of whoever switches and that of the log agree to the second.",
    "The activity is played by a script or from one recording, the same in every block.",
    "Display size, number of displays, frame rate and quality limits are fixed and noted:",
    "Nothing else runs on the host: no backups, no scans, no updates, no second desktop.",
)
CAUTIONS = (
    "Switching offload on and off on purpose belongs in a trial, never in production.",
    "Note the actual time of every switch. A late one does no harm once the log knows it.",
    "Keep to the order. Do not leave out, repeat or swap blocks because of what the log shows.",
    "Afterwards switch back to the state from before, and check that a desktop shows it.",
)


@dataclass(frozen=True)
class RunRow:
    """One line of the run sheet: what is done when.

    Parameters
    ----------
    block : int
        Number of the block, counted from 1 through the whole trial. [-]
    activity : str
        What the desktop does.
    on : bool
        Whether offload is on.
    switched : bool
        Whether offload has to be switched for it; False where it stays as in the block before.
    start_s, count_from_s, end_s : float
        Begin of the block, of the readings that count, and its end, from the trial's begin. [s]
    """

    block: int
    activity: str
    on: bool
    switched: bool
    start_s: float
    count_from_s: float
    end_s: float

    @property
    def state(self) -> str:
        """The state in words."""
        return "with card" if self.on else "without card"

    @property
    def clock(self) -> str:
        """Begin of the block as hours, minutes and seconds from the trial's begin."""
        seconds = round(self.start_s)
        return f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


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
    levels of blocks. The standard error of its difference is exact for the noise given: the
    weights of all blocks in their order, with the covariance of every two of them, the gaps of
    dropped seconds included. What the method will find for it, and with how many degrees of
    freedom, follows from what it sees of that noise within blocks on average. In 600 simulated
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
    _check_goal(smallest_effect, half_width, blocks)
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
    if block_s is None:
        lengths = [
            each
            for each in BLOCK_CHOICES_S
            if _steady(each, drop_s, noise) >= _FEWEST_STEADY_READINGS
        ]
        if not lengths:
            raise InputError("drop_s", drop_s, "less than the longest block, 300 s, leaves")
    else:
        check_above("block_s", block_s, 0, unit="s")
        lengths = [float(block_s)]
        if _steady(block_s, drop_s, noise) < _FEWEST_STEADY_READINGS:
            least = drop_s + _FEWEST_STEADY_READINGS * noise.interval_s
            raise InputError("block_s", block_s, f"a number of at least {least:g} s")

    goal = _Goal(smallest_effect, half_width, power, confidence)
    if blocks is not None:
        best = _exactness(order, seed, blocks, lengths[0], drop_s, noise)
    else:
        best = _shortest(goal, lengths, drop_s, noise, order, seed)
    return _written(best, goal, names, noise, order, seed, drop_s, settle_s)


@dataclass(frozen=True)
class _Exactness:
    """What one schedule can do, however many activities follow it."""

    blocks: int
    block_s: float
    standard_error: float
    calibration: float
    degrees: float


@dataclass(frozen=True)
class _Goal:
    """What is asked for, and how far a schedule is from it."""

    smallest_effect: float | None
    half_width: float | None
    power: float
    confidence: float

    def half_width_of(self, exact: _Exactness) -> float:
        found = exact.standard_error / exact.calibration * mean_of_estimated_spread(exact.degrees)
        return t_quantile(0.5 + self.confidence / 2, exact.degrees) * found

    def power_at(self, effect: float, exact: _Exactness) -> float:
        return power_of(
            effect, exact.standard_error, exact.degrees, self.confidence, exact.calibration
        )

    def effect_of(self, exact: _Exactness) -> float:
        return smallest_effect_found(
            exact.standard_error, exact.degrees, self.power, self.confidence, exact.calibration
        )

    def met_by(self, exact: _Exactness) -> bool:
        if self.smallest_effect is not None:
            return self.power_at(self.smallest_effect, exact) >= self.power
        return self.half_width_of(exact) <= self.wanted

    def reached_by(self, exact: _Exactness) -> float:
        """What the schedule reaches of the wanted quantity; the smaller, the better."""
        return self.effect_of(exact) if self.half_width is None else self.half_width_of(exact)

    @property
    def wanted(self) -> float:
        wanted = self.smallest_effect if self.half_width is None else self.half_width
        assert wanted is not None
        return wanted


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


def _check_goal(
    smallest_effect: float | None, half_width: float | None, blocks: int | None
) -> None:
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


def _steady(block_s: float, drop_s: float, noise: Noise) -> int:
    """Return how many readings of a block count."""
    return round(block_s / noise.interval_s) - round(drop_s / noise.interval_s)


def _shortest(
    goal: _Goal, lengths: Sequence[float], drop_s: float, noise: Noise, order: Order, seed: int
) -> _Exactness:
    """Return the shortest schedule that reaches the goal, from the usual number of blocks on."""
    shortest: _Exactness | None = None
    longest: list[_Exactness] = []
    for block_s in lengths:
        most = _exactness(order, seed, MOST_BLOCKS, block_s, drop_s, noise)
        if not goal.met_by(most):
            longest.append(most)
            continue
        for blocks in range(USUAL_BLOCKS, MOST_BLOCKS + 1, 4):
            if shortest is not None and blocks * block_s >= shortest.blocks * shortest.block_s:
                break
            exact = _exactness(order, seed, blocks, block_s, drop_s, noise)
            if goal.met_by(exact):
                shortest = exact
                break
    if shortest is not None:
        return shortest
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


def _states(order: Order, blocks: int, generator: np.random.Generator) -> tuple[bool, ...]:
    """Return whether offload is on, block by block; chance decides which state is first."""
    pairs = blocks // 2
    if order == "Thue-Morse":
        first_on = [place.bit_count() % 2 == 1 for place in range(0, blocks, 2)]
    elif order == "ABBA":
        first_on = [pair % 2 == 1 for pair in range(pairs)]
    else:
        first_on = [bool(each) for each in generator.permutation(np.arange(pairs) % 2)]
    if generator.random() < 0.5:
        first_on = [not each for each in first_on]
    return tuple(state for on in first_on for state in (on, not on))


def _exactness(
    order: Order, seed: int, blocks: int, block_s: float, drop_s: float, noise: Noise
) -> _Exactness:
    """Return the exact standard error of a schedule, and how well it will be estimated."""
    states = _states(order, blocks, np.random.default_rng(seed))
    steady = _steady(block_s, drop_s, noise)
    begin_s: FloatArray = block_s * np.arange(blocks, dtype=np.float64)
    planned = Blocks(
        on=np.array(states),
        begin_s=begin_s + drop_s,
        end_s=begin_s + block_s,
        level=np.zeros(blocks),
        readings=np.full(blocks, float(steady)),
        number=np.arange(blocks),
        block_of_row=np.zeros(0, dtype=np.int64),
        block_s=float(block_s),
    )
    fit = fit_blocks(planned)
    readings = round(block_s / noise.interval_s)
    covariances = covariances_of_blocks(noise, readings, steady, blocks)
    apart, block = np.indices((blocks, blocks))
    bands = np.where(block < blocks - apart, covariances[:, None], 0.0)
    true = BlockNoise(bands, 1.0)
    variance = float(fit.contrast @ true.times(fit.contrast[:, None])[:, 0])
    correlation: FloatArray = noise.slow_share * noise.carry ** np.arange(steady, dtype=np.float64)
    correlation[0] = 1.0
    seen = expected_block_noise(correlation, planned)
    (share,), degrees = relative_variances(fit, seen, (fit.contrast,))
    found = share * mean_residual_square(fit, true)
    return _Exactness(blocks, float(block_s), sqrt(variance), sqrt(variance / found), degrees)


def _written(
    exact: _Exactness,
    goal: _Goal,
    names: tuple[str, ...],
    noise: Noise,
    order: Order,
    seed: int,
    drop_s: float,
    settle_s: float,
) -> TrialPlan:
    """Return the plan with its power curve and run sheet."""
    generator = np.random.default_rng(seed)
    states = [_states(order, exact.blocks, generator)]
    for _ in names[1:]:  # the first state takes turns, so that no state always comes first
        last = states[-1]
        following = _states(order, exact.blocks, generator)
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
        run_sheet=_run_sheet(in_turn, states, exact.block_s, drop_s, settle_s),
        checklist=tuple(line.format(interval=f"{noise.interval_s:g}") for line in CHECKLIST),
        cautions=cautions,
    )


def _run_sheet(
    names: Sequence[str],
    states: Sequence[tuple[bool, ...]],
    block_s: float,
    drop_s: float,
    settle_s: float,
) -> tuple[RunRow, ...]:
    rows: list[RunRow] = []
    start_s = 0.0
    for name, in_turn in zip(names, states, strict=True):
        start_s += settle_s
        for place, on in enumerate(in_turn):
            switched = place == 0 or on != in_turn[place - 1]
            rows.append(
                RunRow(
                    block=len(rows) + 1,
                    activity=name,
                    on=on,
                    switched=switched,
                    start_s=start_s,
                    count_from_s=start_s + drop_s,
                    end_s=start_s + block_s,
                )
            )
            start_s += block_s
    return tuple(rows)
