"""When does a log support no interval, and what must a reader of one know?"""

from math import sqrt

import numpy as np

from model.evidence.autocorrelation import effective_sample_size
from model.evidence.block_fit import BlockFit
from model.evidence.blocks import Blocks
from model.evidence.effect import Estimate
from model.evidence.effect_checks import around_state, rows_used
from model.evidence.record import FloatArray

LEAST_BLOCKS = 6  # our choice: one drift term and three degrees of freedom are left
ENOUGH_BLOCKS = 16  # our choice: below it the interval is more than 1.2 times the shortest
LEAST_SWITCHES = 3  # one switch cannot be told from anything else that changed at that moment
_MOST_INFLATION = 3.0  # of the variance of the difference, by taking out the drift
_LEAST_EFFECTIVE = 10.0  # independent readings below which the means are doubtful
_READINGS_A_SKEWNESS = 25.0  # independent ones, times the square of the skewness: Cochran's rule


def refusal(blocks: Blocks, switches: int, drop_s: float) -> str | None:
    """Return why a log supports no interval, or None.

    Parameters
    ----------
    blocks : Blocks
        The log cut into blocks.
    switches : int
        How often offload changed. [-]
    drop_s : float
        Left out at the beginning of every block. [s]
    """
    count = len(blocks.on)
    for state, name in ((True, "on"), (False, "off")):
        if not (blocks.on == state).any():
            return f"No block with offload {name} has enough readings: there is no difference."
    if blocks.block_s < 2 * drop_s:
        return (
            f"Blocks of {blocks.block_s:.3g} s are too short: {drop_s:.3g} s of each are left "
            "out. No interval is given."
        )
    if switches < LEAST_SWITCHES:
        often = "once" if switches == 1 else "twice"
        return (
            f"Offload was switched only {often}, so that anything else that changed then would "
            "count as its effect. No interval is given; switch at least seven times."
        )
    if count < LEAST_BLOCKS or min(blocks.on.sum(), count - blocks.on.sum()) < 2:
        return (
            f"Only {count} blocks can be used ({int(blocks.on.sum())} on): too few for an "
            f"interval, which needs {LEAST_BLOCKS} and is good from {ENOUGH_BLOCKS}."
        )
    if float(np.ptp(blocks.level)) == 0:
        return "The readings never change, so there is nothing to compare."
    return None


def refusal_of_fit(fit: BlockFit, level: FloatArray) -> str | None:
    """Return why the levels explained by offload and drift support no interval, or None.

    Parameters
    ----------
    fit : BlockFit
        Offload and drift as they explain the levels.
    level : array of shape (blocks,)
        The level of each block. [as measured]
    """
    if fit.inflation > _MOST_INFLATION:
        return (
            "On and off follow each other in an order that a slow drift of the level could "
            "imitate, so no interval is given. Plan the order on-off-off-on, then its reverse."
        )
    if _is_noiseless(fit, level):
        return (
            "The level is the same in all blocks of a state: without noise there is nothing to "
            "judge the difference by, and no interval is given."
        )
    return None


def _is_noiseless(fit: BlockFit, level: FloatArray) -> bool:
    residual = fit.residual(level)
    return float(np.abs(residual).max()) <= 1e-12 * float(np.abs(level).max())


def cautions(
    blocks: Blocks,
    fit: BlockFit,
    drift: FloatArray,
    effective: float,
    skewness: float,
    ratio: Estimate,
    half_width: float,
) -> list[str]:
    """Return what a reader must know about an effect that has an interval, in sentences.

    Parameters
    ----------
    blocks : Blocks
        The levels that were compared.
    fit : BlockFit
        Offload and drift as they explain the levels.
    drift : array of shape (blocks,)
        The smooth drift. [as measured]
    effective : float
        Independent readings that the used ones are worth. [rows]
    skewness : float
        Of the readings around their blocks. [-]
    ratio : Estimate
        On over off. [-]
    half_width : float
        Of the interval of the difference. [as measured]
    """
    told = []
    if len(blocks.on) < ENOUGH_BLOCKS:
        told.append(f"{len(blocks.on)} blocks give a wide interval; plan {ENOUGH_BLOCKS} or more.")
    swing = float(np.ptp(drift))
    residual = fit.residual(blocks.level)
    free = len(residual) - fit.basis.shape[1]
    noise = sqrt(float(residual @ residual) / free)
    explained = float(drift @ drift) / fit.drift.shape[1]
    if explained > 6 * noise**2 and swing > half_width:
        told.append(
            f"The level drifts by about {swing:.3g} over the log; a smooth drift was taken out "
            "before on and off were compared."
        )
    needed = max(_LEAST_EFFECTIVE, _READINGS_A_SKEWNESS * skewness**2)
    if effective < needed:
        told.append(
            f"The readings are worth only about {effective:.0f} independent ones, and a few "
            f"bursts or long stretches carry their level: the intervals may be too short. About "
            f"{needed:.0f} would do."
        )
    if ratio.interval is None:
        told.append(
            "The level without offload may be 0, so that the ratio can be anything: it has no "
            "interval."
        )
    return told


def skewness_of(values: FloatArray, blocks: Blocks) -> float:
    """Return the larger skewness of the readings in either state, around their blocks. [-]

    Parameters
    ----------
    values : array of shape (rows,)
        Readings of one column. [as measured]
    blocks : Blocks
        The log cut into blocks.
    """
    rows = np.flatnonzero(blocks.block_of_row >= 0)
    block = blocks.block_of_row[rows]
    residual = values[rows] - blocks.level[block]
    worst = 0.0
    for state in (True, False):
        of_state = residual[blocks.on[block] == state]
        square = float((of_state**2).mean())
        if square > 0:
            worst = max(worst, abs(float((of_state**3).mean())) / square**1.5)
    return worst


def effective_rows(values: FloatArray, blocks: Blocks) -> float:
    """Return how many independent readings those in blocks are worth, on and off together. [rows]

    Parameters
    ----------
    values : array of shape (rows,)
        Readings of one column. [as measured]
    blocks : Blocks
        The log cut into blocks.
    """
    used, on = rows_used(values, blocks)
    return effective_sample_size(around_state(used, on)) if len(used) >= LEAST_BLOCKS else 0.0
