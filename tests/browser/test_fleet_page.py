"""Errands about a fleet: a table pasted, a price changed, a link sent on, an event, a picture."""

import json

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from app import labels_fleet
from app.labels_fleet import in_table
from model.fleet import plan_fleet
from model.fleet_inputs import example, from_data, to_data
from model.fleet_url import from_text
from model.scenario import default
from model.scenario_url import from_query
from tests.browser.screens import HostPage
from tests.browser.screens_fleet import FleetPage

TABLE = "site\tberth planner\ttraining room\nHarbour tower\t1 250\t\nOld mole\t40\t65\n"


@pytest.fixture
def fleet_page(page, server):
    """The Fleet page in the first visitor's window."""
    return FleetPage(page, server.url)


def plan(**changes):
    """The plan of the example fleet with a few inputs changed."""
    return plan_fleet(from_data(to_data(example()) | changes), default())


def test_example_is_planned_as_the_model_plans_it(fleet_page):
    """The page opens from the menu and shows the model's hosts and amounts, with the notes."""
    HostPage(fleet_page.page, fleet_page.url).open()
    fleet_page.page.get_by_role("link", name="Fleet", exact=True).click()
    fleet_page.expect_settled()
    found = plan()
    best = found.choices[0].arms["offloaded"].total
    assert f"{best.hosts} hosts and {best.cards} cards, " in fleet_page.sentence()
    for column, (at, arm) in enumerate([(i, a) for i in (0, 1) for a in ("software", "offloaded")]):
        total = found.choices[at].arms[arm].total
        assert fleet_page.cell("Hosts", column) == str(total.hosts)
        assert fleet_page.cell("Present value", column) == in_table(total.present_value)
    expect(fleet_page.page.locator("#fleet-notes")).to_contain_text(found.notes[2])
    assert fleet_page.query() == ""
    assert fleet_page.page.locator("#fleet-to-example").is_hidden()


def test_pasted_table_becomes_the_sites_and_a_wrong_cell_is_named(fleet_page):
    """A table from a spreadsheet replaces the sites; a cell that will not do is told by place."""
    fleet_page.open()
    fleet_page.show_table_reader()
    fleet_page.read_table(TABLE.replace("65", "many"))
    fleet_page.expect_notes("The pasted table, row 3, column \"training room\" is 'many'")
    assert fleet_page.box("sites[0].name").input_value() == "North quay"

    before = fleet_page.asked()
    fleet_page.read_table(TABLE)
    fleet_page.expect_notes("Read 2 sites with 1,355 sessions.")
    fleet_page.expect_notes("1 empty cell was read as no session.")
    fleet_page.expect_settled(before)
    assert fleet_page.box("sites[1].sessions.training room").input_value() == "65"
    assert "Harbour tower" in fleet_page.page.locator("#fleet-sites").inner_text()
    fleet_page.press("Take the former sites back")
    assert fleet_page.box("sites[2].name").input_value() == "Pilot school"

    csv = {"name": "sites.csv", "mimeType": "text/csv", "buffer": b"site,role,sessions\nQuay,"
           b"chart drafter,7\n"}  # fmt: skip
    before = fleet_page.asked()
    fleet_page.page.locator("#fleet-file").set_input_files(csv)
    fleet_page.expect_notes("Read 1 site with 7 sessions.")
    fleet_page.expect_settled(before)
    assert fleet_page.box("sites[0].sessions.chart drafter").input_value() == "7"


def test_changed_price_reaches_another_visitor_by_the_link(fleet_page, new_context):
    """Price, sites and an event come back from the address in a fresh window, with the answer."""
    fleet_page.open()
    fleet_page.type("choices[1].host_price", "5000.50")
    fleet_page.type("sites[0].name", "Tower & mole_1")
    fleet_page.press("SMT switched off")
    assert "64 cores, two cards" in fleet_page.sentence()
    shown = fleet_page.page.evaluate("() => window.crestline.beside('fleet')")
    assert shown.startswith("s0~Tower_&_mole!21~280_120_90*c1.price~5000.5")
    inputs = from_text(shown, default())
    assert str(inputs.choices[1].host_price) == "5000.5"

    other = FleetPage(new_context().new_page(), fleet_page.url).open(fleet_page.query())
    assert other.sentence() == fleet_page.sentence()
    assert other.box("sites[0].name").input_value() == "Tower & mole_1"
    event = "#fleet-event"
    told = fleet_page.page.locator(event).inner_text()
    assert told.startswith("SMT switched off, on 64 cores, two cards: ")
    assert other.page.locator(event).inner_text() == told

    other.page.locator("#fleet-to-example").click()
    expect(other.box("sites[0].name")).to_have_value("North quay")
    other.expect_settled()
    assert other.query() == "?if=smt_off&v=1"


