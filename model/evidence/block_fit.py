"""How are levels of blocks parted into offload, a smooth drift and the rest?

The same parting serves a log that was recorded and a trial that is only planned, so that the plan
promises what the method used afterwards can keep.
"""

from dataclasses import dataclass
from math import inf, sqrt

import numpy as np

from model.evidence.block_noise import BlockNoise
from model.evidence.blocks import Blocks
from model.evidence.record import FloatArray

_BLOCKS_A_TERM = 4  # a drift may swing once in eight blocks
_MOST_TERMS = 64


@dataclass(frozen=True, eq=False)
class BlockFit:
    """Levels of blocks explained by offload and a smooth drift.

    Parameters
    ----------
    basis : array of shape (blocks, columns)
        Orthonormal columns that span constant, drift and offload. [-]
    contrast : array of shape (blocks,)
        Weights of the levels in the difference, on minus off. [-]
    off_weights : array of shape (blocks,)
        Weights of the levels in the level without offload. [-]
    drift : array of shape (blocks, terms)
        Columns of the drift alone, 0 on average. [-]
    inflation : float
        Variance of the difference over what it would be without a drift, for levels that are
        not related. [-] Infinite where the drift can imitate offload.
    """

    basis: FloatArray
    contrast: FloatArray
    off_weights: FloatArray
    drift: FloatArray
    inflation: float

    def residual(self, level: FloatArray) -> FloatArray:
        """Return what offload and drift leave of levels.

        Parameters
        ----------
        level : array of shape (blocks,)
            Levels. [as measured]
        """
        return level - self.basis @ (self.basis.T @ level)


def fit_blocks(blocks: Blocks) -> BlockFit:
    """Return the projections that part offload from a smooth drift.

    Parameters
    ----------
    blocks : Blocks
        When each block lasted and whether offload was on; levels are not needed.

    Notes
    -----
    One smooth term for every four blocks: polynomials in time, of which Legendre's are used
    because they stay apart numerically.
    """
    on = blocks.on.astype(float)
    count = len(on)
    middle = blocks.begin_s + blocks.end_s
    place = 2 * (middle - middle[0]) / (middle[-1] - middle[0]) - 1
    terms = min(count // _BLOCKS_A_TERM, int(2 * sqrt(count)), _MOST_TERMS)
    smooth = np.polynomial.legendre.legvander(place, terms)[:, 1:]
    drift, _ = np.linalg.qr(smooth - smooth.mean(axis=0))
    drift, _ = np.linalg.qr(drift - drift.mean(axis=0))  # twice: exact for many terms too
    share = float(on.mean())
    aside = on - share
    aside = aside - drift @ (drift.T @ aside)
    size = float(aside @ aside)
    if size < 1e-9 * count:
        size, inflation = 1.0, inf
    else:
        inflation = count * share * (1 - share) / size
    contrast = aside / size
    basis = np.column_stack([np.full(count, 1 / sqrt(count)), drift, aside / sqrt(size)])
    return BlockFit(basis, contrast, 1 / count - share * contrast, drift, inflation)


def mean_residual_square(fit: BlockFit, noise: BlockNoise) -> float:
    """Return the mean of the residual sum of squares, tr(M R).

    Parameters
    ----------
    fit : BlockFit
        From `fit_blocks`; M is its projection on residuals.
    noise : BlockNoise
        Covariances R of the levels. [as measured squared, or up to a factor]
    """
    return noise.trace - float(np.einsum("ij,ij->", fit.basis, noise.times(fit.basis)))


def relative_variances(
    fit: BlockFit, noise: BlockNoise, weights: tuple[FloatArray, ...]
) -> tuple[list[float], float]:
    """Return squared standard errors over the residual sum of squares, and the degrees.

    Parameters
    ----------
    fit : BlockFit
        From `fit_blocks`.
    noise : BlockNoise
        Covariances of the levels, up to a common factor.
    weights : tuple of array of shape (blocks,)
        Weights of the levels in each sum whose standard error is wanted. [-]

    Returns
    -------
    list of float
        For each sum its variance over the mean residual sum of squares. [-]
    float
        Satterthwaite's degrees of freedom of the residual sum of squares, from 1 to as many as
        unrelated levels leave. [-]

    Notes
    -----
    With M the projection on residuals and R the covariances, the residual sum of squares has the
    mean tr(M R) and twice tr(M R M R) as its variance.

    Source
    ------
    F. E. Satterthwaite, "An approximate distribution of estimates of variance components",
    Biometrics Bulletin 2(6), 1946, 110-114, doi:10.2307/3002019.
    """
    spread = noise.times(fit.basis)
    inner = fit.basis.T @ spread
    mean = noise.trace - float(np.trace(inner))
    square = noise.square_sum - 2 * float((spread**2).sum()) + float((inner**2).sum())
    columns = np.column_stack(weights)
    variance = np.einsum("ij,ij->j", columns, noise.times(columns))
    most = len(fit.basis) - fit.basis.shape[1]
    return [float(each) / mean for each in variance], min(max(mean**2 / square, 1.0), most)
