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

# Up to so many sessions, a lattice of so many points: few sessions need a finer one.
_LATTICES = ((8, 16_384), (40, 8_192), (10**9, 4_096))
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
    return _law(chance.tobytes(), demand.tobytes(), numbers.tobytes(), float(capacity))


@lru_cache(maxsize=8)  # the demand without a card bounds the other arm's too
def _law(chances: bytes, demands: bytes, sessions: bytes, capacity: float) -> DemandLaw:
    chance: FloatArray = np.frombuffer(chances)
    demand: FloatArray = np.frombuffer(demands)
    numbers = np.frombuffer(sessions, dtype=np.int64)
    mean = float(chance @ demand)
    spread = float(np.sqrt(max(float(chance @ (demand - mean) ** 2), 0.0)))
    largest = float(demand.max())
    quantiles = np.zeros((len(numbers), len(_QUANTILES)))
    overload = np.zeros(len(numbers))
    below = 1
    for upto, points in _LATTICES:
        at = np.flatnonzero((numbers > below) & (numbers <= upto))
        below = upto
        if at.size and largest > 0:
            quantiles[at], overload[at] = _on_lattice(
                chance, demand, numbers[at], capacity, points, mean, spread, largest
            )
    for single in np.flatnonzero(numbers == 1):
        order = np.argsort(demand, kind="stable")
        cumulative = np.cumsum(chance[order])
        index = np.searchsorted(cumulative, np.array(_QUANTILES) - 1e-12)
        quantiles[single] = demand[order][np.minimum(index, len(order) - 1)]
        overload[single] = chance[demand > capacity].sum()
    p50, p95, p99 = quantiles.T
    return DemandLaw(np.asarray(mean * numbers, dtype=float), p50, p95, p99, np.clip(overload, 0, 1))


def _on_lattice(
    chance: FloatArray,
    demand: FloatArray,
    numbers: Any,
    capacity: float,
    points: int,
    mean: float,
    spread: float,
    largest: float,
) -> tuple[FloatArray, FloatArray]:
    most = int(numbers.max())
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
    order = (start[:, None] + np.arange(points)) % points
    cumulative = np.cumsum(np.maximum(np.take_along_axis(law, order, axis=1), 0), axis=1)
    cumulative /= cumulative[:, -1:]

    quantiles = np.empty((len(numbers), len(_QUANTILES)))
    overload = np.empty(len(numbers))
    for row in range(len(numbers)):
        above = np.searchsorted(cumulative[row], np.array(_QUANTILES) - 1e-12)
        before = np.where(above > 0, cumulative[row][above - 1], 0.0)
        part = (np.array(_QUANTILES) - before) / (cumulative[row][above] - before)
        quantiles[row] = np.maximum(start[row] + above - 1 + np.clip(part, 0, 1), 0) * delta
        at = int(np.floor(capacity / delta + 1e-9)) - start[row]
        inside = cumulative[row][min(max(at, 0), points - 1)]
        overload[row] = (1.0 if at < 0 else 1 - inside) if at < points - 1 else 0.0
    return quantiles, overload


def _power(base: Any, exponent: int) -> Any:
    result, square = None, base
    while exponent:
        if exponent & 1:
            result = square if result is None else result * square
        exponent >>= 1
        if exponent:
            square = square * square
    return np.ones_like(base) if result is None else result
