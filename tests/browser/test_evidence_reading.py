"""Errands with logs: hand them over, answer, read, correct the switches, confirm, remove."""

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from tests.browser.screens_evidence import EvidencePage


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    """One server for this file; every visitor has data of their own."""
    from tests.browser.site import Site

    site = Site(tmp_path_factory.mktemp("evidence"))
    yield site
    site.stop()
    print(site.printed())


@pytest.fixture
def evidence(page, server):
    """The Evidence page in the first visitor's window."""
    return EvidencePage(page, server.url).open()


def log_text(rows=240, every=60, scale=1.0):
    """A log of a desktop whose encoder falls from 40 to 4 % and back, with one broken row."""
    noise = np.random.default_rng(1).normal(0, 1, rows)
    lines = [
        f"2026-03-04T10:{t // 60:02d}:{t % 60:02d}Z,{scale * ((40, 4)[t // every % 2] + n):.2f},30"
        for t, n in enumerate(noise)
    ]
    lines[7] = "broken"
    return "timestamp,encoder cpu %,temperature\n" + "\n".join(lines) + "\n"


def a_file(name="trial.csv", **more):
    """A file to choose."""
    return {"name": name, "mimeType": "text/csv", "buffer": log_text(**more).encode()}


def read_one(evidence, **more):
    """Hand over a log, say what its percentage is of, and have it read."""
    evidence.choose_files(a_file(**more))
    evidence.answer_base("encoder cpu %", "core")
    evidence.read()
    evidence.expect_read("trial.csv")


def test_log_is_read_once_its_percentage_is_explained(evidence):
    """The question is put with what each answer means; without an answer nothing is read."""
    evidence.choose_files(a_file())
    question = "encoder cpu %"
    expect(evidence.consequence(question, "core")).to_contain_text("% of one core = 0.")
    expect(evidence.consequence(question, "desktop")).to_contain_text("if there are 2")

    evidence.read()
    evidence.expect_notice('Say what "encoder cpu %" is a percentage of.')
    evidence.answer_base(question, "desktop")
    evidence.read()
    evidence.expect_notice("Say how many vCPUs the desktop")
    evidence.answer_base(question, "desktop", 4)
    expect(evidence.consequence(question, "desktop")).to_contain_text("% of 4 vCPU")
    evidence.read()

    row = evidence.log_row("trial.csv")
    expect(row).to_contain_text("239 of 240 rows kept")
    row.get_by_text("2 findings on its rows").click()
    expect(row).to_contain_text("1 row dropped: 1 cell where the header has 3 (row 9).")
    with evidence.page.expect_download() as download:
        row.get_by_text("Every row concerned, as CSV").click()
    text = download.value.path().read_text(encoding="utf-8")
    assert "trial.csv,dropped,1 cell where the header has 3,whole row,9" in text


def test_answer_that_the_readings_contradict_is_flagged(evidence):
    """Readings above what the answer allows are told beside the log until it is put right."""
    evidence.choose_files(a_file(scale=4))
    evidence.answer_base("encoder cpu %", "desktop", 1)
    evidence.read()
    expect(evidence.log_row("trial.csv")).to_contain_text("In doubt:")

    evidence.page.get_by_text("Answers given for trial.csv").click()
    evidence.answer_base("encoder cpu %", "core", 4)
    evidence.read()

    expect(evidence.log_row("trial.csv")).not_to_contain_text("In doubt:")


def test_columns_can_be_given_another_meaning(evidence):
    """What is proposed can be put right, and the question follows the column."""
    evidence.drop("dropped.csv", log_text())
    evidence.meaning("encoder cpu %").select_option(label="not used")
    expect(evidence.question("encoder cpu %")).to_have_count(0)
    evidence.meaning("temperature").select_option(label="CPU of the whole desktop")
    evidence.answer_base("temperature", "core")
    evidence.read()

    evidence.expect_read("dropped.csv")
    expect(evidence.page.locator("#toggles-state")).to_contain_text("Every reading is the same")
    expect(evidence.button("Confirm: it was so")).to_be_disabled()


def test_what_is_no_log_is_refused_beside_its_name(evidence):
    """A file that holds no readings says so in its row and can be removed."""
    evidence.choose_files(
        {"name": "book.xlsx", "mimeType": "x/y", "buffer": b"PK\x03\x04" + b"\x00" * 90}
    )

    expect(evidence.log_row("book.xlsx")).to_contain_text("save the sheet as CSV first")
    evidence.button("Remove book.xlsx").click()
    expect(evidence.log_row("book.xlsx")).to_have_count(0)


def test_switches_are_corrected_on_the_chart_and_confirmed(evidence):
    """A switch is dragged, moved by key, added, removed and confirmed; a change asks anew."""
    read_one(evidence)
    evidence.expect_switches_s(60, 120, 180)

    evidence.drag_switch(1, 10 * evidence.px_a_second())
    evidence.expect_switches_s(70, 120, 180)
    evidence.press_on_switch(2, "ArrowLeft")
    evidence.press_on_switch(3, "Shift+ArrowRight")
    evidence.expect_switches_s(70, 119, 190)
    assert evidence.spells_s() == [70, 119, 190]
    evidence.press_on_switch(3, "Delete")
    evidence.expect_switches_s(70, 119)
    evidence.page.get_by_label("A further switch at [s]").fill("200")
    evidence.change(evidence.button("Add it").click)
    evidence.expect_switches_s(70, 119, 200)
    evidence.button("Add a switch by clicking").click()
    box = evidence.page.locator("#toggles-handles").bounding_box()
    evidence.change(lambda: evidence.page.mouse.click(box["x"] + box["width"] - 40, box["y"] + 100))
    assert len(evidence.switches_s()) == 4

    evidence.confirm()
    expect(evidence.picked_state("trial.csv")).to_contain_text("confirmed, 4 switches")
    evidence.change(evidence.button("Back to what was found").click)
    evidence.expect_switches_s(60, 120, 180)
    expect(evidence.picked_state("trial.csv")).to_contain_text("3 switches found, to be confirmed")


