"""How high does the CPU go in a visitor's logs, with offload and without?"""

from dataclasses import asdict
from typing import Any

import numpy as np

from app.evidence_effects import DROP_S
from model.errors import InputError, check_at_least
from model.evidence.peaks import Peaks, Quantile, peak_statistics
from model.evidence.record import FloatArray, IntArray, Readings
from model.scenario import Scenario

Told = dict[str, Any]

THRESHOLDS = {"encode_cores": 0.5, "cpu_cores": 1.0}  # our choice: half a core, one core [cores]
HOST_THRESHOLD_SHARE = 0.85  # of the host's threads, our choice: the usual target of CPU demand
_PEAKED = ("encode_cores", "cpu_cores", "host_cores")
_ONE_GAP = 1.5  # intervals after which readings count as lost


def peaks_of(
    readings: list[Readings],
    states: list[IntArray | None],
    thresholds: dict[str, float],
    drop_s: float = DROP_S,
) -> Told:
    """Return how high the CPU goes in each log, with and without offload.

    Parameters
    ----------
    readings : list of Readings
        The logs.
    states : list of array or None
        The state of each row, None where it has not been confirmed.
    thresholds : dict
        By column, above which time is counted. [cores]
    drop_s : float, 0 or more
        Left out after every switch, while the desktop settles. [s]

    Returns
    -------
    dict
        thresholds as used, and rows: one for each log, column and state.
    """
    check_at_least("drop_s", drop_s, 0, unit="s")
    for column, threshold in thresholds.items():
        if column not in _PEAKED:
            raise InputError("thresholds", column, f"one of {', '.join(_PEAKED)}")
        check_at_least(f"thresholds.{column}", threshold, 0, unit="cores")
    rows: list[Told] = []
    for at, (log, state) in enumerate(zip(readings, states, strict=True)):
        for column in _PEAKED:
            if column not in log.columns or column not in thresholds:
                continue
            for name, values, holds_s in _parts(log, log.columns[column], state, drop_s):
                if np.isfinite(values).sum() < 2:
                    continue
                peaks = peak_statistics(values, holds_s, thresholds[column])
                rows.append(
                    {"log": at, "log_name": log.name, "column": column, "state": name}
                    | _peaks(peaks)
                )
    return {"thresholds": thresholds, "rows": rows}


def _parts(
    log: Readings, values: FloatArray, state: IntArray | None, drop_s: float
) -> list[tuple[str, FloatArray, FloatArray]]:
    """Return the readings of each state with how long each holds; lost time counts as missing."""
    values, holds_s, owner = _with_gaps(log, values)
    if state is None or not ((state == 1).any() and (state == 0).any()):
        return [("all", values, holds_s)]
    of_row = _settled(log, state, drop_s)[owner]
    return [
        (name, values[of_row == which], holds_s[of_row == which])
        for name, which in (("off", 0), ("on", 1))
    ]


def _settled(log: Readings, state: IntArray, drop_s: float) -> IntArray:
    """Return the states, unknown in the first seconds of every spell."""
    first = np.concatenate([[0], np.flatnonzero(np.diff(state)) + 1])
    spell = np.searchsorted(first, np.arange(log.rows), side="right") - 1
    since_s = log.time_s - log.time_s[first][spell]
    settled: IntArray = np.where(since_s < drop_s - 1e-6 * log.interval_s, -1, state)
    return settled


def _with_gaps(log: Readings, values: FloatArray) -> tuple[FloatArray, FloatArray, IntArray]:
    """Return readings with one missing reading for each stretch that was lost, and its length."""
    steps = np.diff(log.time_s)
    gaps = np.flatnonzero(steps > _ONE_GAP * log.interval_s)
    owner = np.arange(log.rows)
    holds = np.full(log.rows, log.interval_s)
    return (
        np.insert(values, gaps + 1, np.nan),
        np.insert(holds, gaps + 1, steps[gaps] - log.interval_s),
        np.insert(owner, gaps + 1, gaps),
    )


def _peaks(peaks: Peaks) -> Told:
    told = asdict(peaks)
    for name in ("p50", "p95", "p99"):
        told[name] = _quantile(getattr(peaks, name))
    return told


def _quantile(found: Quantile) -> Told:
    low, high = found.interval if found.interval is not None else (None, None)
    return {
        "value": found.value, "low": low, "high": high,
        "bounded": found.interval is not None, "effective_rows": found.effective_rows,
    }  # fmt: skip


def default_thresholds(readings: list[Readings], scenario: Scenario) -> dict[str, float]:
    """Return above which CPU time is counted unless the visitor says otherwise.

    Parameters
    ----------
    readings : list of Readings
        The logs, for the columns there are.
    scenario : Scenario
        For the host's threads.

    Returns
    -------
    dict
        By column. [cores]
    """
    every = THRESHOLDS | {"host_cores": round(HOST_THRESHOLD_SHARE * scenario.host.threads, 1)}
    there = {column for log in readings for column in log.columns}
    return {column: value for column, value in every.items() if column in there}
