"""What a visitor can do on each page, as verbs; finds things by label or by a name in app.ids."""

import json
from typing import Any

from playwright.sync_api import Page, expect

from app import ids

SETTLES_MS = 20_000


class HostPage:
    """The Host page, as a visitor uses it."""

    def __init__(self, page: Page, url: str) -> None:
        """Take a tab and the address of a server."""
        self.page = page
        self.url = url

    def open(self, query: str = "") -> "HostPage":
        """Open the page at an address and wait for all charts."""
        self.page.goto(f"{self.url}/{query}")
        self.expect_all_painted()
        return self

    def expect_all_painted(self, after: str = "0") -> None:
        """Wait until what was asked last, and after a certain question, is painted."""
        for _ in range(SETTLES_MS // 50):
            shown = self.page.evaluate("() => ({ ...document.documentElement.dataset })")
            asked = shown.get("asked", "0")
            done = {shown.get(k) for k in ("settled", "paintedcurve", "paintedday", "paintednext")}
            if int(asked) > int(after) and done == {asked}:
                return
            self.page.wait_for_timeout(50)
        raise AssertionError(f"the page does not settle: {shown}")

    def asked(self) -> str:
        """Return the number of the newest question."""
        return self.page.evaluate("() => document.documentElement.dataset.asked || '0'")

    def slider(self, path: str) -> Any:
        """Return the control of a number of the scenario."""
        return self.page.locator(f"[id='{ids.in_page(ids.field(path))}']")

    def weight(self, role: int) -> Any:
        """Return the slider of a role's weight."""
        return self.page.locator(f"[id='{ids.in_page(ids.weight(f'roles[{role}].weight_pct'))}']")

    def set_slider(self, control: Any, value: float) -> None:
        """Drag a slider to a value and wait until all is painted."""
        before = self.asked()
        control.fill(str(value))
        self.expect_all_painted(before)

    def choose_cards(self, cards: int) -> None:
        """Choose the number of accelerator cards."""
        self.set_slider(self.slider("accelerator.cards"), cards)

    def unfold(self, group: str) -> None:
        """Unfold a group of inputs."""
        self.page.locator("summary", has_text=group).click()

    def type_number(self, path: str, value: str) -> None:
        """Type a value into a number box and leave it."""
        box = self.slider(path)
        box.fill(value)
        box.press("Tab")

    def answer(self) -> str:
        """Return the sentence on top."""
        return self.page.locator("#answer-sentence").inner_text()

    def expect_answer(self, text: str) -> None:
        """Wait for a sentence on top."""
        expect(self.page.locator("#answer-sentence")).to_have_text(text, timeout=SETTLES_MS)

    def text(self, name: str) -> str:
        """Return the text of a part of the page by its id."""
        return self.page.locator(f"[id='{name}']").inner_text()

    def figure(self, chart: str) -> dict[str, Any]:
        """Return the figure that a chart shows."""
        found: dict[str, Any] = json.loads(
            self.page.evaluate("name => JSON.stringify(window.crestline.figures[name])", chart)
        )
        return found

    def query(self) -> str:
        """Return the query of the address."""
        return self.page.evaluate("() => window.location.search")
