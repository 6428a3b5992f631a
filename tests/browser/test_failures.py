"""Errands of a visitor who asks what happens on a bad day: click, share, go back, mend."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from app.failure_answers import told
from app.words_failures import ACTIVITY_GONE, CIRCUMSTANCE_LABELS
from model.scenario import Scenario, default, from_data, to_data
from tests.browser.screens import HostPage
from tests.browser.screens_failures import BadDay
from tests.browser.screens_stage import Paper


@pytest.fixture
def host_page(page, server):
    """The Host page in the first visitor's window."""
    return HostPage(page, server.url)


@pytest.fixture
def bad_day(page):
    """The section of events, in the same window."""
    return BadDay(page)


def changed(sessions: int, **host: int) -> Scenario:
    """The example with another number of sessions, and other inputs of its host."""
    data = to_data(default()) | {"sessions": sessions}
    data["host"] |= host
    return from_data(data)


def said(scenario: Scenario, text: str) -> str:
    """The sentence that the model's own answer makes."""
    sentence: str = told(scenario, text)["sentence"]
    return sentence


def test_one_click_shows_before_and_after(host_page, bad_day):
    """A click answers at once, follows the sliders, is in the link, and is undone by a click."""
    host_page.open("?n=120&v=1")
    bad_day.expect_nothing()
    bad_day.press("card_lost")
    bad_day.expect_pressed("card_lost")
    # Derived: sentence and cells that the model's own result makes.
    bad_day.expect_answer(said(changed(120), "card_lost"))
    table = told(changed(120), "card_lost")["table"]
    assert bad_day.cells("Most sessions") == [cell for [cell] in table["rows"][-1]["cells"]]
    assert bad_day.cells("Targets")[2] == "all hold"
    assert bad_day.cells("Targets")[3].startswith("missed:")
    assert host_page.query() == "?if=card_lost&n=120&v=1"

    host_page.set_slider(host_page.slider("sessions"), 60)
    bad_day.expect_answer(said(changed(60), "card_lost"))
    assert host_page.query() == "?if=card_lost&n=60&v=1"
    bad_day.press("smt_off")
    bad_day.expect_pressed("smt_off")
    bad_day.expect_answer(said(changed(60), "smt_off"))
    bad_day.press("smt_off")
    bad_day.expect_pressed(None)
    bad_day.expect_nothing()
    assert host_page.query() == "?n=60&v=1"


def test_link_shows_the_event_to_others(host_page, bad_day, new_context, server):
    """A fresh browser, a reload and the Back button show the event with its circumstance."""
    host_page.open("?n=90&v=1")
    bad_day.press("host_lost")
    bad_day.set_circumstance("hosts", "3")
    sentence = said(changed(90), "host_lost~3")
    bad_day.expect_answer(sentence)
    query = host_page.query()
    assert query == "?if=host_lost~3&n=90&v=1"

    other = HostPage(new_context().new_page(), server.url).open(query)
    others = BadDay(other.page)
    others.expect_pressed("host_lost")
    others.expect_answer(sentence)
    expect(others.circumstance("hosts")).to_have_value("3")

    host_page.page.reload()
    bad_day.expect_answer(sentence)
    host_page.page.get_by_role("link", name="Back to the example").click()
    host_page.expect_all_painted()
    bad_day.expect_pressed(None)
    bad_day.expect_nothing()
    host_page.page.go_back()
    bad_day.expect_pressed("host_lost")
    bad_day.expect_answer(sentence)


def test_circumstance_out_of_range_is_named(host_page, bad_day):
    """A number that will not do is named beside its box; the last answer and the link stay."""
    host_page.open("?if=socket_down&n=90&v=1")
    bad_day.expect_answer(said(changed(90), "socket_down"))
    box = bad_day.circumstance("sockets")
    range_of = "; expected a whole number from 2 to 16 sockets."
    for typed, named in (("1", " is 1"), ("2.5", " is 2.5"), ("", " is missing")):
        bad_day.set_circumstance("sockets", typed)
        error = host_page.page.locator("#host-events-sockets-error")
        expect(error).to_have_text(CIRCUMSTANCE_LABELS["sockets"] + named + range_of)
        expect(box).to_have_attribute("aria-invalid", "true")
    assert host_page.query() == "?if=socket_down&n=90&v=1"
    bad_day.expect_answer(said(changed(90), "socket_down"))

    bad_day.set_circumstance("sockets", "3")  # 32 cores: the server says what is wrong
    bad_day.expect_answer(told(changed(90), "socket_down~3")["refused"])
    bad_day.set_circumstance("sockets", "4")
    bad_day.expect_answer(said(changed(90), "socket_down~4"))
    expect(box).not_to_have_attribute("aria-invalid", "true")
    assert host_page.query() == "?if=socket_down~4&n=90&v=1"


