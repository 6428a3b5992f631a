"""Errands with saved scenarios: save and reopen, collide and recover, find, undo, compare."""

import csv
import io
import json
import struct
import zlib
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from app.shelf_store import open_shelf
from app.words import CAUTION, answer_sentence
from model.assess import assess
from model.scenario import Scenario, default, from_data, to_data
from tests.browser.screens import HostPage
from tests.browser.screens_shelf import ShelfPage


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    """One server with a shelf of its own for this file; every errand uses its own names."""
    from tests.browser.site import Site

    site = Site(tmp_path_factory.mktemp("shelf"))
    yield site
    site.stop()
    print(site.printed())


@pytest.fixture
def host(page, server):
    """The Host page in the first visitor's window."""
    return HostPage(page, server.url)


@pytest.fixture
def shelf(page, server):
    """The Shelf page in the same window."""
    return ShelfPage(page, server.url)


def example(sessions, **more) -> Scenario:
    """The example with another number of sessions."""
    return default().model_copy(update={"sessions": sessions, **more})


def post(page, server, path, body):
    """Ask the server as a script of the page would."""
    return page.request.post(f"{server.url}/shelf-data{path}", data=body).json()


def kept(page, server, name, sessions=100, **more):
    """Put an item on the shelf without the page, and return it."""
    body = {"scenario": json.dumps(to_data(example(sessions))), "name": name, **more}
    return post(page, server, "/items", body)["item"]


def open_item(host, shelf, name):
    """Open an item from the Shelf page, and wait for the Host page."""
    shelf.open()
    shelf.search(name)
    before = host.asked()
    shelf.act("Open", name)
    host.expect_all_painted(before)


def sessions_kept(shelf, server, name):
    """Return the number of sessions in the newest revision of an item, as its export says."""
    link = shelf.row(name).get_by_role("link", name=f"Export {name}")
    (item,) = json.loads(shelf.download(link))["items"]
    return item["revisions"][-1]["scenario"]["sessions"]


def test_scenario_is_saved_and_opened_again_with_all_its_revisions(host, shelf):
    """What is saved opens again; saved anew it is a revision, and the first one still opens."""
    host.open("?n=90&v=1")
    first = host.answer()
    dialog = shelf.start_saving()
    expect(dialog.get_by_label("Name")).to_have_value(default().name)
    dialog.get_by_label("Name").fill("Berth 4")
    dialog.get_by_label("Tags").fill("berth, first talk,")
    dialog.get_by_label("Note").fill("Ask again in May.")
    shelf.confirm("Save")
    shelf.expect_told("Saved on the shelf: Berth 4, revision 1.")

    host.set_slider(host.slider("host.cores"), 48)
    second = host.answer()
    dialog = shelf.start_saving()
    expect(dialog.get_by_label("a new revision of Berth 4")).to_be_checked()
    shelf.confirm("Save")
    shelf.expect_told("Saved on the shelf: Berth 4, revision 2.")
    assert first != second

    shelf.visit()
    shelf.search("berth 4")
    shelf.expect_names("Berth 4")
    expect(shelf.row("Berth 4").locator(".shelf-tag")).to_have_text(["berth", "first talk"])
    expect(shelf.row("Berth 4")).to_contain_text("Ask again in May.")
    shelf.row("Berth 4").get_by_role("button", name="2 revisions").click()
    expect(shelf.dialog()).to_contain_text("CPU cores: 32")
    before = host.asked()
    shelf.dialog().get_by_role("button", name="Open revision 1").click()
    host.expect_all_painted(before)
    assert host.query() == "?n=90&v=1"
    assert host.answer() == first

    for _ in range(2):  # opened again, it shows what was saved and not what was moved since
        shelf.visit()
        before = host.asked()
        shelf.act("Open", "Berth 4")
        host.expect_all_painted(before)
        assert host.answer() == second
        assert host.slider("host.cores").input_value() == "48"
        host.set_slider(host.slider("host.cores"), 64)


