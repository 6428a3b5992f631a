"""What a visitor can do on the Method page, as verbs."""

from playwright.sync_api import Locator, Page, expect


class MethodPage:
    """The Method page, as a visitor uses it."""

    def __init__(self, page: Page, url: str) -> None:
        """Take a tab and the address of a server."""
        self.page = page
        self.url = url

    def open(self, more: str = "") -> "MethodPage":
        """Open the page and wait for its text."""
        self.page.goto(f"{self.url}/method{more}")
        return self.expect_text()

    def expect_text(self) -> "MethodPage":
        """Wait for the text of the page."""
        expect(self.page.locator("html[data-method='shown']")).to_be_attached(timeout=20_000)
        return self

    def go_to(self, entry: str) -> None:
        """Follow an entry of the contents."""
        self.page.get_by_role("navigation", name="Contents").get_by_role(
            "link", name=entry, exact=True
        ).click()

    def heading(self, name: str) -> Locator:
        """Return a heading by its words."""
        return self.page.get_by_role("heading", name=name, exact=True)

    def find(self, label: str, words: str) -> None:
        """Type words into the box above a table."""
        self.page.get_by_label(label, exact=True).fill(words)

    def lines(self, table: str) -> list[str]:
        """Return the first cells of the lines that a table shows."""
        cells = self.page.locator(f"#{table} tbody tr:not(.group-head) th[scope=row]:visible")
        return [text.split("\n")[0] for text in cells.all_inner_texts()]
