"""What a visitor can do on the Proposal page, as verbs, and what its files hold."""

import io
import json
import zipfile
from pathlib import Path
from typing import Any

from playwright.sync_api import Locator, Page, expect
from pypdf import PdfReader

from tests.browser.screens_pictures import chunks

SETTLES_MS = 60_000


class ProposalPage:
    """The Proposal page, as a visitor uses it."""

    def __init__(self, page: Page, url: str) -> None:
        """Take a tab and the address of a server."""
        self.page = page
        self.url = url

    def open(self, query: str = "") -> "ProposalPage":
        """Open the page at an address and wait for a complete sheet."""
        self.page.goto(f"{self.url}/proposal{query}")
        self.expect_complete()
        return self

    def visit(self) -> "ProposalPage":
        """Go to the page by its link and wait for a complete sheet."""
        before = self.done()
        self.page.get_by_role("link", name="Proposal", exact=True).click()
        self.expect_complete(before)
        return self

    def done(self) -> int:
        """Return how often the sheet became complete."""
        return self.page.evaluate(
            "() => Number(document.documentElement.dataset.proposalDone || 0)"
        )

    def expect_complete(self, after: int = 0) -> None:
        """Wait until every part of the sheet is there and drawn."""
        for _ in range(SETTLES_MS // 50):
            state = self.page.evaluate("() => document.documentElement.dataset.proposal")
            if state == "complete" and self.done() > after:
                return
            self.page.wait_for_timeout(50)
        raise AssertionError(f"the sheet is not complete: {self.status().inner_text()}")

    def status(self) -> Locator:
        """Return what is said of the sheet."""
        return self.page.locator("#proposal-status")

    def box(self, part: str) -> Locator:
        """Return the box of a part, by its key."""
        return self.page.locator(f"#proposal-box-{part}")

    def reason(self, part: str) -> str:
        """Return what stands below the box of a part."""
        return self.page.locator(f"#proposal-box-{part}-about").inner_text()

    def tick(self, part: str, ticked: bool = True) -> None:
        """Set the box of a part and wait for the sheet."""
        before = self.done()
        self.box(part).set_checked(ticked)
        self.expect_complete(before)

    def pick(self, name: str) -> None:
        """Pick a saved scenario and wait for the sheet."""
        before = self.done()
        self.page.locator(".proposal-picker").get_by_label(name, exact=True).check()
        self.expect_complete(before)

    def write(self, label: str, text: str) -> None:
        """Write one of the texts of the visitor's own."""
        self.page.locator("#proposal-texts").get_by_label(label, exact=True).fill(text)

    def part(self, key: str) -> Locator:
        """Return a part of the sheet."""
        return self.page.locator(f"#proposal-part-{key}")

    def parts(self) -> list[str]:
        """Return the keys of the parts on the sheet, from the top."""
        found: list[str] = self.page.evaluate(
            "() => [...document.querySelectorAll('.proposal-part')].map(e => e.dataset.part)"
        )
        return found

    def links(self, key: str) -> list[str]:
        """Return the links of the charts of a part, without the server's name."""
        hrefs = self.part(key).locator("figure a").evaluate_all("all => all.map(e => e.href)")
        return [href.removeprefix(self.url) for href in hrefs]

    def save_pictures(self) -> dict[str, bytes]:
        """Save all pictures; return each file of the zip by its name."""
        with self.page.expect_download(timeout=SETTLES_MS) as saving:
            self.page.locator("[data-action=proposal-pictures]").click()
        assert saving.value.suggested_filename == "crestline-proposal.zip"
        with zipfile.ZipFile(io.BytesIO(Path(saving.value.path()).read_bytes())) as archive:
            assert archive.testzip() is None
            return {each: archive.read(each) for each in archive.namelist()}

    def wider_than_paper(self) -> list[str]:
        """Return the parts of the sheet that reach beyond its margin."""
        found: list[str] = self.page.evaluate(
            """() => {
              const sheet = document.getElementById("proposal-sheet");
              const margin = parseFloat(getComputedStyle(sheet).paddingRight);
              const right = sheet.getBoundingClientRect().right - margin;
              return [...sheet.querySelectorAll("*")].filter(e => !e.closest(".proposal-plot *"))
                .filter(e => e.getBoundingClientRect().right > right + 1)
                .map(e => `${e.tagName} ${e.className} ${e.textContent.slice(0, 80)}`);
            }"""
        )
        return found


def texts_in(png: bytes) -> dict[str, str]:
    """Return the texts of a picture by keyword, read without any library for pictures."""
    found = {}
    for kind, data in chunks(png):
        if kind == b"iTXt":
            keyword, _, rest = data.partition(b"\0")
            assert rest[:4] == b"\0\0\0\0"
            found[keyword.decode("latin-1")] = rest[4:].decode("utf-8")
    return found


def links_in(pdf: Path) -> list[str]:
    """Return the addresses that a PDF leads to, in the order of its pages."""
    found = []
    for page in PdfReader(pdf).pages:
        for each in page.get("/Annots") or []:
            action: Any = each.get_object().get("/A", {})
            if "/URI" in action:
                found.append(str(action["/URI"]))
    return found


def told(page: Page, address: str, question: dict[str, Any]) -> dict[str, Any]:
    """Return the server's answer to a question that the page itself asks."""
    answer: dict[str, Any] = page.evaluate(
        """async ([address, question]) => (await fetch(address, { method: "POST",
             headers: { "Content-Type": "application/json" }, body: question })).json()""",
        [address, json.dumps(question)],
    )
    return answer


def expect_failed(proposal: ProposalPage, key: str, text: str) -> None:
    """Wait until a part says that it could not be worked out."""
    expect(proposal.part(key)).to_contain_text(text, timeout=SETTLES_MS)
