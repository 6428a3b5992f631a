"""Errands of a visitor who puts a proposal together: tick, print, save pictures, keep a secret."""

import json
import re

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from app import words, words_proposal
from model.assess import assess
from model.scenario import default, dump, from_data, to_data
from model.scenario_url import to_query
from tests.browser.screens import HostPage
from tests.browser.screens_evidence_results import TrialPage
from tests.browser.screens_proposal import ProposalPage, links_in, texts_in, told
from tests.browser.screens_stage import Paper

PINNED = "?pin=n%3D90%26v%3D1&if=host_lost~6&n=120&v=1"


def put_on_shelf(page, *sessions):
    """Save scenarios of so many sessions, named by them, as the Host page does."""
    for count in sessions:
        scenario = dump(default().model_copy(update={"sessions": count}))
        body = {"scenario": scenario, "name": f"Berth {count}"}
        assert "item" in told(page, "/shelf-data/items", body)


def test_what_was_decided_is_printed_on_one_sheet(page, new_server, tmp_path):
    """Pin, event, fleet, saved scenarios and the visitor's own words are on numbered pages."""
    proposal = ProposalPage(page, new_server().url).open(PINNED)
    assert proposal.parts() == ["host", "pin", "event", "inputs", "close"]
    put_on_shelf(page, 60, 140)
    HostPage(page, proposal.url).page.get_by_role("link", name="Host", exact=True).click()
    proposal.visit()
    proposal.pick("Berth 60")
    proposal.pick("Berth 140")
    proposal.tick("fleet")
    proposal.write("Title", "Desktops for the new quay")
    proposal.write("Prepared for", "The <b>harbour</b> master")
    assert proposal.parts() == ["host", "pin", "event", "fleet", "shelf", "inputs", "close"]
    # Derived: the address of each saved scenario's own page.
    assert proposal.links("shelf")[2:] == ["/?n=60&v=1", "/?n=140&v=1"]

    found = assess(default().model_copy(update={"sessions": 120}))
    expected = [
        "Desktops for the new quay", "Prepared for: The <b>harbour</b> master", "In short",
        words.answer_sentence(found), "Pinned: Sessions 90 (now 120).", "The host before and after",
        words_proposal.EXAMPLE_FLEET, "A Berth 60", "B Berth 140", "Pixel rate per card",
        words.CAUTION, *words_proposal.method_lines(), "Page 1 of ",
    ]  # fmt: skip
    for size in ("A4", "Letter"):
        paper = Paper(page, size, tmp_path)
        text = paper.text()
        assert [part for part in expected if part not in text] == []
        assert "What goes in" not in text
        assert 7 <= paper.pages() <= 11
        assert f"Page {paper.pages()} of {paper.pages()}" in text
        assert text.count(words.CAUTION_IN_SHORT) >= paper.pages() + 11
        links = links_in(paper.path)
        for link in ("/?pin=n%3D90%26v%3D1&n=120&v=1", "/?n=60&v=1", "/?if=host_lost~6&n=120&v=1",
                     f"/{PINNED}"):  # fmt: skip
            assert f"{proposal.url}{link}" in links


def test_every_picture_opens_its_own_scenario(page, new_server):
    """The zip holds every chart once, each with the link of what it shows and the caution."""
    proposal = ProposalPage(page, new_server().url).open("?n=130&v=1")
    put_on_shelf(page, 60)
    proposal.open("?n=130&v=1")
    proposal.pick("Berth 60")
    files = proposal.save_pictures()
    # Derived: the link of the page, and that of the saved scenario.
    assert {name: texts_in(png) for name, png in files.items()} == {
        f"crestline-{name}.png": {"Crestline link": link, "Crestline caution": words.CAUTION}
        for name, link in [
            ("headroom", "n=130&v=1"), ("contention", "n=130&v=1"), ("day", "n=130&v=1"),
            ("desktop", "n=130&v=1"), ("saved-a", "n=60&v=1"),
        ]
    }  # fmt: skip
    layouts = page.evaluate("() => window.crestlinePictures.layouts")
    stated = {box["kind"]: box["text"] for box in layouts["saved-a"]["boxes"]}
    assert stated["title"] == "A Berth 60: Headroom over sessions"
    assert stated["caution"] == words.CAUTION


