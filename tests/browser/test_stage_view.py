"""Errands of a speaker who shares the screen: step, jump, move the sessions, come back."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from app import ids, labels, words
from app.theme import DARK, DARK_STAGE, LIGHT, LIGHT_STAGE
from model.assess import assess
from model.scenario import default, from_data, to_data
from model.scenario_url import to_query
from tests.browser.screens import HostPage
from tests.browser.screens_stage import Stage

SHARED_SCREEN = {"width": 1920, "height": 1080}


@pytest.fixture
def stage(new_context, server):
    """The stage view, entered from the example on a screen of 1080 lines."""
    tab = new_context(viewport=SHARED_SCREEN, color_scheme="light").new_page()
    return Stage(HostPage(tab, server.url).open()).enter()


LAST = len(ids.CHARTS)


def test_speaker_steps_through_all_charts(stage):
    """Arrow keys and a clicker's page keys step, digits jump, and each chart has its line."""
    lines = [stage.takeaway()]
    assert stage.place() == f"1 of {LAST}"
    assert stage.answer() == words.answer_sentence(assess(default()))
    for at, chart in enumerate(ids.CHARTS[1:], 2):
        stage.press("PageDown" if at == 3 else "ArrowRight")
        stage.expect_chart(chart)
        assert stage.place() == f"{at} of {LAST}"
        lines.append(stage.takeaway())
    stage.press("PageDown")  # stays at the last one
    assert stage.place() == f"{LAST} of {LAST}"
    assert len(set(lines)) == LAST
    assert all(line.endswith(".") and len(line) < 90 for line in lines)
    stage.press("PageUp")
    stage.expect_chart(ids.CHARTS[-2])
    stage.press("1")
    stage.expect_chart("headroom")
    told = stage.page.locator("#stage-told").inner_text()
    assert told == f"1 of {LAST}, {labels.TITLES['headroom']}. {lines[0]}"


def test_read_when_the_picture_is_shown_at_half_its_size(stage):
    """Sentences have 32 px or more, chart and key 28, and nothing leaves the window."""
    for at, chart in enumerate(ids.CHARTS, 1):
        stage.press(str(at))
        stage.expect_chart(chart)
        assert stage.type_px("#stage-takeaway") >= 32
        assert stage.type_px("#stage-answer") >= 32
        assert stage.type_px("#stage-plot .xtick text") >= 28
        assert stage.overflowing() == []
        assert stage.page.locator("#stage-takeaway").bounding_box()["height"] < 60  # one line
    stage.press("1")
    assert stage.type_px("#stage .key") >= 28
    for width, height in ((960, 540), (1280, 900), (1024, 1366)):  # scaled, the chart with it
        stage.page.set_viewport_size({"width": width, "height": height})
        stage.expect_fitted()
        assert stage.overflowing() == []


def test_leaving_gives_the_page_back_as_it_was(stage):
    """Escape and S close the stage; focus, charts and address are those from before."""
    page = stage.page
    boxes = "() => [...document.querySelectorAll('.chart .main-svg')].map(s => s.clientWidth)"
    before = page.evaluate(boxes)
    stage.press("3")
    stage.press("Escape")
    stage.expect_gone()
    expect(page.get_by_role("button", name="Stage view")).to_be_focused()
    assert page.evaluate(boxes) == before
    assert stage.host_page.query() == ""
    assert page.evaluate("() => 'stage' in document.documentElement.dataset") is False
    assert stage.host_page.figure("headroom")["layout"]["font"]["size"] == LIGHT.font_px
    stage.press("s")
    stage.expect_chart("headroom")
    stage.press("s")
    stage.expect_gone()


def test_sessions_move_on_the_stage(stage):
    """C calls up the slider; the chart seen follows it, and once it rests the page does too."""
    page = stage.page
    painted = "() => window.crestline.stats.filter((each) => each.lane !== 'check').length"
    stage.press("c")
    expect(stage.slider).to_be_focused()
    before, at_rest = stage.takeaway(), page.evaluate(painted)
    for count in range(112, 131, 2):
        stage.slider.fill(str(count))
        page.wait_for_timeout(20)
    assert page.evaluate(painted) == at_rest  # the charts of the page are left alone
    stage.expect_sessions(130)
    stage.press("ArrowRight")
    stage.expect_sessions(131)
    assert stage.place() == f"1 of {LAST}"  # the arrow moved the slider
    assert "131 sessions" in stage.takeaway() != before
    stage.host_page.expect_all_painted("1")
    assert "n=131" in stage.host_page.query()
    assert stage.host_page.answer() == stage.answer()
    stage.press("PageDown")  # a clicker steps wherever the focus is
    stage.expect_chart("contention")
    stage.press("c")
    expect(stage.slider).to_be_hidden()
    stage.press("Escape")
    assert stage.host_page.slider("sessions").input_value() == "131"
    assert stage.host_page.text("now-title") == "With 131 sessions"


