"""Which Redis do the tests of many viewers use, and where does it come from if there is none?

The system's program is started on a free port of this machine, keeps nothing on the disk, and
ends with the tests. Where it is missing and packages may be installed, Debian's is. A test never
skips for want of Redis: what did not run with it does not count as tested.
"""

import secrets
import shutil
import socket
import subprocess
import tempfile
import time
from pathlib import Path

from tests.browser.chromium import APT_LIMIT_S, Machine

PROGRAMS = ("redis-server", "/usr/bin/redis-server", "/opt/homebrew/bin/redis-server")
INSTALL_WITH_APT = (
    ("apt-get", "update", "-q"),
    ("apt-get", "install", "-q", "-y", "--no-install-recommends", "redis-server"),
)
START_LIMIT_S = 20
MEMORY = "64mb"


class NoRedisError(Exception):
    """No Redis was found and none could be installed, or it did not start."""


class Redis:
    """A Redis of its own on this machine; `url` is where it answers, with its password."""

    def __init__(self, machine: Machine | None = None) -> None:
        """Start the server and wait until it answers."""
        machine = machine or Machine()
        self._program = find_program(machine) or install_program(machine)
        self._folder = Path(tempfile.mkdtemp(prefix="crestline-redis-"))
        self._log = self._folder / "server.txt"
        self._password = secrets.token_hex(12)
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self._port = int(probe.getsockname()[1])
        self.url = f"redis://:{self._password}@127.0.0.1:{self._port}/0"
        self._process: subprocess.Popen[bytes] | None = None
        try:
            self.resume()
        except BaseException:
            self.stop()
            raise

    def pause(self) -> None:
        """End the server at once; all that it remembered is lost."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()

    def runs(self) -> bool:
        """Tell whether the server is there."""
        return self._process is not None and self._process.poll() is None

    def resume(self) -> None:
        """Start the server, empty, and wait until it answers at its address."""
        settings = self._folder / "settings"  # not on the command line, where everybody reads it
        settings.write_text(
            f"port {self._port}\nbind 127.0.0.1\nrequirepass {self._password}\nsave \"\"\n"
            f"dir {self._folder}\nmaxmemory {MEMORY}\nmaxmemory-policy allkeys-lru\n",
            encoding="ascii",
        )  # fmt: skip
        with self._log.open("wb") as log:
            self._process = subprocess.Popen(
                [self._program, settings],
                stdin=subprocess.DEVNULL, stdout=log, stderr=subprocess.STDOUT,
            )  # fmt: skip
        end = time.monotonic() + START_LIMIT_S
        while time.monotonic() < end and self._process.poll() is None:
            if self._answers():
                return
            time.sleep(0.02)
        said = self._log.read_text(encoding="utf-8", errors="replace")
        raise NoRedisError(f"Redis did not start on port {self._port}:\n{said}")

    def stop(self) -> None:
        """End the server and remove its folder; a second call does nothing."""
        self.pause()
        shutil.rmtree(self._folder, ignore_errors=True)

    def _answers(self) -> bool:
        try:
            with socket.create_connection(("127.0.0.1", self._port), 1) as connection:
                connection.sendall(b"PING\r\n")
                return connection.recv(64).startswith((b"-NOAUTH", b"+PONG"))
        except OSError:
            return False


def find_program(machine: Machine, programs: tuple[str, ...] = PROGRAMS) -> str | None:
    """Return a Redis server that starts, or None."""
    candidates = [machine.which(programs[0]), *programs[1:]]
    return next((path for path in candidates if path and machine.starts(path)), None)


def install_program(machine: Machine, programs: tuple[str, ...] = PROGRAMS) -> str:
    """Install Debian's package where that is allowed; return the server's path."""
    said = []
    if machine.is_root() and machine.is_debian():
        for command in INSTALL_WITH_APT:
            if trouble := machine.run(command, APT_LIMIT_S):
                said.append(f"$ {' '.join(command)}\n{trouble}")
        if program := find_program(machine, programs):
            return program
    raise NoRedisError(
        "The tests of many viewers need Redis, and none was found. Install it with your system's "
        "package manager (Debian, as root: apt-get install redis-server), then run the tests "
        "again. What was tried:\n" + ("\n".join(said) or "nothing: not root on Debian")
    )
