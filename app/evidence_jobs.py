"""Who reads the logs and works out effects, so that the pages stay quick meanwhile?

Each job is one function of a module in a process of its own: `task(session, tell, **inputs)`. It
calls `tell(share, words)` as it goes on, keeps what it makes in the session, and returns what the
page should hear. How far it is stands in a file of the session, which any thread can read; a
visitor has one job at a time, and can end it.

Several processes of one server may share the visitors' folders. Whoever started a job holds a
lock file in the session until it is over, so that every process knows whether it is still under
way, and nobody starts a second one; another process ends it by leaving its id in a second file.
"""

import json
import logging
import multiprocessing
import os
import secrets
import threading
import time
from collections.abc import Callable
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any, TypeAlias

from app.evidence_refusals import told_error
from app.evidence_session import Session
from app.failure_log import log_failure
from app.file_locks import FileLock, is_held, take
from model.errors import InputError
from model.processes import watch_parent

Tell: TypeAlias = Callable[[float, str], None]  # share done from 0 to 1, and what is being done
Task: TypeAlias = Callable[..., Any]
JobState: TypeAlias = dict[str, Any]

MOST_AT_ONCE = 2  # more would take each other's cores and memory
_FILE = "job.json"
_LOCK = "job.lock"
_END = "job.end"  # holds the id of a job that is to end
_ROOM = "job-room-{number}.lock"  # beside the sessions: one for each job that may work
_TOLD_EVERY_S = 0.15
_LOOKED_EVERY_S = 0.1
_BUSY_S = 0.1  # another process may hold the lock for a moment, only to look
_ENDING_S = 3.0  # a job that has told its result is over soon
_END_LIMIT_S = 10.0
_LOG = logging.getLogger("crestline")
_LOST = "The work was interrupted. Start it again."
_FAILED = "Something went wrong (number {number}); nothing was changed."


class Jobs:
    """The jobs of all visitors.

    Parameters
    ----------
    most_at_once : int, 1 or more
        Jobs that work at the same time, in all processes that share the visitors' folders; others
        wait. [jobs]
    """

    def __init__(self, most_at_once: int = MOST_AT_ONCE) -> None:
        """Start nothing yet."""
        self._most_at_once = most_at_once
        self._lock = threading.Lock()
        self._under_way: dict[Path, _Job] = {}

    def run_job(self, session: Session, task: Task, **inputs: Any) -> JobState:
        """Start a job and return its state at once.

        Parameters
        ----------
        session : Session
            Whose it is.
        task : callable
            A function of a module: task(session, tell, **inputs).
        **inputs : object
            What it is given; can be pickled.

        Raises
        ------
        InputError
            While another job of this visitor is under way.
        """
        job = _Job(secrets.token_hex(8), task, inputs)
        state = _state(job.id, task.__name__, "running", words="Waiting for its turn.")
        try:
            held = _own(session.folder)
            try:
                _write(session.folder, state)
            except BaseException:
                held.release()
                raise
        except OSError:
            raise InputError("evidence", "gone", "data that has not been removed") from None
        with self._lock:
            self._under_way[session.folder] = job
        watch = threading.Thread(
            target=self._see_through, args=(session, job, held), name="evidence-job", daemon=True
        )
        watch.start()
        return state

    def state(self, session: Session) -> JobState | None:
        """Return how far the newest job of a visitor is, None where there was none.

        Parameters
        ----------
        session : Session
            Whose it is.

        Returns
        -------
        dict or None
            id, task, state ("running", "done", "failed" or "cancelled"), share, words; and
            `result`, or `error` (field, message, row, column), or `failure` in a sentence.
        """
        state = _read(session.folder)
        if _is_running(state) and not is_held(session.folder / _LOCK):
            state = _read(session.folder)  # it may have ended between the two
            if state is not None and _is_running(state):
                state |= {"state": "failed", "failure": _LOST}
        return state

    def cancel(self, session: Session) -> JobState | None:
        """End the job of a visitor and return its state, None where there was none.

        Parameters
        ----------
        session : Session
            Whose it is.
        """
        with self._lock:
            job = self._under_way.get(session.folder)
        state = _read(session.folder)
        if job is not None:
            job.end()
        elif state is not None and _is_running(state):
            _ask_to_end(session.folder, state["id"])
        else:
            return state
        _wait_until_free(session.folder / _LOCK)
        for part in session.folder.glob("*.part"):
            part.unlink(missing_ok=True)
        return self.state(session)

    def _see_through(self, session: Session, job: "_Job", held: FileLock) -> None:
        room: FileLock | None = None
        try:
            room = self._wait_for_room(session.folder, job)
            process = job.start(session)
            if process is not None:
                while process.is_alive():
                    process.join(_LOOKED_EVERY_S)
                    _end_if_asked(session.folder, job)
                process.close()
            state = _read(session.folder)
            if state is not None and state["id"] == job.id and _is_running(state):
                ended = {"state": "cancelled"} if job.ended else _died(job)
                _write(session.folder, state | ended)
        except Exception as error:  # the folder may be gone: nobody is left to be told
            if session.folder.exists():
                log_failure("a job could not be seen through", error)
        finally:
            if room is not None:
                room.release()
            self._forget(session.folder, job)
            held.release()

    def _wait_for_room(self, folder: Path, job: "_Job") -> FileLock | None:
        """Wait for the right to work; None where the job was ended before."""
        while not job.ended:
            for number in range(self._most_at_once):
                room = take(folder.parent / _ROOM.format(number=number))
                if room is not None:
                    return room
            time.sleep(_LOOKED_EVERY_S)
            _end_if_asked(folder, job)
        return None

    def _forget(self, folder: Path, job: "_Job") -> None:
        with self._lock:
            if self._under_way.get(folder) is job:
                del self._under_way[folder]


