"""What a visitor can do with the lists among the inputs: activities, roles, habits, presence."""

from playwright.sync_api import Locator, expect

from tests.browser.screens import SETTLES_MS, HostPage


class Lists(HostPage):
    """The Host page, as a visitor uses its lists."""

    def box(self, path: str) -> Locator:
        """Return the control of a path of the scenario."""
        found: Locator = self.slider(path)
        return found

    def fill(self, path: str, text: str) -> None:
        """Type into a box, leave it and wait for the answer."""
        before = self.asked()
        self.type_number(path, text)
        self.expect_answered(before)

    def expect_answered(self, after: str) -> None:
        """Wait until the curves of a question later than a certain one are painted."""
        answered = """after => {
          const shown = document.documentElement.dataset;
          return Number(shown.asked) > Number(after) && shown.paintedcurve === shown.asked;
        }"""
        for _ in range(SETTLES_MS // 25):
            if self.page.evaluate(answered, after):
                return
            self.page.wait_for_timeout(25)
        raise AssertionError(f"no answer: {self.text('stale')} {self.text('failure')}")

    def fill_wrong(self, path: str, text: str, place: str) -> str:
        """Type what will be refused; return what is said at the place of the error."""
        self.type_number(path, text)
        said = self.page.locator(f"[id='error-{place}']")
        expect(said).not_to_be_empty(timeout=SETTLES_MS)
        return said.inner_text()

    def choose(self, path: str, label: str) -> None:
        """Choose from a list of options and wait for the answer."""
        before = self.asked()
        self.box(path).select_option(label=label)
        self.expect_answered(before)

    def move(self, path: str, value: float) -> None:
        """Move a slider and wait for the answer."""
        before = self.asked()
        self.slider(path).fill(str(value))
        self.expect_answered(before)

    def press(self, name: str) -> None:
        """Press a button that changes a list, by the keyboard, and wait for the answer."""
        before = self.asked()
        self.button(name).press("Enter")
        self.expect_answered(before)
        self.expect_drawn()

    def expect_drawn(self) -> None:
        """Wait until the controls show the list that was changed."""
        for _ in range(SETTLES_MS // 25):
            if self.page.evaluate("() => window.crestline.shown() !== null"):
                return
            self.page.wait_for_timeout(25)
        raise AssertionError("the controls are not drawn")

    def button(self, name: str) -> Locator:
        """Return a button by its name."""
        return self.page.get_by_role("button", name=name, exact=True)

    def values(self, pattern: str, count: int) -> list[str]:
        """Return what the boxes hold whose path is the pattern with 0, 1, 2, ... in it."""
        return [self.box(pattern.format(i)).input_value() for i in range(count)]

    def points(self) -> list[tuple[str, float]]:
        """Return the presence curve as the boxes show it."""
        count = self.page.locator("[data-edit='remove'][data-list='day.present_pct']").count()
        times = self.values("day.present_pct[{}][0]", count)
        shares = self.values("day.present_pct[{}][1]", count)
        return [(time, float(share)) for time, share in zip(times, shares, strict=True)]

    def focused(self) -> str:
        """Return the name of what has the focus, or the path of a control."""
        return self.page.evaluate(
            """() => {
              const at = document.activeElement;
              return at.id.startsWith("{") ? JSON.parse(at.id).path : at.textContent;
            }"""
        )

    def open_groups(self) -> list[str]:
        """Return the titles of the groups that are unfolded."""
        return self.page.locator("details.group[open] > summary").all_inner_texts()
