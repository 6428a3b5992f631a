"""Errands on the Host page: share and reopen, wrong links, extreme hosts, keyboard, visitors."""

import json
import re

import pytest
from axe_playwright_python.sync_playwright import Axe

from app import ids, words
from model.assess import assess
from model.scenario import default
from tests.browser.screens import HostPage
from tests.scenarios import changed


@pytest.fixture
def host_page(page, server):
    """The Host page in the first visitor's window."""
    return HostPage(page, server.url)


def test_opens_on_the_example_with_four_charts(host_page):
    """The page opens on the example and states the answer that the model gives."""
    host_page.open()
    # Derived: the sentence that the model's own result makes.
    assert host_page.answer() == words.answer_sentence(assess(default()))
    for chart in ids.CHARTS:
        assert host_page.page.locator(f"#chart-{chart} .main-svg").count() > 0
        assert host_page.text(f"takeaway-{chart}").strip()
    assert "planning estimate" in host_page.page.locator("#frame > footer").inner_text()
    assert host_page.query() == ""


def test_shared_link_opens_same_scenario(host_page, new_context, server):
    """What is set is in the address, and a fresh browser shows the same answer from it."""
    host_page.open()
    host_page.set_slider(host_page.slider("sessions"), 140)
    host_page.set_slider(host_page.slider("host.cores"), 48)
    host_page.set_slider(host_page.slider("accelerator.share_pct"), 60)
    answer, query = host_page.answer(), host_page.query()
    scenario = changed(sessions=140, host__cores=48, accelerator__share_pct=60)
    assert answer == words.answer_sentence(assess(scenario))
    assert "n=140" in query
    assert "cores=48" in query
    assert len(query) < 300

    other = HostPage(new_context().new_page(), server.url).open(query)
    assert other.answer() == answer
    assert other.slider("host.cores").input_value() == "48"
    other.page.reload()
    other.expect_all_painted()
    assert other.answer() == answer
    assert other.query() == query


def test_back_and_forward_show_what_was_there(host_page):
    """Leaving a scenario and coming back with the browser's buttons shows it again."""
    host_page.open("?v=1&cores=20")
    first = host_page.answer()
    host_page.page.get_by_role("link", name="Back to the example").click()
    host_page.expect_all_painted()
    assert host_page.answer() != first
    host_page.page.go_back()
    host_page.expect_all_painted()
    host_page.expect_answer(first)
    host_page.page.go_forward()
    host_page.expect_all_painted()
    host_page.expect_answer(words.answer_sentence(assess(default())))


@pytest.mark.parametrize(
    ("query", "named"),
    [("?v=1&cores=0", "cores"), ("?v=2&cores=8", "version"), ("?v=1&zork=3", "zork"),
     ("?v=1&n=many", "n"), ("?cores=8", "v")],
)  # fmt: skip
def test_link_that_cannot_be_read_explains_itself(host_page, query, named):
    """A wrong or newer link names what is wrong and opens the example, visibly."""
    host_page.open(query)
    notice = host_page.text(ids.NOTICE)
    assert named in notice
    assert "example is shown" in notice
    assert host_page.answer() == words.answer_sentence(assess(default()))


def test_weights_rebalance_to_100(host_page):
    """Moving one role's weight moves the others, and they still make 100 %."""
    host_page.open()
    host_page.set_slider(host_page.weight(0), 80)
    values = [float(host_page.weight(i).input_value()) for i in range(4)]
    assert values[0] == pytest.approx(80)
    assert sum(values) == pytest.approx(100)
    # Derived: 30 : 15 : 20 share what is left.
    assert values[1:] == pytest.approx([20 * 30 / 65, 20 * 15 / 65, 20 * 20 / 65], abs=0.11)
    assert host_page.text("shown-roles[0].weight_pct") == "80 %"


def test_no_card_and_share_0_say_so(host_page):
    """Without a card there is one arm; with a card that nobody may use, both are the same."""
    host_page.open()
    host_page.choose_cards(0)
    assert re.fullmatch(r"This host has no card and carries \d+ sessions\.", host_page.answer())
    for chart in ("headroom", "contention", "day", "desktop"):
        assert "with card" not in json.dumps(host_page.figure(chart))
    host_page.choose_cards(2)
    host_page.set_slider(host_page.slider("accelerator.share_pct"), 0)
    headroom = host_page.figure("headroom")["data"]
    assert headroom[0]["y"] == headroom[1]["y"]
    assert "it adds none" in host_page.answer()


def test_rated_load_0_says_why(host_page):
    """Where software encoding cannot reach the frame target even alone, the page says so."""
    host_page.open("?v=1&clock=1.2")
    assert ", 0 without" in host_page.answer()
    assert "cannot reach the frame target even alone" in host_page.text("limit-software")


def test_one_session_and_overload_look_right(host_page):
    """One session, and far too many on one core, both give an answer with all charts."""
    host_page.open("?v=1&n=1")
    assert host_page.text("now-title") == "With 1 session"
    host_page.open("?v=1&n=300&cores=1")
    assert "not even one session" in host_page.text("limit-software")
    assert host_page.page.locator("#chart-day .main-svg").count() > 0