def test_trial_goes_on_its_visitor_s_sheet_and_on_nobody_else_s(page, new_context, server):
    """Effects of confirmed logs are shown to who read them; another visitor has none."""
    trial = TrialPage(page, server.url).open()
    trial.bring("panning_charts.csv")
    said = trial.sentences()
    proposal = ProposalPage(page, server.url).visit()
    assert proposal.box("evidence").is_checked()
    assert proposal.part("evidence").locator(".proposal-lead").inner_text() == said[0]
    assert "panning_charts.csv" in proposal.part("evidence").inner_text()

    other = ProposalPage(new_context().new_page(), server.url).open()
    assert other.box("evidence").is_disabled()
    assert "No effect is worked out in this visit" in other.reason("evidence")
    assert "evidence" not in other.parts()
    asked = {"scenario": dump(default()), "include": ["evidence"]}
    assert "panning" not in json.dumps(told(other.page, "/proposal/compose", asked))


def test_sheet_waits_for_what_is_worked_out_and_names_what_is_not(page, server, allowed_console):
    """The print button waits for every part; a part that fails is named and can be tried again."""
    allowed_console.append("500")
    held = []

    def hold(route):
        include = route.request.post_data_json["include"]
        if include == ["host"] and not held:
            held.append(route)
        elif include == ["inputs"] and len(held) == 1:
            route.fulfill(status=500, json={"failure": "Something went wrong (number 1)."})
        else:
            route.continue_()

    page.route("**/proposal/compose", hold)
    page.add_init_script("window.print = () => { document.documentElement.dataset.printed = 'y'; }")
    page.goto(f"{server.url}/proposal")
    proposal = ProposalPage(page, server.url)
    expect(proposal.status()).to_have_text("Being worked out: This host.", timeout=20_000)
    button = page.get_by_role("button", name="Print, once complete")
    button.click()
    expect(proposal.status()).to_contain_text(words_proposal.TEXTS["waiting"])
    expect(page.locator("#proposal-head")).to_contain_text("Not complete: This host")
    expect(page.locator("#proposal-failed")).to_have_text("Could not be worked out: All inputs.")
    assert page.locator("html[data-printed]").count() == 0
    held[0].continue_()
    page.locator("html[data-printed]").wait_for(timeout=20_000)
    expect(proposal.part("inputs")).to_contain_text("Something went wrong (number 1).")
    held.append(None)
    page.get_by_role("button", name="Try again").click()
    expect(proposal.part("inputs")).to_contain_text("Pixel rate per card")
    expect(page.locator("#proposal-failed")).to_have_text("")


def test_sheet_follows_another_scenario_and_keeps_own_words_in_the_browser(page, server):
    """A new scenario is worked out anew, and title and notes are kept but never sent."""
    sent = []
    page.on("request", lambda request: sent.append((request.post_data or "") + request.url))
    proposal = ProposalPage(page, server.url).open()
    proposal.write("Notes", "Secret of the second quay")
    host = HostPage(page, server.url)
    page.get_by_role("link", name="Host", exact=True).click()
    host.set_slider(host.slider("sessions"), 87)
    proposal.visit()
    expect(proposal.part("host")).to_contain_text("With 87 sessions")
    expect(proposal.part("inputs")).to_contain_text("Sessions87", use_inner_text=False)
    assert proposal.reason("pin") == words_proposal.NOT_THERE["pin"]
    page.reload()
    proposal.expect_complete()
    expect(page.locator("#proposal-head")).to_contain_text("Secret of the second quay")
    assert not [each for each in sent if "Secret" in each]
    page.get_by_role("button", name="Clear these texts").click()
    expect(page.locator("#proposal-head")).not_to_contain_text("Secret")


def test_page_has_no_barrier_and_long_names_fit(new_context, server):
    """Names, contrasts and roles hold in both looks, and no name reaches beyond the paper."""
    page = new_context(color_scheme="dark").new_page()
    data = to_data(default())
    long = "WithoutAnyBlankInThisNameWhichIsAsLongAsANameMayBeAndThenSomeMoreToFillItUpAll"
    data["name"] = long
    data["roles"][0]["name"] = long
    query = "?pin=n%3D90%26v%3D1&if=card_lost&" + to_query(from_data(data))
    proposal = ProposalPage(page, server.url).open(query)
    proposal.tick("fleet")
    assert proposal.wider_than_paper() == []
    assert re.search("Links\n", proposal.part("close").inner_text())  # the address is a long one
    for scheme in ("dark", "light"):
        page.emulate_media(color_scheme=scheme)
        found = Axe().run(page, {"include": [["#page-proposal"]]})
        assert found.response["violations"] == [], found.generate_report()
