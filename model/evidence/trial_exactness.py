"""How exactly will blocks with and without offload, in a given order, answer the question?

A schedule is an order of blocks of one length. `exactness_of` says before the trial how far the
effect that it finds will stray, and how well the method will know that.
"""

from dataclasses import dataclass
from math import sqrt
from typing import Literal, TypeAlias, get_args

import numpy as np

from model.evidence.block_fit import fit_blocks, mean_residual_square, relative_variances
from model.evidence.block_noise import BlockNoise, expected_block_noise
from model.evidence.blocks import Blocks
from model.evidence.noise import Noise, covariances_of_blocks
from model.evidence.record import FloatArray

Order: TypeAlias = Literal["Thue-Morse", "ABBA", "permuted"]
ORDERS: tuple[Order, ...] = get_args(Order)


@dataclass(frozen=True)
class Exactness:
    """What one schedule can do, however many activities follow it.

    Parameters
    ----------
    blocks : int
        Blocks of an activity. [-]
    block_s : float
        Length of a block. [s]
    standard_error : float
        Standard deviation of the effect that will be found. [as the noise]
    calibration : float
        The true standard error over the root mean square of those that the method will find. [-]
    degrees : float
        Degrees of freedom of the interval. [-]
    """

    blocks: int
    block_s: float
    standard_error: float
    calibration: float
    degrees: float


def exactness_of(
    order: Order, seed: int, blocks: int, block_s: float, drop_s: float, noise: Noise
) -> Exactness:
    """Return the exact standard error of a schedule, and how well it will be estimated.

    Parameters
    ----------
    order : str
        One of `ORDERS`.
    seed : int, 0 or more
        Decides by chance which state is first. [-]
    blocks : int, a multiple of 4
        Blocks of an activity. [-]
    block_s : float
        Length of a block. [s]
    drop_s : float
        Seconds at the begin of each block that do not count. [s]
    noise : Noise
        How the readings stray.

    Notes
    -----
    The standard error is exact for the noise given: the weights of all blocks in their order,
    with the covariance of every two of them, the gaps of dropped seconds included. What the
    method of `offload_effect` will find for it, and with how many degrees of freedom, follows
    from what it sees of that noise within blocks on average.
    """
    states = states_of(order, blocks, np.random.default_rng(seed))
    steady = steady_readings(block_s, drop_s, noise)
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
    return Exactness(blocks, float(block_s), sqrt(variance), sqrt(variance / found), degrees)


def states_of(order: Order, blocks: int, generator: np.random.Generator) -> tuple[bool, ...]:
    """Return whether offload is on, block by block; chance decides which state is first.

    Parameters
    ----------
    order : str
        One of `ORDERS`.
    blocks : int, a multiple of 4
        Blocks of an activity. [-]
    generator : numpy Generator
        From which chance is taken.
    """
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


def steady_readings(block_s: float, drop_s: float, noise: Noise) -> int:
    """Return how many readings of a block count.

    Parameters
    ----------
    block_s : float
        Length of a block. [s]
    drop_s : float
        Seconds at its begin that do not count. [s]
    noise : Noise
        Gives the time from one reading to the next.
    """
    return round(block_s / noise.interval_s) - round(drop_s / noise.interval_s)
