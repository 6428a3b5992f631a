"""Errands for numbers: save what a chart shows, save the whole answer, without a link too."""

from urllib.parse import quote

import pytest

from app import ids, words
from model import scenario_url
from model.assess import assess
from model.hosts import ARMS
from model.scenario import default, from_data
from tests.browser.screens import HostPage
from tests.browser.screens_numbers import Numbers

LABEL = {"software": "without card", "offloaded": "with card"}


@pytest.fixture
def host_page(page, server):
    """The Host page in the first visitor's window."""
    return HostPage(page, server.url)


@pytest.fixture
def numbers(page):
    """The buttons that save numbers, in the same window."""
    return Numbers(page)


def nearly_too_long():
    """The query of a scenario that leaves less room in its link than one more number needs."""
    ship = quote("\U0001f6a2" * 78)
    counts = {"a": len(default().activities), "r": len(default().roles)}
    names = [f"{kind}{at}.name={ship}{at}" for kind, count in counts.items() for at in range(count)]
    clock = [f"{at // 60:02}{at % 60:02}" for at in range(7 * 60, 7 * 60 + 200)]

    def query(points, letters):
        present = "_".join(f"{each}-33.333333333333336" for each in clock[:points])
        return "&".join([f"name={'x' * letters}", *names, f"present={present}", "v=1"])

    room = scenario_url.LONGEST_LINK
    points = max(count for count in range(2, 200) if len(query(count, 1)) <= room)
    letters = max(count for count in range(1, 81) if len(query(points, count)) <= room)
    return query(points, letters)


def test_chart_is_saved_as_shown(host_page, numbers):
    """Each chart's button saves the numbers of the scenario that the sliders show."""
    host_page.open("?cores=48&v=1")
    host_page.set_slider(host_page.slider("sessions"), 140)
    found = assess(scenario_url.from_query("n=140&cores=48&v=1"))
    for chart in ids.CHARTS:
        name, rows = numbers.save_chart(chart)
        assert name == f"crestline-estimate-{chart}-harbour-authority-one-host.csv"
        assert (rows[0]["link"], rows[0]["note"]) == ("/?n=140&cores=48&v=1", words.CAUTION)
    _, rows = numbers.save_chart("headroom")
    for arm in ARMS:
        saved = [float(row[f"headroom {LABEL[arm]} [% of CPU]"]) for row in rows]
        # Derived: the model's own curve for the same scenario.
        assert saved == found.curves[arm].headroom_pct.tolist()


def test_whole_answer_is_saved_with_the_pin(host_page, numbers):
    """With the keyboard, the whole answer is saved, what is pinned too."""
    host_page.open("?n=90&v=1")
    host_page.page.get_by_role("button", name="Pin", exact=True).click()
    host_page.set_slider(host_page.slider("sessions"), 140)
    name, document = numbers.save_all(key="Enter")
    assert name == "crestline-estimate-assessment-harbour-authority-one-host.json"
    assert document["scenario"]["sessions"] == 140
    assert document["pinned"]["scenario"]["sessions"] == 90
    rated = assess(default()).rated
    for arm in ARMS:
        assert document["arms"][arm]["rated_load"] == rated[arm].rated_load
    _, rows = numbers.save_chart("contention")
    assert rows[0]["pinned link"] == "/?n=90&v=1"


def test_scenario_too_long_for_a_link_is_saved_too(host_page, numbers):
    """One number more than a link holds: the address stays behind, the saved numbers do not."""
    query = nearly_too_long()
    host_page.open(f"?{query}")
    host_page.page.get_by_role("button", name="Pin", exact=True).click()
    host_page.set_slider(host_page.slider("accelerator.share_pct"), 35)
    assert host_page.text("link-note") == words.TOO_LONG_FOR_A_LINK
    _, document = numbers.save_all()
    assert document["link"] is None
    assert document["scenario"]["accelerator"]["share_pct"] == 35
    assert from_data(document["pinned"]["scenario"]) == scenario_url.from_query(query)
    _, rows = numbers.save_chart("desktop")
    assert rows[0]["scenario"] == document["scenario"]["name"]
    assert rows[0]["link"] == ""


def test_refusal_and_silence_are_told(host_page, numbers, allowed_console):
    """What the server refuses, and that it does not answer, is told in a sentence.

    The sentence goes once numbers are saved again.
    """
    allowed_console.append("Failed to load resource")
    host_page.open()
    refusal = '{"error": {"message": "sessions is 0; expected more."}}'
    host_page.page.route("**/api/assess*", lambda route: route.fulfill(status=400, body=refusal))
    numbers.expect_refusal("The numbers could not be saved. sessions is 0; expected more.")
    host_page.page.unroute("**/api/assess*")
    host_page.page.route("**/api/assess*", lambda route: route.abort())
    numbers.expect_refusal("the server does not answer")
    host_page.page.unroute("**/api/assess*")
    numbers.save_all()
    assert host_page.text("failure") == ""