def test_event_that_cannot_happen_says_why(host_page, bad_day):
    """Without a card its loss cannot be pressed and says why; chosen before, it can be undone."""
    host_page.open("?if=card_lost&cards=0&v=1")
    bad_day.expect_reason("card_lost", "this host has no card")
    bad_day.expect_pressed("card_lost")
    bad_day.expect_answer("One card lost: cannot happen to this host, this host has no card.")
    bad_day.press("card_lost")
    bad_day.expect_nothing()
    button = bad_day.button("card_lost")
    expect(button).to_have_attribute("aria-disabled", "true")
    expect(button).to_have_attribute("aria-describedby", "host-events-card_lost-reason")
    button.focus()
    host_page.page.keyboard.press("Enter")
    bad_day.expect_pressed(None)
    assert host_page.query() == "?cards=0&v=1"

    host_page.choose_cards(1)
    expect(host_page.page.locator("#host-events-card_lost-reason")).to_be_hidden()
    bad_day.press("card_lost")
    bad_day.expect_answer(said(default(), "card_lost"))


def test_activity_of_a_call_follows_the_list(host_page, bad_day):
    """Everyone stays in the activity that was chosen while others come and go before it."""
    host_page.open("?n=60&v=1")
    bad_day.press("everyone_on_a_call")
    bad_day.expect_answer(said(changed(60), "everyone_on_a_call"))
    names = [activity.name for activity in default().activities]
    bad_day.set_circumstance("activity", names[3])
    bad_day.expect_answer(said(changed(60), "everyone_on_a_call~3"))
    assert host_page.query().startswith("?if=everyone_on_a_call~3&")

    host_page.unfold("Activities")
    first = host_page.page.locator("[data-edit='remove'][data-list='activities']")
    asked = host_page.asked()
    first.nth(1).click()
    host_page.expect_all_painted(asked)
    assert host_page.query().startswith("?if=everyone_on_a_call~2&")
    chosen = bad_day.circumstance("activity").locator("option:checked")
    expect(chosen).to_have_text(names[3])
    expect(host_page.page.locator("#host-event-note")).to_contain_text(names[3])

    asked = host_page.asked()
    first.nth(2).click()
    host_page.expect_all_painted(asked)
    expect(host_page.page.locator("#host-events .event-told")).to_have_text(ACTIVITY_GONE)
    assert host_page.query().startswith("?if=everyone_on_a_call&")
    expect(host_page.page.locator("#host-event-note")).to_contain_text("video call")


def test_event_is_on_the_printed_sheet(host_page, bad_day, tmp_path):
    """The sheet says in one line what the event does, and still has two pages."""
    host_page.open("?if=logon_rush~5&n=90&v=1")
    sentence = said(changed(90), "logon_rush~5")
    bad_day.expect_answer(sentence)
    paper = Paper(host_page.page, "A4", tmp_path)
    assert sentence in paper.text()
    assert paper.pages() == 2


@pytest.mark.parametrize("look", ["light", "dark"])
def test_section_is_accessible(new_context, server, look):
    """No rule of WCAG 2.2 AA is broken while an event is shown, in either look."""
    page = new_context(color_scheme=look).new_page()
    HostPage(page, server.url).open("?if=host_lost&cards=0&n=90&v=1")
    expect(page.locator("#host-event")).to_have_attribute("aria-busy", "false")
    expect(page.locator("#host-event-table table")).to_be_visible()
    rules = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
    found = Axe().run(page, context="#bad-day", options=rules)
    assert found.response["violations"] == []
