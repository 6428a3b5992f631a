"""How does a visitor's log become readings, and how are its switches confirmed?

The server side of parts 2 and 3 of the Evidence page:

    GET  /evidence-data/logs                  all that is known of the visitor's logs
    POST /evidence-data/upload?name=          a log as plain bytes
    POST /evidence-data/demo                  the invented trial, read at once; a job
    POST /evidence-data/look                  what a log seems to hold, and what must be asked
    POST /evidence-data/consequences          what an answer about a percentage means, in words
    POST /evidence-data/read                  read logs with the answers given; a job
    GET  /evidence-data/view?log=&column=...  chart and spells of a log between two times
    POST /evidence-data/toggles               move, add, remove, mark, find or confirm switches
    POST /evidence-data/picture/log           what stands on the picture of a log
    POST /evidence-data/csv/log               the readings in view with their states
    GET  /evidence-data/findings.csv?log=     every row dropped, repaired or in doubt
    POST /evidence-data/remove                one log, or all that is kept for the visitor
    GET  /evidence/job                        how far the visitor's job is
    POST /evidence-data/cancel                end it

Work on whole logs is done in a process of its own (app/evidence_jobs.py).
"""

import hashlib
import json
from pathlib import Path

from flask import Response, request

from app.evidence_exports import findings, numbers, picture
from app.evidence_files import tidy_name
from app.evidence_jobs import Tell
from app.evidence_records import too_large
from app.evidence_refusals import told_error
from app.evidence_session import Session
from app.evidence_store import COOKIE
from app.evidence_switches import log_id_in, proposed_spells, summary, toggled, view
from app.evidence_web import BASE, Desk, Told, as_json, body, forget_key
from app.places import demo_data_folder
from app.words_evidence import COLUMN_WORDS, MEANINGS
from app.workers import Workers
from model.errors import InputError
from model.evidence.log_text import Upload
from model.evidence.mapping import CPU_MEANINGS, TIME_FORMATS, CpuBase, mapping_from
from model.evidence.notation import number_in
from model.evidence.questions import Question, consequence
from model.evidence.readings import LogPreview, look_at, read_log
from model.records import check
from model.scenario import Scenario, default, load

DEMO_VCPUS, DEMO_THREADS = 2, 64
_SLACK_BYTES = 65_536


def register(desk: Desk, workers: Workers) -> None:
    """Bind the addresses of parts 2 and 3.

    Parameters
    ----------
    desk : Desk
        Where the page's scripts ask.
    workers : Workers
        Who looks at logs.
    """
    desk.bind(f"{BASE}/logs", "GET", overview, without=lambda: {"logs": []} | _choices())
    desk.bind(f"{BASE}/upload", "POST", _uploaded, opens=True,
              content_type="application/octet-stream")  # fmt: skip
    desk.bind(f"{BASE}/demo", "POST", lambda session: _demo(session, desk), opens=True)
    desk.bind(f"{BASE}/look", "POST", lambda session: _looked(session, workers))
    desk.bind(f"{BASE}/consequences", "POST", lambda session: consequences(body()),
              without=lambda: consequences(body()))  # fmt: skip
    desk.bind(f"{BASE}/read", "POST", lambda session: _read(session, desk))
    desk.bind(f"{BASE}/view", "GET", lambda session: view(session, dict(request.args)))
    desk.bind(f"{BASE}/toggles", "POST", lambda session: toggled(session, desk))
    desk.bind(f"{BASE}/picture/log", "POST", lambda session: picture(session, body()))
    desk.bind(f"{BASE}/csv/log", "POST", lambda session: numbers(session, body()))
    desk.bind(f"{BASE}/findings.csv", "GET",
              lambda session: findings(session, request.args.get("log", "")))  # fmt: skip
    desk.bind(f"{BASE}/remove", "POST", lambda session: _removed(session, desk))
    desk.bind(f"{BASE}/cancel", "POST", lambda session: {"job": desk.jobs.cancel(session)})
    desk.bind("/evidence/job", "GET", lambda session: {"job": desk.jobs.state(session)},
              without=lambda: {"job": None})  # fmt: skip


# ------------------------------------------------------------------------------- the logs


def overview(session: Session) -> Told:
    """Return all that is known of the visitor's logs, for a page that was opened anew.

    Parameters
    ----------
    session : Session
        The visitor's data.
    """
    logs = [
        {
            "id": log.id, "name": log.name, "bytes": log.size_bytes, "demo": log.demo,
            "look": session.note(log.id, "look"), "mapping": session.note(log.id, "mapping"),
            "readings": _told_readings(session, log.id),
            "spells": summary(session, log.id),
        }
        for log in session.logs()
    ]  # fmt: skip
    return {"logs": logs, "bytes": session.size_bytes()} | _choices()


