"""Where do visitors' logs lie while they look at them, and when are they removed?

Each visitor who hands over a log gets a random key in a cookie, and a folder named by the key's
SHA-256, so that nobody who sees the folder learns the key and nobody who lacks the key finds the
folder. It is removed when its visitor asks, and once nobody has used it for a day; at every
start, what has grown too old meanwhile is removed too. What is in it: app/evidence_session.py.
"""

import hashlib
import os
import re
import secrets
import shutil
import threading
import time
from collections.abc import Callable
from pathlib import Path

from app.evidence_records import Limits
from app.evidence_session import Session
from model.errors import InputError

COOKIE = "crestline-evidence"
_KEY = re.compile(r"[A-Za-z0-9_-]{43}")
_USED = "used"
_TOUCHED_EVERY_S = 30.0


class EvidenceStore:
    """The folders of all visitors.

    Parameters
    ----------
    folder : Path
        Where they lie; made when the first visitor comes.
    limits : Limits
        How much may be kept, for how long.
    clock : callable
        Tells the time. [s since 1970]
    """

    def __init__(
        self,
        folder: Path,
        limits: Limits | None = None,
        clock: Callable[[], float] = time.time,
    ) -> None:
        """Take a folder; what is too old in it is removed at once."""
        self.folder = folder
        self.limits = limits or Limits()
        self._clock = clock
        self._lock = threading.Lock()
        self.on_remove: Callable[[Session], object] = lambda session: None
        self.sweep()

    def open_session(self) -> tuple[str, Session]:
        """Return a new visitor's key and session.

        Raises
        ------
        InputError
            Where as many visitors as may be have data here.
        """
        with self._lock:
            self._sweep()
            if len(self._folders()) >= self.limits.sessions:
                raise InputError(
                    "evidence", "one visitor more",
                    f"at most {self.limits.sessions} visitors with logs; come back later",
                )  # fmt: skip
            self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            key = secrets.token_urlsafe(32)
            session = self._session(key)
            session.folder.mkdir(mode=0o700)
            self._use(session.folder)
        return key, session

    def find(self, key: str | None) -> Session | None:
        """Return the session of a key, None where there is none any more.

        Parameters
        ----------
        key : str or None
            What the visitor's cookie holds.
        """
        if key is None or not _KEY.fullmatch(key):
            return None
        session = self._session(key)
        age_s = self._age_s(session.folder)
        if age_s is None:
            return None
        if age_s > self.limits.age_s:
            self._remove(session.folder)
            return None
        if age_s > _TOUCHED_EVERY_S:
            self._use(session.folder)
        return session

    def remove(self, key: str | None) -> bool:
        """Remove all that is kept for a visitor; tell whether there was anything.

        Parameters
        ----------
        key : str or None
            What the visitor's cookie holds.
        """
        session = self.find(key)
        if session is None:
            return False
        self._remove(session.folder)
        return True

    def sweep(self) -> int:
        """Remove what nobody has used for too long; return how many visitors' data that was."""
        with self._lock:
            return self._sweep()

    def sweep_every(self, period_s: float) -> None:
        """Sweep from now on, so that data goes at its age even when nobody comes.

        Parameters
        ----------
        period_s : float
            How often. [s]
        """

        def go_on() -> None:
            while True:
                time.sleep(period_s)
                self.sweep()

        threading.Thread(target=go_on, name="evidence-sweep", daemon=True).start()

    def _session(self, key: str) -> Session:
        return Session(self.folder / hashlib.sha256(key.encode()).hexdigest(), self.limits)

    def _folders(self) -> list[Path]:
        try:
            return [path for path in self.folder.iterdir() if path.is_dir()]
        except OSError:  # what is not there, or cannot be read, holds no session
            return []

    def _sweep(self) -> int:
        old = [each for each in self._folders() if (self._age_s(each) or 0.0) > self.limits.age_s]
        for folder in old:
            self._remove(folder)
        return len(old)

    def _age_s(self, folder: Path) -> float | None:
        for path in (folder / _USED, folder):  # a folder that was being made has no mark yet
            try:
                return self._clock() - path.stat().st_mtime
            except OSError:
                continue
        return None

    def _use(self, folder: Path) -> None:
        mark = folder / _USED
        try:
            mark.touch(mode=0o600)
            now = self._clock()
            os.utime(mark, (now, now))
        except OSError:  # removed by another request meanwhile
            return

    def _remove(self, folder: Path) -> None:
        self.on_remove(Session(folder, self.limits))
        shutil.rmtree(folder, ignore_errors=True)
        if folder.exists():  # something was written while it was being emptied
            shutil.rmtree(folder, ignore_errors=True)
