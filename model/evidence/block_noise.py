"""How do the levels of blocks vary, one against the other, as far as their readings show?

Only the proportions matter: how large the noise is with offload on against off, and how alike
the levels of neighbouring blocks are. The size of the noise itself is left to whoever compares
the levels, since what moves whole blocks does not show within one.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from model.evidence.blocks import Blocks, BoolArray
from model.evidence.record import FloatArray, IntArray

_NEIGHBOURS = 12  # blocks farther apart than this are taken as unrelated
_STEPS_A_BLOCK = 60  # memory is looked for at steps of a sixtieth of a block
_STEPS = 20
# Correlations from one step to the next that are tried. The longest memory is about that of a
# block (50 steps of 60): of anything longer a block shows too little.
_DECAYS: FloatArray = 1 - np.geomspace(0.02, 0.95, 70)
_NO_MEMORY = (0.0, 0.0, 1.0)  # decay, variances of the lasting and of the white part
_SURE = 3.0  # standard errors beyond which the two states' noises count as different


@dataclass(frozen=True, eq=False)
class BlockNoise:
    """Covariances of block levels, up to a common factor.

    Parameters
    ----------
    bands : array of shape (neighbours + 1, blocks)
        Entry (k, i) belongs to the blocks i and i + k, 0 where there is no block i + k. [-]
    on_to_off : float
        Standard deviation with offload on over that with offload off. [-]
    """

    bands: FloatArray
    on_to_off: float

    def scaled(self, factor: FloatArray) -> "BlockNoise":
        """Return the covariances of levels that were multiplied by factors, one a block. [-]"""
        bands = self.bands * factor
        for k in range(len(bands)):
            bands[k, : len(factor) - k] *= factor[k:]
        return BlockNoise(bands, self.on_to_off)

    def times(self, columns: FloatArray) -> FloatArray:
        """Return the matrix of covariances times columns of shape (blocks, columns). [-]"""
        product: FloatArray = self.bands[0][:, None] * columns
        for k in range(1, len(self.bands)):
            band = self.bands[k, :-k][:, None]
            product[:-k] += band * columns[k:]
            product[k:] += band * columns[:-k]
        return product

    @property
    def trace(self) -> float:
        """Sum of the variances. [-]"""
        return float(self.bands[0].sum())

    @property
    def square_sum(self) -> float:
        """Sum of the squares of all entries of the matrix. [-]"""
        return float((self.bands[0] ** 2).sum() + 2 * (self.bands[1:] ** 2).sum())


def block_noise(values: FloatArray, blocks: Blocks) -> BlockNoise:
    """Return how the levels of blocks vary in proportion to each other.

    Parameters
    ----------
    values : array of shape (rows,)
        Readings, NaN where one is missing. [as measured]
    blocks : Blocks
        From `cut_blocks` with the same readings; at least two.

    Returns
    -------
    BlockNoise
        Without noise inside the blocks, or memory in it, all variances are 1 and nothing is
        related.

    Notes
    -----
    Two things are read off the residuals within blocks. The first is how their variance with
    offload on compares with that off, taken as 1 unless it lies three standard errors away, as the
    blocks' own variances scatter. The second is a white part and a part that decays
    geometrically, fitted by least squares to the residuals' covariances at up to twenty distances,
    with allowance for what a block's mean takes away.
    """
    count = len(blocks.on)
    member = blocks.block_of_row
    rows = np.flatnonzero(member >= 0)
    block = member[rows]
    residual = values[rows] - blocks.level[block]
    variance = np.bincount(block, residual**2, minlength=count) / np.maximum(blocks.readings, 1)
    scale = np.where(blocks.on, _on_to_off(variance, blocks.on), 1.0)
    residual = residual / scale[block]

    step = _step(blocks)
    length = blocks.readings / step
    farthest = min(_STEPS, int(np.median(np.maximum(length, 1.0))) // 3)
    memory = _NO_MEMORY
    if farthest >= 3 and residual.any():
        covariance = _covariances(residual, rows, block, step, farthest)
        memory = _memory(covariance, int(np.median(length)))
    bands = _bands(blocks, step, memory)
    return BlockNoise(bands, float(scale[blocks.on].max(initial=0.0) or 1.0)).scaled(scale)


def expected_block_noise(correlation: FloatArray, blocks: Blocks) -> BlockNoise:
    """Return what `block_noise` reads off a log of known noise, on average.

    Parameters
    ----------
    correlation : array of shape (readings in a block,)
        Correlation of readings 0, 1, 2, ... rows apart; 1 to begin with. [-]
    blocks : Blocks
        The blocks of a log that is only planned, all of them with as many readings.

    Returns
    -------
    BlockNoise
        Both states alike. Where blocks are too short to show a memory, nothing is related.

    Notes
    -----
    The covariances of residuals around a block's mean are those of the noise, less what the mean
    takes away, exactly; the rest is what `block_noise` does with them.
    """
    step = _step(blocks)
    rows = len(correlation)
    length = int(rows / step)
    farthest = min(_STEPS, length // 3)
    memory = _NO_MEMORY
    if farthest >= 3:
        sums = np.cumsum(correlation)
        with_mean = (sums + sums[::-1] - correlation[0]) / rows
        covariance = [
            correlation[at] - with_mean[: rows - at].mean() - with_mean[at:].mean()
            for at in range(0, farthest * step + 1, step)
        ]
        memory = _memory(np.array(covariance) + with_mean.mean(), length)
    return BlockNoise(_bands(blocks, step, memory), 1.0)


def _step(blocks: Blocks) -> int:
    """Return the rows from one step to the next, at which memory is looked for."""
    return max(round(float(np.median(blocks.readings)) / _STEPS_A_BLOCK), 1)


def _bands(blocks: Blocks, step: int, memory: tuple[float, float, float]) -> FloatArray:
    """Return the covariances of levels that follow from a decay and both variances."""
    decay, lasting, white = memory
    count = len(blocks.on)
    length = np.maximum(blocks.readings / step, 1.0)
    bands = np.zeros((min(_NEIGHBOURS, count - 1) + 1, count))
    bands[0] = _variance_of_mean(decay, lasting, white, length)
    if bands[0].min() <= 0:
        decay, lasting, bands[0] = 0.0, 0.0, 1.0
    mean = lasting * (1 - decay**length) / (1 - decay) / length
    for k in range(1, len(bands) if lasting > 0 else 1):
        gap_s = blocks.begin_s[k:] - blocks.end_s[:-k]
        row_s = (blocks.end_s - blocks.begin_s) / np.maximum(length, 1)
        gap = np.maximum(gap_s / float(np.median(row_s)) + 1, 1)
        bands[k, :-k] = decay**gap * mean[:-k] * mean[k:] / lasting
    return bands


def _on_to_off(variance: FloatArray, on: BoolArray) -> float:
    """Return the ratio of standard deviations within blocks, 1 where it may be 1. [-]"""
    variance_on, variance_off = variance[on], variance[~on]
    means = [float(each.mean()) if len(each) else 0.0 for each in (variance_on, variance_off)]
    if min(means) <= 0:
        return 1.0 if max(means) <= 0 else (1e-3 if means[0] <= 0 else 1e3)
    log_ratio = np.log(means[0] / means[1])
    scatter = sum(
        float(np.var(np.log(np.maximum(each / mean, 1e-12)), ddof=1)) / len(each)
        for each, mean in zip((variance_on, variance_off), means, strict=True)
        if len(each) > 1
    )
    return float(np.exp(log_ratio / 2)) if log_ratio**2 > _SURE**2 * scatter else 1.0


def _covariances(
    residual: FloatArray, rows: IntArray, block: IntArray, step: int, farthest: int
) -> FloatArray:
    """Return the residuals' mean products 0, 1, ... steps apart within the same block."""
    products = [float(residual @ residual) / len(residual)]
    for distance in range(step, farthest * step + 1, step):
        pair = (block[distance:] == block[:-distance]) & (
            rows[distance:] - rows[:-distance] == distance
        )
        product = float((residual[distance:] * residual[:-distance]) @ pair)
        products.append(product / max(int(pair.sum()), 1))
    return np.array(products)


