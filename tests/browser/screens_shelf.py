"""What a visitor can do with saved scenarios, as verbs; finds things by label or role."""

import re
from pathlib import Path
from typing import Any

from playwright.sync_api import Locator, Page, expect

SETTLES_MS = 20_000


class ShelfPage:
    """The Shelf page, and the button of the Host page that saves, as a visitor uses them."""

    def __init__(self, page: Page, url: str) -> None:
        """Take a tab and the address of a server."""
        self.page = page
        self.url = url

    def open(self) -> "ShelfPage":
        """Open the page at its own address and wait for the list."""
        self.page.goto(f"{self.url}/shelf")
        self.expect_drawn()
        return self

    def visit(self) -> "ShelfPage":
        """Go to the page by its link and wait for the list."""
        before = self._drawn()
        self.page.get_by_role("link", name="Shelf", exact=True).click()
        self.expect_drawn(before)
        return self

    def expect_drawn(self, after: str | None = None) -> None:
        """Wait until the list is drawn, afresh if a former state is given."""
        for _ in range(SETTLES_MS // 20):
            if self._drawn() not in (None, after):
                return
            self.page.wait_for_timeout(20)
        raise AssertionError("the shelf is not drawn")

    def names(self) -> list[str]:
        """Return the names in the list, from the top."""
        return self.page.locator(".shelf-name").all_inner_texts()

    def expect_names(self, *names: str) -> None:
        """Wait until the list holds these names, from the top."""
        expect(self.page.locator(".shelf-name")).to_have_text(list(names), timeout=SETTLES_MS)

    def row(self, name: str) -> Locator:
        """Return the row of an item."""
        is_name = self.page.locator(".shelf-name").get_by_text(name, exact=True)
        return self.page.locator("#shelf-list tbody tr").filter(has=is_name)

    def act(self, action: str, name: str) -> None:
        """Press one of the buttons in an item's row."""
        self.row(name).get_by_role("button", name=re.compile(f"^{action} ")).click()

    def dialog(self) -> Locator:
        """Return the dialog that is open."""
        return self.page.get_by_role("dialog")

    def start_saving(self) -> Locator:
        """Press the button of the Host page that saves, and return the dialog."""
        self.page.get_by_role("button", name="Save on the shelf").click()
        return self.dialog()

    def save_as(self, name: str, tags: str = "", note: str = "") -> None:
        """Save what the Host page shows as a new item."""
        dialog = self.start_saving()
        if dialog.get_by_label("a new scenario").count():
            dialog.get_by_label("a new scenario").check()
        dialog.get_by_label("Name").fill(name)
        dialog.get_by_label("Tags").fill(tags)
        dialog.get_by_label("Note").fill(note)
        self.confirm("Save")
        self.expect_told(f"Saved on the shelf: {name}, revision 1.")

    def confirm(self, label: str) -> None:
        """Press a button of the dialog."""
        self.dialog().get_by_role("button", name=label, exact=True).click()

    def expect_told(self, text: str) -> None:
        """Wait for a sentence that is seen on every page."""
        expect(self.page.locator("#shelf-told span")).to_have_text(text, timeout=SETTLES_MS)

    def expect_notice(self, text: str) -> None:
        """Wait for a sentence above the list."""
        expect(self.page.locator("#shelf-notice")).to_contain_text(text, timeout=SETTLES_MS)

    def search(self, text: str) -> None:
        """Type words to search for, and wait for the list."""
        before = self._drawn()
        self.page.get_by_label("Search").fill(text)
        self.expect_drawn(before)

    def import_file(self, path: Path) -> None:
        """Choose a file to import."""
        before = self._drawn()
        with self.page.expect_file_chooser() as chooser:
            self.page.get_by_role("button", name="Import a file").click()
        chooser.value.set_files(path)
        self.expect_drawn(before)

    def compare(self, *names: str, needed: str = "") -> None:
        """Tick items and put them side by side."""
        for name in names:
            self.row(name).get_by_role("checkbox").check()
        if needed:
            self.page.get_by_label("Sessions on all hosts together").fill(needed)
        before = self._compared()
        self.page.get_by_role("button", name="Compare", exact=True).click()
        for _ in range(SETTLES_MS // 20):
            if self._compared() != before:
                return
            self.page.wait_for_timeout(20)
        raise AssertionError("nothing is compared")

    def compared(self) -> dict[str, list[str]]:
        """Return the table side by side: what is compared to one text for each scenario."""
        rows = self.page.locator("table.compared tr").all()
        found = {}
        for row in rows:
            cells: list[str] = row.locator("th, td").all_inner_texts()
            found[cells[0]] = cells[1:]
        return found

    def download(self, press: Any) -> str:
        """Return the text of the file that pressing something saves."""
        with self.page.expect_download() as download:
            press.click()
        return Path(download.value.path()).read_bytes().decode("utf-8")

    def _drawn(self) -> str | None:
        return self.page.evaluate("() => document.documentElement.dataset.shelf || null")

    def _compared(self) -> str | None:
        return self.page.evaluate("() => document.documentElement.dataset.compared || null")
