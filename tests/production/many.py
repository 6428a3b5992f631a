"""One running Crestline of several processes, as README.md tells to start it, and visitors."""

import http.client
import json
import os
import re
import signal
import sys
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from app import words
from model.assess import assess
from model.scenario import Scenario, default, dump
from tests.browser.site import Site

PATIENCE_S = 20.0
AS_DOCUMENTED = ("-c", "python:app.gunicorn_settings")


class ManySite(Site):
    """A server of several processes; `url` is where it answers.

    A site of the browser tests is given its port by --port, gunicorn by --bind.
    """

    def __init__(
        self,
        folder: Path,
        environment: Mapping[str, str] | None = None,
        arguments: Sequence[str] = AS_DOCUMENTED,
    ) -> None:
        """Start gunicorn and wait until it answers, or raise SiteError."""
        script = 'port=$2; shift 2; exec "$0" -m gunicorn --bind "127.0.0.1:$port" "$@"'
        program = ("/bin/sh", "-c", script, sys.executable)
        super().__init__(folder, arguments, environment, program)

    def stop(self) -> None:
        """End the server without waiting for its visitors; a second call does nothing."""
        if self._process.poll() is None:
            self._process.send_signal(signal.SIGINT)
        super().stop()

    def workers(self) -> list[int]:
        """Return the processes that answer, oldest first."""
        started = re.findall(r"Booting worker with pid: (\d+)", self.printed())
        return [int(pid) for pid in started if _is_there(int(pid))]

    def kill_worker(self) -> int:
        """End one of the processes that answer without a warning; return which."""
        (pid, *_) = self.workers()
        os.kill(pid, signal.SIGKILL)
        return pid

    def get(self, path: str, headers: Mapping[str, str] | None = None) -> tuple[int, Any]:
        """Return status and JSON data of an address."""
        return self._exchange("GET", path, None, headers or {})

    def post(self, path: str, **body: Any) -> tuple[int, Any]:
        """Send a JSON record; return status and JSON data."""
        return self._exchange("POST", path, json.dumps(body), {"Content-Type": "application/json"})

    def ask(self, scenario: Scenario, lane: str = "curve") -> dict[str, Any]:
        """Return the answer of a lane to a scenario, as the page gets it."""
        status, told = self.post(f"/answer/{lane}", sequence=7, scenario=dump(scenario), pin=None)
        assert (status, told["sequence"], told["lane"]) == (200, 7, lane), told
        answer: dict[str, Any] = json.loads(told["text"])
        return answer

    def _exchange(
        self, method: str, path: str, body: str | None, headers: Mapping[str, str]
    ) -> tuple[int, Any]:
        connection = http.client.HTTPConnection("127.0.0.1", self._port, timeout=PATIENCE_S)
        try:
            connection.request(method, path, body, dict(headers))
            reply = connection.getresponse()
            text = reply.read().decode("utf-8")
            kind = reply.getheader("Content-Type") or ""
            return reply.status, json.loads(text) if kind.startswith("application/json") else text
        finally:
            connection.close()


def example(sessions: int, cores: int = 32) -> Scenario:
    """The example with another number of sessions, and of cores."""
    start = default()
    host = start.host.model_copy(update={"cores": cores})
    return start.model_copy(update={"sessions": sessions, "host": host})


def right_sentence(scenario: Scenario) -> str:
    """The sentence that states the model's own answer."""
    return words.answer_sentence(assess(scenario))


def until(holds: Any, what: str) -> Any:
    """Wait until something holds and return it; fail where it never does."""
    end_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < end_s:
        if found := holds():
            return found
        time.sleep(0.05)
    raise AssertionError(f"in {PATIENCE_S:g} s it did not come to this: {what}")


def _is_there(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True
