"""When was offload on in a log: what is proposed, how is it shown, corrected and confirmed?

Spells are stretches of a log in one state. What the log says, or what its two levels show, is a
proposal; the visitor moves, adds and removes switches, and confirms. Only what is confirmed is
handed on (`Session.states`).
"""

from bisect import bisect_left, bisect_right
from dataclasses import replace
from typing import Any

import numpy as np

from app.evidence_jobs import Tell
from app.evidence_records import Spells
from app.evidence_session import Session
from app.evidence_web import Desk, Told, body
from app.figures.log import MOST_BANDS, Band, log_figure
from app.theme import LIGHT, THEMES, Theme
from app.words_evidence import COLUMN_WORDS, GAPS_TOO_LONG, NO_COLUMN, SAID_BY_LOG
from model.errors import InputError, MeasurementError, check_above
from model.evidence.record import FloatArray, IntArray, Readings
from model.evidence.toggles import find_toggles

MOST_LISTED = 100  # spells in the list beside the chart
LONGEST_DWELL_S = 86_400.0
_SEARCHED = ("encode_cores", "cpu_cores", "host_cores")  # offload lowers these
_MOST_GRID = 4  # times as many steps as readings; a log with longer gaps is not laid out evenly


def proposed_spells(
    readings: Readings, column: str | None = None, least_dwell_s: float = 10.0
) -> Spells:
    """Return when offload seems to have been on: as the log says, or as its levels show.

    Parameters
    ----------
    readings : Readings
        The log.
    column : str or None
        Where to look, by meaning, although the log may say; None takes what the log says, else
        the encoder's or the desktop's CPU.
    least_dwell_s : float, above 0
        Offload stays as it is for at least as long. [s]
    """
    if column is None and readings.offload is not None:
        rows, states = _runs(readings.offload)
        notes = (SAID_BY_LOG,) if (readings.offload >= 0).any() else ()
        return Spells(rows, states, origin="log", notes=notes, least_dwell_s=least_dwell_s)
    own = [each for each in _SEARCHED[:2] if each in readings.columns]
    looked = column or (own[0] if own else None)
    if looked is None:
        return Spells((0,), (-1,), notes=(NO_COLUMN,), least_dwell_s=least_dwell_s)
    values, first_row_of = _evenly(readings.time_s, readings.columns[looked], readings.interval_s)
    if values is None:
        return Spells((0,), (-1,), notes=(GAPS_TOO_LONG,), column=looked,
                      least_dwell_s=least_dwell_s)  # fmt: skip
    found = find_toggles(values, readings.interval_s, least_dwell_s)
    if found.refusal is not None:
        return Spells((0,), (-1,), notes=(found.refusal,), column=looked,
                      least_dwell_s=least_dwell_s)  # fmt: skip
    offload = found.offload[first_row_of]
    rows, states = _runs(offload)
    return Spells(rows, states, origin="found", notes=found.cautions, column=looked,
                  least_dwell_s=least_dwell_s)  # fmt: skip


def _runs(states: IntArray) -> tuple[tuple[int, ...], tuple[int, ...]]:
    starts = np.flatnonzero(np.diff(states, prepend=states[0] - 9))
    return tuple(starts.tolist()), tuple(states[starts].tolist())


def _evenly(
    time_s: FloatArray, values: FloatArray, interval_s: float
) -> tuple[FloatArray | None, IntArray]:
    """Return readings at equal steps, NaN where there is none, and each row's step."""
    place = np.rint(time_s / interval_s).astype(np.int64)
    if place[-1] + 1 > _MOST_GRID * len(values) + 1_000:
        return None, place
    if place[-1] + 1 == len(values):
        return values, np.arange(len(values))
    even = np.full(int(place[-1]) + 1, np.nan)
    even[place] = values
    return even, place


def find_again(session: Session, tell: Tell, log: str, column: str, least_dwell_s: float) -> Told:
    """Look for switches with other settings; a job.

    Parameters
    ----------
    session : Session
        The visitor's data.
    tell : callable
        Hears how far the job is.
    log : str
        The log's id.
    column : str
        Where to look, by meaning.
    least_dwell_s : float, above 0
        Offload stays as it is for at least as long. [s]
    """
    readings = session.readings_of(log)
    tell(0.3, f"Looking for switches in {readings.name}.")
    spells = proposed_spells(readings, column, least_dwell_s)
    session.keep_spells(log, spells)
    return {"log": log, "found": len(spells.rows) - 1, "notes": list(spells.notes)}


