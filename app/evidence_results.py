"""What follows from a visitor's logs: effects, peaks, demands, predicted against measured?

Everything is worked out from the session's readings and confirmed states alone and kept there as
plain JSON data, from which tables, figures, CSV and the report are made. Nothing here knows of
requests, so that a process of its own can do the work; `app.evidence_answers` answers the browser.
"""

from collections.abc import Callable
from dataclasses import asdict
from typing import Any, Protocol, get_args

import numpy as np

from app.figures.residuals import thinned
from app.words_trial import COLUMNS
from model.errors import InputError, MeasurementError, check_above, check_at_least
from model.evidence.calibration import (
    ActivityLevels,
    Level,
    Proposal,
    ScenarioChange,
    changes_from,
    changes_from_demands,
)
from model.evidence.comparison import TOLERANCE_PCT, compare
from model.evidence.demands import Demands, estimate_demands
from model.evidence.on_off import Estimate, OffloadEffect, effects_by_activity, offload_effect
from model.evidence.overall import mean_of_estimates
from model.evidence.peaks import Peaks, Quantile, peak_statistics
from model.evidence.prediction import Counted
from model.evidence.record import FloatArray, IntArray, Readings
from model.hosts import Arm, check_arm
from model.scenario import Scenario

Told = dict[str, Any]
Progress = Callable[[float, str], None]

MOST_ACTIVITIES = 60  # in one log; a log of more names has another column mapped as activity
DROP_S = 5.0
THRESHOLDS = {"encode_cores": 0.5, "cpu_cores": 1.0}  # our choice: half a core, one core [cores]
HOST_THRESHOLD_SHARE = 0.85  # of the host's threads, our choice: the usual target of CPU demand
_HEADLINE = ("encode_cores", "cpu_cores", "host_cores", "frames_hz")
_PEAKED = ("encode_cores", "cpu_cores", "host_cores")
_ONE_GAP = 1.5  # intervals after which readings count as lost


class Session(Protocol):
    """What is asked of a visitor's session."""

    def readings(self) -> list[Readings]:
        """Return what was read of every log."""

    def states(self) -> list[IntArray | None]:
        """Return the confirmed state of each reading of every log."""

    def result(self, name: str) -> Any:
        """Return a result that was kept."""

    def keep(self, name: str, data: Any) -> None:
        """Keep a result."""


def _quiet(share: float, what: str) -> None:
    """Tell nobody how far the work is."""


# ------------------------------------------------------------------------------------ effects


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
                notes.append(f"{log.name}, {COLUMNS[column][0]}: {error}")
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


def _estimate(found: Estimate) -> Told:
    low, high = found.interval if found.interval is not None else (None, None)
    return {"value": _finite(found.value), "low": _finite(low), "high": _finite(high)}


def _finite(value: float | None) -> float | None:
    return float(value) if value is not None and np.isfinite(value) else None


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


# -------------------------------------------------------------------------------------- peaks


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


def _quantile(found: Quantile) -> Told:
    low, high = found.interval if found.interval is not None else (None, None)
    return {
        "value": found.value, "low": low, "high": high,
        "bounded": found.interval is not None, "effective_rows": found.effective_rows,
    }  # fmt: skip


def _peaks(peaks: Peaks) -> Told:
    told = asdict(peaks)
    for name in ("p50", "p95", "p99"):
        told[name] = _quantile(getattr(peaks, name))
    return told


# ------------------------------------------------------------------------------------ demands


def host_logs(readings: list[Readings]) -> list[int]:
    """Return which logs hold a host's total.

    Parameters
    ----------
    readings : list of Readings
        The logs.
    """
    return [at for at, log in enumerate(readings) if "host_cores" in log.columns]


