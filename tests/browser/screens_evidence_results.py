"""What a visitor can do with plans, effects, peaks and measured costs, as verbs."""

import csv
import io
from pathlib import Path
from typing import Any

from playwright.sync_api import Locator, Page, expect

from tests.browser.screens_evidence import SETTLES_MS, EvidencePage

TWO_LOGS = ("panning_charts.csv", "full_screen_video.csv")


class TrialPage:
    """Parts 1, 4 and 5 of the Evidence page, as a visitor uses them."""

    def __init__(self, page: Page, url: str) -> None:
        """Take a tab and the address of a server."""
        self.page = page
        self.evidence = EvidencePage(page, url)

    def open(self) -> "TrialPage":
        """Open the page and wait for its form."""
        self.evidence.open()
        expect(self.page.locator("#trial-form")).to_be_visible(timeout=SETTLES_MS)
        self.expect_done("trialShown")
        ticked = self.part("plan").locator("#trial-activities input:checked")
        expect(ticked.first).to_be_attached(timeout=SETTLES_MS)
        return self

    def part(self, name: str) -> Locator:
        """Return one of the numbered parts."""
        return self.page.locator(f"#evidence-{name}")

    def count(self, name: str) -> str:
        """Return how often something was done, as the page counts."""
        return self.page.evaluate("n => document.documentElement.dataset[n] || '0'", name)

    def expect_done(self, name: str, after: str = "0") -> None:
        """Wait until something was done once more."""
        for _ in range(SETTLES_MS // 50):
            if int(self.count(name)) > int(after):
                return
            self.page.wait_for_timeout(50)
        raise AssertionError(f"{name} stays at {after}")

    def press(self, part: str, label: str, done: str) -> None:
        """Press a button of a part and wait until what it does is done."""
        before = self.count(done)
        self.part(part).get_by_role("button", name=label, exact=True).first.click()
        self.expect_done(done, before)

    # ---- part 1

    def plan(self, **boxes: str) -> None:
        """Fill boxes of the form and have the trial planned."""
        for name, value in boxes.items():
            box = self.page.locator(f"#trial-{name}")
            if box.evaluate("e => e.tagName") == "SELECT":
                box.select_option(value)
            else:
                box.fill(value)
        self.press("plan", "Plan the trial", "trialPlanned")

    # ---- part 4

    def bring(self, *names: str) -> None:
        """Open the demo trial and keep the named logs only; their switches are confirmed."""
        self.evidence.open_demo()
        told = self.page.evaluate(
            """async names => {
              const ask = async (path, body) => (await fetch("/evidence-data/" + path, {
                method: "POST", headers: { "Content-Type": "application/json" },
                body: JSON.stringify(body) })).json();
              const { logs } = await (await fetch("/evidence-data/logs")).json();
              const kept = [];
              for (const log of logs) {
                if (!names.includes(log.name)) await ask("remove", { log: log.id });
                else if (!log.name.startsWith("host")) kept.push(log.id);
              }
              return kept.length ? ask("toggles", { action: "confirm", logs: kept }) : {};
            }""",
            list(names),
        )
        assert "error" not in told, told
        before = self.count("trialShown")
        self.page.evaluate(
            """() => window.dispatchEvent(
                 new CustomEvent("crestline-evidence", { detail: { step: "confirmed" } }))"""
        )
        self.expect_done("trialShown", before)
        if any(not name.startswith("host") for name in names):
            expect(self.page.locator("#model-desktop")).to_be_visible(timeout=SETTLES_MS)

    def sentences(self) -> list[str]:
        """Return the sentences that state the effects."""
        return self.page.locator("#effect-sentences p").all_inner_texts()

    def table(self, place: str) -> list[list[str]]:
        """Return the rows of a table, from the first cell to the last."""
        rows = self.page.locator(f"#{place} tbody tr").all()
        return [row.locator("th, td").all_inner_texts() for row in rows]

    def lines_drawn(self, chart: str) -> dict[str, int]:
        """Return the traces of a chart and how many points each has."""
        return self.page.evaluate(
            """id => Object.fromEntries(document.getElementById(id).data.map(
                 each => [each.name, each.x.length]))""",
            f"chart-trial-{chart}",
        )

    def expect_ground(self, chart: str, colour: str) -> None:
        """Wait until a chart is drawn on a ground of a colour."""
        for _ in range(SETTLES_MS // 50):
            ground = self.page.evaluate(
                "id => document.getElementById(id).layout.paper_bgcolor", f"chart-trial-{chart}"
            )
            if ground == colour:
                return
            self.page.wait_for_timeout(50)
        raise AssertionError(f"{chart} is drawn on {ground}, not on {colour}")

    def show(self, column: str) -> None:
        """Choose which reading chart and table show."""
        self.page.locator("#trial-effect-column").select_option(label=column)

    # ---- part 5

    def changes(self) -> list[str]:
        """Return the proposed changes."""
        return self.page.locator("#changes .trial-tick").all_inner_texts()

    def untick(self, text: str) -> None:
        """Take the tick off a proposed change."""
        self.page.locator("#changes .trial-tick").filter(has_text=text).get_by_role(
            "checkbox"
        ).uncheck()

    # ---- files

    def save(self, button: Locator) -> tuple[str, bytes]:
        """Press a button that saves a file; return its name and what is in it."""
        with self.page.expect_download() as saving:
            button.click()
        return saving.value.suggested_filename, Path(saving.value.path()).read_bytes()

    def save_table(self, label: str) -> tuple[str, list[dict[str, str]]]:
        """Save a table; return the file's name and its rows by column."""
        name, content = self.save(self.page.get_by_role("button", name=label, exact=True))
        text = io.StringIO(content.decode("utf-8"), newline="")
        return name, list(csv.DictReader(text, strict=True))

    def capture_print(self, sheet: str) -> None:
        """Keep what the page's button would print instead of printing."""
        self.page.evaluate(
            """id => { window.print = () => {
              window.dispatchEvent(new Event("beforeprint"));
              document.documentElement.dataset.printed = document.getElementById(id).textContent;
              document.documentElement.dataset.printedTitle = document.title;
              window.dispatchEvent(new Event("afterprint"));
            }; }""",
            sheet,
        )

    def wider_than_paper(self) -> list[str]:
        """Return the parts of the report that reach beyond the window while it is printed."""
        found: list[str] = self.page.evaluate(
            """() => {
              window.dispatchEvent(new Event("beforeprint"));
              const parts = document.querySelectorAll("#paper-report, #paper-report *:not(svg *)");
              const wide = [...parts]
                .filter(e => e.getBoundingClientRect().right > innerWidth + 1)
                .map(e => e.id || e.className || e.textContent);
              window.dispatchEvent(new Event("afterprint"));
              return parts.length > 100 ? wide : ["nothing is printed"];
            }"""
        )
        return found

    def printed(self) -> Any:
        """Return the text that was printed, and the title under which it is saved."""
        self.page.locator("html[data-printed]").wait_for(timeout=SETTLES_MS)
        return self.page.evaluate(
            "() => [document.documentElement.dataset.printed,"
            " document.documentElement.dataset.printedTitle]"
        )
