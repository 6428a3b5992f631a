"""Errands on the Method page: read an equation, find a default, see what was checked, print."""

import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from app.words import CAUTION
from app.words_method import CHAPTERS
from tests.browser.screens_method import MethodPage


@pytest.fixture
def method(page, server):
    """The Method page in the first visitor's window."""
    return MethodPage(page, server.url)


def test_sceptic_reads_an_equation(method, page, server):
    """From the menu to an equation with its words, without a request to anybody else."""
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(f"{server.url}/")
    page.get_by_role("link", name="Method", exact=True).click()
    method.expect_text()
    expect(page).to_have_url(re.compile(r"/method"))
    method.go_to("The shared CPU, in milliseconds")

    expect(method.heading("The shared CPU, in milliseconds")).to_be_in_viewport()
    formula = page.get_by_role("math", name="Z sub k equals E").first
    expect(formula).to_be_visible()
    drawn = page.evaluate(
        "() => [...document.querySelectorAll('#method-text math')].map((m) => "
        "[m.namespaceURI, m.getAttribute('aria-label'), m.getBoundingClientRect().height])"
    )
    assert len(drawn) > sum(len(chapter.equations) for chapter in CHAPTERS)
    assert {namespace for namespace, _, _ in drawn} == {"http://www.w3.org/1998/Math/MathML"}
    assert all(words and height > 8 for _, words, height in drawn)
    fraction = page.locator("#method-text .formula mfrac").first.bounding_box()
    assert fraction["height"] > 25  # set as a fraction, not in a line
    assert all(url.startswith((server.url, "data:", "blob:")) for url in asked)


def test_link_to_a_heading_opens_there(method, page):
    """A link with an anchor opens at its heading, once the text is there."""
    method.open("#glossary")

    expect(method.heading("Glossary")).to_be_in_viewport()
    page.goto(f"{method.url}/method#limits")
    expect(method.heading("Limits of validity")).to_be_in_viewport()


def test_administrator_finds_a_default(method, page):
    """Words in the box leave the lines that hold them all; without words all are back."""
    method.open()
    everything = len(method.lines("defaults-tables"))
    assert everything > 60

    method.find("Find a default", "card slots")
    assert method.lines("defaults-tables") == ["Display slots per card"]
    expect(page.locator("#defaults-tables-found")).to_have_text("1 line")
    method.find("Find a default", "nothing like it")
    assert method.lines("defaults-tables") == []
    expect(page.locator("#defaults-tables-found")).to_have_text("0 lines")
    method.find("Find a default", "")
    assert len(method.lines("defaults-tables")) == everything


def test_customer_sees_what_was_checked(method, page):
    """Comparisons are folded by part, unfold, and are found by source."""
    method.open("#checked")
    assert method.lines("checked-tables") == []

    page.locator("#checked-tables summary", has_text="Fleet and cost").click()
    assert "break-even price of a card" in method.lines("checked-tables")
    method.find("Find a check", "ishigami")
    assert len(method.lines("checked-tables")) == 1


def test_server_that_is_away_is_asked_again(method, page):
    """Where the text cannot be fetched a button says so and fetches it."""
    page.route("**/method-text", lambda route: route.abort())
    page.goto(f"{method.url}/")
    page.get_by_role("link", name="Method", exact=True).click()
    again = page.get_by_role("button", name="Try again")
    expect(again).to_be_visible()
    page.unroute("**/method-text")
    again.click()

    method.expect_text()


@pytest.fixture
def allowed_console(request):
    """Chromium writes an aborted request into the console."""
    return [r"net::ERR_FAILED"] if "away" in request.node.name else []


def test_page_prints_whole(method, page):
    """On paper stand all comparisons, equations and the caution, without menu and boxes."""
    method.open()
    page.emulate_media(media="print")
    page.evaluate("() => window.dispatchEvent(new Event('beforeprint'))")

    assert "break-even price of a card" in method.lines("checked-tables")
    expect(page.locator("#method-text .caution").first).to_contain_text(CAUTION)
    expect(page.locator("#method-text .equation").first).to_be_visible()
    for away in ("#method-text nav", "#method-text .filter", "header nav"):
        expect(page.locator(away).first).to_be_hidden()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(new_context, server, scheme):
    """No rule of WCAG 2.2 AA that a program can check is broken, light and dark."""
    page = new_context(color_scheme=scheme, bypass_csp=True).new_page()
    MethodPage(page, server.url).open()
    page.locator("#checked-tables summary", has_text="Day").click()
    # Lines and equations that are alike are looked at once: thousands of cells take a minute.
    page.evaluate(
        "() => ['tbody', 'dl', 'section > section'].forEach((part) => "
        "document.querySelectorAll('#method-text ' + part).forEach((each) => "
        "[...each.children].slice(4).forEach((child) => child.remove())))"
    )

    rules = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
    found = Axe().run(page, options={"runOnly": {"type": "tag", "values": rules}})
    assert found.violations_count == 0, found.generate_report()


def test_nothing_is_wider_than_the_window(new_context, server):
    """At 1280 pixels the page has no bar to scroll sideways."""
    page = new_context().new_page()
    MethodPage(page, server.url).open()

    assert page.evaluate("() => document.documentElement.scrollWidth") <= 1280