def _host_log(readings: list[Readings], at: int, wanted: str) -> Readings:
    if not 0 <= at < len(readings):
        raise InputError("log", at, "one of the logs that were read")
    log = readings[at]
    if "host_cores" not in log.columns:
        raise MeasurementError(log.name, "no host total", "a column mapped as the host's CPU")
    if wanted == "counts" and not log.counts:
        raise MeasurementError(
            log.name, "no counts", "columns that count the sessions in each activity"
        )
    if wanted == "sessions" and "sessions" not in log.columns and not log.counts:
        raise MeasurementError(log.name, "no sessions", "a column of the sessions present")
    return log


def demands_of(
    readings: list[Readings], at: int, base_cores: float | None, limit_cores: float | None
) -> tuple[Demands, Told]:
    """Return what a session asks of the host in each activity, by one log.

    Parameters
    ----------
    readings : list of Readings
        The logs.
    at : int
        Which of them. [-]
    base_cores : float or None
        What the host uses without sessions, where that is known. [cores]
    limit_cores : float or None
        The most the host can show. [cores]

    Returns
    -------
    Demands
        As the model gives them.
    dict
        The same as plain data, residuals thinned.
    """
    log = _host_log(readings, at, "counts")
    counts = np.column_stack([log.counts[name] for name in log.counts])
    found = estimate_demands(
        log.columns["host_cores"], counts, list(log.counts), log.interval_s, base_cores,
        limit_cores,
    )  # fmt: skip
    rows = zip(
        found.names, found.demand_cores.tolist(), found.low_cores.tolist(),
        found.high_cores.tolist(), strict=True,
    )  # fmt: skip
    fitted, left = thinned(found.fitted_cores, found.residual_cores)
    told = {
        "log": at, "log_name": log.name,
        "rows": [
            {"activity": name, "value": value, "low": low, "high": high}
            for name, value, low, high in rows
        ],
        "base": {"value": found.base_cores, "low": found.base_low_cores,
                 "high": found.base_high_cores, "given": base_cores is not None},
        "r2": found.r2, "condition": found.condition, "held_at_zero": list(found.held_at_zero),
        "residual_sd_cores": found.residual_sd_cores, "rows_used": found.rows_used,
        "independent_rows": found.independent_rows, "warnings": list(found.warnings),
        "fitted": fitted.tolist(), "left": left.tolist(),
    }  # fmt: skip
    return found, told


# ------------------------------------------------------------------------- back to the model


def proposals_of(
    effects: Told | None,
    scenario: Scenario,
    role: int,
    clock_ghz: float | None = None,
    relative_ipc: float | None = None,
) -> Proposal:
    """Return the changes that the desktops' logs ask of a scenario.

    Parameters
    ----------
    effects : dict or None
        From `effects_of`; None where no effect has been worked out.
    scenario : Scenario
        The scenario.
    role : int
        The place of the role whose desktop was measured. [-]
    clock_ghz : float or None
        Clock that the cores held; None takes the scenario's. [GHz]
    relative_ipc : float or None
        Work per clock over the reference core's; None takes the scenario's. [-]
    """
    if not 0 <= role < len(scenario.roles):
        raise InputError("role", role, "one of the scenario's roles")
    changes: list[ScenarioChange] = []
    notes: list[str] = []
    for at, about in enumerate(effects["logs"] if effects is not None else ()):
        rows = [row for row in (effects or {})["rows"] if row["log"] == at]
        levels = _levels(rows)
        if not levels:
            continue
        found = changes_from(
            levels, scenario, scenario.roles[role], about["name"], clock_ghz, relative_ipc
        )
        changes += found.changes
        notes += [note for note in found.notes if note not in notes]
    return Proposal(tuple(changes), tuple(notes))