def _choices() -> Told:
    """What the page offers: meanings of a column, notations of time, limits."""
    return {
        "meanings": MEANINGS, "time_formats": dict(TIME_FORMATS), "cpu_bases": dict(CPU_MEANINGS),
        "demo": len(_demo_files()),
    }  # fmt: skip


def _uploaded(session: Session) -> Told:
    limits = session.limits
    name = tidy_name(request.args.get("name", ""))
    request.max_content_length = limits.file_bytes + _SLACK_BYTES
    if (request.content_length or 0) > limits.file_bytes:
        raise too_large(name, limits)
    log = session.add(name, request.stream)
    return {"log": {"id": log.id, "name": log.name, "bytes": log.size_bytes, "demo": False}}


def _removed(session: Session, desk: Desk) -> Told | Response:
    asked = body()
    if asked.get("all") is True:
        desk.store.remove(request.cookies.get(COOKIE))
        return forget_key(as_json({"removed": "all"}))
    session.drop(log_id_in(asked))
    return overview(session)


# ------------------------------------------------------------------------ looking at a log


def _looked(session: Session, workers: Workers) -> Told:
    asked = body()
    log = session.log(log_id_in(asked))
    scenario = _scenario(asked.get("scenario"))
    encoding = asked.get("encoding") or None
    if encoding is not None and not isinstance(encoding, str):
        raise InputError("mapping.encoding", encoding, 'an encoding, as "utf-8" or "cp1252"')
    activities = [activity.name for activity in scenario.activities]
    path = str(session.path(log.id))
    look = workers.run_long(
        look_of, path, log.name, activities, encoding, None, scenario.host.threads
    )
    session.keep_note(log.id, "look", look)
    return {"log": log.id, "look": look}


def _scenario(text: object) -> Scenario:
    """The scenario that the visitor's page shows; the example where it will not do just now."""
    if isinstance(text, str) and text.startswith("{"):
        try:
            return load(text)
        except InputError:
            return default()
    return default()


def look_of(
    path: str,
    name: str,
    activities: list[str],
    encoding: str | None = None,
    desktop_vcpus: int | None = None,
    host_threads: int | None = None,
) -> Told:
    """Return what a log seems to hold and what must be asked, as plain JSON data.

    Parameters
    ----------
    path : str
        Where the log lies.
    name : str
        What it is called.
    activities : list of str
        The scenario's activities, by which columns of counts are known.
    encoding : str or None
        As the visitor says.
    desktop_vcpus, host_threads : int or None
        For the examples beside the answers. [processors]
    """
    upload = Upload(name, Path(path).read_bytes())
    preview = look_at(upload, activities, encoding, desktop_vcpus, host_threads)
    mapping = preview.proposed.model_dump(mode="json")
    questions = [_told_question(each) for each in preview.questions]
    same = [preview.layout.names, preview.layout.units, preview.layout.in_words(), mapping]
    same.append([each["field"] for each in questions])
    return {
        "group": hashlib.sha256(json.dumps(same).encode()).hexdigest()[:16],
        "layout": preview.layout.in_words(),
        "rows_about": preview.rows_about,
        "first_rows": [list(row) for row in preview.first_rows[:5]],
        "columns": [
            {
                "name": each.name, "unit": each.unit, "holds": each.holds,
                "meaning": each.meaning, "reason": each.reason,
                "example": _example(preview, at),
            }
            for at, each in enumerate(preview.columns)
        ],
        "mapping": mapping,
        "questions": questions,
    }  # fmt: skip


def _told_question(question: Question) -> Told:
    return {
        "field": question.field,
        "asks": question.asks,
        "because": question.because,
        "suggested": question.suggested,
        "choices": [
            {"value": choice.value, "label": choice.label, "consequence": choice.consequence}
            for choice in question.choices
        ],
    }


def _example(preview: LogPreview, at: int) -> float | None:
    """A typical reading of a column, for the example beside an answer."""
    cells = [row[at].strip() for row in preview.first_rows if at < len(row)]
    values = sorted(
        value
        for value, _ in (number_in(cell, preview.layout.decimal or ".") for cell in cells)
        if value == value and abs(value) < 1e15
    )
    return float(f"{values[len(values) // 2]:.3g}") if values else None