def test_two_who_save_at_once_both_keep_their_work(host, shelf, new_context, server):
    """Who is second is told since when, and keeps a copy or opens the newer one; all is kept."""
    kept(shelf.page, server, "Quay", sessions=80)
    open_item(host, shelf, "Quay")
    host.set_slider(host.slider("sessions"), 85)

    page = new_context().new_page()
    other, other_host = ShelfPage(page, server.url), HostPage(page, server.url)
    open_item(other_host, other, "Quay")
    other_host.set_slider(other_host.slider("sessions"), 99)
    other.start_saving()
    other.confirm("Save")
    other.expect_told("Saved on the shelf: Quay, revision 2.")

    shelf.start_saving()
    shelf.confirm("Save")
    alert = shelf.dialog().get_by_role("alert")
    expect(alert).to_contain_text("after you opened it; save yours as a copy, or open")
    shelf.confirm("Save as a copy")
    shelf.expect_told("Saved on the shelf: Quay (copy), revision 1.")
    shelf.visit()
    shelf.search("quay")
    shelf.expect_names("Quay (copy)", "Quay")
    assert sessions_kept(shelf, server, "Quay") == 99
    assert sessions_kept(shelf, server, "Quay (copy)") == 85


def test_newer_one_can_be_opened_and_the_own_one_is_one_step_back(host, shelf, server):
    """After a collision the newer scenario opens, and Back shows the visitor's own again."""
    item = kept(shelf.page, server, "Dock", sessions=80)
    open_item(host, shelf, "Dock")
    host.set_slider(host.slider("sessions"), 85)
    body = {"version": 1, "scenario": json.dumps(to_data(example(99)))}
    post(shelf.page, server, f"/items/{item['id']}/revisions", body)
    shelf.start_saving()
    shelf.confirm("Save")
    before = host.asked()
    shelf.confirm("Open the newer one")
    host.expect_all_painted(before)
    assert host.slider("sessions").input_value() == "99"
    before = host.asked()
    host.page.go_back()
    host.expect_all_painted(before)
    assert host.slider("sessions").input_value() == "85"
    # What is shown now is not the item any more: a save makes a new one.
    assert shelf.start_saving().get_by_label("a new revision").count() == 0


def test_example_opened_afresh_is_no_revision_of_what_was_open(host, shelf):
    """A name is asked for; after a reload the item is still known, after the example it is not."""
    host.open("?n=91&v=1")
    dialog = shelf.start_saving()
    dialog.get_by_label("Name").fill("   ")
    shelf.confirm("Save")
    expect(dialog.get_by_role("alert")).to_contain_text("Name is missing")
    dialog.get_by_label("Name").press("Escape")
    expect(dialog).to_have_count(0)
    shelf.save_as("Before the example")
    host.page.reload()
    host.expect_all_painted()
    assert shelf.start_saving().get_by_label("a new revision").count() == 1
    shelf.confirm("Cancel")
    host.page.get_by_role("link", name="Back to the example").click()
    host.expect_all_painted()
    assert shelf.start_saving().get_by_label("a new revision").count() == 0


def test_label_is_edited_and_a_collision_shows_what_it_says_now(shelf, server):
    """Name, tags and note change; where somebody was faster, what they wrote is shown first."""
    item = kept(shelf.page, server, "Old label", tags=["a"])
    shelf.open()
    shelf.search("label")
    shelf.act("Edit", "Old label")
    theirs = {"version": 1, "name": "Their label", "note": "theirs", "tags": ["b"]}
    post(shelf.page, server, f"/items/{item['id']}/relabel", theirs)
    shelf.dialog().get_by_label("Name").fill("My label")
    shelf.confirm("Save")
    expect(shelf.dialog().get_by_role("alert")).to_contain_text("Their label")
    shelf.confirm("Save")
    shelf.expect_names("My label")


def test_deleted_item_is_brought_back_by_undo(shelf, server):
    """Delete takes an item away, Undo brings it back; the keyboard is where Undo is."""
    kept(shelf.page, server, "Jetty")
    shelf.open()
    shelf.search("jetty")
    shelf.act("Delete", "Jetty")
    expect(shelf.row("Jetty")).to_have_count(0)
    shelf.expect_notice("Deleted: Jetty.")
    undo = shelf.page.get_by_role("button", name="Undo")
    expect(undo).to_be_focused()
    shelf.page.keyboard.press("Enter")
    shelf.expect_names("Jetty")
    shelf.expect_notice("Jetty is back on the shelf.")
    shelf.act("Copy", "Jetty")
    shelf.expect_names("Jetty (copy)", "Jetty")


