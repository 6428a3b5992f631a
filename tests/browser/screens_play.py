"""What a visitor can do while a day is played, as verbs."""

from playwright.sync_api import Page, expect

from tests.browser.screens import SETTLES_MS, HostPage


class PlayedDay:
    """The played day, as a visitor uses it."""

    def __init__(self, page: Page, url: str) -> None:
        """Take a tab and the address of a server."""
        self.page = page
        self.host = HostPage(page, url)
        self.dialog = page.locator("#play")

    def open(self, query: str = "") -> "PlayedDay":
        """Open the Host page at an address, then the day, and wait until it can be played."""
        self.page.goto(f"{self.host.url}/{query}")
        expect(self.page.locator("#answer-sentence")).not_to_be_empty(timeout=SETTLES_MS)
        return self.start()

    def start(self) -> "PlayedDay":
        """Press the button on the page that is shown and wait for the day."""
        self.page.locator("[data-action='play']").click()
        expect(self.page.locator("#play-head")).to_be_focused(timeout=SETTLES_MS)
        return self

    def press(self, *keys: str) -> None:
        """Press keys one after the other."""
        for key in keys:
            self.page.keyboard.press(key)

    def is_playing(self) -> bool:
        """Tell whether the head moves by itself."""
        return self.dialog.get_attribute("data-playing") == "yes"

    def second(self) -> int:
        """Return the second at which the head stands, after the start of the day."""
        return int(self.dialog.get_attribute("data-second") or -1)

    def expect_beyond(self, second: int) -> None:
        """Wait until the head stands beyond a second."""
        for _ in range(100):
            if self.second() > second:
                return
            self.page.wait_for_timeout(50)
        raise AssertionError(f"the head stays at {self.second()} s")

    def drag_to(self, second: int) -> None:
        """Drag the head to a second."""
        self.page.locator("#play-head").fill(str(second))

    def go_to_busiest(self) -> None:
        """Go to the highest crest without the card."""
        self.page.locator("#play-busiest").click()

    def choose_speed(self, speed: int) -> None:
        """Choose how many times faster than a clock the day goes."""
        self.page.locator(f"#play [data-speed='{speed}']").click()

    def switch_card(self) -> None:
        """Press the large switch."""
        self.page.locator("#play-card").click()

    def card(self) -> str:
        """Return the position of the switch."""
        return self.page.locator("#play-card-state").inner_text()

    def clock(self) -> str:
        """Return the time of day shown."""
        return self.page.locator("#play-clock").inner_text()

    def large_demand(self) -> str:
        """Return the largest number on the screen."""
        return self.page.locator("#play-demand").inner_text()

    def told(self) -> str:
        """Return what is told of this second's work."""
        return self.page.locator("#play-fits").inner_text()

    def value(self, column: str, row: str) -> str:
        """Return a value of the table: column played, software or offloaded."""
        return self.page.locator(f"#play-{column}-{row}").inner_text()

    def column(self, column: str) -> dict[str, str]:
        """Return all values of a column by their row."""
        rows = ("demand", "kept", "waiting", "slots", "peak", "above")
        return {row: self.value(column, row) for row in rows}