def test_wrong_input_is_named_and_the_last_result_stays(fleet_page):
    """A value out of range is named with its field and range until it is put right."""
    fleet_page.open("?if=host_lost&v=1")
    before = fleet_page.sentence()
    event = fleet_page.page.locator("#fleet-event").inner_text()
    assert "every site still holds" in event
    fleet_page.type("sites[1].sessions.berth planner", "-3")
    fleet_page.expect_refusal("sites", "sites[1].sessions.berth planner",
                              "Site 2 (Lock island), berth planner is -3; expected a whole number"
                              " from 0 to 100000 sessions.")  # fmt: skip
    fleet_page.type("sites[1].sessions.berth planner", "60")
    expect(fleet_page.page.locator("#fleet-error-sites")).to_have_text("")
    fleet_page.type("choices[0].busy_watts", "10")
    fleet_page.expect_refusal("choices", "choices[0].busy_watts", "Power of a busy host is 10")
    fleet_page.type("choices[0].busy_watts", "")
    fleet_page.expect_refusal("choices", "choices[0].busy_watts", "Power of a busy host is missing")
    fleet_page.type("choices[0].busy_watts", "500")
    fleet_page.type("growth_pct_per_year", "101")
    fleet_page.expect_refusal("general", "growth_pct_per_year", "Growth of sessions is 101")
    assert fleet_page.sentence() == before
    assert fleet_page.page.locator("#fleet-event").inner_text() == event
    fleet_page.type("growth_pct_per_year", "4")
    expect(fleet_page.page.locator("#fleet-stale")).to_have_text("")


def test_sites_and_host_choices_are_added_copied_and_removed(fleet_page):
    """Lists get longer and shorter, and what is looked at closer follows."""
    fleet_page.open()
    fleet_page.press("Add a host choice")
    assert fleet_page.box("choices[2].name").input_value() == "New host"
    fleet_page.type("choices[2].accelerator.cards", "0")
    assert fleet_page.page.locator("#fleet-overall thead th", has_text="no cards").count() == 1
    before = fleet_page.asked()
    fleet_page.page.get_by_label("Look closer at").select_option(label="C New host")
    fleet_page.expect_settled(before)
    expect(fleet_page.page.locator("#takeaway-fleet-map")).to_contain_text("has no cards")
    expect(fleet_page.page.locator("#chart-fleet-map")).to_be_hidden()
    fleet_page.press("Copy 32 cores, one card")
    assert fleet_page.box("choices[1].name").input_value() == "32 cores, one card 2"
    fleet_page.press("Remove New host")
    fleet_page.press("Add a site")
    fleet_page.press("Remove Lock island")
    data = fleet_page.page.evaluate("() => window.crestline.fleet.data()")
    assert [each["name"] for each in data["choices"]] == [
        "32 cores, one card", "32 cores, one card 2", "64 cores, two cards",
    ]  # fmt: skip
    assert [each["name"] for each in data["sites"]] == ["North quay", "Pilot school", "New site"]
    expect(fleet_page.page.locator("#chart-fleet-map")).to_be_visible()


def test_role_renamed_on_the_host_page_keeps_its_people(fleet_page):
    """A new name follows into the fleet; a removed role's sessions stay until they are removed."""
    fleet_page.open("?fleet=s0~North_quay~280_121_90*v~1&v=1")
    host = HostPage(fleet_page.page, fleet_page.url)
    fleet_page.page.get_by_role("link", name="Host", exact=True).click()
    host.expect_all_painted()
    host.unfold("Roles")
    host.type_number("roles[1].name", "gate watch")
    host.expect_all_painted("1")
    fleet_page.page.get_by_role("link", name="Fleet", exact=True).click()
    expect(fleet_page.box("sites[0].sessions.gate watch")).to_have_value("121")
    fleet_page.expect_settled()
    assert fleet_page.page.evaluate("() => window.crestline.beside('fleet')") == (
        "s0~North_quay~280_121_90*v~1"
    )
    assert from_query(fleet_page.query().rpartition("*v~1&")[2]).roles[1].name == "gate watch"

    fleet_page.open("?fleet=s0~North_quay~1_2_3_4_5*v~1&v=1")
    fleet_page.expect_refusal("sites", "sites[0].sessions.role 5",
                              "Site 1 (North quay) has sessions of role 5")  # fmt: skip
    fleet_page.press("Remove these sessions")
    expect(fleet_page.page.locator("#fleet-error-sites")).to_have_text("")
    assert "*s0~North_quay~1_2_3_4*v~1" in "*" + fleet_page.query().replace("fleet=", "*")


