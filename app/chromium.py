"""Which Chromium draws the pictures when nobody has a browser open?

The one that CRESTLINE_CHROMIUM names; else the first on the search path under a usual name; else
one that Playwright keeps for its own use. Crestline itself installs none.
"""

import os
import shutil
import sys
from collections.abc import Callable, Mapping
from pathlib import Path

from model.errors import CrestlineError, InputError

VARIABLE = "CRESTLINE_CHROMIUM"
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
_IN_PLAYWRIGHT = (  # newest last; a headless shell is the smaller download
    "chromium_headless_shell-*/chrome-*/*headless*shell*",
    "chromium-*/chrome-*/chrome",
    "chromium-*/chrome-*/chrome.exe",
    "chromium-*/chrome-*/*.app/Contents/MacOS/*",
)


class NoChromiumError(CrestlineError):
    """No Chromium was found."""


def find_chromium(
    environment: Mapping[str, str] = os.environ,
    which: Callable[[str], str | None] = shutil.which,
) -> str:
    """Return the path of a Chromium.

    Parameters
    ----------
    environment : mapping
        Names to values, as of this process.
    which : callable
        which(name) returns the path of a program, or None.

    Raises
    ------
    InputError
        Where the environment names a program that is not there.
    NoChromiumError
        Where there is none; its message says what to install or to set.
    """
    chosen = environment.get(VARIABLE, "").strip()
    if chosen:
        found = which(chosen)
        if found is None:
            raise InputError(VARIABLE, chosen, "the path of a Chromium that can be started")
        return found
    for name in NAMES:
        if found := which(name):
            return found
    if kept := _kept_by_playwright(environment):
        return kept
    raise NoChromiumError(
        f"Pictures need a Chromium, and none was found. Install one (Debian: apt-get install "
        f"chromium), or set {VARIABLE} to the path of yours."
    )


def _kept_by_playwright(environment: Mapping[str, str]) -> str | None:
    for folder in _playwright_folders(environment):
        for pattern in _IN_PLAYWRIGHT:
            programs = [path for path in folder.glob(pattern) if os.access(path, os.X_OK)]
            programs = [path for path in programs if path.is_file()]
            if programs:
                return str(max(programs, key=lambda path: path.stat().st_mtime))
    return None


def _playwright_folders(environment: Mapping[str, str]) -> list[Path]:
    if chosen := environment.get("PLAYWRIGHT_BROWSERS_PATH", "").strip():
        return [Path(chosen)]
    home = Path(environment.get("HOME") or Path.home())
    if sys.platform == "darwin":
        return [home / "Library" / "Caches" / "ms-playwright"]
    if sys.platform == "win32":
        return [Path(environment.get("LOCALAPPDATA", home)) / "ms-playwright"]
    return [Path(environment.get("XDG_CACHE_HOME") or home / ".cache") / "ms-playwright"]
