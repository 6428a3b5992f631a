"""Can a result be right? Laws that every result obeys, looked at cheaply each time one is made.

What breaks one is a defect of Crestline's: a `DefectError` is raised in place of a wrong number.
"""

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from model.errors import DefectError

FloatArray = npt.NDArray[np.float64]

_CLOSE = 1e-7  # of the larger side: sums of thousands of rounded numbers, no more
_JUST = 1e-9  # by which numbers may leave their range or order, in their own unit


def check_equal(law: str, one: float, other: float) -> None:
    """Refuse a result in which two sides of a law differ.

    Parameters
    ----------
    law : str
        The law, as a sentence would name it.
    one, other : float
        Its two sides. [the same unit]

    Raises
    ------
    DefectError
        Where they differ by more than rounding, or are no numbers.
    """
    if not abs(one - other) <= _CLOSE * max(abs(one), abs(other)):
        raise DefectError(law, f"{one!r} on one side, {other!r} on the other")


def check_station(
    sources: FloatArray,
    service_s: FloatArray,
    response_s: FloatArray,
    throughput_hz: FloatArray,
    queue_pmf: FloatArray,
    delivered: float,
) -> None:
    """Refuse a station whose flows do not balance.

    Parameters
    ----------
    sources, service_s, response_s, throughput_hz : array of shape (classes,)
        Sources; mean work of a burst [reference-core s]; response [s]; bursts of one source per
        second [1/s].
    queue_pmf : array
        Law of the number of runnable sources. [-]
    delivered : float
        Mean work done per second. [reference-core s/s]

    Raises
    ------
    DefectError
        Where shares do not sum to 1, work done differs from work asked for (utilisation law), or
        runnable sources from arrivals times response (Little's law).

    Source
    ------
    J. D. C. Little, A proof for the queuing formula L = lambda W, 1961, doi:10.1287/opre.9.3.383;
    the utilisation law is its case of the servers alone.
    """
    check_equal("the shares of a queue sum to 1", float(queue_pmf.sum()), 1.0)
    rate = sources * throughput_hz
    check_equal("work done equals work asked for", delivered, float(rate @ service_s))
    runnable = float(np.arange(len(queue_pmf)) @ queue_pmf)
    check_equal("runnable sources equal rate times response", runnable, float(rate @ response_s))


def check_curve(values: Mapping[str, FloatArray], mean_pct: FloatArray | None) -> None:
    """Refuse a curve over sessions that no host could have.

    Parameters
    ----------
    values : mapping of str to array of shape (sessions,)
        The curve by name, as in `model.saturation.SaturationCurve`, sessions rising. [in the name]
    mean_pct : array of shape (sessions,) or None
        Mean demand by the utilisation law, sessions times work per session. [% of capacity] None
        where limits of a card bind.

    Raises
    ------
    DefectError
        Where a number is missing, leaves its range, or falls out of its order.
    """
    for name, array in values.items():
        if name != "gpu_memory_pct" and not np.isfinite(array).all():
            raise DefectError(f"{name} is a number at every number of sessions", "one is not")
    for low, high in (("cpu_p50_pct", "cpu_p95_pct"), ("cpu_p95_pct", "cpu_p99_pct")):
        _check_order(f"{low} is at most {high}", values[low], values[high])
    for name in ("wait_mean_pct", "wait_busy_pct", "frames_mean_pct", "frames_busy_pct"):
        _check_order(f"{name} is at least 0", np.zeros_like(values[name]), values[name])
        _check_order(f"{name} is at most 100", values[name], np.full_like(values[name], 100.0))
    for name in ("cpu_mean_pct", "cpu_p95_pct", "wait_busy_pct", "network_busy_pct"):
        _check_order(f"{name} rises with sessions", values[name][:-1], values[name][1:])
    frames = values["frames_busy_pct"]
    _check_order("frames_busy_pct falls with sessions", frames[1:], frames[:-1])
    if mean_pct is not None:
        gap = np.abs(values["cpu_mean_pct"] - mean_pct).max(initial=0.0)
        if not gap <= 1e-4 * float(mean_pct.max(initial=0.0)) + _JUST:
            raise DefectError("mean demand is sessions times work per session", f"{gap:g} % apart")


def check_carried(arrived: FloatArray, before: FloatArray, capacity: float) -> None:
    """Refuse a day in which work is lost or made.

    Parameters
    ----------
    arrived : array of shape (days, seconds)
        Work that arrives in each second. [reference-core s]
    before : array of shape (days, seconds + 1)
        Work left over before each second, and after the last. [reference-core s]
    capacity : float
        Work that can be done in a second. [reference-core s/s]

    Raises
    ------
    DefectError
        Where work that arrived is not the work done and the work left.
    """
    left = np.maximum(arrived + before[:, :-1] - capacity, 0)
    gap = float(np.abs(before[:, 1:] - left).max(initial=0.0))
    scale = capacity * before.shape[1] + float(before.max(initial=0.0))
    if not gap <= _CLOSE * scale or before[:, 0].any():
        raise DefectError("work that arrives is done or left over", f"a gap of {gap:g} core-s")


def _check_order(law: str, low: FloatArray, high: FloatArray) -> None:
    slack = _JUST + 1e-12 * np.abs(high)
    if not (low <= high + slack).all():
        at = int(np.argmax(low - high))
        raise DefectError(law, f"{float(low[at])!r} against {float(high[at])!r}")
