"""Errands with a trial: plan it, read its effects, report it, take its costs into the model."""

import io

import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import expect

from app import words_trial
from app.theme import DARK, LIGHT
from app.words import CAUTION
from model.scenario_url import from_query
from tests.browser.screens import SETTLES_MS, HostPage
from tests.browser.screens_evidence_results import TWO_LOGS, TrialPage
from tests.browser.screens_stage import Paper
from tests.browser.site import Site

# Published: ISO 216 for A4; 8.5 x 11 inch for Letter. [mm]
SIZES_MM = {"A4": (210, 297), "Letter": (215.9, 279.4)}
EVERY_TRIAL = (
    "full_screen_video.csv", "media_player.csv", "moving_windows.csv", "panning_charts.csv",
    "scrolling_documents.csv", "switched_by_hand.csv", "tables_and_forms.csv",
    "typing_and_reading.csv", "video_call.csv", "host_day.csv.gz",
)  # fmt: skip

BEGINNINGS = {  # of a verdict in words
    "trust": "The model may be trusted", "distrust": "Do not trust the model",
    "undecided": "The log cannot tell yet",
}  # fmt: skip


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    """One server for this file; every visitor has data of their own."""
    site = Site(tmp_path_factory.mktemp("trial"))
    yield site
    site.stop()
    print(site.printed())


@pytest.fixture
def trial(page, server):
    """The Evidence page in the first visitor's window."""
    return TrialPage(page, server.url).open()


def test_trial_is_planned_and_its_run_sheet_printed(trial):
    """With no log at all a trial is planned, its power drawn, its run sheet printed and saved."""
    trial.plan(amount="0.03")
    answer = trial.page.locator("#trial-answer").inner_text()
    assert answer.startswith("Plan ")
    assert trial.lines_drawn("power") == {"power": 61}
    trial.capture_print("paper-run-sheet")
    trial.part("plan").get_by_role("button", name="Print the run sheet").click()
    text, title = trial.printed()
    assert title == "Crestline: run sheet of a trial"
    for part in (answer, "Before it begins", "belongs in a trial, never in production", CAUTION,
                 "Agreed by", "Actual time"):  # fmt: skip
        assert part in text
    name, rows = trial.save_table(f"Numbers: {words_trial.TITLES['power']}")
    assert name == "crestline-estimate-trial-power.csv"
    assert float(rows[0]["chance that it is found [%]"]) == pytest.approx(5, abs=0.01)

    trial.page.locator("#trial-amount").fill("0.000001")
    trial.part("plan").get_by_role("button", name="Plan the trial").click()
    expect(trial.page.locator("#trial-plan-error")).to_contain_text("Smallest effect not to be")


def test_effects_are_shown_saved_and_reported(trial, tmp_path):
    """Confirmed logs give sentences, a forest plot, tables, files and a report of two pages."""
    expect(trial.page.locator("#effect-nothing")).to_be_visible()
    trial.bring(*TWO_LOGS)
    assert trial.sentences()[0].startswith("Mean of 2 parts, encoder's CPU: ")
    table = trial.table("effect-table")
    assert [row[0] for row in table] == ["full-screen video", "panning charts", "Mean of 2 parts"]
    assert trial.lines_drawn("forest")["effect, 95 % interval"] == 3
    trial.show("Frames delivered")
    expect(trial.page.locator("#effect-table thead")).to_contain_text("[frames/s]")
    trial.page.get_by_label("in % of without card").check()
    expect(trial.page.locator("#chart-trial-forest")).to_contain_text("[% of without]")

    name, rows = trial.save_table("Numbers: effects")
    assert name == "crestline-estimate-trial-effects.csv"
    assert len(rows) == 2 * 3 + 3
    assert rows[0]["note"] == CAUTION
    saved = trial.save(trial.page.get_by_role(
        "button", name=f"Picture: {words_trial.TITLES['forest']}", exact=True))  # fmt: skip
    assert saved[0] == "crestline-trial-forest.png"
    assert Image.open(io.BytesIO(saved[1])).size == (3200, 1800)

    trial.page.locator("#trial-peak-encode_cores").fill("0.01")
    trial.press("effect", "Count again", "trialPeaks")
    assert "Encoder's CPU, above 0.01 cores" in trial.table("peak-table")[0][1]

    trial.expect_done("trialReport")
    trial.capture_print("paper-report")
    trial.part("effect").get_by_role("button", name="Print the trial report").click()
    text, title = trial.printed()
    assert title == "Crestline: trial report"
    for part in ("Method", "Data", "Exclusions", "Results", "Cautions", CAUTION, *TWO_LOGS):
        assert part in text
    for size, size_mm in SIZES_MM.items():
        paper = Paper(trial.page, size, tmp_path)
        assert paper.pages() == 2
        assert paper.size_mm() == pytest.approx(size_mm, abs=0.5)
        found = paper.text()
        for part in ("Mean of 2 parts", "Method", "Exclusions", "Cautions", CAUTION):
            assert part in found
        assert "Choose files" not in found
        assert "Sessions on the host" not in found


def test_report_of_the_whole_demo_trial_has_two_pages(trial, tmp_path):
    """With every log of the demo trial confirmed, A4 and Letter hold the report on two pages.

    No part of it is wider than the paper leaves.
    """
    trial.bring(*EVERY_TRIAL)
    trial.expect_done("trialReport")
    for size in SIZES_MM:
        paper = Paper(trial.page, size, tmp_path)
        assert paper.pages() == 2
        assert "Mean of 9 parts" in paper.text()
        assert paper.text().endswith(CAUTION)
    trial.page.emulate_media(media="print")
    for width in (703, 725):  # A4 and Letter between margins of 12 mm
        trial.page.set_viewport_size({"width": width, "height": 1000})
        assert trial.wider_than_paper() == []


