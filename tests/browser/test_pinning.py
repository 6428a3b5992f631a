"""A visitor pins a result, changes a slider, and shares both in one link."""

import re

from playwright.sync_api import expect

from tests.browser.screens import HostPage


def pin(visit):
    """Press Pin and wait until it is drawn."""
    before = visit.asked()
    visit.page.get_by_role("button", name="Pin", exact=True).click()
    visit.expect_all_painted(before)


def names_in(visit, chart):
    """Return the names of the lines of a chart."""
    return [trace.get("name", "") for trace in visit.figure(chart)["data"]]


def test_pinned_result_is_compared_and_survives_in_the_link(server, page, new_context):
    """A pin stays as a ghost, the difference is told, and the link opens both elsewhere."""
    visit = HostPage(page, server.url).open()
    expect(page.get_by_role("button", name="Unpin")).to_be_hidden()
    pin(visit)
    assert "same as shown" in visit.text("pin-note")
    visit.set_slider(visit.slider("host.cores"), 48)
    assert visit.text("pin-note") == "Pinned: CPU cores 32 (now 48)."
    assert re.fullmatch(
        r"Against the pin: [+-]\d+ sessions with the card, \+\d+ sessions without",
        visit.text("pin-change"),
    )
    assert re.search(r"crest -\d+ % with the card", visit.text("pin-crest"))
    for chart in ("headroom", "contention", "day", "desktop"):
        assert any(name.startswith("pinned") for name in names_in(visit, chart)), chart
    assert visit.query() == "?pin=&cores=48&v=1"

    other = HostPage(new_context().new_page(), server.url).open(visit.query())
    assert other.answer() == visit.answer()
    for name in ("pin-note", "pin-change", "pin-crest"):
        assert other.text(name) == visit.text(name)


def test_unpinning_takes_the_ghosts_away(server, page):
    """Without its pin the page shows what it showed before, and the link forgets it."""
    visit = HostPage(page, server.url).open("?n=90&v=1")
    plain = names_in(visit, "headroom")
    pin(visit)
    assert names_in(visit, "headroom") != plain
    assert visit.query() == "?pin=n%3D90%26v%3D1&n=90&v=1"
    before = visit.asked()
    page.get_by_role("button", name="Unpin").click()
    visit.expect_all_painted(before)
    assert names_in(visit, "headroom") == plain
    assert visit.text("pin-change") == visit.text("pin-note") == ""
    assert visit.query() == "?n=90&v=1"


def test_pin_that_cannot_be_read_is_told(server, page):
    """A link whose pinned part is wrong says which value will not do and opens the example."""
    visit = HostPage(page, server.url).open("?pin=cores%3D0%26v%3D1&n=90&v=1")
    expect(page.get_by_text("CPU cores is 0")).to_be_visible()
    assert visit.query() == ""


def test_reload_and_back_keep_the_pin(server, page):
    """Reload shows the same pin; Back leads to the page opened before."""
    visit = HostPage(page, server.url).open("?pin=&cores=48&v=1")
    told = visit.text("pin-change")
    page.reload()
    visit.expect_all_painted()
    assert visit.text("pin-change") == told
    page.goto(f"{server.url}/?n=50&v=1")
    visit.expect_all_painted()
    page.go_back()
    visit.expect_all_painted()
    assert visit.text("pin-change") == told
