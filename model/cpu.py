"""How much work does a host's CPU do per second when so many bursts are runnable?

Cores run faster when few of them are busy (turbo), and the second thread of a core adds less
than the first (simultaneous multithreading, SMT). `capacity_curve` puts both into one curve.
"""

from typing import Any

import numpy as np
import numpy.typing as npt

from model.errors import InputError, check_above
from model.records import Record, number


class Host(Record):
    """One host: its CPU, memory and network."""

    cores: int = number("host.cores")
    threads_per_core: int = number("host.threads_per_core")
    smt_yield: float = number("host.smt_yield")
    clock_ghz: float = number("host.clock_ghz")
    turbo_ratio: float = number("host.turbo_ratio")
    relative_ipc: float = number("host.relative_ipc")
    reserve_pct: float = number("host.reserve_pct")
    memory_gib: float = number("host.memory_gib")
    network_gbps: float = number("host.network_gbps")
    gpu_memory_gib: float = number("host.gpu_memory_gib")

    @property
    def threads(self) -> int:
        """Hardware threads of the host, on which as many bursts run at once."""
        return self.cores * self.threads_per_core


def capacity_curve(host: Host, reference_clock_ghz: float, bursts: npt.ArrayLike) -> Any:
    """Return the work that a host does per second while so many bursts are runnable.

    Parameters
    ----------
    host : Host
        The host.
    reference_clock_ghz : float, above 0
        Clock of the reference core in which work is counted. [GHz]
    bursts : array, 0 or more
        Runnable bursts; between whole numbers the curve is a straight line. [bursts]

    Returns
    -------
    array of the shape of `bursts`
        Work per second. [reference-core s/s] 0 without bursts; constant once every hardware
        thread is busy; never falling, because `turbo_ratio` is at most 2: with the clock
        falling evenly over c cores the last of them adds (2 - turbo_ratio) cores.

    Raises
    ------
    InputError
        For a clock that is not above 0 GHz, or negative or undefined bursts.

    Notes
    -----
    The clock falls evenly from turbo at one busy core to the base clock at all busy; a host
    with a single core runs at its base clock. Memory bandwidth, NUMA and thermal limits that
    set in earlier are outside the model, and all of them make a real host slower.

    Source
    ------
    Our own composition of the two effects; no publication.
    """
    check_above("reference_clock_ghz", reference_clock_ghz, 0, unit="GHz")
    at = np.asarray(bursts, dtype=float)
    if at.size and not (np.isfinite(at).all() and at.min() >= 0):
        raise InputError("bursts", float(at.min()), "numbers of 0 or more")
    below = np.floor(at)
    low = _at_whole_bursts(host, reference_clock_ghz, below)
    return low + (at - below) * (_at_whole_bursts(host, reference_clock_ghz, below + 1) - low)


def core_rate(host: Host, reference_clock_ghz: float) -> float:
    """Return what one core of the host does per second when all cores are busy.

    Parameters
    ----------
    host : Host
        The host.
    reference_clock_ghz : float, above 0
        Clock of the reference core in which work is counted. [GHz]

    Returns
    -------
    float
        Work per second of one core, the reserve taken off. [reference-core s/s]
    """
    rate = host.clock_ghz / reference_clock_ghz * host.relative_ipc
    return rate * (1 - host.reserve_pct / 100)


def _at_whole_bursts(host: Host, reference_clock_ghz: float, bursts: Any) -> Any:
    busy = np.minimum(bursts, host.cores)
    second_threads = np.clip(bursts - host.cores, 0, host.threads - host.cores)
    droop = (host.turbo_ratio - 1) * (np.maximum(busy, 1) - 1) / max(host.cores - 1, 1)
    clock = host.turbo_ratio - droop if host.cores > 1 else np.ones_like(busy)
    return core_rate(host, reference_clock_ghz) * clock * (busy + host.smt_yield * second_threads)