def test_markup_in_names_is_shown_as_text(shelf, server):
    """Names, notes and tags with markup are text everywhere: list, dialogs, comparison."""
    nasty = '<img src=x onerror="document.title=1"> & <b>b</b>'
    kept(shelf.page, server, nasty, note=nasty, tags=["<i>t</i>"])
    shelf.open()
    shelf.search("onerror")
    shelf.expect_names(nasty)
    expect(shelf.row(nasty).locator(".shelf-note")).to_have_text(nasty)
    assert shelf.page.locator("#page-shelf :is(img, b, i)").count() == 0
    shelf.act("Edit", nasty)
    expect(shelf.dialog().get_by_label("Note")).to_have_value(nasty)
    expect(shelf.dialog().get_by_role("heading")).to_contain_text("<img src=x")
    shelf.confirm("Cancel")
    shelf.compare(nasty)
    legend = shelf.page.locator("#chart-shelf .legendtext").first
    expect(legend).to_contain_text('A <img src=x onerror="')
    assert shelf.page.locator("#page-shelf img").count() == 0


def test_export_and_import_move_items_between_shelves(shelf, new_context, new_server, tmp_path):
    """One item and all of them are saved as files; another server's shelf takes them in."""
    kept(shelf.page, shelf, "Moving house", note="with note")
    shelf.open()
    shelf.search("moving house")
    link = shelf.row("Moving house").get_by_role("link", name="Export Moving house")
    one = json.loads(shelf.download(link))
    assert [each["name"] for each in one["items"]] == ["Moving house"]
    everything = json.loads(shelf.download(shelf.page.get_by_role("link", name="Export all")))
    assert "Moving house" in [each["name"] for each in everything["items"]]
    assert everything["caution"] == CAUTION

    one["items"].append({"name": "Half", "revisions": [{"scenario": {"version": 1}}]})
    mixed, wrong = tmp_path / "mixed.json", tmp_path / "wrong.json"
    mixed.write_text(json.dumps(one), encoding="utf-8")
    wrong.write_text("no file of ours", encoding="utf-8")
    elsewhere = new_server()
    other = ShelfPage(new_context().new_page(), elsewhere.url).open()
    expect(other.page.locator("#shelf-list")).to_contain_text("The shelf is empty.")
    other.import_file(wrong)
    other.expect_notice("Nothing was imported. The file is")
    other.import_file(mixed)
    other.expect_notice("Nothing was imported. 1 scenario was refused:")
    other.expect_notice("Half: Revision 1, name is missing.")
    assert other.names() == []
    other.page.get_by_role("button", name="Import the other 1 scenario").click()
    other.expect_names("Moving house")
    other.expect_notice("Imported 1 scenario.")


