"""Which Chromium do the browser tests drive, and where does it come from if there is none?

Playwright's own comes first, then the system's. Where neither runs, one is installed. A test
never skips for want of a browser: what was not seen in a browser does not count as tested.
"""

import os
import platform
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

SYSTEM_NAMES = ("chromium", "chromium-browser")

QUIET = [
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-gpu",
    "--disable-quic",
    "--disable-sync",
    "--no-first-run",
    "--no-proxy-server",  # the server under test is on this machine
]

INSTALL_WITH_PLAYWRIGHT = (sys.executable, "-m", "playwright", "install", "chromium")
INSTALL_WITH_APT = (
    ("apt-get", "update", "-q"),
    ("apt-get", "install", "-q", "-y", "--no-install-recommends", "chromium", "fonts-dejavu-core"),
)
PLAYWRIGHT_LIMIT_S = 120  # a download that hangs must not hold up the tests for ever
APT_LIMIT_S = 300


class NoChromiumError(Exception):
    """No Chromium was found and none could be installed."""


class Machine:
    """This computer, as far as finding a browser goes; tests hand in a made-up one."""

    def playwright_chromium(self) -> str:
        """Return where Playwright keeps its own Chromium, installed or not."""
        from playwright.sync_api import sync_playwright

        with sync_playwright() as playwright:
            return playwright.chromium.executable_path

    def which(self, name: str) -> str | None:
        """Return the path of a program, or None."""
        return shutil.which(name)

    def starts(self, executable: str) -> bool:
        """Tell whether the program is there with every library it needs."""
        return Path(executable).is_file() and self.run((executable, "--version"), 30) == ""

    def run(self, command: tuple[str, ...], limit_s: float) -> str:
        """Run a command; return nothing if it worked, else the end of what it said."""
        environment = os.environ | {"DEBIAN_FRONTEND": "noninteractive"}
        try:
            done = subprocess.run(
                command,
                env=environment,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                text=True,
                errors="replace",
                timeout=limit_s,
            )
        except subprocess.TimeoutExpired:
            return f"no end after {limit_s:g} s"
        except OSError as error:
            return str(error)
        if done.returncode == 0:
            return ""
        said = re.sub(r"https?://\S+", "(address)", done.stdout)  # may be a mirror nobody else has
        return said.strip()[-500:] or f"exit status {done.returncode}"

    def is_root(self) -> bool:
        """Tell whether packages may be installed, and Chromium's sandbox cannot be used."""
        return hasattr(os, "geteuid") and os.geteuid() == 0

    def is_debian(self) -> bool:
        """Tell whether `apt-get install chromium` brings a real browser."""
        try:
            return platform.freedesktop_os_release().get("ID") == "debian"
        except OSError:
            return False


def launch_options(machine: Machine | None = None) -> dict[str, Any]:
    """Return the arguments for Playwright's `chromium.launch`, installing a browser if need be."""
    machine = machine or Machine()
    executable = _find(machine) or _install(machine)
    sandbox = ["--no-sandbox"] if machine.is_root() else []
    return {"executable_path": executable, "headless": True, "args": sandbox + QUIET}


def _find(machine: Machine) -> str | None:
    candidates = [machine.playwright_chromium(), *map(machine.which, SYSTEM_NAMES)]
    return next((path for path in candidates if path and machine.starts(path)), None)


def _install(machine: Machine) -> str:
    said = []
    ways: list[tuple[float, tuple[tuple[str, ...], ...]]]
    ways = [(PLAYWRIGHT_LIMIT_S, (INSTALL_WITH_PLAYWRIGHT,))]
    if machine.is_root() and machine.is_debian():
        ways.append((APT_LIMIT_S, INSTALL_WITH_APT))
    for limit_s, commands in ways:
        for command in commands:
            trouble = machine.run(command, limit_s)
            if trouble:
                said.append(f"$ {' '.join(command)}\n{trouble}")
                break
        if executable := _find(machine):
            return executable
        if not trouble:
            said.append(f"$ {' '.join(commands[-1])}\nended well, but no Chromium starts")
    raise NoChromiumError(
        "The browser tests need Chromium, and none could be installed. Install it by hand with\n"
        "    .venv/bin/python -m playwright install --with-deps chromium\n"
        "or your system's package manager (Debian: apt-get install chromium), then run the tests "
        "again. What was tried:\n" + "\n".join(said)
    )
