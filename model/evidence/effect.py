"""What is told of an effect of offload: levels, difference and ratio, each with its interval?"""

from dataclasses import dataclass
from typing import TypeAlias

from model.evidence.blocks import Blocks
from model.evidence.record import FloatArray

Interval: TypeAlias = tuple[float, float]


@dataclass(frozen=True)
class Estimate:
    """A number read off a log, with its interval where the log supports one.

    Parameters
    ----------
    value : float or None
        None where the log says nothing about it. [as measured, or - for a ratio]
    interval : tuple of float or None
        Both ends. [as measured, or - for a ratio]
    """

    value: float | None
    interval: Interval | None = None


@dataclass(frozen=True)
class Check:
    """The difference by another road, to be held beside the headline.

    Parameters
    ----------
    name : str
        "pairs", "quads", "hac" or "bootstrap".
    difference : float
        On minus off. [as measured]
    interval : tuple of float or None
        Both ends. [as measured]
    units : float
        Pairs, fours, or the lag or mean piece in rows. [-]
    """

    name: str
    difference: float
    interval: Interval | None
    units: float


@dataclass(frozen=True, eq=False)
class OffloadEffect:
    """What offload changed in one column of a log.

    Parameters
    ----------
    off, on : Estimate
        Mean level without and with offload, in the middle of the drift. [as measured]
    difference : Estimate
        On minus off. [as measured]
    ratio : Estimate
        On over off. [-]
    method : str
        "blocks", or "none" where no interval is given.
    degrees : float
        Degrees of freedom of the interval of the difference. [-]
    drift_terms : int
        Terms of the smooth drift that was taken out. [-]
    blocks : Blocks
        The levels that were compared.
    drift : array of shape (blocks,)
        The smooth drift, 0 on average. [as measured]
    switches : int
        How often offload changed. [-]
    effective_rows : float
        Independent readings that the used ones are worth, on and off together. [rows]
    checks : tuple of Check
        The same difference by other roads.
    warnings : tuple of str
        What a reader must know, in sentences.
    """

    off: Estimate
    on: Estimate
    difference: Estimate
    ratio: Estimate
    method: str
    degrees: float
    drift_terms: int
    blocks: Blocks
    drift: FloatArray
    switches: int
    effective_rows: float
    checks: tuple[Check, ...]
    warnings: tuple[str, ...]
