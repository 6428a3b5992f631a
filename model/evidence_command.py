"""What do logs of measurements say, on the command line?

`python -m model evidence LOG... --map field=value ...` looks at each log, reads it with the
answers given, finds when offload was on, and prints effects, peaks and, for a host, demands as
one JSON document. An answer that only the owner of a log can give is never guessed: without it
the command ends with one line that asks for it. Switches that were merely found count only once
the caller says so.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from model.errors import InputError, MeasurementError, check_above, check_at_least
from model.evidence.demands import estimate_demands
from model.evidence.effect import OffloadEffect
from model.evidence.mapping import Mapping, mapping_from
from model.evidence.on_off import effects_by_activity, offload_effect
from model.evidence.peaks import peak_statistics
from model.evidence.readings import LogPreview, look_at, read_log
from model.evidence.record import COLUMNS, FloatArray, IntArray, Readings
from model.evidence.toggles import find_toggles, offload_between

DROP_S = 5.0
LEAST_DWELL_S = 10.0
ABOVE_CORES = 0.85
RESAMPLES = 2_000
_CPU = ("encode_cores", "cpu_cores", "host_cores")
_LARGEST_MAP_BYTES = 1_000_000
_KINDS = ("core", "desktop", "host")
_WORDS = ("on_words", "off_words")


@dataclass(frozen=True)
class Choices:
    """How logs are to be worked on.

    Parameters
    ----------
    drop_s : float, 0 or more
        Left out at the beginning of every block. [s]
    block_s : float or None
        Length of a planned block; None reads it off the log. [s]
    least_dwell_s : float, above 0
        The shortest spell that is looked for. [s]
    switches_s : tuple of float or None
        When offload was switched, by the owner of the logs; None looks. [s]
    first_on : bool
        Whether offload was on before the first of these.
    accept_found : bool
        Whether switches that were found count as confirmed.
    above_cores : float
        Above which the time is counted. [cores]
    resamples : int, 0 or more
        Of the bootstrap. [-]
    seed : int, 0 or more
        Of the bootstrap. [-]
    """

    drop_s: float = DROP_S
    block_s: float | None = None
    least_dwell_s: float = LEAST_DWELL_S
    switches_s: tuple[float, ...] | None = None
    first_on: bool = False
    accept_found: bool = False
    above_cores: float = ABOVE_CORES
    resamples: int = RESAMPLES
    seed: int = 1

    def __post_init__(self) -> None:
        """Refuse what is out of range."""
        check_at_least("--drop", self.drop_s, 0, unit="s")
        if self.block_s is not None:
            check_above("--block", self.block_s, 0, unit="s")
        check_above("--dwell", self.least_dwell_s, 0, unit="s")
        check_at_least("--above", self.above_cores, 0, unit="cores")


def evidence(
    logs: Sequence[str], answers: Sequence[str], activities: Sequence[str], choices: Choices
) -> dict[str, Any]:
    """Return what logs say, as a document.

    Parameters
    ----------
    logs : sequence of str
        Names of files.
    answers : sequence of str
        What was answered: "field=value", JSON text, or the name of a file with it.
    activities : sequence of str
        The scenario's activities, by which columns of counts are known.
    choices : Choices
        How the logs are to be worked on.

    Raises
    ------
    InputError
        For the first answer that is open or wrong, and for a log that cannot be read.
    """
    given = _answers(answers)
    return {"logs": [_log(path, given, activities, choices) for path in logs]}


def _log(
    path: str, given: dict[str, Any], activities: Sequence[str], choices: Choices
) -> dict[str, Any]:
    mapping = _mapping(look_at(Path(path), activities, given.get("encoding")), given)
    readings = read_log(Path(path), mapping)
    state, told = _offload(readings, choices)
    return {
        "log": readings.name,
        "layout": readings.report.layout,
        "mapping": {column: meanings[0] for column, meanings in mapping.by_column.items()},
        "rows_read": readings.report.rows_read,
        "rows_kept": readings.report.rows_kept,
        "findings": [
            {
                "action": each.action, "reason": each.reason, "column": each.column,
                "count": each.count, "rows": each.rows[:100].tolist(),
            }
            for each in readings.report.findings
        ],
        "start": readings.start,
        "interval_s": readings.interval_s,
        "duration_s": float(readings.time_s[-1]),
        "offload": told,
        "effects": None if state is None else _effects(readings, state, choices),
        "peaks": _peaks(readings, state, choices),
        "demands": _demands(readings),
    }  # fmt: skip


# ------------------------------------------------------------------------------- answers


def _answers(given: Sequence[str]) -> dict[str, Any]:
    """Return the answers of the command line as fields of a mapping."""
    answers: dict[str, Any] = {}
    counts: dict[str, str] = {}
    for text in given:
        name, equals, value = text.partition("=")
        if text.lstrip().startswith("{") or not equals:
            answers |= _json_answers(text)
        elif name.startswith("counts."):
            counts[name[7:]] = value
        else:
            answers[name] = _value(name, value)
    if counts:
        answers["counts"] = counts
    for name in answers:
        if name not in Mapping.model_fields:
            raise InputError("--map", name, f"one of {', '.join(Mapping.model_fields)}")
    return answers


def _json_answers(text: str) -> dict[str, Any]:
    if not text.lstrip().startswith("{"):
        try:
            with Path(text).open("rb") as file:
                content = file.read(_LARGEST_MAP_BYTES + 1)
        except (OSError, ValueError) as error:
            reason = error.strerror if isinstance(error, OSError) else str(error)
            expected = f"field=value, JSON, or a file that can be read ({reason})"
            raise InputError("--map", text, expected) from None
        if len(content) > _LARGEST_MAP_BYTES:
            raise InputError("--map", text, f"at most {_LARGEST_MAP_BYTES:,} bytes")
        text = content.decode("utf-8-sig", "replace")
    try:
        data = json.loads(text)
    except (ValueError, RecursionError):
        raise InputError("--map", text, "JSON with the fields of a mapping") from None
    if not isinstance(data, dict):
        raise InputError("--map", text, "JSON with the fields of a mapping")
    return data


def _value(name: str, text: str) -> Any:
    """Return the value of one field: a base as "desktop:2" or "core::share", a list of words."""
    if name.endswith("_base"):
        kind, *rest = text.split(":")
        if kind not in _KINDS or len(rest) > 2:
            expected = 'core, desktop:VCPUS or host:THREADS, and ":share" or ":ms_per_s" behind it'
            raise InputError(f"--map {name}", text, expected)
        base: dict[str, Any] = {"of": kind}
        if rest and rest[0]:
            if not (rest[0].isascii() and rest[0].isdigit() and len(rest[0]) < 7):
                raise InputError(f"--map {name}", text, "a whole number behind the colon")
            base["processors"] = int(rest[0])
        if len(rest) == 2:
            base["unit"] = rest[1]
        return base
    if name in _WORDS:
        return [word.strip() for word in text.split(",")]
    if name == "step_s":
        try:
            return float(text)
        except ValueError:
            raise InputError("--map step_s", text, "a number of s") from None
    return text or None


def _mapping(preview: LogPreview, given: dict[str, Any]) -> Mapping:
    """Return what is proposed for a log with what was answered put over it.

    What only the owner can say stays open, and `read_log` asks for it.
    """
    proposed = preview.proposed.model_dump(mode="json")
    answered = {name for name, value in given.items() if value is not None}
    for meaning, column in proposed.items():  # a column that was answered for has one meaning
        if meaning not in given and isinstance(column, str):
            taken = [given[each] for each in answered if isinstance(given[each], str)]
            if column in taken and meaning in ("time", "date", *COLUMNS, "offload", "activity"):
                proposed[meaning] = None
    return mapping_from(proposed | given)


# ---------------------------------------------------------------------- when offload was on


def _offload(readings: Readings, choices: Choices) -> tuple[IntArray | None, dict[str, Any]]:
    """Return the state of each reading, None while nobody has confirmed it, and what to tell."""
    if choices.switches_s is not None:
        rows = [int(np.searchsorted(readings.time_s, each)) for each in choices.switches_s]
        last_s = float(readings.time_s[-1])
        for each, row in zip(choices.switches_s, rows, strict=True):
            if not 1 <= row < readings.rows:
                raise InputError("--switches", each, f"times within the log, up to {last_s:g} s")
        state = offload_between(rows, readings.rows, choices.first_on)
        return state, _told(readings, state, "given")
    if readings.offload is not None:
        return readings.offload, _told(readings, readings.offload, "log")
    column = next((each for each in _CPU[:2] if each in readings.columns), None)
    if column is None:
        return None, {"origin": "none", "confirmed": False, "switches": 0, "spells": []}
    place = np.rint(readings.time_s / readings.interval_s).astype(np.int64)
    if int(place[-1]) > 4 * readings.rows + 1_000:
        reason = "The gaps in this log are too long to look for switches."
        return None, {"origin": "none", "confirmed": False, "refusal": reason}
    values = np.full(int(place[-1]) + 1, np.nan)
    values[place] = readings.columns[column]
    found = find_toggles(values, readings.interval_s, choices.least_dwell_s)
    state = found.offload[place]
    told = {"column": column, "refusal": found.refusal, "cautions": list(found.cautions)}
    confirmed = choices.accept_found and found.refusal is None
    return (state if confirmed else None), _told(readings, state, "found", confirmed) | told


def _told(
    readings: Readings, state: IntArray, origin: str, confirmed: bool = True
) -> dict[str, Any]:
    starts = np.flatnonzero(np.diff(state, prepend=state[0] - 9))
    spells = [
        {"from_s": float(readings.time_s[row]), "state": int(state[row])} for row in starts.tolist()
    ]
    known = state[starts]
    switches = int(((known[1:] >= 0) & (known[:-1] >= 0)).sum())
    return {"origin": origin, "confirmed": confirmed, "switches": switches, "spells": spells}


# ------------------------------------------------------------------- effects, peaks, demands


def _effects(readings: Readings, state: IntArray, choices: Choices) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for column in ("encode_cores", "cpu_cores", "frames_hz", "host_cores"):
        values = readings.columns.get(column)
        if values is None or not np.isfinite(values).any():
            continue
        shared: dict[str, Any] = {
            "time_s": readings.time_s, "block_s": choices.block_s,
            "resamples": choices.resamples, "seed": choices.seed,
        }  # fmt: skip
        several = readings.activity is not None and len(set(readings.activity) - {""}) > 1
        if several and readings.activity is not None:
            effects = effects_by_activity(
                values, state, readings.activity, readings.interval_s, choices.drop_s, **shared
            )
        else:
            effects = {
                "": offload_effect(values, state, readings.interval_s, choices.drop_s, **shared)
            }
        found[column] = {name or "all": _effect(effect) for name, effect in effects.items()}
    return found


def _effect(effect: OffloadEffect) -> dict[str, Any]:
    return {
        "off": effect.off, "on": effect.on, "difference": effect.difference,
        "ratio": effect.ratio, "method": effect.method, "degrees": effect.degrees,
        "drift_terms": effect.drift_terms, "blocks": len(effect.blocks.on),
        "blocks_on": int(effect.blocks.on.sum()), "block_s": effect.blocks.block_s,
        "switches": effect.switches, "effective_rows": effect.effective_rows,
        "checks": effect.checks, "warnings": effect.warnings,
    }  # fmt: skip


def _peaks(
    readings: Readings, state: IntArray | None, choices: Choices
) -> dict[str, dict[str, Any]]:
    found: dict[str, dict[str, Any]] = {}
    holds_s = np.append(np.diff(readings.time_s), readings.interval_s)
    holds_s = np.minimum(holds_s, 1.5 * readings.interval_s)  # a gap is nobody's reading
    parts: dict[str, FloatArray | None] = {"all": None}
    if state is not None:
        parts |= {"on": np.where(state == 1, 1.0, np.nan), "off": np.where(state == 0, 1.0, np.nan)}
    for column in _CPU:
        if column not in readings.columns:
            continue
        found[column] = {}
        for name, part in parts.items():
            values = readings.columns[column] if part is None else readings.columns[column] * part
            if np.isfinite(values).any():
                found[column][name] = peak_statistics(values, holds_s, choices.above_cores)
    return found


def _demands(readings: Readings) -> Any:
    """What one session asks for in each activity, where the log has a host's total and counts."""
    if "host_cores" not in readings.columns or not readings.counts:
        return None
    names = list(readings.counts)
    counts = np.column_stack([readings.counts[name] for name in names])
    try:
        found = estimate_demands(readings.columns["host_cores"], counts, names, readings.interval_s)
    except MeasurementError as error:
        return {"refusal": str(error)}
    return {
        "activities": {
            name: {"demand_cores": demand, "low_cores": low, "high_cores": high}
            for name, demand, low, high in zip(
                found.names, found.demand_cores.tolist(), found.low_cores.tolist(),
                found.high_cores.tolist(), strict=True,
            )
        },
        "base_cores": found.base_cores, "base_low_cores": found.base_low_cores,
        "base_high_cores": found.base_high_cores, "held_at_zero": found.held_at_zero,
        "cores_are": "as the log counts them; two busy threads of a core do less than twice the "
        "work of one",
        "r2": found.r2, "condition": found.condition, "rows_used": found.rows_used,
        "residual_sd_cores": found.residual_sd_cores, "warnings": found.warnings,
    }  # fmt: skip
