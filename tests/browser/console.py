"""What did the browser complain about during an errand?"""

import re
from collections.abc import Sequence

from playwright.sync_api import BrowserContext, ConsoleMessage, WebError

# Messages that say nothing about Crestline, as regular expressions, each with its reason.
HARMLESS: tuple[str, ...] = ()


class Console:
    """The warnings, errors and uncaught exceptions of every tab in the windows it watches."""

    def __init__(self) -> None:
        """Watch nothing yet."""
        self._windows: list[BrowserContext] = []
        self._heard: list[str] = []

    def watch(self, window: BrowserContext) -> None:
        """Listen to a window's tabs, those opened later included."""
        self._windows.append(window)
        window.on("console", self._hear_message)
        window.on("weberror", self._hear_exception)

    def unexpected(self, allowed: Sequence[str] = ()) -> list[str]:
        """Return what was heard, in order, less what a regular expression in `allowed` finds."""
        for window in self._windows:
            for page in window.pages:
                page.evaluate("0")  # all that the tab said before arrives before this answer
        rules = [re.compile(pattern) for pattern in (*HARMLESS, *allowed)]
        return [line for line in self._heard if not any(rule.search(line) for rule in rules)]

    def _hear_message(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            self._heard.append(f"{message.type}: {message.text} ({message.location['url']})")

    def _hear_exception(self, error: WebError) -> None:
        self._heard.append(f"uncaught: {error.error.stack or error.error.message}")
