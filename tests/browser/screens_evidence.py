"""What a visitor can do with logs and switches on the Evidence page, as verbs."""

from pathlib import Path
from typing import Any

from playwright.sync_api import Locator, Page, expect

SETTLES_MS = 30_000


class EvidencePage:
    """Parts 2 and 3 of the Evidence page, as a visitor uses them."""

    def __init__(self, page: Page, url: str) -> None:
        """Take a tab and the address of a server."""
        self.page = page
        self.url = url

    def open(self) -> "EvidencePage":
        """Open the page at its own address and wait until it can take logs."""
        self.page.goto(f"{self.url}/evidence")
        expect(self.button("Choose files")).to_be_visible(timeout=SETTLES_MS)
        self._expect_changed("evidence", None)
        return self

    def button(self, name: str) -> Locator:
        """Return a button by its whole name."""
        return self.page.get_by_role("button", name=name, exact=True)

    # ---- part 2

    def choose_files(self, *files: Path | dict[str, Any]) -> None:
        """Choose log files and wait until all have been looked at."""
        self.page.locator("#evidence-files").set_input_files(list(files))
        self._expect_idle()
        for file in files:
            name = file["name"] if isinstance(file, dict) else file.name
            expect(self.log_row(str(name))).to_be_visible(timeout=SETTLES_MS)

    def drop(self, name: str, text: str) -> None:
        """Drop a log on the page, and wait until it has been looked at."""
        transfer = self.page.evaluate_handle(
            """([name, text]) => {
                const transfer = new DataTransfer();
                transfer.items.add(new File([text], name));
                return transfer;
            }""",
            [name, text],
        )
        zone = self.page.get_by_role("group", name="Logs", exact=True)
        zone.dispatch_event("dragover", {"dataTransfer": transfer})
        zone.dispatch_event("drop", {"dataTransfer": transfer})
        expect(self.log_row(name)).to_be_visible(timeout=SETTLES_MS)
        self._expect_idle()

    def open_demo(self) -> None:
        """Open the demo trial and wait until it has been read."""
        self.button("Open the demo trial").click()
        self.expect_read("host_day.csv.gz")
        self._expect_idle()

    def log_row(self, name: str) -> Locator:
        """Return the row of a log."""
        head = self.page.get_by_role("rowheader", name=name)
        return self.page.locator(".evidence-logs tbody tr").filter(has=head)

    def expect_read(self, name: str) -> None:
        """Wait until a log has been read."""
        expect(self.log_row(name)).to_contain_text("rows kept", timeout=SETTLES_MS)

    def question(self, column: str) -> Locator:
        """Return the question what a column is a percentage of."""
        return self.page.get_by_role("group", name=f'What is "{column}" a percentage of?')

    def answer_base(self, column: str, answer: str, count: int | None = None) -> None:
        """Answer that question."""
        line = self.question(column).locator(f"[data-of='{answer}']")
        line.get_by_role("radio").check()
        if count is not None:
            line.get_by_role("spinbutton").fill(str(count))
            line.get_by_role("spinbutton").press("Tab")

    def consequence(self, column: str, answer: str) -> Locator:
        """Return what one answer means for a reading."""
        return self.question(column).locator(f"[data-of='{answer}'] .evidence-means")

    def meaning(self, column: str) -> Locator:
        """Return the choice of what a column is."""
        return self.page.get_by_label(f'What "{column}" is')

    def read(self) -> None:
        """Have the logs read, and wait for the end of it."""
        before = self._state("evidenceRead")
        self.button("Read these logs").click()
        self._expect_changed("evidenceRead", before)

    def expect_notice(self, text: str) -> None:
        """Wait for a sentence above the logs."""
        expect(self.page.locator("#evidence-notice")).to_contain_text(text, timeout=SETTLES_MS)

    # ---- part 3

    def pick(self, name: str) -> None:
        """Choose a log in part 3 and wait for its chart."""
        with self._drawn_anew():
            self.page.locator("#toggles-logs").get_by_role("button", name=name).click()

    def picked_state(self, name: str) -> Locator:
        """Return what part 3 says of a log beside its name."""
        return self.page.locator("#toggles-logs").get_by_role("button", name=name)

    def handles(self) -> Locator:
        """Return the handles over the chart."""
        return self.page.locator("#toggles-handles").get_by_role("slider")

    def switches_s(self) -> list[float]:
        """Return when the switches in view are, as the handles say. [s]"""
        return [float(each.get_attribute("aria-valuenow") or 0) for each in self.handles().all()]

    def spells_s(self) -> list[float]:
        """Return when the spells after the first begin, as the list says. [s]"""
        boxes = self.page.locator("#toggles-list tbody").get_by_role("spinbutton").all()
        return [float(each.input_value()) for each in boxes]

    def expect_switches_s(self, *expected: float) -> None:
        """Wait until the switches in view are these. [s]"""
        for _ in range(SETTLES_MS // 50):
            if self.switches_s() == list(expected):
                return
            self.page.wait_for_timeout(50)
        raise AssertionError(f"the switches are {self.switches_s()}, not {list(expected)}")

    def drag_switch(self, number: int, by_px: float) -> None:
        """Drag a handle along the chart."""
        box = self.handles().nth(number - 1).bounding_box()
        assert box is not None
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        self.page.mouse.move(x, y)
        self.page.mouse.down()
        self.page.mouse.move(x + by_px / 2, y)
        self.page.mouse.move(x + by_px, y)
        with self._drawn_anew():
            self.page.mouse.up()

    def press_on_switch(self, number: int, key: str) -> None:
        """Press a key while a handle has the focus."""
        self.handles().nth(number - 1).focus()
        with self._drawn_anew():
            self.page.keyboard.press(key)

    def zoom(self, button: str) -> None:
        """Press one of the buttons that choose what is in view."""
        with self._drawn_anew():
            self.button(button).click()

    def change(self, act: Any) -> None:
        """Do something that changes the switches, and wait for the new chart."""
        with self._drawn_anew():
            act()

    def confirm(self) -> None:
        """Confirm the log shown."""
        self.button("Confirm: it was so").click()
        expect(self.page.locator("#toggles-state")).to_contain_text("Confirmed", timeout=SETTLES_MS)

    def px_a_second(self) -> float:
        """Return how wide one second is on the chart. [px/s]"""
        first, *_, last = self.handles().all()
        boxes = [first.bounding_box(), last.bounding_box()]
        assert boxes[0] is not None
        assert boxes[1] is not None
        seconds = self.switches_s()
        return float((boxes[1]["x"] - boxes[0]["x"]) / (seconds[-1] - seconds[0]))

    # ---- waiting

    def _expect_idle(self) -> None:
        expect(self.page.locator(".evidence-progress")).to_have_count(0, timeout=SETTLES_MS)

    def _state(self, name: str) -> str | None:
        return self.page.evaluate("name => document.documentElement.dataset[name] || null", name)

    def _expect_changed(self, name: str, before: str | None) -> None:
        for _ in range(SETTLES_MS // 20):
            if self._state(name) not in (None, before):
                return
            self.page.wait_for_timeout(20)
        raise AssertionError(f"{name} does not change from {before}")

    def _drawn_anew(self) -> "_Redrawn":
        return _Redrawn(self)


class _Redrawn:
    """Waits at its end for a chart that was drawn since its beginning."""

    def __init__(self, evidence: EvidencePage) -> None:
        self._evidence = evidence
        self._before: str | None = None

    def __enter__(self) -> None:
        self._before = self._evidence._state("toggles")

    def __exit__(self, *failure: object) -> None:
        if failure[0] is None:
            self._evidence._expect_changed("toggles", self._before)
