"""What a visitor can do with the numbers behind the page, as verbs."""

import csv
import io
import json
from pathlib import Path
from typing import Any

from playwright.sync_api import Download, Page, expect

from app import labels


class Numbers:
    """The buttons that save numbers, and the files that they give."""

    def __init__(self, page: Page) -> None:
        """Take a tab that shows the Host page."""
        self.page = page

    def save_chart(self, chart: str) -> tuple[str, list[dict[str, str]]]:
        """Save a chart's numbers; return the file's name and its rows by column."""
        called = f"Numbers: {labels.TITLES[chart]}"
        button = self.page.get_by_role("button", name=called, exact=True)
        name, text = self._saved(button)
        return name, list(csv.DictReader(io.StringIO(text, newline=""), strict=True))

    def save_all(self, key: str | None = None) -> tuple[str, dict[str, Any]]:
        """Save the whole answer, with the mouse or with a key; return the file's name and it."""
        label, _ = labels.ACTIONS["assessment"]
        name, text = self._saved(self.page.get_by_role("button", name=label, exact=True), key)
        return name, json.loads(text)

    def expect_refusal(self, text: str) -> None:
        """Press for the whole answer and wait for a sentence; nothing is saved."""
        saved: list[Download] = []
        self.page.on("download", lambda download: saved.append(download))
        label, _ = labels.ACTIONS["assessment"]
        button = self.page.get_by_role("button", name=label, exact=True)
        button.click()
        expect(self.page.locator("#failure")).to_contain_text(text)
        expect(button).not_to_have_attribute("aria-busy", "true")
        assert not saved

    def _saved(self, button: Any, key: str | None = None) -> tuple[str, str]:
        with self.page.expect_download() as saving:
            if key is None:
                button.click()
            else:
                button.press(key)
        content = Path(saving.value.path()).read_bytes().decode("utf-8")
        return saving.value.suggested_filename, content
