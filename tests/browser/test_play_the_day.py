"""Errands with the played day: watch the card cut a crest, step by keyboard, go back, close."""

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from app import labels
from app.playing import SEED
from model.day_trace import DayTrace, day_trace
from model.scenario import Scenario, default, from_data, to_data
from tests.browser.screens_play import PlayedDay


@pytest.fixture
def still(new_context, server):
    """The played day in a window whose visitor asked for little motion."""
    return PlayedDay(new_context(reduced_motion="reduce").new_page(), server.url)


def changed(**groups) -> Scenario:
    """The shipped example with some fields of some groups replaced."""
    data = to_data(default())
    for name, new in groups.items():
        data[name] = data[name] | new if isinstance(new, dict) else new
    return from_data(data)


def expect_values(day: PlayedDay, trace: DayTrace, column: str, arm: str, second: int) -> None:
    """Compare what a column shows of a second with the model's arm, to the last digit shown."""
    shown = day.column(column)
    assert float(shown["demand"]) == pytest.approx(trace.demand_pct(arm)[second], abs=0.501)
    assert float(shown["kept"]) == pytest.approx(trace.frames_kept_pct(arm)[second], abs=0.501)
    slots = trace.slots_in_use[second] if arm == "offloaded" else 0
    assert shown["slots"] == str(slots)
    waiting = trace.waiting[second]
    assert float(shown["waiting"].replace(",", "")) == pytest.approx(waiting, rel=0.01, abs=0.501)


def test_card_switched_on_at_a_crest_cuts_it(still):
    """Switched on at the crest, demand falls in the same second, and all agrees with the model."""
    trace = day_trace(default(), SEED)
    demand = trace.demand_pct("software")
    crest = int(demand.argmax())
    still.open()
    assert not still.is_playing()
    assert (still.clock(), still.card()) == ("07:00:00", "OFF")

    still.go_to_busiest()
    assert still.second() == crest
    for column, arm in (("played", "software"), ("software", "software"),
                        ("offloaded", "offloaded")):  # fmt: skip
        expect_values(still, trace, column, arm, crest)
    assert float(still.large_demand()) == pytest.approx(demand[crest], abs=0.501)
    assert "frames dropped" in still.told()
    # Derived: sums up to the second, from the model's seconds.
    above = int(np.count_nonzero(demand[: crest + 1] > 100))
    assert still.value("played", "above") == f"{above // 60}:{above % 60:02}"
    assert float(still.value("played", "peak")) == pytest.approx(demand[crest], abs=0.501)

    still.press("c")
    assert still.card() == "ON"
    expect_values(still, trace, "played", "offloaded", crest)
    expect_values(still, trace, "software", "software", crest)
    assert float(still.large_demand()) < demand[crest] / 2
    assert still.told() == labels.PLAY["fits"]
    # Derived: the second that was cut no longer counts as above 100 %.
    assert still.value("played", "above") == f"{(above - 1) // 60}:{(above - 1) % 60:02}"


def test_going_back_plays_what_was_switched(still):
    """The switch is remembered: dragged back and forth, the same day is shown again."""
    trace = day_trace(default(), SEED)
    still.open()
    still.drag_to(9_000)
    still.switch_card()
    still.press("PageUp", "c", "Shift+ArrowRight")
    first = still.column("played")
    assert still.card() == "OFF"

    for second, card, arm in ((8_999, "OFF", "software"), (9_000, "ON", "offloaded"),
                              (9_899, "ON", "offloaded"), (9_900, "OFF", "software")):  # fmt: skip
        still.drag_to(second)
        assert still.card() == card
        expect_values(still, trace, "played", arm, second)
    still.drag_to(9_960)
    assert still.column("played") == first

    still.drag_to(9_300)
    still.press("c")  # what was switched after this is replaced
    still.drag_to(9_960)
    assert still.card() == "OFF"
    assert still.column("played") != first
    still.page.locator("#play-restart").click()
    still.drag_to(9_300)
    assert still.card() == "OFF"


