"""What did offload change in a visitor's logs, activity by activity and on the whole?

Everything is worked out from the session's readings and confirmed states alone and kept there as
plain JSON data, from which tables, figures, CSV and the report are made. Nothing here knows of
requests, so that a process of its own can do the work; `app.evidence_results_web` answers the
browser.
"""

from collections.abc import Callable
from typing import Any

import numpy as np

from app.evidence_refusals import evidence_refusal
from app.evidence_session import Session
from app.words_trial import COLUMNS
from model.errors import InputError, MeasurementError, check_above, check_at_least
from model.evidence.effect import Estimate, OffloadEffect
from model.evidence.on_off import effects_by_activity, offload_effect
from model.evidence.overall import mean_of_estimates
from model.evidence.record import IntArray, Readings

Told = dict[str, Any]
Progress = Callable[[float, str], None]

MOST_ACTIVITIES = 60  # in one log; a log of more names has another column mapped as activity
DROP_S = 5.0
_HEADLINE = ("encode_cores", "cpu_cores", "host_cores", "frames_hz")


def _quiet(share: float, what: str) -> None:
    """Tell nobody how far the work is."""


def effects_of(
    readings: list[Readings],
    states: list[IntArray | None],
    drop_s: float = DROP_S,
    block_s: float | None = None,
    progress: Progress = _quiet,
) -> Told:
    """Return what offload changed in every column of every log, activity by activity.

    Parameters
    ----------
    readings : list of Readings
        The logs.
    states : list of array or None
        For each log 1 on, 0 off, -1 unknown in each row; None where nobody has confirmed it.
    drop_s : float, 0 or more
        Left out at the beginning of every block. [s]
    block_s : float or None
        Length of a planned block; None reads it off each log. [s]
    progress : callable
        Told the share that is done [-] and what is under way.

    Returns
    -------
    dict
        logs: name, rows and what was left out of each; rows: one for each effect; overall: the
        mean over activities, by column, where there are several; notes: what could not be used.
    """
    check_at_least("drop_s", drop_s, 0, unit="s")
    if block_s is not None:
        check_above("block_s", block_s, 0, unit="s")
    rows: list[Told] = []
    notes: list[str] = []
    logs: list[Told] = []
    columns = sum(len(set(log.columns) & set(_HEADLINE)) for log in readings)
    done = 0
    for at, (log, state) in enumerate(zip(readings, states, strict=True)):
        logs.append(_about(log, state))
        why = _unusable(log, state)
        if state is None or why:
            notes.append(f"{log.name}: {why}")
            done += len(set(log.columns) & set(_HEADLINE))
            continue
        for column in _HEADLINE:
            if column not in log.columns:
                continue
            progress(done / max(columns, 1), f"{log.name}: {COLUMNS[column][0]}")
            done += 1
            try:
                found = _effects(log, state, column, drop_s, block_s)
            except InputError as error:
                notes.append(f"{log.name}, {COLUMNS[column][0]}: {evidence_refusal(error)}")
                continue
            for activity, effect in found.items():
                rows.append(_effect_row(at, log.name, activity, column, effect))
    _name_rows(rows, len(readings))
    progress(1.0, "")
    return {
        "drop_s": drop_s, "block_s": block_s, "logs": logs, "rows": rows,
        "overall": _overall(rows), "notes": notes,
    }  # fmt: skip


def _unusable(log: Readings, state: IntArray | None) -> str:
    if state is None:
        return "when offload was on has not been confirmed, so no effect is shown."
    if not (state == 1).any() or not (state == 0).any():
        return "offload was not switched in it, so it tells no effect."
    if not set(log.columns) & set(_HEADLINE):
        return "it has no column of CPU or frames."
    return ""


def _effects(
    log: Readings, state: IntArray, column: str, drop_s: float, block_s: float | None
) -> dict[str, OffloadEffect]:
    values = log.columns[column]
    names = [] if log.activity is None else list(dict.fromkeys(filter(None, log.activity)))
    if len(names) > MOST_ACTIVITIES:
        raise MeasurementError(
            log.name, f"{len(names)} activities", f"at most {MOST_ACTIVITIES} activities in a log"
        )
    if len(names) < 2:
        effect = offload_effect(
            values, state, log.interval_s, drop_s, time_s=log.time_s, block_s=block_s
        )
        return {names[0] if names else "": effect}
    assert log.activity is not None
    return effects_by_activity(
        values, state, log.activity, log.interval_s, drop_s, time_s=log.time_s, block_s=block_s
    )