def view(session: Session, asked: dict[str, Any], paper: Theme | None = None) -> Told:
    """Return the chart of a log between two times, and the spells that are in view.

    Parameters
    ----------
    session : Session
        The visitor's data.
    asked : dict
        log, column by meaning, from_s and to_s (left out: the whole log), theme.
    paper : Theme or None
        The look, where it is not that of the page.
    """
    log = session.log(str(asked.get("log", "")))
    about = session.about_readings(log.id)
    last_s = float(about["last_s"])
    column = str(asked.get("column") or about["columns"][0])
    begin_s, end_s = window_of(asked, last_s, float(about["interval_s"]))
    time_s, values = session.column_of(log.id, column)
    first = max(int(np.searchsorted(time_s, begin_s)) - 1, 0)
    last = int(np.searchsorted(time_s, end_s, side="right")) + 1
    spells = session.spells(log.id) or Spells((0,), (-1,))
    here, shown = _spells_between(spells, time_s, last_s + about["interval_s"], begin_s, end_s)
    bands = [Band(each["at_s"], each["until_s"], each["state"]) for each in shown[:MOST_BANDS]]
    label, unit = COLUMN_WORDS[column]
    theme = paper or THEMES.get(str(asked.get("theme")), LIGHT)
    figure = log_figure(
        time_s[first:last], values[first:last], float(about["interval_s"]), (begin_s, end_s),
        bands if here <= MOST_BANDS else [], label, unit, theme,
    )  # fmt: skip
    return {
        "log": log.id, "column": column, "from_s": begin_s, "to_s": end_s, "last_s": last_s,
        "interval_s": about["interval_s"], "figure": figure, "spells": shown[:MOST_LISTED],
        "spells_here": here, "summary": summary(session, log.id),
    }  # fmt: skip


def window_of(asked: dict[str, Any], last_s: float, interval_s: float) -> tuple[float, float]:
    """Return the stretch of time that is asked for, within the log and not too short.

    Parameters
    ----------
    asked : dict
        from_s and to_s; left out: the whole log.
    last_s : float
        Time of the last reading. [s]
    interval_s : float
        The usual step. [s]
    """
    end_s = last_s + interval_s
    whole = []
    for name, otherwise in (("from_s", 0.0), ("to_s", end_s)):
        try:
            value = float(asked.get(name) or otherwise)
        except (TypeError, ValueError):
            raise InputError(name, asked.get(name), "a time in s") from None
        whole.append(min(max(value, 0.0), end_s) if value == value else otherwise)
    begin, end = min(whole), max(whole)
    least = min(10 * interval_s, end_s)
    if end - begin < least:
        begin = min(begin, end_s - least)
        end = begin + least
    return begin, end


def _spells_between(
    spells: Spells, time_s: FloatArray, end_s: float, begin_s: float, until_s: float
) -> tuple[int, list[Told]]:
    """How many spells are in view, and the first of them."""
    first_row = int(np.searchsorted(time_s, begin_s, side="right")) - 1
    last_row = int(np.searchsorted(time_s, until_s))
    first = max(bisect_right(spells.rows, max(first_row, 0)) - 1, 0)
    last = bisect_left(spells.rows, last_row)
    last = max(last, first + 1)
    shown = []
    for at in range(first, min(last, first + MOST_BANDS)):
        row = spells.rows[at]
        final = at + 1 == len(spells.rows)
        begins = float(time_s[row]) if at else 0.0
        ends = end_s if final else float(time_s[spells.rows[at + 1]])
        shown.append({"number": at + 1, "row": row, "at_s": round(begins, 3),
                      "until_s": round(ends, 3), "state": spells.states[at]})  # fmt: skip
    return last - first, shown


def summary(session: Session, log_id: str) -> Told | None:
    """Return what a log's spells come to, None where it has not been read.

    Parameters
    ----------
    session : Session
        The visitor's data.
    log_id : str
        The log.
    """
    spells = session.spells(log_id)
    if spells is None:
        return None
    rows = int(session.about_readings(log_id)["rows"])
    lengths = np.diff([*spells.rows, rows])
    states = np.array(spells.states)
    return {
        "confirmed": spells.confirmed, "origin": spells.origin, "edited": spells.edited,
        "notes": list(spells.notes), "column": spells.column,
        "least_dwell_s": spells.least_dwell_s,
        "switches": int(((states[1:] >= 0) & (states[:-1] >= 0)).sum()),
        "rows_on": int(lengths[states == 1].sum()), "rows_off": int(lengths[states == 0].sum()),
        "rows_unknown": int(lengths[states == -1].sum()),
    }  # fmt: skip


