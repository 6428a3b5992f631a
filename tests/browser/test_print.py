"""Errands of a visitor who prints: the sheet has all, cuts nothing and never shows a mixture."""

import pytest
from playwright.sync_api import expect

from app import ids, labels, words
from app.theme import DARK, LIGHT
from model.assess import assess
from model.hosts import ARMS
from model.scenario import default, from_data, to_data
from model.scenario_url import to_query
from tests.browser.screens import HostPage
from tests.browser.screens_stage import Paper


@pytest.fixture
def host_page(page, server):
    """The Host page in the first visitor's window."""
    return HostPage(page, server.url)


# Published: ISO 216 for A4; 8.5 x 11 inch for Letter. [mm]
SIZES_MM = {"A4": (210, 297), "Letter": (215.9, 279.4)}


def test_sheet_holds_the_proposal_on_two_pages(host_page, tmp_path):
    """Answer, pin, charts, all inputs, method, caution and link are on the sheet, no controls."""
    query = "?pin=n%3D90%26v%3D1&n=120&v=1"
    host_page.open(query)
    found = assess(default().model_copy(update={"sessions": 120}))
    expected = [
        default().name, words.answer_sentence(found), "Against the pin", words.METHOD,
        words.CAUTION, "With 120 sessions", f"Open it live: {host_page.url}/{query}",
        *[words.limit_sentence(found.rated[arm]) for arm in ARMS],
        *[labels.TITLES[chart] for chart in ids.CHARTS],
        *[host_page.text(f"takeaway-{chart}") for chart in ids.CHARTS],
        "berth planner", "1920x1080", "full-screen video", "Pixel rate per card [Mpixel/s] 6000",
    ]  # fmt: skip
    controls = [labels.ACTIONS["shelve"][0], labels.ACTIONS["stage"][0], "Back to the example"]
    for size, size_mm in SIZES_MM.items():
        paper = Paper(host_page.page, size, tmp_path)
        text = paper.text()
        assert paper.pages() == 2
        assert paper.size_mm() == pytest.approx(size_mm, abs=0.5)
        assert [part for part in expected if part not in text] == []
        assert [part for part in controls if part in text] == []


def test_printing_in_the_dark_gives_a_light_sheet(new_context, server, tmp_path):
    """On paper the ground is white whatever the look, and the page is as before afterwards."""
    dark = new_context(color_scheme="dark").new_page()
    host_page = HostPage(dark, server.url).open()
    dark.evaluate(
        """() => window.addEventListener("beforeprint", () => {
          window.paper = [...document.querySelectorAll("#sheet [data-plot]")].map(
            p => [p.layout.paper_bgcolor, p.layout.font.color, p.data.length]);
        })"""
    )
    Paper(dark, "A4", tmp_path)
    papers = dark.evaluate("() => window.paper")
    assert [paper[:2] for paper in papers] == [[LIGHT.ground, LIGHT.text]] * 4
    assert all(paper[2] > 0 for paper in papers)
    assert host_page.figure("day")["layout"]["paper_bgcolor"] == DARK.ground
    expect(dark.locator("#sheet")).to_be_hidden()
    assert dark.title() == "Crestline"
    expect(dark.locator("#sheet .main-svg")).to_have_count(0)


def test_nothing_reaches_beyond_the_paper(host_page):
    """With long names too, no part of the sheet is wider than the paper leaves."""
    data = to_data(default())
    long = "WithoutAnyBlankInThisNameWhichIsAsLongAsANameMayBeAndThenSomeMoreToFillItUpAll"
    data["name"] = f"{long}0"
    data["activities"][1]["name"] = long
    for role in data["roles"]:
        shares = role["activity_pct"]
        role["activity_pct"] = {(long if name == "typing and reading" else name): share
                                for name, share in shares.items()}  # fmt: skip
    data["roles"][0]["name"] = long
    host_page.open("?" + to_query(from_data(data)))
    page = host_page.page
    page.emulate_media(media="print")
    for width in (703, 725):  # A4 and Letter between margins of 12 mm
        page.set_viewport_size({"width": width, "height": 1000})
        page.evaluate("() => window.dispatchEvent(new Event('beforeprint'))")
        wide = page.evaluate(
            """() => [...document.querySelectorAll("#sheet, #sheet *:not(svg *)")]
              .filter(e => e.getBoundingClientRect().right > innerWidth + 1)
              .map(e => e.id || e.className || e.textContent)"""
        )
        assert wide == []
        assert page.locator("#sheet-name").inner_text() == data["name"]
        page.evaluate("() => window.dispatchEvent(new Event('afterprint'))")


def test_button_prints_once_all_is_worked_out(host_page):
    """The button waits for the answers under way, so that figures and inputs belong together."""
    host_page.page.add_init_script(
        """window.print = () => {
          window.dispatchEvent(new Event("beforeprint"));
          window.printed = document.getElementById("sheet").textContent;
          window.dispatchEvent(new Event("afterprint"));
          document.documentElement.dataset.printed = "yes";
        };"""
    )
    host_page.open()
    host_page.slider("sessions").fill("87")
    host_page.page.get_by_role("button", name="Print").click()
    host_page.page.locator("html[data-printed]").wait_for(timeout=15_000)
    printed = host_page.page.evaluate("() => window.printed")
    assert "With 87 sessions" in printed
    assert "Sessions87" in printed
    assert words.UNFINISHED not in printed


def test_sheet_says_when_it_shows_an_earlier_result(host_page, tmp_path):
    """Printed with an input out of range, the sheet holds the last result whole, and says so."""
    host_page.open()
    host_page.unfold("Host details")
    host_page.type_number("host.clock_ghz", "99")
    host_page.page.locator("[id='error-host.clock_ghz']:not(:empty)").wait_for()
    text = Paper(host_page.page, "A4", tmp_path).text()
    assert words.UNFINISHED in text
    assert words.answer_sentence(assess(default())) in text
    assert "Clock, all cores busy [GHz] 3" in text
