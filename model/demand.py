"""How is the CPU demand of a host with N independent sessions distributed, exactly?

Where no limit of the card binds, each session's demand is independent of the others', and the
demand of N of them is an N-fold convolution. It is computed on a fine lattice by Fourier
transform, for many N at once.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

# Up to so many sessions, a lattice of so many points: few sessions need a finer one. A lattice is
# made for the most sessions of its group, so that no result depends on how far one looks.
_LATTICES = (
    (8, 8_192), (40, 4_096), (250, 2_048), (2_000, 2_048), (15_000, 2_048), (120_000, 2_048)
)  # fmt: skip
_STANDARD_DEVIATIONS = 24  # length of the lattice, so that what wraps round is below 1e-16
_QUANTILES = (0.50, 0.95, 0.99)


@dataclass(frozen=True, eq=False)
class DemandLaw:
    """Demand of N sessions, for several N.

    Parameters
    ----------
    mean, p50, p95, p99 : array of shape (numbers,)
        Mean and quantiles. [reference-core s/s]
    overload_probability : array of shape (numbers,)
        Chance that demand exceeds the capacity. [-]
    """

    mean: FloatArray
    p50: FloatArray
    p95: FloatArray
    p99: FloatArray
    overload_probability: FloatArray


def in_one_lattice(sessions: Any, some: Any) -> Any:
    """Return which numbers of sessions share a lattice with some of them.

    Parameters
    ----------
    sessions : array of whole numbers
        Numbers of sessions. [sessions]
    some : array of bool, same shape
        Which of them are wanted.
    """
    number = np.searchsorted([1, *[upto for upto, _ in _LATTICES]], sessions)
    return np.isin(number, number[some])


def demand_law(chance: Any, demand: Any, sessions: Any, capacity: float) -> DemandLaw:
    """Return the law of the demand of N independent sessions.

    Parameters
    ----------
    chance : array of shape (states,), sums to 1
        Share of sessions in each state. [-]
    demand : array of shape (states,), 0 or more
        Demand of one session in the state. [reference-core s/s]
    sessions : array of whole numbers, rising, 1 or more
        Numbers of sessions. [sessions]
    capacity : float, above 0
        What the host delivers at most. [reference-core s/s]

    Notes
    -----
    Each demand is split between its two neighbours on the lattice so that the mean is kept;
    a single session is not put on a lattice at all. The lattice depends on the largest demand
    and on the variance at most, and quantiles are read off between its points.

    Source
    ------
    The transform of a sum of independent terms is the product of theirs: any textbook.
    """
    chance = np.asarray(chance, dtype=float)
    demand = np.asarray(demand, dtype=float)
    numbers = np.asarray(sessions, dtype=np.int64)
    quantiles, lattices = _laws(chance, demand, numbers)
    overload = np.where(numbers == 1, float(chance[demand > capacity].sum()), 0.0)
    for at, lattice in lattices:
        overload[at] = lattice.chance_above(capacity)
    mean = np.asarray(float(chance @ demand) * numbers, dtype=float)
    p50, p95, p99 = quantiles.T
    return DemandLaw(mean, p50, p95, p99, np.clip(overload, 0, 1))


@dataclass(frozen=True, eq=False)
class _Lattice:
    """Cumulative laws of several numbers of sessions, each from its own starting point."""

    cumulative: FloatArray
    start: Any
    delta: float
    quantiles: FloatArray

    def chance_above(self, capacity: float) -> FloatArray:
        """The chance of each law to exceed a capacity."""
        points = self.cumulative.shape[1]
        at = int(np.floor(capacity / self.delta + 1e-9)) - self.start
        inside = self.cumulative[np.arange(len(at)), np.clip(at, 0, points - 1)]
        above: FloatArray = np.where(at < 0, 1.0, np.where(at < points - 1, 1 - inside, 0.0))
        return above


def _laws(
    chance: FloatArray, demand: FloatArray, numbers: npt.NDArray[np.int64]
) -> tuple[FloatArray, list[tuple[Any, _Lattice]]]:
    """Quantiles, and the lattices with the places of their numbers."""
    quantiles = np.zeros((len(numbers), len(_QUANTILES)))
    lattices = []
    below = 1
    for upto, points in _LATTICES:
        at = np.flatnonzero((numbers > below) & (numbers <= upto))
        below = upto
        if at.size and demand.max() > 0:
            inside = numbers[at].tobytes()
            found = _lattice(chance.tobytes(), demand.tobytes(), inside, upto, points)
            lattices.append((at, found))
            quantiles[at] = found.quantiles
    order = np.argsort(demand, kind="stable")
    index = np.searchsorted(np.cumsum(chance[order]), np.array(_QUANTILES) - 1e-12)
    quantiles[numbers == 1] = demand[order][np.minimum(index, len(order) - 1)]
    return quantiles, lattices


@lru_cache(maxsize=12)  # the demand without a card bounds the other arm's; cores do not matter
def _lattice(chances: bytes, demands: bytes, sessions: bytes, most: int, points: int) -> _Lattice:
    chance: FloatArray = np.frombuffer(chances)
    demand: FloatArray = np.frombuffer(demands)
    numbers = np.frombuffer(sessions, dtype=np.int64)
    mean, largest = float(chance @ demand), float(demand.max())
    spread = float(np.sqrt(max(float(chance @ (demand - mean) ** 2), 0.0)))
    length = min((most + 1) * largest, _STANDARD_DEVIATIONS * spread * most**0.5 + 8 * largest)
    delta = length / (points - 2)
    place = demand / delta
    low = np.floor(place)
    one = np.zeros(points)
    np.add.at(one, low.astype(int) % points, chance * (1 - (place - low)))
    np.add.at(one, (low.astype(int) + 1) % points, chance * (place - low))
    transform = np.fft.rfft(one)

    powers = np.empty((len(numbers), len(transform)), dtype=complex)
    current, reached = np.ones_like(transform), 0
    for row, number in enumerate(numbers):
        current = current * _power(transform, int(number) - reached)
        reached = int(number)
        powers[row] = current
    law = np.fft.irfft(powers, points, axis=1)

    start = np.maximum(np.floor(mean * numbers / delta - points / 2), 0).astype(int)
    start[(numbers * largest / delta) < points - 1] = 0
    cumulative = np.empty_like(law)
    for row, first in enumerate(start % points):
        cumulative[row, : points - first] = law[row, first:]
        cumulative[row, points - first :] = law[row, :first]
    np.maximum(cumulative, 0, out=cumulative)
    np.cumsum(cumulative, axis=1, out=cumulative)
    cumulative /= cumulative[:, -1:]
    return _Lattice(cumulative, start, delta, _quantiles(cumulative, start) * delta)


def _quantiles(cumulative: FloatArray, start: Any) -> FloatArray:
    """The quantiles of each law, read off between the points of the lattice."""
    wanted = np.array(_QUANTILES) - 1e-12
    rows = np.arange(len(cumulative))[:, None]
    above = np.array([np.searchsorted(law, wanted) for law in cumulative])
    before = np.where(above > 0, cumulative[rows, above - 1], 0.0)
    part = (np.array(_QUANTILES) - before) / (cumulative[rows, above] - before)
    found: FloatArray = np.maximum(start[:, None] + above - 1 + np.clip(part, 0, 1), 0)
    return found


def _power(base: Any, exponent: int) -> Any:
    result, square = None, base
    while exponent:
        if exponent & 1:
            result = square if result is None else result * square
        exponent >>= 1
        if exponent:
            square = square * square
    return np.ones_like(base) if result is None else result
