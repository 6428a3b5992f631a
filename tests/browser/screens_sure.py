"""What a visitor can do in the section that says how sure the answers are, as verbs."""

from playwright.sync_api import Locator, Page, expect

from tests.browser.screens import SETTLES_MS, HostPage

WORKS_MS = 60_000


class SureSection:
    """The section "How sure is this?" of the Host page, as a visitor uses it."""

    def __init__(self, page: Page, url: str) -> None:
        """Take a tab and the address of a server."""
        self.page = page
        self.host = HostPage(page, url)

    def open(self, query: str = "") -> "SureSection":
        """Open the Host page and wait for charts and form."""
        self.host.open(query)
        expect(self.start).to_be_visible(timeout=SETTLES_MS)
        return self

    @property
    def start(self) -> Locator:
        """Return the button that has all draws worked out."""
        return self.page.locator("#sure-start")

    def part(self, name: str) -> Locator:
        """Return a part of the section by its name."""
        return self.page.locator(f"#sure-{name}")

    def fill(self, label: str, value: str) -> None:
        """Write into the box of that label and leave it."""
        box = self.page.locator("#sure").get_by_label(label, exact=True)
        box.fill(value)
        box.press("Tab")

    def unfold_spreads(self) -> None:
        """Unfold how far each input may be off."""
        self.part("spreads").locator("summary").click()

    def ask(self, draws: int) -> None:
        """Ask for so many draws; does not wait."""
        self.fill("Draws", str(draws))
        self.start.click()

    def cancel(self) -> None:
        """Press Cancel once it is there."""
        self.part("progress").get_by_role("button", name="Cancel").click()

    def shown(self) -> str:
        """Return how many results were shown so far."""
        return self.page.evaluate("() => document.documentElement.dataset.sureShown || '0'")

    def expect_shown(self, after: str = "0") -> None:
        """Wait until a further result is shown and the charts are at rest."""
        for _ in range(WORKS_MS // 100):
            if int(self.shown()) > int(after):
                self.host.expect_all_painted()
                return
            error = self.part("error").inner_text()
            assert not error, error
            self.page.wait_for_timeout(100)
        raise AssertionError("no result is shown")

    def rows(self) -> dict[tuple[str, str], list[str]]:
        """Return the rows of the table by answer and arm."""
        cells = self.page.evaluate(
            """() => [...document.querySelectorAll("#sure-table tbody tr")].map(
                 (row) => [...row.cells].map((cell) => cell.textContent))"""
        )
        return {(row[0], row[1]): row[2:] for row in cells}

    def bands(self, chart: str) -> list[str]:
        """Return the names of the bands that a chart shows."""
        return [
            each["name"]
            for each in self.host.figure(chart)["data"]
            if "in all)" in each.get("name", "")
        ]

    def choose(self, label: str) -> None:
        """Choose which answer the ranking is of, and wait for it."""
        before = self.shown()
        self.part("answer").select_option(label=label)
        self.expect_shown(before)

    def ranked(self) -> list[str]:
        """Return the names of the inputs in the chart, the first on top."""
        return self.page.evaluate(
            """() => document.getElementById("chart-sure").layout.yaxis.ticktext.map(
                 (text) => text.replaceAll("<br>", " "))"""
        )
