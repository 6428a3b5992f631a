"""What a visitor can do with events beside a host, as verbs."""

from typing import Any

from playwright.sync_api import Page, expect

from app import words_failures as words
from model.failures import FAILURES

SETTLES_MS = 20_000


class BadDay:
    """The section of events on the Host page."""

    def __init__(self, page: Page) -> None:
        """Take a tab that shows the Host page."""
        self.page = page

    def button(self, key: str) -> Any:
        """Return the button of an event, as a visitor finds it."""
        section = self.page.get_by_role("region", name=words.TITLE)
        return section.get_by_role("button", name=FAILURES[key], exact=True)

    def press(self, key: str) -> None:
        """Press an event's button."""
        self.button(key).click()

    def expect_pressed(self, key: str | None) -> None:
        """Wait until the button of this event, and of no other, is pressed."""
        for each in FAILURES:
            expect(self.button(each)).to_have_attribute("aria-pressed", str(each == key).lower())

    def expect_answer(self, sentence: str) -> None:
        """Wait until the section states an answer, and is not of earlier inputs."""
        expect(self.page.locator("#host-event-sentence")).to_have_text(sentence, timeout=SETTLES_MS)
        expect(self.page.locator("#host-event")).to_have_attribute("aria-busy", "false")
        expect(self.page.locator("#host-event.outdated")).to_have_count(0)

    def expect_nothing(self) -> None:
        """Wait until no event is told of."""
        expect(self.page.locator("#host-event")).to_be_hidden()

    def circumstance(self, name: str) -> Any:
        """Return the control of a circumstance, by its label."""
        section = self.page.get_by_role("region", name=words.TITLE)
        return section.get_by_label(words.CIRCUMSTANCE_LABELS[name], exact=True)

    def set_circumstance(self, name: str, value: str) -> None:
        """Type a circumstance and leave its box, or choose it."""
        control = self.circumstance(name)
        if name == "activity":
            control.select_option(label=value)
        else:
            control.fill(value)
            control.press("Tab")

    def expect_reason(self, key: str, reason: str) -> None:
        """Wait until it is said why the host cannot meet an event."""
        told = self.page.locator(f"#host-events-{key}-reason")
        expect(told).to_have_text(f"{FAILURES[key]}: {reason}")
        expect(told).to_be_visible()

    def cells(self, label: str) -> list[str]:
        """Return the texts of one row of the table, both arms, before and after."""
        row = self.page.locator("#host-event-table tbody tr").filter(has_text=label)
        return row.locator("td").all_inner_texts()