def test_numbers_and_pictures_leave_the_page(fleet_page):
    """Tables hold exact amounts, the whole answer its link, and a picture opens the fleet again."""
    fleet_page.open()
    fleet_page.type("choices[0].card_price", "1234.56")
    inputs = from_text(
        fleet_page.page.evaluate("() => window.crestline.beside('fleet')"), default()
    )
    found = plan_fleet(inputs, default()).choices[0].arms["offloaded"].total
    rows = fleet_page.save_table("All sites as CSV")
    whole = next(row for row in rows if row["site"] == "all sites" and row["arm"] == "with cards")
    assert float(whole["present value [currency units]"]) == float(found.present_value)
    rows = fleet_page.save_table(f"Numbers: {labels_fleet.TITLES['fleet-cost']}")
    assert len(rows) == 6
    assert rows[0]["link"] == "/fleet" + fleet_page.query()
    name, content = fleet_page.save("All numbers")
    assert name == "crestline-estimate-fleet.json"
    assert json.loads(content)["plan"]["cheapest"] == ["32 cores, one card", "offloaded"]

    name, content = fleet_page.save(f"Picture: {labels_fleet.TITLES['fleet-map']}")
    assert name == "crestline-fleet-map.png"
    kept = fleet_page.query()
    sentence = fleet_page.sentence()
    fleet_page.page.goto(f"{fleet_page.url}/?n=90&v=1")
    HostPage(fleet_page.page, fleet_page.url).expect_all_painted()
    picture = {"name": name, "mimeType": "image/png", "buffer": content}
    fleet_page.page.locator("#open-file-picker").set_input_files(picture)
    expect(fleet_page.page.locator("#page-fleet")).to_be_visible()
    expect(fleet_page.box("choices[0].card_price")).to_have_value("1234.56")
    expect(fleet_page.page.locator("#fleet-sentence")).to_have_text(sentence)
    assert fleet_page.query() == kept


def test_sheet_is_printed_on_two_pages(fleet_page):
    """Answer, tables, charts, inputs, caution and link fit on two pages of A4 and of Letter."""
    fleet_page.open("?if=host_lost&v=1")
    for paper in ("A4", "Letter"):
        content = fleet_page.page.pdf(format=paper)
        assert content.count(b"/Type /Page\n") == 2, paper
    fleet_page.page.evaluate("() => window.dispatchEvent(new Event('beforeprint'))")
    text = fleet_page.page.locator("#fleet-sheet").text_content()
    for part in (fleet_page.sentence(), "A planning estimate", "Energy price", "Lock island",
                 "/fleet?if=host_lost&v=1", "every site still holds"):  # fmt: skip
        assert part in text
    assert fleet_page.page.locator("#fleet-sheet .main-svg").count() >= 3
    fleet_page.page.evaluate("() => window.dispatchEvent(new Event('afterprint'))")
    expect(fleet_page.page.locator("#fleet-sheet")).to_be_hidden()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(new_context, server, scheme):
    """The page, unfolded and with an event, has no finding of WCAG 2.2 A or AA in both looks."""
    page = new_context(color_scheme=scheme, bypass_csp=True).new_page()
    fleet = FleetPage(page, server.url).open("?if=card_lost&v=1")
    fleet.show_table_reader()
    page.locator("summary", has_text="More about the hosts").click()
    page.locator("summary", has_text="What these numbers mean").click()
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
    seen = {"exclude": [["#page-host"]]}
    options = {"runOnly": {"type": "tag", "values": tags}}
    found = Axe().run(page, context=seen, options=options)
    assert found.violations_count == 0, found.generate_report()
