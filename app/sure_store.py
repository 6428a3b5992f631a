"""Where do questions about how sure an answer is wait, and where are their results kept?

Each question has a folder named by its key; whoever asks the same waits for the same work and
reads the same result. A page that waits leaves a mark there that it renews as it looks; work that
one page cancels goes on while another one waits. All of it lies in files, so that several server
processes may share it. What nobody has used for a day goes, and the oldest where there is much.
"""

import os
import re
import shutil
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from pathlib import Path
from typing import Any

from app.evidence_jobs import Jobs
from app.evidence_records import Limits
from app.evidence_session import Session
from app.sure_question import SureQuestion
from app.sure_result import FILE, Bands, SureResult, bands_in, read
from app.sure_work import ASKERS, work_out
from model.errors import InputError

AGE_S = 24 * 3600.0
MOST_RESULTS = 200
MOST_WAITING = 20
_FRESH_S = 15.0  # a page renews its mark several times a second
_IN_MEMORY = 32
_KEY = re.compile(r"[0-9a-f]{64}")
_ASKER = re.compile(r"[0-9a-f-]{1,40}")
_NONE: dict[str, Any] = {"state": "none", "share": 0.0, "words": "", "message": ""}


class SureStore:
    """The questions and results of everyone.

    Parameters
    ----------
    folder : Path
        Where they lie; made when the first question comes.
    jobs : Jobs
        Who works them out.
    clock : callable
        Tells the time. [s since 1970]
    """

    def __init__(self, folder: Path, jobs: Jobs, clock: Callable[[], float] = time.time) -> None:
        """Take a folder; nothing is made yet."""
        self._folder = folder
        self._jobs = jobs
        self._clock = clock
        self._lock = threading.Lock()
        self._known: OrderedDict[str, SureResult] = OrderedDict()

    def start(self, question: SureQuestion, asker: str) -> dict[str, Any]:
        """Have a question worked out, unless it is or was, and return how far it is.

        Parameters
        ----------
        question : SureQuestion
            What is asked.
        asker : str
            Random name of the page that asks.

        Raises
        ------
        InputError
            Where too many questions wait already.
        """
        session = self._session(question.key)
        if self.result(question.key) is not None:
            return self.state(question.key, asker)
        self._sweep()
        session.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        self._mark(session, asker)
        if not self._is_running(session):
            waiting = sum(self._is_running(Session(each, Limits())) for each in self._folders())
            if waiting >= MOST_WAITING:
                raise InputError("sure", "one question more", "fewer that wait; try again later")
            try:
                self._jobs.run_job(session, work_out, question=question)
            except InputError:
                if not self._is_running(session):  # another page was not quicker
                    raise
        return self.state(question.key, asker)

    def state(self, key: str, asker: str | None = None) -> dict[str, Any]:
        """Return how far a question is.

        Parameters
        ----------
        key : str
            Its key.
        asker : str or None
            The page that waits; None for one that only looks.

        Returns
        -------
        dict
            key; state: "none", "running", "done", "failed" or "cancelled"; share from 0 to 1;
            words; message where it failed.
        """
        session = self._session(key)
        if self.result(key) is not None:
            return _NONE | {"key": key, "state": "done", "share": 1.0}
        job = self._jobs.state(session)
        if job is None or job["state"] == "done":  # done without a result: it was abandoned
            if self.result(key) is not None:  # it came between the two
                return _NONE | {"key": key, "state": "done", "share": 1.0}
            return _NONE | {"key": key}
        if job["state"] == "running" and asker is not None:
            self._mark(session, asker)
        error = job.get("error") or {}
        told = {name: job[name] for name in ("state", "share", "words")}
        return told | {"key": key, "message": job.get("failure") or error.get("message", "")}

    def cancel(self, key: str, asker: str) -> dict[str, Any]:
        """Stop waiting; where no other page waits, the work ends.

        Parameters
        ----------
        key : str
            The question.
        asker : str
            The page that no longer waits.
        """
        session = self._session(key)
        self._mark_of(session, asker).unlink(missing_ok=True)
        if self._is_running(session) and not self._is_wanted(session):
            self._jobs.cancel(session)
        return self.state(key)

    def result(self, key: str) -> SureResult | None:
        """Return a result; None where there is none.

        Parameters
        ----------
        key : str
            The question.
        """
        with self._lock:
            if key in self._known:
                self._known.move_to_end(key)
                return self._known[key]
        session = self._session(key)
        found = read(session.folder)
        if found is not None:
            _use(session.folder / FILE, self._clock())
            with self._lock:
                self._known[key] = found
                while len(self._known) > _IN_MEMORY:
                    self._known.popitem(last=False)
        return found

    def bands(self, key: object, scenario: str) -> Bands | None:
        """Return what the charts of a scenario show of a result; None where it is of another one.

        Parameters
        ----------
        key : object
            The question, as the browser sent it.
        scenario : str
            The scenario as canonical JSON text.
        """
        if not isinstance(key, str) or not _KEY.fullmatch(key):
            return None
        found = self.result(key)
        return bands_in(found) if found is not None and found["scenario"] == scenario else None

    def _session(self, key: str) -> Session:
        if not _KEY.fullmatch(key):
            raise InputError("key", key, "the key of a question")
        return Session(self._folder / key, Limits())

    def _is_running(self, session: Session) -> bool:
        job = self._jobs.state(session)
        return job is not None and job["state"] == "running"

    def _mark_of(self, session: Session, asker: str) -> Path:
        if not _ASKER.fullmatch(asker):
            raise InputError("asker", asker, "the name of a page")
        return session.folder / ASKERS / asker

    def _mark(self, session: Session, asker: str) -> None:
        mark = self._mark_of(session, asker)
        try:
            mark.parent.mkdir(mode=0o700, exist_ok=True)
            mark.touch(mode=0o600)
        except OSError:  # the folder has been removed meanwhile
            return

    def _is_wanted(self, session: Session) -> bool:
        try:
            marks = [mark.stat().st_mtime for mark in (session.folder / ASKERS).iterdir()]
        except OSError:
            return False
        return any(time.time() - at < _FRESH_S for at in marks)

    def _folders(self) -> list[Path]:
        try:
            return [each for each in self._folder.iterdir() if _KEY.fullmatch(each.name)]
        except OSError:
            return []

    def _sweep(self) -> None:
        """Remove what is too old, and the oldest of what is too much; never what is under way."""
        used = sorted(((_used_at(each), each) for each in self._folders()), reverse=True)
        for place, (at, folder) in enumerate(used):
            if self._clock() - at < AGE_S and place < MOST_RESULTS:
                continue
            if not self._is_running(Session(folder, Limits())):
                shutil.rmtree(folder, ignore_errors=True)
                with self._lock:
                    self._known.pop(folder.name, None)


def _use(path: Path, now: float) -> None:
    try:
        os.utime(path, (now, now))
    except OSError:
        return


def _used_at(folder: Path) -> float:
    for path in (folder / FILE, folder):
        try:
            return path.stat().st_mtime
        except OSError:
            continue
    return 0.0
