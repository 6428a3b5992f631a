"""One running Crestline: a server on a free port of this machine, with an empty library."""

import http.client
import os
import socket
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from pathlib import Path

REPOSITORY = Path(__file__).resolve().parents[2]
HEALTH = "/health"  # plain text; an unknown path would answer with a page
START_LIMIT_S = 60
STOP_LIMIT_S = 10


class SiteError(Exception):
    """The server did not come up; the message holds all it printed."""


class Site:
    """A server in a process of its own; `url` is where it answers once it has started."""

    def __init__(
        self,
        folder: Path,
        arguments: Sequence[str] = (),
        environment: Mapping[str, str] | None = None,
        program: Sequence[str] = (sys.executable, "-m", "app"),
        limit_s: float = START_LIMIT_S,
    ) -> None:
        """Start `program --port N arguments` and wait until it answers, or raise SiteError."""
        self._log = folder / "server.txt"
        self._port = _free_port()
        self.url = f"http://127.0.0.1:{self._port}"
        with self._log.open("wb") as log:
            self._process = subprocess.Popen(
                [*program, "--port", str(self._port), *arguments],
                cwd=REPOSITORY,
                env=_surroundings(folder) | dict(environment or {}),
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
            )
        try:
            self._wait_until_it_answers(limit_s)
        except BaseException:
            self.stop()
            raise

    def printed(self) -> str:
        """Return all that the server has printed so far."""
        return self._log.read_text(encoding="utf-8", errors="replace")

    def stop(self) -> None:
        """End the server; a second call does nothing."""
        if self._process.poll() is None:
            self._process.terminate()
        try:
            self._process.wait(STOP_LIMIT_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()

    def _wait_until_it_answers(self, limit_s: float) -> None:
        end = time.monotonic() + limit_s
        while time.monotonic() < end:
            status = self._process.poll()
            if status is not None:
                raise SiteError(f"the server ended with status {status}:\n{self.printed()}")
            if _is_healthy(self._port):
                return
            time.sleep(0.05)
        raise SiteError(f"no answer from {self.url}{HEALTH} in {limit_s:g} s:\n{self.printed()}")


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _surroundings(folder: Path) -> dict[str, str]:
    """Return the environment of the server: all that it keeps lies in `folder`."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("CRESTLINE_")}
    return kept | {
        "CRESTLINE_DATA_DIR": str(folder / "data"),
        "NO_PROXY": "127.0.0.1,localhost",
        "PYTHONUNBUFFERED": "1",  # what it printed is there when a test fails
        "XDG_CACHE_HOME": str(folder / "cache"),
        "XDG_DATA_HOME": str(folder / "data"),
        "no_proxy": "127.0.0.1,localhost",
    }


def _is_healthy(port: int) -> bool:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=2)  # knows no proxy
    try:
        connection.request("GET", HEALTH)
        answer = connection.getresponse()
        answer.read()
        is_page = (answer.getheader("Content-Type") or "").startswith("text/html")
        return answer.status == 200 and not is_page
    except (OSError, http.client.HTTPException):
        return False
    finally:
        connection.close()