def _levels(rows: list[Told]) -> list[ActivityLevels]:
    by_activity: dict[str, dict[str, Level]] = {}
    parts = {"encode_cores": "encode", "frames_hz": "frames", "cpu_cores": "desktop"}
    for row in rows:
        part = parts.get(row["column"])
        if not row["activity"] or part is None:
            continue
        unit = "hz" if part == "frames" else "cores"
        for state in ("off", "on"):
            level = row[state]
            if level["value"] is None or level["low"] is None:
                continue
            ends = (min(level["low"], level["value"]), max(level["high"], level["value"]))
            name = f"{part}_{state}_{unit}"
            by_activity.setdefault(row["activity"], {})[name] = Level(level["value"], *ends)
    return [ActivityLevels(name, **levels) for name, levels in by_activity.items()]


def proposals_of_host(
    demands: Demands,
    scenario: Scenario,
    arm: str,
    log: str,
    clock_ghz: float | None = None,
    relative_ipc: float | None = None,
) -> Proposal:
    """Return the changes that a host's log asks of a scenario.

    Parameters
    ----------
    demands : Demands
        From `demands_of`.
    scenario : Scenario
        The scenario.
    arm : str
        What was the case while the log was taken.
    log : str
        The log's name.
    clock_ghz : float or None
        Clock that the cores held; None takes the scenario's. [GHz]
    relative_ipc : float or None
        Work per clock over the reference core's; None takes the scenario's. [-]
    """
    return changes_from_demands(demands, scenario, arm, log, clock_ghz, relative_ipc)


# ----------------------------------------------------------------------- predicted, measured


def arm_of(state: IntArray | None) -> Arm | None:
    """Return the arm of a log whose state never changes, None where that is not known.

    Parameters
    ----------
    state : array or None
        1 on, 0 off, -1 unknown in each row.
    """
    if state is None or len(state) == 0 or not (state == state[0]).all():
        return None
    return {1: "offloaded", 0: "software"}.get(int(state[0]))  # type: ignore[return-value]


def compared_of(
    readings: list[Readings],
    states: list[IntArray | None],
    at: int,
    scenario: Scenario,
    arm: str,
    counted: str = "threads",
    tolerance_pct: float = TOLERANCE_PCT,
) -> Told:
    """Return what the model predicts for a host beside what its log shows.

    Parameters
    ----------
    readings : list of Readings
        The logs.
    states : list of array or None
        The state of each row; rows of the other arm are left out where it was switched.
    at : int
        Which log. [-]
    scenario : Scenario
        The host and the habits of its people.
    arm : str
        What was the case while the log was taken.
    counted : str
        What a core of the log is: "threads" or "cores".
    tolerance_pct : float
        How far a quantile may be out. [%]
    """
    log = _host_log(readings, at, "sessions")
    checked = check_arm(arm)
    kinds = get_args(Counted)
    if counted not in kinds:
        raise InputError("counted", counted, f"one of {', '.join(kinds)}")
    present = log.columns.get("sessions")
    if present is None:
        present = np.sum(list(log.counts.values()), axis=0)
    measured = log.columns["host_cores"]
    state = states[at]
    known = state is not None and (state == 1).any() and (state == 0).any()
    if state is not None and known:
        measured = np.where(state == (1 if checked == "offloaded" else 0), measured, np.nan)
    found = compare(
        scenario, checked, measured, present, log.interval_s, counted,  # type: ignore[arg-type]
        tolerance_pct,
    )  # fmt: skip
    return {
        "log": at, "log_name": log.name, "arm": checked, "counted": counted,
        "tolerance_pct": tolerance_pct, "scenario": scenario.name,
        "predicted": found.predicted_quantiles_cores.tolist(),
        "measured": found.measured_quantiles_cores.tolist(), "levels": found.levels.tolist(),
        "distance_cores": found.distance_cores,
        "mean_difference_cores": found.mean_difference_cores, "chance": found.chance,
        "level_note": found.level_note, "quantiles": [asdict(each) for each in found.quantiles],
        "rows_used": found.rows_used, "blocks": found.blocks, "verdict": found.verdict,
        "sentence": found.sentence, "warnings": list(found.warnings),
    }  # fmt: skip
