"""Does a visitor learn how sure the answers are, and what to measure next?"""

import csv
import io
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from app.sure_question import question_of
from app.sure_work import sure_result
from model.scenario import default, dump
from model.sensitivity import ranking
from model.uncertainty import propagate
from tests.browser.screens import SETTLES_MS
from tests.browser.screens_sure import SureSection

DRAWS = 12


def test_visitor_learns_how_sure_the_answer_is(page, server):
    """A few draws are worked out: sentence, table, bands on both charts, and what to measure next.

    A moved slider marks the result and takes the bands away; moved back, they are there again, and
    after a reload they are there at once.
    """
    sure = SureSection(page, server.url).open()
    sure.ask(DRAWS)
    sure.expect_shown()
    found = propagate(default(), DRAWS, 1)
    for arm, label in (("offloaded", "with card"), ("software", "without card")):
        own = found.of("rated_load", arm).band
        # Independent of the page: the model asked directly, with the same seed.
        told = [f"{value:.0f}" for value in (own.p10, own.p50, own.p90, own.best)]
        assert sure.rows()["Rated load [sessions]", label] == told
    assert sure.part("sentences").inner_text().startswith("In 8 of 10 draws this host carries ")
    assert len(sure.bands("headroom")) == 2
    assert len(sure.bands("contention")) == 4
    sure.choose("Rated load, without the card")
    own = ranking(found, "rated_load", "software")
    assert sure.part("next").inner_text() == own.sentence
    assert [name.lower() for name in sure.ranked()] == [each.label.lower() for each in own.ranks]

    sure.host.set_slider(sure.host.slider("sessions"), 60)
    expect(sure.part("earlier")).to_have_text("This was worked out for earlier inputs.")
    expect(sure.start).to_have_text("Work out again")
    assert sure.bands("headroom") == []
    sure.host.set_slider(sure.host.slider("sessions"), default().sessions)
    expect(sure.part("earlier")).to_be_empty()
    assert len(sure.bands("headroom")) == 2

    page.reload()
    sure.expect_shown()
    assert len(sure.bands("contention")) == 4
    sure.fill("Draws", "13")
    expect(sure.part("earlier")).not_to_be_empty()
    sure.fill("Draws", str(DRAWS))
    expect(sure.part("earlier")).to_be_empty()


def test_work_shows_how_far_it_is_and_can_be_cancelled(page, server):
    """While many draws are worked out, a bar says how many are done; Cancel ends it for good."""
    sure = SureSection(page, server.url).open()
    sure.ask(5000)
    bar = sure.part("progress").locator("progress")
    expect(bar).to_be_visible(timeout=SETTLES_MS)
    expect(sure.part("progress").locator("span")).to_contain_text(
        " scenarios worked out", timeout=60_000
    )
    assert 0 < bar.evaluate("bar => bar.value") < 1
    sure.cancel()
    expect(sure.part("note")).to_have_text("Cancelled; nothing was changed.", timeout=SETTLES_MS)
    expect(sure.part("result")).to_be_hidden()
    expect(sure.start).to_be_enabled()


def test_wrong_spread_is_named_beside_its_box(page, server):
    """A spread out of range is refused by the name of its box, which unfolds and is marked."""
    sure = SureSection(page, server.url).open()
    sure.unfold_spreads()
    sure.fill("The clock [%]", "400")
    sure.start.click()
    expect(sure.part("error")).to_contain_text("Spread of the clock is 400")
    box = page.locator("#sure").get_by_label("The clock [%]", exact=True)
    expect(box).to_have_attribute("aria-invalid", "true")
    expect(box).to_be_focused()
    sure.page.locator("#sure [data-sure=reset]").click()
    expect(box).to_have_value("3")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(new_context, server, scheme):
    """The section with a result, and with one of earlier inputs, is accessible in both looks.

    Its picture, and its table for a spreadsheet, are saved.
    """
    page = new_context(color_scheme=scheme, reduced_motion="reduce").new_page()
    sure = SureSection(page, server.url).open()
    sure.fill("Sessions of the fleet", "500")
    sure.unfold_spreads()
    sure.ask(10)
    sure.expect_shown()
    axe = Axe()
    found = axe.run(page, context="#sure")
    assert found.violations_count == 0, found.generate_report()
    sure.host.set_slider(sure.host.slider("sessions"), 61)
    found = axe.run(page, context="#sure")
    assert found.violations_count == 0, found.generate_report()
    with page.expect_download() as saved:
        page.locator("#sure [data-sure=table]").click()
    text = Path(saved.value.path()).read_text(encoding="utf-8")
    rows = list(csv.DictReader(io.StringIO(text)))
    question = {"scenario": dump(default()), "draws": 10, "total_sessions": 500}
    own = sure_result(question_of(question)[0])["answers"]["offloaded"]["hosts"]
    hosts = next(row for row in rows if row["answer"] == "Hosts for 500 sessions")
    assert float(hosts["P50"]) == own["p50"]
    with page.expect_download() as saved:
        page.locator("#sure [data-sure=picture]").click()
    assert saved.value.suggested_filename == "crestline-ranking.png"