def _about(log: Readings, state: IntArray | None) -> Told:
    seconds = float(log.time_s[-1] - log.time_s[0] + log.interval_s) if log.rows else 0.0
    switches = None
    if state is not None:
        known = state[state >= 0]
        switches = int((np.diff(known) != 0).sum())
    return {
        "name": log.name, "rows": log.rows, "start": log.start, "seconds": seconds,
        "interval_s": log.interval_s, "switches": switches,
        "exclusions": list(log.report.sentences),
        "unknown_rows": 0 if state is None else int((state < 0).sum()),
    }  # fmt: skip


def _effect_row(at: int, log: str, activity: str, column: str, effect: OffloadEffect) -> Told:
    blocks = effect.blocks
    return {
        "log": at, "log_name": log, "activity": activity, "column": column,
        "off": _estimate(effect.off), "on": _estimate(effect.on),
        "difference": _estimate(effect.difference), "ratio": _estimate(effect.ratio),
        "method": effect.method, "degrees": float(effect.degrees),
        "drift_terms": effect.drift_terms, "blocks": len(blocks.on),
        "blocks_on": int(blocks.on.sum()), "block_s": float(blocks.block_s),
        "readings": int(blocks.readings.sum()), "switches": effect.switches,
        "effective_rows": float(effect.effective_rows),
        "checks": [
            {
                "name": each.name, "value": float(each.difference),
                "low": _finite(each.interval[0]) if each.interval else None,
                "high": _finite(each.interval[1]) if each.interval else None,
                "units": float(each.units),
            }
            for each in effect.checks
        ],
        "warnings": list(effect.warnings),
    }  # fmt: skip


def _estimate(found: Estimate) -> Told:
    low, high = found.interval if found.interval is not None else (None, None)
    return {"value": _finite(found.value), "low": _finite(low), "high": _finite(high)}


def _finite(value: float | None) -> float | None:
    return float(value) if value is not None and np.isfinite(value) else None


def _name_rows(rows: list[Told], logs: int) -> None:
    """Give each row a title: the activity, and the log's name where that alone is not enough."""
    for row in rows:
        row["title"] = row["activity"] or (row["log_name"] if logs > 1 else "all rows of the log")
    for column in _HEADLINE:
        of_column = [row for row in rows if row["column"] == column]
        titles = [row["title"] for row in of_column]
        for row, title in zip(of_column, titles, strict=True):
            if titles.count(title) > 1:
                row["title"] = f"{title} ({row['log_name']})"


def _overall(rows: list[Told]) -> dict[str, Told]:
    """Return the mean over parts of the trial, an activity of a log each, all counting alike."""
    found: dict[str, Told] = {}
    for column in _HEADLINE:
        used = [
            row
            for row in rows
            if row["column"] == column and row["activity"] and row["difference"]["low"] is not None
        ]
        if len(used) < 2:
            continue
        means = {}
        for part in ("off", "on", "difference"):
            halves = [(row[part]["high"] - row[part]["low"]) / 2 for row in used]
            mean, (low, high) = mean_of_estimates(
                [row[part]["value"] for row in used], halves, [row["degrees"] for row in used]
            )
            means[part] = {"value": mean, "low": low, "high": high}
        level = means["off"]["value"]
        ratio = means["on"]["value"] / level if level else None
        found[column] = {
            "title": f"Mean of {len(used)} parts", "column": column, "parts": len(used), **means,
            "ratio": {"value": ratio, "low": None, "high": None},
        }  # fmt: skip
    return found


def work_out_effects(
    session: Session,
    tell: Progress,
    drop_s: float = DROP_S,
    block_s: float | None = None,
) -> Told:
    """Work out a visitor's effects and keep them; what a process of its own is given to do.

    Parameters
    ----------
    session : Session
        The visitor's logs and confirmed states.
    tell : callable
        Told how far it is.
    drop_s : float
        Left out at the beginning of every block. [s]
    block_s : float or None
        Length of a planned block. [s]

    Returns
    -------
    dict
        How many effects there are.
    """
    tell(0.0, "Reading what was kept.")
    states = session.states()
    effects = effects_of(session.readings(), states, drop_s, block_s, tell)
    now = session.states()
    same = len(now) == len(states) and all(
        (a is None and b is None) or (a is not None and b is not None and np.array_equal(a, b))
        for a, b in zip(states, now, strict=True)
    )
    if not same:
        raise InputError("effect", "out of date", "logs and switches that stay as they are")
    session.keep("effects", effects)
    return {"effects": len(effects["rows"])}