def consequences(asked: Told) -> Told:
    """Return what a reading stands for under each answer about a percentage.

    Parameters
    ----------
    asked : dict
        reading, and bases: a list of records as `CpuBase` has them.
    """
    reading, bases = asked.get("reading"), asked.get("bases")
    if isinstance(reading, bool) or not isinstance(reading, (int, float)):
        raise InputError("reading", reading, "a number")
    if not isinstance(bases, list) or len(bases) > 10:
        raise InputError("bases", type(bases).__name__, "a list of at most 10 answers")
    told: list[str | None] = []
    for base in bases:
        try:
            told.append(consequence(check(CpuBase, base), float(reading)))
        except InputError:
            told.append(None)
    return {"consequences": told}


# ---------------------------------------------------------------------------- reading logs


def _read(session: Session, desk: Desk) -> Told:
    groups = body().get("groups")
    if not isinstance(groups, list) or not groups:
        raise InputError("groups", type(groups).__name__, "logs with their answers")
    wanted: list[tuple[str, Told]] = []
    for group in groups:
        if not isinstance(group, dict) or not isinstance(group.get("logs"), list):
            raise InputError("groups", type(group).__name__, "logs with their answers")
        mapping = mapping_from(group.get("mapping")).model_dump(mode="json")
        for log_id in group["logs"]:
            session.log(log_id)
            wanted.append((log_id, mapping))
    for log_id, mapping in wanted:
        session.keep_note(log_id, "mapping", mapping)
    return {"job": desk.jobs.run_job(session, read_logs, wanted=wanted)}


def read_logs(session: Session, tell: Tell, wanted: list[tuple[str, Told]]) -> Told:
    """Read logs, and look for switches in those that do not say; a job.

    Parameters
    ----------
    session : Session
        The visitor's data.
    tell : callable
        Hears how far the job is.
    wanted : list
        Each log's id and the answers for it.

    Returns
    -------
    dict
        read: ids of the logs; failed: those that were refused, each with its error.
    """
    read: list[str] = []
    failed: list[Told] = []
    for at, (log_id, answers) in enumerate(wanted):
        log = session.log(log_id)
        tell(at / len(wanted), f"Reading {log.name}.")
        session.forget_readings(log_id)
        try:
            upload = Upload(log.name, session.path(log_id).read_bytes())
            readings = read_log(upload, mapping_from(answers))
            del upload
            tell((at + 0.6) / len(wanted), f"Looking for switches in {log.name}.")
            session.keep_readings(log_id, readings)
            session.keep_spells(log_id, proposed_spells(readings))
            read.append(log_id)
        except InputError as error:
            failed.append({"log": log_id, "error": told_error(error)})
    return {"read": read, "failed": failed}


def _demo_files() -> list[Path]:
    return sorted((demo_data_folder() / "measurements").glob("*.csv*"))


def _demo(session: Session, desk: Desk) -> Told:
    for log in session.logs():
        if log.demo:
            session.drop(log.id)
    for path in _demo_files():
        with path.open("rb") as file:
            session.add(path.name, file, demo=True)
    return {"job": desk.jobs.run_job(session, read_demo)}


def read_demo(session: Session, tell: Tell) -> Told:
    """Look at and read the invented trial, with the answers that its README gives; a job.

    Parameters
    ----------
    session : Session
        The visitor's data.
    tell : callable
        Hears how far the job is.
    """
    names = [activity.name for activity in default().activities]
    processors = {"core": None, "desktop": DEMO_VCPUS, "host": DEMO_THREADS}
    wanted: list[tuple[str, Told]] = []
    for log in (each for each in session.logs() if each.demo):
        look = look_of(str(session.path(log.id)), log.name, names)
        mapping = dict(look["mapping"])
        for question in look["questions"]:
            base = dict(question["suggested"])
            mapping[question["field"]] = base | {"processors": processors[base["of"]]}
        session.keep_note(log.id, "look", look)
        session.keep_note(log.id, "mapping", mapping)
        wanted.append((log.id, mapping))
    return read_logs(session, tell, wanted)


# ------------------------------------------------------------------------- what was read


def _told_readings(session: Session, log_id: str) -> Told | None:
    try:
        told = session.about_readings(log_id)
    except InputError:
        return None
    columns = [
        {"column": each, "label": COLUMN_WORDS[each][0], "unit": COLUMN_WORDS[each][1]}
        for each in told["columns"]
    ]
    kept = f"{told['rows_kept']:,} of {told['rows_read']:,} rows kept"
    return {
        "rows": told["rows"], "interval_s": told["interval_s"], "last_s": told["last_s"],
        "start": told["start"], "columns": columns, "layout": told["layout"], "kept": kept,
        "says": told["offload"], "activities": told["activities"], "counts": told["counts"],
        "findings": told["findings"],
    }  # fmt: skip