def test_day_with_everyone_away_is_empty(host_page):
    """With all sessions away all day, the day asks for nothing and the page says so."""
    host_page.open("?v=1&present=0700-0_1900-0")
    assert "is 0 % of the CPU" in host_page.text("takeaway-day")
    assert all(y == 0 for trace in host_page.figure("day")["data"] for y in trace["y"])


def test_value_out_of_range_keeps_the_last_good_result(host_page):
    """A value out of range is named beside its control; the last result stays, marked."""
    host_page.open()
    before = host_page.answer()
    host_page.unfold("Host details")
    host_page.type_number("host.clock_ghz", "99")
    error = host_page.page.locator("[id='error-host.clock_ghz']")
    told = "Clock, all cores busy is 99; expected a number from 0.5 to 10 GHz."
    error.filter(has_text=told).wait_for()
    assert host_page.answer() == before
    assert "last valid result" in host_page.text("stale")
    assert host_page.slider("host.clock_ghz").get_attribute("aria-invalid") == "true"
    before = host_page.asked()
    host_page.type_number("host.clock_ghz", "3.5")
    host_page.expect_all_painted(before)
    assert host_page.page.locator("#stale").inner_text() == ""
    assert host_page.answer() == words.answer_sentence(assess(changed(host__clock_ghz=3.5)))


def test_stepping_a_number_box_counts(host_page):
    """The plus button of a number box changes the answer like typing does."""
    host_page.open()
    host_page.unfold("Host details")
    box = host_page.slider("host.clock_ghz")
    asked = host_page.asked()
    box.locator("xpath=..").get_by_role("button").last.click()
    host_page.expect_all_painted(asked)
    assert box.input_value() == "4"
    assert host_page.answer() == words.answer_sentence(assess(changed(host__clock_ghz=4.0)))


def test_zoom_survives_a_move(host_page):
    """A chart that was zoomed stays zoomed when a slider moves."""
    host_page.open()
    box = host_page.page.locator("#chart-headroom .nsewdrag").first.bounding_box()
    mouse = host_page.page.mouse
    mouse.move(box["x"] + 60, box["y"] + 60)
    mouse.down()
    mouse.move(box["x"] + 220, box["y"] + 160, steps=5)
    mouse.up()
    shown = "() => document.getElementById('chart-headroom')._fullLayout.xaxis.range.slice()"
    zoomed = host_page.page.evaluate(shown)
    host_page.set_slider(host_page.slider("sessions"), 90)
    assert host_page.page.evaluate(shown) == pytest.approx(zoomed)


def test_charts_follow_while_a_slider_is_dragged(host_page):
    """Charts are painted during the drag, never an older answer after a newer one."""
    host_page.open()
    slider = host_page.slider("host.cores")
    asked = host_page.asked()
    before = host_page.page.evaluate("() => window.crestline.stats.length")
    for cores in range(33, 73):
        slider.fill(str(cores))
        host_page.page.wait_for_timeout(25)
    during = host_page.page.evaluate("() => window.crestline.stats.length")
    host_page.expect_all_painted(asked)
    painted = host_page.page.evaluate("() => window.crestline.stats.map(s => [s.lane, s.sequence])")
    curves = [sequence for lane, sequence in painted if lane == "curve"]
    assert during > before
    assert curves == sorted(curves)
    assert len(curves) < 42  # no queue: answers for positions long left are not asked for
    assert host_page.answer() == words.answer_sentence(assess(changed(host__cores=72)))


def test_keyboard_alone_works(host_page):
    """Every control in sight is reached by Tab and moved by the keyboard."""
    host_page.open()
    host_page.slider("sessions").focus()
    before = host_page.asked()
    host_page.page.keyboard.press("ArrowRight")
    host_page.expect_all_painted(before)
    assert host_page.text("shown-sessions") == "111 sessions"
    host_page.page.keyboard.press("Tab")
    focused = host_page.page.evaluate("() => document.activeElement.id")
    assert focused == ids.in_page(ids.field("host.cores"))
    for _ in range(7):
        host_page.page.keyboard.press("Tab")
    assert host_page.page.evaluate("() => document.activeElement.tagName") == "SUMMARY"
    host_page.page.keyboard.press("Enter")
    assert host_page.page.locator("details[open]").count() == 1


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(new_context, server, scheme):
    """The page has no finding of WCAG 2.2 A or AA, groups unfolded, in both looks."""
    page = new_context(color_scheme=scheme, bypass_csp=True).new_page()
    visit = HostPage(page, server.url).open()
    for group in ("Host details", "Activities", "Roles", "Accelerator", "Targets", "Day"):
        visit.unfold(group)
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
    found = Axe().run(page, options={"runOnly": {"type": "tag", "values": tags}})
    assert found.violations_count == 0, found.generate_report()


def test_two_visitors_do_not_see_each_other(host_page, new_context, server):
    """When one visitor moves a slider, the other's page stays as it was."""
    host_page.open()
    other = HostPage(new_context().new_page(), server.url).open()
    before = other.answer()
    host_page.set_slider(host_page.slider("host.cores"), 8)
    assert host_page.answer() != before
    assert other.answer() == before
    assert other.slider("host.cores").input_value() == "32"