def test_measured_costs_are_accepted_one_by_one(trial, server):
    """Ticked changes reach the scenario, whose page says measured and shows the range they leave.

    A number changed by hand afterwards is no longer called measured.
    """
    trial.bring(*TWO_LOGS)
    trial.press("model", "Show the changes", "trialProposed")
    assert len(trial.changes()) == 8
    trial.untick("full-screen video: frames that the picture wants")
    host_page = HostPage(trial.page, server.url)
    before = host_page.asked()
    trial.part("model").get_by_role("button", name="Use the ticked ones").click()
    host_page.expect_all_painted(before)
    assert len(from_query(host_page.query().removeprefix("?")).measured) == 7
    note = trial.page.locator("#measured-note")
    expect(note).to_contain_text("Measured instead of default: 7 numbers of 2 activities")
    expect(trial.page.locator("#measured-range")).to_contain_text("without.")
    bands = [each["name"] for each in host_page.figure("headroom")["data"]]
    assert [name for name in bands if name.startswith("range of the measured")] != []

    host_page.unfold("Activities")
    activities = from_query(host_page.query().removeprefix("?")).activities
    at = [each.name for each in activities].index("panning charts")
    mark = trial.page.locator(f"[id='measured-activities[{at}].software_ms_per_frame']")
    expect(mark).to_contain_text("measured ")
    host_page.type_number(f"activities[{at}].software_ms_per_frame", "31")
    expect(mark).to_be_empty()
    expect(note).to_contain_text("6 numbers")


def test_host_log_is_held_against_the_model(trial):
    """A host's log gives demands, a verdict in words, a QQ plot, and changes of its own."""
    trial.bring("host_day.csv.gz")
    expect(trial.page.locator("#effect-nothing")).to_be_visible()
    trial.press("model", "Estimate demands", "trialDemands")
    rows = trial.table("demands-table")
    assert rows[-1][0] == "the host without sessions"
    assert trial.lines_drawn("residuals")["reading"] > 100
    trial.press("model", "Compare", "trialCompared")
    told = trial.page.locator("#compared-sentence").inner_text()
    verdict = trial.page.locator("#model-compared").get_attribute("data-verdict")
    assert told.startswith(BEGINNINGS[verdict])
    assert [row[0] for row in trial.table("compared-table")] == ["p50", "p95", "p99"]
    trial.page.locator("#host-changes").click()
    expect(trial.page.locator("#changes")).to_contain_text("host_day.csv.gz")
    trial.page.locator("#trial-arm").select_option("offloaded")
    expect(trial.page.locator("#model-compared")).to_be_hidden()


def test_two_visitors_do_not_see_each_other(trial, new_context, server):
    """What one visitor brought and worked out, another one is never shown, nor is a link of it."""
    trial.bring("panning_charts.csv")
    assert len(trial.sentences()) == 3
    other = TrialPage(new_context().new_page(), server.url).open()
    expect(other.page.locator("#effect-nothing")).to_be_visible()
    assert other.sentences() == []
    assert "panning_charts" not in trial.page.url
    told = other.page.evaluate(
        """async () => (await fetch("/evidence-data/effect-shown", { method: "POST",
             headers: { "Content-Type": "application/json" }, body: "{}" })).json()"""
    )
    assert told["gone"] is True
    reopened = TrialPage(trial.page.context.new_page(), server.url).open()
    expect(reopened.page.locator("#effect-sentences p")).to_have_count(3, timeout=SETTLES_MS)


def test_keyboard_alone_plans_and_takes_costs_over(trial):
    """Every box and button of the parts is reached and pressed with keys."""
    trial.page.locator("#trial-amount").focus()
    trial.page.keyboard.press("Enter")
    trial.expect_done("trialPlanned")
    trial.bring("panning_charts.csv")
    trial.page.locator("#trial-role").focus()
    for name in ("clock", "ipc"):
        trial.page.keyboard.press("Tab")
        expect(trial.page.locator(f"#trial-desktop-{name}")).to_be_focused()
    trial.page.keyboard.press("Enter")
    trial.expect_done("trialProposed")
    box = trial.page.locator("#changes input").first
    box.focus()
    trial.page.keyboard.press("Space")
    expect(box).not_to_be_checked()
    trial.page.locator("#apply-form button").focus()
    trial.page.keyboard.press("Enter")
    expect(trial.page.locator("#measured-note")).to_contain_text("3 numbers", timeout=SETTLES_MS)


def test_axe_finds_nothing(new_context, server):
    """The page has no finding of WCAG 2.2 A or AA with all parts filled, in both looks.

    When the system turns dark the charts follow.
    """
    page = new_context(color_scheme="light", bypass_csp=True).new_page()
    trial = TrialPage(page, server.url).open()
    trial.plan(amount="0.03")
    trial.bring("panning_charts.csv", "host_day.csv.gz")
    trial.press("model", "Compare", "trialCompared")
    trial.press("model", "Show the changes", "trialProposed")
    page.evaluate(
        """() => document.querySelectorAll("#page-evidence details").forEach(
             each => { each.open = true; })"""
    )
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
    for scheme, theme in (("light", LIGHT), ("dark", DARK)):
        page.emulate_media(color_scheme=scheme)
        for chart in ("power", "forest", "quantiles"):
            trial.expect_ground(chart, theme.ground)
        found = Axe().run(
            page, context="#page-evidence", options={"runOnly": {"type": "tag", "values": tags}}
        )
        assert found.violations_count == 0, found.generate_report()
