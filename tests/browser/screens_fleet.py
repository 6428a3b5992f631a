"""What a visitor can do on the Fleet page, as verbs."""

import csv
import io
from pathlib import Path
from typing import Any

from playwright.sync_api import Page, expect

SETTLES_MS = 30_000
LANES = ("fleetplan", "fleetmap", "fleetevent")


class FleetPage:
    """The Fleet page, as a visitor uses it."""

    def __init__(self, page: Page, url: str) -> None:
        """Take a tab and the address of a server."""
        self.page = page
        self.url = url

    def open(self, query: str = "") -> "FleetPage":
        """Open the page at an address and wait for all of its answer."""
        self.page.goto(f"{self.url}/fleet{query}")
        self.expect_settled()
        return self

    def asked(self) -> int:
        """Return the number of the newest question."""
        return self.page.evaluate("() => Number(document.documentElement.dataset.fleetasked || 0)")

    def expect_settled(self, after: int = 0) -> None:
        """Wait until what was asked last, and after a certain question, is shown."""
        shown: dict[str, str] = {}
        for _ in range(SETTLES_MS // 50):
            shown = self.page.evaluate("() => ({ ...document.documentElement.dataset })")
            asked = shown.get("fleetasked", "0")
            if int(asked) > after and {shown.get(lane) for lane in LANES} == {asked}:
                return
            self.page.wait_for_timeout(50)
        raise AssertionError(f"the page does not settle: {shown}")

    def box(self, path: str) -> Any:
        """Return the control of a field of the fleet."""
        return self.page.locator(f'#fleet-controls [data-path="{path}"]')

    def type(self, path: str, value: str) -> None:
        """Type a value into a box, leave it, and wait for the answer."""
        before = self.asked()
        self.box(path).fill(value)
        self.box(path).press("Tab")
        self.expect_settled(before)

    def press(self, name: str) -> None:
        """Press a button and wait for the answer that follows."""
        before = self.asked()
        self.page.locator("#page-fleet").get_by_role("button", name=name, exact=True).click()
        self.expect_settled(before)

    def show_table_reader(self) -> None:
        """Unfold the place for a table."""
        self.page.locator("summary", has_text="Paste or upload a table").click()

    def read_table(self, text: str) -> None:
        """Put the text of a table into its place and have it read."""
        self.page.get_by_label("Table of sessions").fill(text)
        self.page.get_by_role("button", name="Read the table").click()

    def expect_notes(self, text: str) -> None:
        """Wait for a sentence about the table."""
        expect(self.page.locator("#fleet-table-notes")).to_contain_text(text)

    def sentence(self) -> str:
        """Return the sentence on top."""
        return self.page.locator("#fleet-sentence").inner_text()

    def expect_refusal(self, group: str, path: str, text: str) -> None:
        """Wait until a control is marked as wrong, its group says why, and the result is old."""
        expect(self.page.locator(f"#fleet-error-{group}")).to_contain_text(text)
        expect(self.box(path)).to_have_attribute("aria-invalid", "true")
        expect(self.page.locator("#fleet-stale")).to_contain_text("Showing the last valid result")

    def cell(self, row: str, column: int) -> str:
        """Return a cell of the table of all sites, by the label of its row."""
        found = self.page.locator("#fleet-overall tbody tr", has_text=row).first
        return found.locator("td").nth(column).inner_text()

    def save(self, name: str) -> tuple[str, bytes]:
        """Press a button that saves a file; return the file's name and content."""
        with self.page.expect_download() as saving:
            self.page.get_by_role("button", name=name, exact=True).click()
        return saving.value.suggested_filename, Path(saving.value.path()).read_bytes()

    def save_table(self, name: str) -> list[dict[str, str]]:
        """Save numbers; return the rows by column."""
        _, content = self.save(name)
        text = content.decode("utf-8")
        return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))

    def query(self) -> str:
        """Return the query of the address."""
        return self.page.evaluate("() => window.location.search")
