"""What a speaker can do on the stage view, and what a reader finds on the printed sheet."""

import io
from pathlib import Path
from typing import Any

from playwright.sync_api import Page, expect
from pypdf import PdfReader

from tests.browser.screens import SETTLES_MS, HostPage


class Stage:
    """The stage view over the Host page."""

    def __init__(self, host_page: HostPage) -> None:
        """Take a Host page that is open."""
        self.page: Page = host_page.page
        self.host_page = host_page
        self.dialog = self.page.get_by_role("dialog", name="Stage view")
        self.slider = self.dialog.get_by_role("slider", name="Sessions")

    def enter(self) -> "Stage":
        """Press the button of the page and wait for the first chart."""
        self.page.get_by_role("button", name="Stage view").click()
        self.expect_chart("headroom")
        return self

    def press(self, key: str) -> None:
        """Press a key, wherever the focus is."""
        self.page.keyboard.press(key)

    def expect_chart(self, name: str) -> None:
        """Wait until a chart is drawn on the stage."""
        drawn = self.page.locator(f"#stage-plot[data-drawn='{name}']")
        expect(drawn).to_be_visible(timeout=SETTLES_MS)

    def expect_fitted(self) -> None:
        """Wait until the chart is as large as its room."""
        for _ in range(SETTLES_MS // 50):
            boxes = [
                self.page.locator(part).first.bounding_box() or {}
                for part in ("#stage-plot .main-svg", "#stage-chart")
            ]
            drawn, room = ([box.get("width", 0), box.get("height", 0)] for box in boxes)
            if max(abs(a - b) for a, b in zip(drawn, room, strict=True)) < 2:
                return
            self.page.wait_for_timeout(50)
        raise AssertionError(f"the chart is {drawn}, its room {room}")

    def expect_sessions(self, count: int) -> None:
        """Wait until the chart shown answers for a number of sessions."""
        asked = self.page.locator(f"#stage-plot[data-sessions='{count}']")
        expect(asked).to_be_visible(timeout=SETTLES_MS)

    def expect_theme(self, name: str) -> None:
        """Wait until the chart is drawn in a theme."""
        expect(self.page.locator(f"#stage-plot[data-theme='{name}']")).to_be_visible()

    def expect_gone(self) -> None:
        """Wait until the page is back."""
        expect(self.dialog).to_be_hidden()

    def place(self) -> str:
        """Return the position mark."""
        return self.page.locator("#stage-place").inner_text()

    def takeaway(self) -> str:
        """Return the speaker's line."""
        return self.page.locator("#stage-takeaway").inner_text()

    def answer(self) -> str:
        """Return the sentence on top."""
        return self.page.locator("#stage-answer").inner_text()

    def type_px(self, selector: str) -> float:
        """Return the size of the type of a part, as it is seen."""
        size: float = self.page.evaluate(
            """selector => {
              const part = document.querySelector(selector);
              const drawn = part.closest("svg") ? document.getElementById("stage-plot") : null;
              const scale = drawn ? drawn.getBoundingClientRect().width / drawn.offsetWidth : 1;
              return parseFloat(getComputedStyle(part).fontSize) * scale;
            }""",
            selector,
        )
        return size

    def drawn(self) -> dict[str, Any]:
        """Return colours, first line's width and first trace of the chart shown."""
        found: dict[str, Any] = self.page.evaluate(
            """() => {
              const plot = document.getElementById("stage-plot");
              return { ground: plot.layout.paper_bgcolor, width: plot.data[0].line.width,
                       y: plot.data[0].y.slice() };
            }"""
        )
        return found

    def expect_bands(self, *names: str) -> None:
        """Wait until the chart shown has these bands and no others."""
        bands: list[str] = []
        for _ in range(SETTLES_MS // 50):
            bands = self.page.evaluate(
                """() => document.getElementById("stage-plot").data
                  .filter(each => each.fill).map(each => each.name)"""
            )
            if bands == list(names):
                return
            self.page.wait_for_timeout(50)
        raise AssertionError(f"the bands are {bands}, not {list(names)}")

    def overflowing(self) -> list[str]:
        """Return the parts that reach beyond the window."""
        found: list[str] = self.page.evaluate(
            """() => [...document.querySelectorAll("#stage, #stage *:not(svg *)")]
              .map(e => [e, e.getBoundingClientRect()])
              .filter(([e, r]) => r.width > 1 && (r.right > innerWidth + 1 || r.left < -1
                      || r.bottom > innerHeight + 1 || r.top < -1))
              .map(([e]) => e.id || e.className || e.tagName)"""
        )
        return found


class Paper:
    """The sheet that a browser prints or saves as PDF."""

    def __init__(self, page: Page, size: str, folder: Path) -> None:
        """Save the page as PDF, as the browser's menu would, in A4 or Letter."""
        self.path = folder / f"{size}.pdf"
        page.pdf(path=self.path, format=size)
        self._reader = PdfReader(io.BytesIO(self.path.read_bytes()))

    def pages(self) -> int:
        """Return the number of pages."""
        return len(self._reader.pages)

    def text(self) -> str:
        """Return all text, any run of blanks and line ends as one blank."""
        return " ".join(" ".join(page.extract_text() for page in self._reader.pages).split())

    def size_mm(self) -> tuple[float, float]:
        """Return width and height of the first page."""
        box = self._reader.pages[0].mediabox
        return float(box.width) * 25.4 / 72, float(box.height) * 25.4 / 72