def test_four_are_compared_and_a_fifth_is_refused(shelf, server):
    """Side by side stand the inputs that differ and the model's answers; table and chart save."""
    scenarios = {
        "Side A": example(100),
        "Side B": from_data(to_data(example(120)) | {"accelerator": {"cards": 0}}),
        "Side C": example(100, host=default().host.model_copy(update={"cores": 64})),
        "Side D": example(100, host=default().host.model_copy(update={"cores": 1})),
    }
    for name, scenario in scenarios.items():
        body = {"scenario": json.dumps(to_data(scenario)), "name": name}
        post(shelf.page, server, "/items", body)
    kept(shelf.page, server, "Side E")
    shelf.open()
    shelf.search("side")
    shelf.compare("Side A", "Side B", "Side C", "Side D", needed="1000")
    table = shelf.compared()
    assert table["What"] == ["A Side A", "B Side B", "C Side C", "D Side D"]
    assert [each.split()[0] for each in table["CPU cores"]] == ["32", "32", "64", "1"]
    assert [each.split()[0] for each in table["Sessions"]] == ["100", "120", "100", "100"]
    found = [assess(scenario) for scenario in scenarios.values()]
    # Derived: the model's own rated loads, and the hosts that 1,000 sessions need at these.
    with_card = [each.rated["offloaded"].rated_load for each in found]
    assert table["Rated load, with card [sessions]"] == [
        str(with_card[0]), "no card", str(with_card[2]), str(with_card[3]),
    ]  # fmt: skip
    assert table["Hosts needed, no spare, with card [hosts]"][0] == str(-(-1000 // with_card[0]))
    assert "no card" in table["Headroom, with card [% of CPU]"]
    expect(shelf.page.locator("#chart-shelf .legendtext")).to_have_count(4)

    saved = shelf.download(shelf.page.get_by_role("button", name="Numbers", exact=True))
    rows = list(csv.reader(io.StringIO(saved)))
    assert rows[0] == ["section", "what", "unit", "A Side A", "B Side B", "C Side C", "D Side D"]
    assert ["What a host carries", "Rated load, with card", "sessions", str(with_card[0])] in [
        row[:4] for row in rows
    ]
    assert rows[-1][1] == CAUTION

    with shelf.page.expect_download() as download:
        shelf.page.get_by_role("button", name="Picture", exact=True).click()
    picture = Path(download.value.path()).read_bytes()
    assert struct.unpack(">II", picture[16:24]) == (3200, 1800)
    assert zlib.crc32(picture[12:29]) == struct.unpack(">I", picture[29:33])[0]

    before = shelf.page.locator("#shelf-takeaway").inner_text()
    shelf.page.get_by_role("radio", name="without card").check()
    expect(shelf.page.locator("#shelf-takeaway")).not_to_have_text(before)
    shelf.row("Side E").get_by_role("checkbox").click()
    shelf.expect_notice("Up to four can be compared")
    expect(shelf.row("Side E").get_by_role("checkbox")).not_to_be_checked()


def test_shelf_that_is_gone_is_told_and_the_rest_works(page, new_server, allowed_console, tmp_path):
    """Without its database the shelf says so in a sentence with a number; the Host page answers."""
    allowed_console.append("the server responded with a status of 503")
    (tmp_path / "file").touch()
    site = new_server(environment={"CRESTLINE_DATA_DIR": str(tmp_path / "file")})
    host, shelf = HostPage(page, site.url).open(), ShelfPage(page, site.url)
    assert host.answer() == answer_sentence(assess(default()))
    shelf.start_saving()
    shelf.confirm("Save")
    alert = shelf.dialog().get_by_role("alert")
    expect(alert).to_contain_text("The shelf cannot be reached just now (number ")
    shelf.confirm("Cancel")
    shelf.visit()
    expect(page.locator("#shelf-list")).to_contain_text("The shelf cannot be reached just now")
    (tmp_path / "file").unlink()
    page.get_by_role("button", name="Try again").click()
    expect(page.locator("#shelf-list")).to_contain_text("The shelf is empty.")
    assert open_shelf(f"sqlite:///{tmp_path / 'file' / 'shelf.sqlite'}").items().total == 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(new_context, server, scheme):
    """List, comparison and dialogs have no finding of WCAG 2.2 A or AA, in both looks."""
    page = new_context(color_scheme=scheme, bypass_csp=True).new_page()
    for name in ("Clean 1", "Clean 2"):
        kept(page, server, f"{name} {scheme}", note="A note", tags=["clean"])
    shelf = ShelfPage(page, server.url).open()
    shelf.search(f"clean {scheme}")
    shelf.compare(f"Clean 1 {scheme}", f"Clean 2 {scheme}")
    shelf.act("Edit", f"Clean 1 {scheme}")
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
    options = {"runOnly": {"type": "tag", "values": tags}}
    seen = {"exclude": [["#page-host"]]}  # which has a test of its own
    found = Axe().run(page, context=seen, options=options)
    assert found.violations_count == 0, found.generate_report()
    shelf.confirm("Cancel")
    shelf.act("Delete", f"Clean 2 {scheme}")
    shelf.expect_notice("Deleted")
    found = Axe().run(page, context=seen, options=options)
    assert found.violations_count == 0, found.generate_report()