def test_keyboard_plays_pauses_and_steps(still):
    """Space plays and pauses; arrows, page keys and the ends move the head by fixed steps."""
    still.open()
    for keys, second, clock in (
        (["ArrowRight"], 1, "07:00:01"), (["ArrowUp"], 2, "07:00:02"),
        (["ArrowLeft", "ArrowDown"], 0, "07:00:00"), (["Shift+ArrowRight"], 60, "07:01:00"),
        (["PageUp"], 960, "07:16:00"), (["Shift+ArrowLeft"], 900, "07:15:00"),
        (["PageDown"], 0, "07:00:00"), (["End"], 43_199, "18:59:59"),
        (["ArrowRight"], 43_199, "18:59:59"), (["Home"], 0, "07:00:00"),
    ):  # fmt: skip
        still.press(*keys)
        assert (still.second(), still.clock()) == (second, clock)
    assert still.page.locator("#play-head").get_attribute("aria-valuetext") == "07:00:00"

    still.choose_speed(600)
    expect(still.page.locator("#play-head")).to_be_focused()
    still.press("Space")
    assert still.is_playing()
    still.expect_beyond(300)
    still.press("Space")
    assert not still.is_playing()
    stopped = still.second()
    still.page.wait_for_timeout(200)
    assert still.second() == stopped
    assert still.page.locator("#play-said").inner_text() == f"Pause, {still.clock()}"


def test_day_plays_by_itself_and_closes(page, server):
    """The day plays when it is opened, switches while it plays, and gives the focus back."""
    day = PlayedDay(page, server.url).open()
    assert day.is_playing()
    day.press("c")
    day.expect_beyond(600)
    assert day.is_playing()
    assert day.card() == "ON"
    for _ in range(17):  # Tab does not lead to what is behind it
        day.press("Tab")
        assert page.evaluate(
            "() => document.activeElement === document.body || "
            "document.activeElement.closest('#play') !== null"
        )
    day.press("Escape")
    expect(day.dialog).to_be_hidden()
    assert page.evaluate("() => document.activeElement.dataset.action") == "play"
    day.start()  # a second opening begins afresh
    assert day.card() == "OFF"
    page.locator("#play-close").click()
    expect(day.dialog).to_be_hidden()


@pytest.mark.parametrize(
    ("query", "told", "card"),
    [("?v=1&cards=0&n=130&cores=6", "no_card", {"cards": 0}),
     ("?v=1&share=0&n=130&cores=6", "no_share", {"share_pct": 0})],
)  # fmt: skip
def test_day_without_a_card_has_one_course(still, query, told, card):
    """Where no session may use a card, that is said and one course is played."""
    still.open(query)
    trace = day_trace(changed(sessions=130, host={"cores": 6}, accelerator=card), SEED)
    assert still.page.locator("#play-no-card").inner_text() == labels.PLAY[told]
    assert still.page.locator("#play-card").count() == 0
    assert still.page.locator("#play-software-demand").count() == 0
    second = int(trace.waiting.argmax())
    assert trace.waiting[second] > 10
    still.drag_to(second)
    still.press("c")
    shown = still.value("played", "waiting").replace(",", "")
    assert float(shown) == pytest.approx(trace.waiting[second], rel=0.01)
    assert "Applications wait" in still.told()


def test_scenario_that_will_not_do_is_named(still):
    """With a wrong value on the page, the value is named and no day is played."""
    still.host.open()
    still.start()
    still.press("Escape")
    still.host.unfold("Host details")
    still.host.type_number("host.clock_ghz", "99")
    still.page.locator("#stale", has_text="last valid").wait_for()
    still.page.locator("[data-action='play']").click()
    expect(still.page.locator("#play-told")).to_contain_text("all cores busy is 99; expected")
    still.press("c", "ArrowRight", "End", "Escape")  # nothing is left of the day before
    expect(still.dialog).to_be_hidden()


def test_server_that_is_gone_is_told(still, allowed_console):
    """Without an answer the visitor is told so, and the page is there again after closing."""
    allowed_console.append("ERR_FAILED")
    still.host.open()
    still.page.route("**/play", lambda route: route.abort())
    still.page.locator("[data-action='play']").click()
    expect(still.page.locator("#play-told")).to_contain_text("does not answer")
    still.page.get_by_role("button", name="Close").click()
    still.page.unroute("**/play")
    still.start()
    assert still.second() == 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(new_context, server, scheme):
    """The played day has no finding of WCAG 2.2 A or AA, card off and on, in both looks."""
    window = new_context(color_scheme=scheme, reduced_motion="reduce", bypass_csp=True)
    day = PlayedDay(window.new_page(), server.url).open()
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
    day.go_to_busiest()
    for _ in range(2):
        found = Axe().run(day.page, context="#play",
                          options={"runOnly": {"type": "tag", "values": tags}})  # fmt: skip
        assert found.violations_count == 0, found.generate_report()
        day.press("c")
