"""What does a host's log say: what a session asks of it, and whether the model predicts it?"""

from dataclasses import asdict
from typing import Any, get_args

import numpy as np

from app.figures.residuals import thinned
from model.cpu import capacity_curve
from model.errors import InputError, MeasurementError
from model.evidence.comparison import TOLERANCE_PCT, compare
from model.evidence.demands import Demands, estimate_demands
from model.evidence.prediction import Counted, work_done
from model.evidence.record import IntArray, Readings
from model.hosts import Arm, check_arm
from model.scenario import Scenario

Told = dict[str, Any]


def demands_of(
    readings: list[Readings],
    at: int,
    base_cores: float | None,
    scenario: Scenario,
    counted: str = "threads",
) -> tuple[Demands, Told]:
    """Return what a session asks of the host in each activity, by one log.

    What the log shows is turned into work first: two busy threads of one core do less than twice
    the work of one, and only work adds up.

    Parameters
    ----------
    readings : list of Readings
        The logs.
    at : int
        Which of them. [-]
    base_cores : float or None
        What the host shows without sessions, where that is known. [cores, as counted]
    scenario : Scenario
        The host that was measured.
    counted : str
        What a core of the log is: "threads" or "cores".

    Returns
    -------
    Demands
        As the model gives them, in reference cores.
    dict
        The same as plain data, residuals thinned.
    """
    log = _host_log(readings, at, "counts")
    counts = np.column_stack([log.counts[name] for name in log.counts])
    kind = _counted(counted)
    base = None if base_cores is None else float(work_done(scenario, [base_cores], kind)[0])
    host = scenario.host
    most = float(capacity_curve(host, scenario.reference_clock_ghz, host.threads))
    found = estimate_demands(
        work_done(scenario, log.columns["host_cores"], kind), counts, list(log.counts),
        log.interval_s, base, most,
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
    kind = _counted(counted)
    present = log.columns.get("sessions")
    if present is None:
        present = np.sum(list(log.counts.values()), axis=0)
    measured = log.columns["host_cores"]
    state = states[at]
    known = state is not None and (state == 1).any() and (state == 0).any()
    if state is not None and known:
        measured = np.where(state == (1 if checked == "offloaded" else 0), measured, np.nan)
    found = compare(
        scenario, checked, measured, present, log.interval_s, kind, tolerance_pct,
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


def _counted(given: str) -> Counted:
    for known in get_args(Counted):
        if given == known:
            kind: Counted = known
            return kind
    raise InputError("counted", given, f"one of {', '.join(get_args(Counted))}")


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