def _memory(covariance: FloatArray, length: int) -> tuple[float, float, float]:
    """Fit a decay and the variances of the lasting and the white part, none below 0."""
    lasting_shapes, white_shape = _shapes(length, len(covariance))
    square = (lasting_shapes**2).sum(axis=1)
    cross = lasting_shapes @ white_shape
    white_square = float(white_shape @ white_shape)
    along, across = lasting_shapes @ covariance, float(white_shape @ covariance)
    lasting = (along * white_square - across * cross) / (square * white_square - cross**2)
    white = (across - lasting * cross) / white_square
    lasting = np.where(white < 0, along / square, lasting)
    white = np.where(lasting < 0, max(across, 0.0) / white_square, np.maximum(white, 0.0))
    lasting = np.maximum(lasting, 0.0)
    fitted = lasting[:, None] * lasting_shapes + white[:, None] * white_shape
    best = int(((fitted - covariance) ** 2).sum(axis=1).argmin())
    return float(_DECAYS[best]), float(lasting[best]), float(white[best])


@lru_cache(maxsize=64)
def _shapes(length: int, distances: int) -> tuple[FloatArray, FloatArray]:
    """Return what residuals around a block's mean covary, by distance in steps.

    One row for each decay tried, for a lasting part of variance 1; one for a white part. A block's
    mean goes along with its readings, so that less is left in the residuals than there was.
    """
    step = np.arange(length)
    fade = _DECAYS[:, None]
    with_mean = (2 - fade ** (step + 1) - fade ** (length - step)) / (1 - fade) - 1
    with_mean /= length
    mean_variance = with_mean.mean(axis=1)
    lasting = np.empty((len(_DECAYS), distances))
    white = np.full(distances, -1 / length)
    white[0] += 1
    for k in range(distances):
        ends = with_mean[:, : length - k].mean(axis=1) + with_mean[:, k:].mean(axis=1)
        lasting[:, k] = _DECAYS**k + mean_variance - ends
    return lasting, white


def _variance_of_mean(decay: float, lasting: float, white: float, length: FloatArray) -> FloatArray:
    """Return the variance of the mean of `length` steps."""
    fading = (1 + decay) / (1 - decay) - 2 * decay * (1 - decay**length) / (
        length * (1 - decay) ** 2
    )
    return np.asarray((lasting * fading + white) / length)