def toggled(session: Session, desk: Desk) -> Told:
    """Carry out what a request asks for: find, move, add, remove, mark, reset or confirm.

    Parameters
    ----------
    session : Session
        The visitor's data.
    desk : Desk
        Where jobs are started.
    """
    asked = body()
    action = asked.get("action")
    if action == "confirm":
        return _confirmed(session, asked)
    log = session.log(log_id_in(asked))
    if action == "find":
        column, least_dwell_s = asked.get("column"), asked.get("least_dwell_s")
        if column not in _SEARCHED or column not in session.about_readings(log.id)["columns"]:
            raise InputError("column", column, "a CPU column of this log")
        check_above("least_dwell_s", least_dwell_s, 0, unit="s")
        if not isinstance(least_dwell_s, (int, float)) or least_dwell_s > LONGEST_DWELL_S:
            raise InputError("least_dwell_s", least_dwell_s, f"at most {LONGEST_DWELL_S:,.0f} s")
        return {
            "job": desk.jobs.run_job(
                session, find_again, log=log.id, column=column, least_dwell_s=float(least_dwell_s)
            )
        }
    spells = session.spells(log.id)
    if spells is None:
        raise InputError("log", log.name, "a log that has been read")
    if action == "reset":
        changed = proposed_spells(
            session.readings_of(log.id), spells.column or None, spells.least_dwell_s
        )
    else:
        about = session.about_readings(log.id)
        time_s, _ = session.column_of(log.id, about["columns"][0])
        changed = edited(spells, time_s, asked)
    session.keep_spells(log.id, changed)
    given = asked.get("view")
    return view(session, {"log": log.id} | (given if isinstance(given, dict) else {}))


def _confirmed(session: Session, asked: Told) -> Told:
    logs = asked.get("logs")
    if not isinstance(logs, list) or not logs:
        raise InputError("logs", logs, "the ids of logs")
    kept: list[tuple[str, Spells]] = []
    for log_id in logs:
        spells = session.spells(log_id)
        if spells is None or not any(state >= 0 for state in spells.states):
            name = session.log(log_id).name
            cure = "a log in which it is marked when offload was on or off"
            raise MeasurementError(name, "not marked", cure)
        kept.append((log_id, spells))
    for log_id, spells in kept:
        session.keep_spells(log_id, replace(spells, confirmed=True))
    return {"summaries": {log_id: summary(session, log_id) for log_id, _ in kept}}


def edited(spells: Spells, time_s: FloatArray, asked: Told) -> Spells:
    """Return the spells after one change by hand; they then wait to be confirmed again.

    Parameters
    ----------
    spells : Spells
        As they are.
    time_s : array of shape (rows,), rising
        Times of the readings. [s]
    asked : dict
        action: "move" (row, to_s), "add" (at_s), "remove" (row) or "state" (row, state).

    Raises
    ------
    InputError
        For a change that cannot be made.
    """
    rows, states = list(spells.rows), list(spells.states)
    action = asked.get("action")
    if action == "add":
        row = _row_at(time_s, asked.get("at_s"), "at_s")
        if row in rows:
            raise InputError("at_s", asked.get("at_s"), "a time without another switch")
        at = bisect_right(rows, row)
        before = states[at - 1]
        if before < 0:
            states[at - 1] = 0
        rows.insert(at, row)
        states.insert(at, 1 - max(before, 0))
    elif action in ("move", "remove", "state"):
        if asked.get("row") not in rows:
            raise InputError("row", asked.get("row"), "the first row of a spell")
        at = rows.index(asked["row"])
        if action == "state":
            state = asked.get("state")
            if state not in (-1, 0, 1) or isinstance(state, bool):
                raise InputError("state", state, "1 (with card), 0 (without) or -1 (not used)")
            states[at] = state
        elif at == 0:
            raise InputError("row", 0, "a switch; the log's beginning is none")
        elif action == "remove":
            del rows[at], states[at]
        else:
            least = rows[at - 1] + 1
            most = (rows[at + 1] if at + 1 < len(rows) else len(time_s)) - 1
            rows[at] = min(max(_row_at(time_s, asked.get("to_s"), "to_s"), least), most)
    else:
        raise InputError("action", action, "move, add, remove, state, reset, find or confirm")
    kept = [at for at in range(len(rows)) if at == 0 or states[at] != states[at - 1]]
    return replace(
        spells, confirmed=False, edited=True,
        rows=tuple(rows[at] for at in kept), states=tuple(states[at] for at in kept),
    )  # fmt: skip


def _row_at(time_s: FloatArray, moment: object, field: str) -> int:
    """The reading nearest to a time, but for the first."""
    if isinstance(moment, bool) or not isinstance(moment, (int, float)) or moment != moment:
        raise InputError(field, moment, "a time in s")
    if not 0 <= moment <= float(time_s[-1]) + 86_400:
        raise InputError(field, moment, f"a time from 0 to {time_s[-1]:,.6g} s")
    after = int(np.searchsorted(time_s, moment))
    before = max(after - 1, 0)
    after = min(after, len(time_s) - 1)
    nearest = before if moment - time_s[before] < time_s[after] - moment else after
    return max(nearest, 1)


def log_id_in(asked: Told) -> str:
    """Return the id of the log that a request is about.

    Parameters
    ----------
    asked : dict
        The request.
    """
    log_id = asked.get("log")
    if not isinstance(log_id, str):
        raise InputError("log", log_id, "the id of a log")
    return log_id