class _Job:
    """One job, from its start to its end."""

    def __init__(self, job_id: str, task: Task, inputs: dict[str, Any]) -> None:
        self.id = job_id
        self.ended = False
        self._task = task
        self._inputs = inputs
        self._process: BaseProcess | None = None
        self._lock = threading.Lock()

    def start(self, session: Session) -> BaseProcess | None:
        """Start the process, unless the job was ended while it waited."""
        with self._lock:
            if self.ended:
                return None
            process = multiprocessing.get_context("spawn").Process(
                target=_work, args=(session, self.id, self._task, self._inputs), daemon=True
            )
            process.start()
            self._process = process
            return process

    def end(self) -> None:
        """End the process at once, or keep it from starting."""
        with self._lock:
            self.ended = True
            if self._process is not None:
                try:
                    self._process.kill()
                except ValueError:  # it was over
                    return


def _own(folder: Path) -> FileLock:
    """Return the lock of a session, or refuse while another job of it is under way."""
    begin_s = time.monotonic()
    while True:
        held = take(folder / _LOCK)
        if held is not None:
            return held
        patience_s = _BUSY_S if _is_running(_read(folder)) else _ENDING_S
        if time.monotonic() - begin_s > patience_s:
            cure = "the work under way to end first, or to be cancelled"
            raise InputError("evidence", "busy", cure)
        time.sleep(0.02)


def _ask_to_end(folder: Path, job_id: str) -> None:
    """Leave word for the process that holds a job."""
    try:
        (folder / _END).write_text(job_id, encoding="ascii")
    except OSError:  # the session is gone, and with it its job
        return


def _end_if_asked(folder: Path, job: _Job) -> None:
    """End a job that another process was asked to cancel, or whose session was removed."""
    try:
        asked = (folder / _END).read_text(encoding="ascii", errors="replace")
    except OSError:
        if not folder.exists():
            job.end()
        return
    if asked == job.id:
        job.end()


def _wait_until_free(path: Path) -> None:
    end_s = time.monotonic() + _END_LIMIT_S
    while is_held(path) and time.monotonic() < end_s:
        time.sleep(0.02)


def _work(session: Session, job_id: str, task: Task, inputs: dict[str, Any]) -> None:
    """Do the work; this runs in the job's own process."""
    watch_parent()
    if hasattr(os, "nice"):
        os.nice(5)  # the page's own answers come first
    state = _state(job_id, task.__name__, "running")
    told_at = 0.0

    def tell(share: float, words: str) -> None:
        nonlocal told_at
        if time.monotonic() - told_at < _TOLD_EVERY_S and words == state["words"]:
            return
        told_at = time.monotonic()
        state["share"], state["words"] = min(max(float(share), 0.0), 1.0), words
        _write(session.folder, state)

    try:
        result = task(session, tell, **inputs)
        ended = state | {"state": "done", "share": 1.0, "words": "", "result": result}
        _write(session.folder, ended)
    except InputError as error:
        _write(session.folder, state | {"state": "failed", "error": told_error(error)})
    except Exception as error:
        number = secrets.token_hex(4)
        log_failure(f"failure {number} in a job", error)
        failure = _FAILED.format(number=number)
        if session.folder.exists():
            _write(session.folder, state | {"state": "failed", "failure": failure})


def _died(job: _Job) -> JobState:
    number = secrets.token_hex(4)
    _LOG.error("failure %s: the process of job %s ended early", number, job.id)
    return {"state": "failed", "failure": _FAILED.format(number=number)}


def _is_running(state: JobState | None) -> bool:
    return state is not None and state["state"] == "running"


def _state(job_id: str, task: str, state: str, words: str = "") -> JobState:
    return {"id": job_id, "task": task, "state": state, "share": 0.0, "words": words}


def _write(folder: Path, state: JobState) -> None:
    part = folder / f"job.{secrets.token_hex(4)}.part"
    try:
        part.write_text(json.dumps(state, ensure_ascii=False, allow_nan=False), encoding="utf-8")
        os.replace(part, folder / _FILE)
    finally:
        part.unlink(missing_ok=True)


def _read(folder: Path) -> JobState | None:
    try:
        state: JobState = json.loads((folder / _FILE).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return state