def test_switches_are_corrected_with_the_keyboard_alone(evidence):
    """Number boxes and choices in the list do all that the chart does."""
    read_one(evidence)
    page = evidence.page
    box = page.get_by_label("Spell 2 begins, in s")
    box.focus()
    box.fill("65")
    evidence.change(lambda: page.keyboard.press("Enter"))
    evidence.expect_switches_s(65, 120, 180)
    expect(box).to_be_focused()

    evidence.change(lambda: page.get_by_label("State in spell 4").select_option("not used"))
    evidence.change(
        lambda: (page.get_by_label("State in spell 1").focus(), page.keyboard.press("ArrowDown"))
    )
    expect(page.locator("#toggles-state")).to_contain_text("55 readings with card, 60 without")
    evidence.button("Confirm: it was so").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#toggles-state")).to_contain_text("Confirmed")


def test_long_log_is_zoomed_into(evidence):
    """With many switches in view the page asks to zoom in; then they can be moved."""
    evidence.choose_files(a_file(rows=3_600, every=20))
    evidence.answer_base("encoder cpu %", "core")
    evidence.read()
    expect(evidence.page.locator("#toggles-hint")).to_contain_text("zoom in to move them")
    assert evidence.switches_s() == []

    for _ in range(3):
        evidence.zoom("Zoom in")
    assert 15 <= len(evidence.switches_s()) <= 30
    before = evidence.switches_s()
    evidence.zoom("Later")
    assert evidence.switches_s()[0] > before[0]
    with evidence.page.expect_download() as download:
        evidence.button("Numbers: the log").click()
    assert len(download.value.path().read_text(encoding="utf-8").splitlines()) in (451, 452)
    with evidence.page.expect_download() as download:
        evidence.button("Picture: the log").click()
    assert download.value.path().read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    evidence.zoom("Whole log")
    assert evidence.switches_s() == []


def test_demo_trial_is_opened_confirmed_and_removed(evidence):
    """One click opens the demo, another confirms what its logs say, and all can be removed."""
    evidence.open_demo()
    expect(evidence.picked_state("video_call.csv")).to_contain_text("10 switches from the log")
    evidence.button("Confirm the 8 logs that say when offload was on").click()
    expect(evidence.picked_state("video_call.csv")).to_contain_text("confirmed, 10 switches")
    evidence.pick("switched_by_hand.csv")
    assert len(evidence.switches_s()) == 15

    page = evidence.page
    page.reload()
    expect(evidence.picked_state("video_call.csv")).to_contain_text("confirmed, 10 switches")
    assert "crestline-evidence" not in page.url
    assert page.evaluate("() => document.cookie") == ""

    page.on("dialog", lambda dialog: dialog.accept())
    evidence.button("Remove my data").click()
    evidence.expect_notice("Your data has been removed.")
    expect(page.locator(".evidence-logs")).to_have_count(0)
    assert page.context.cookies() == []


def test_two_visitors_never_see_each_others_logs(evidence, new_context, server):
    """What one visitor hands over is nowhere on another's page, nor behind its addresses."""
    evidence.choose_files(a_file("secret.csv"))
    (log,) = evidence.page.request.get(f"{server.url}/evidence-data/logs").json()["logs"]

    other = EvidencePage(new_context().new_page(), server.url).open()
    other.choose_files(a_file("mine.csv"))

    expect(other.log_row("mine.csv")).to_be_visible()
    expect(other.log_row("secret.csv")).to_have_count(0)
    told = other.page.request.get(f"{server.url}/evidence-data/view?log={log['id']}").json()
    assert told["error"]["field"] == "log"


def test_reading_can_be_cancelled(evidence):
    """A reading under way is ended by one press, and can be begun again."""
    evidence.choose_files(a_file(rows=3_600))
    evidence.answer_base("encoder cpu %", "core")
    evidence.button("Read these logs").click()
    evidence.button("Cancel").click()
    evidence.expect_notice("Cancelled")

    evidence.read()
    evidence.expect_read("trial.csv")


def test_page_is_accessible_with_a_form_and_a_chart(evidence):
    """An automatic check of WCAG rules finds nothing on parts 2 and 3 in either look."""
    read_one(evidence)
    evidence.choose_files(
        {"name": "b.csv", "mimeType": "text/csv", "buffer": b"s,cpu\n1,2\n2,3\n3,4\n"}
    )
    evidence.expect_switches_s(60, 120, 180)

    for look in ("dark", "light"):
        evidence.change(lambda look=look: evidence.page.emulate_media(color_scheme=look))
        found = Axe().run(
            evidence.page,
            context={"include": [["#evidence-read"], ["#evidence-toggles"]]},
            options={"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]},
        )
        assert [each["id"] for each in found.response["violations"]] == []