def test_measured_costs_have_their_band_on_the_stage(new_context, server):
    """Where costs were measured, the stage shows the band and its range once the sessions rest."""
    data = to_data(default())
    data["measured"] = [
        {
            "path": "activities[full-screen video].software_ms_per_frame", "value": 38.0,
            "low": 30.0, "high": 50.0, "source": "trial.csv",
        }
    ]  # fmt: skip
    tab = new_context(viewport=SHARED_SCREEN, color_scheme="light").new_page()
    host_page = HostPage(tab, server.url).open(f"?{to_query(from_data(data))}")
    stage = Stage(host_page).enter()
    bands = ["range of the measured costs, with card", "range of the measured costs, without card"]
    stage.expect_bands(*bands)
    assert "110 sessions, as measured: " in stage.takeaway()
    assert stage.overflowing() == []
    stage.press("c")
    stage.press("ArrowRight")
    stage.expect_sessions(111)
    stage.expect_bands(*bands)
    assert "111 sessions, as measured: " in stage.takeaway()


def test_stage_follows_the_look(stage):
    """The stage has the look of the system or the one chosen on it; both pass the rules of WCAG."""
    assert stage.drawn()["ground"] == LIGHT_STAGE.ground
    assert stage.drawn()["width"] > 5
    stage.press("c")
    stage.page.emulate_media(color_scheme="dark")
    stage.expect_theme("dark-stage")
    assert stage.drawn()["ground"] == DARK_STAGE.ground == DARK.ground
    assert Axe().run(stage.page, context="#stage").response["violations"] == []
    look = stage.dialog.get_by_role("button", name="Look")
    look.click()
    expect(look).to_have_text("Look: light")
    stage.expect_theme("light-stage")
    assert stage.drawn()["ground"] == LIGHT_STAGE.ground
    assert Axe().run(stage.page, context="#stage").response["violations"] == []


def test_mouse_alone_works(stage):
    """Every key has a button, and each is large enough to hit."""
    for name, chart in (("Next", "contention"), ("Next", "day"), ("Back", "contention")):
        stage.dialog.get_by_role("button", name=name).click()
        stage.expect_chart(chart)
    buttons = stage.dialog.get_by_role("button")
    sizes = [buttons.nth(i).bounding_box() for i in range(buttons.count())]
    assert len(sizes) == 5
    assert all(min(box["width"], box["height"]) >= 24 for box in sizes)
    stage.dialog.get_by_role("button", name="Leave").click()
    stage.expect_gone()


def test_input_out_of_range_is_told_on_the_stage(new_context, server):
    """With an input out of range the stage says so instead of showing another result."""
    host_page = HostPage(new_context(viewport=SHARED_SCREEN).new_page(), server.url).open()
    host_page.unfold("Host details")
    host_page.type_number("host.clock_ghz", "99")
    host_page.page.locator("[id='error-host.clock_ghz']:not(:empty)").wait_for()
    host_page.page.get_by_role("button", name="Stage view").click()
    told = host_page.page.locator("#stage-wrong")
    expect(told).to_contain_text("all cores busy is 99; expected a number from 0.5 to 10 GHz.")


def test_page_does_not_jump_while_it_loads(new_context, server):
    """From the first paint to the last answer, nothing on the page moves much."""
    page = new_context(viewport=SHARED_SCREEN).new_page()
    page.add_init_script(
        """window.jumps = [];
        new PerformanceObserver(list => list.getEntries().forEach(e => window.jumps.push(e.value)))
          .observe({ type: "layout-shift", buffered: true });"""
    )
    HostPage(page, server.url).open()
    # Published: 0.1 is the limit of a good cumulative layout shift (web.dev, "CLS").
    assert page.evaluate("() => window.jumps.reduce((sum, jump) => sum + jump, 0)") < 0.1
