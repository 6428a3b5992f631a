"""Errands with the lists among the inputs: edit, add, remove, share, and be told what is wrong."""

import json

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from app import words
from model.assess import assess
from model.scenario import Scenario, default, dump, from_data, to_data
from model.scenario_url import from_query
from tests.browser.screens_inputs import Lists


@pytest.fixture
def lists(page, server):
    """The Host page in the first visitor's window."""
    return Lists(page, server.url)


def shown(lists: Lists) -> Scenario:
    """The scenario that the address holds once the page rests."""
    lists.expect_all_painted()
    return from_query(lists.query())


def small(**parts) -> Scenario:
    """The example with one activity and one role."""
    data = to_data(default())
    data["activities"] = data["activities"][3:4]
    name = data["activities"][0]["name"]
    data["roles"] = [data["roles"][0] | {"weight_pct": 100, "activity_pct": {name: 100}}]
    return from_data(data | parts)


def test_presence_is_edited_point_by_point(lists):
    """Times, shares, start and end of the day are set, a point added and one removed."""
    lists.open()
    lists.unfold("Day")
    lists.fill("day.start", "630")
    assert lists.box("day.start").input_value() == "06:30"
    lists.fill("day.end", "20.15")
    lists.fill("day.present_pct[3][1]", "90")
    lists.press("Remove the point at 12:30")
    assert lists.focused().endswith("Remove the point at 13:30")
    lists.press("Add a point")
    # Derived: the widest gap runs from 09:00 (95 %) to 11:30 (90 %); 10:15 is its middle.
    assert lists.points()[3] == ("10:15", 92.5)
    assert lists.focused() == "day.present_pct[3][0]"
    lists.fill("day.present_pct[3][0]", "17:00")  # which sorts it in further down
    lists.expect_drawn()
    assert lists.focused() == "day.present_pct[6][1]"
    assert lists.open_groups() == ["Day"]
    expected = [("07:00", 5), ("08:00", 60), ("09:00", 95), ("11:30", 90), ("13:30", 95),
                ("16:00", 95), ("17:00", 92.5), ("17:30", 40), ("19:00", 5)]  # fmt: skip
    assert lists.points() == expected
    day = shown(lists).day
    assert (day.start, day.end, list(day.present_pct)) == ("06:30", "20:15", expected)
    lists.page.reload()
    lists.expect_all_painted()
    assert lists.points() == expected


def test_what_is_refused_is_told_beside_its_box(lists):
    """A time that is none or stands twice and a name that is taken are refused where they stand."""
    lists.open("?v=1&n=1")
    answer = lists.answer()
    lists.unfold("Day")
    said = lists.fill_wrong("day.present_pct[1][0]", "25:00", "day.present_pct[1]")
    assert "a time of day" in said
    assert lists.box("day.present_pct[1][0]").get_attribute("aria-invalid") == "true"
    assert lists.box("day.present_pct[2][0]").get_attribute("aria-invalid") is None
    assert "last valid result" in lists.text("stale")
    lists.fill("day.present_pct[1][0]", "08:00")
    said = lists.fill_wrong("day.present_pct[2][0]", "08:00", "day.present_pct[2]")
    assert "after the one before it" in said
    lists.fill("day.present_pct[2][0]", "09:00")
    assert "after the start" in lists.fill_wrong("day.end", "6", "day.end")
    lists.fill("day.end", "19")
    assert lists.answer() == answer

    lists.unfold("Activities")
    said = lists.fill_wrong("activities[0].name", "video call", "activities[0].name")
    assert "no other one has" in said
    assert lists.box("activities[0].name").get_attribute("aria-invalid") == "true"
    lists.fill("activities[0].name", " 2024 ")
    assert lists.box("activities[0].name").input_value() == "2024"
    assert shown(lists).activities[0].name == "2024"
    assert shown(lists).roles[1].activity_pct["2024"] == 25

    assert lists.text("shown-sessions") == "1 session"
    assert lists.text("shown-accelerator.cards") == "1 card"
    lists.move("accelerator.cards", 2)
    assert lists.text("shown-accelerator.cards") == "2 cards"
    lists.move("accelerator.cards", 1)
    assert lists.text("shown-accelerator.cards") == "1 card"


def test_new_activity_is_named_used_and_shared(lists, new_context, server):
    """An activity is added, named with markup, given to a role; a link opens the same."""
    lists.open()
    answer = lists.answer()
    lists.unfold("Activities")
    lists.unfold("Roles")
    lists.press("Add an activity")
    assert lists.answer() == answer  # no role has a share in it yet
    assert lists.focused() == "activities[9].name"
    assert lists.box("activities[9].name").input_value() == "full-screen video 2"
    assert lists.open_groups() == ["Activities", "Roles"]
    name = "<b>survey</b> &amp; 'log'"
    lists.fill("activities[9].name", name)
    assert lists.page.locator("#controls b").count() == 0
    expect(lists.page.get_by_role("columnheader", name=name, exact=True)).to_be_visible()
    lists.choose("activities[9].spans", "all displays")
    said = lists.fill_wrong("roles[0].activity_pct[9]", "20", "roles[0].activity_pct")
    assert "add up to 100 %" in said
    lists.fill("roles[0].activity_pct[1]", "10")
    activity = shown(lists).activities[9]
    assert (activity.name, activity.spans, activity.dwell_s) == (name, "all", 180)
    assert shown(lists).roles[0].activity_pct[name] == 20
    assert lists.answer() == words.answer_sentence(assess(shown(lists)))

    other = Lists(new_context().new_page(), server.url).open(lists.query())
    assert other.answer() == lists.answer()
    assert other.box("activities[9].name").input_value() == name


def test_removed_activity_leaves_its_shares_and_comes_back(lists):
    """What a removed activity took of each role goes to its others; Back undoes the removal."""
    lists.open()
    lists.unfold("Activities")
    lists.press("Add an activity")
    lists.fill("activities[9].name", "constructor")  # a name that every object of a script knows
    lists.press("Remove the activity constructor")
    assert shown(lists) == default()
    lists.press("Remove the activity idle")
    assert shown(lists).activities[0].name == "typing and reading"
    expect(lists.page.get_by_text('Removed "idle"')).to_be_visible()
    for before, after in zip(default().roles, shown(lists).roles, strict=True):
        # Derived: 100 / (100 - share of idle) times as much as before.
        grown = {name: share / (1 - before.activity_pct["idle"] / 100)
                 for name, share in before.activity_pct.items() if name != "idle"}  # fmt: skip
        assert after.activity_pct == pytest.approx(grown, abs=0.03)
        assert sum(after.activity_pct.values()) == pytest.approx(100, abs=1e-9)
    assert lists.answer() == words.answer_sentence(assess(shown(lists)))
    before = lists.asked()
    lists.page.go_back()
    lists.expect_all_painted(before)
    assert shown(lists) == default()
    assert lists.box("activities[0].name").input_value() == "idle"
    assert lists.open_groups() == ["Activities"]


def test_roles_come_and_go_and_weights_follow(lists):
    """A new role has no weight, a removed one gives its weight to the others, to 100 % in all."""
    lists.open()
    answer = lists.answer()
    lists.unfold("Roles")
    lists.press("Add a role")
    assert lists.focused() == "roles[4].name"
    lists.fill("roles[4].name", "pilot desk")
    lists.fill("roles[4].display", "2560x1440")
    expect(lists.page.locator(".slider", has_text="pilot desk")).to_have_count(1)
    assert lists.answer() == answer
    lists.press("Remove the role berth planner")
    # Derived: 30 : 15 : 20 : 0 share 100.
    weights = [role.weight_pct for role in shown(lists).roles]
    assert weights == pytest.approx([100 * 30 / 65, 100 * 15 / 65, 100 * 20 / 65, 0], abs=0.011)
    assert sum(weights) == pytest.approx(100, abs=1e-9)
    assert [lists.text(f"shown-roles[{i}].weight_pct") for i in (0, 3)] == ["46.2 %", "0 %"]
    last = shown(lists).roles[3]
    assert (last.name, last.display) == ("pilot desk", "2560x1440")
    said = lists.fill_wrong("roles[3].display", "wide", "roles[3].display")
    assert "width x height" in said


def test_habit_off_100_says_so_in_its_row(lists):
    """A habit that does not add up shows its sum and the error; the last good result stays."""
    lists.open()
    answer, query = lists.answer(), lists.query()
    lists.unfold("Roles")
    said = lists.fill_wrong("roles[1].activity_pct[0]", "30", "roles[1].activity_pct")
    assert "a total of 105" in said
    assert lists.text("sum-roles[1]") == "105 %: 5 too much"
    assert lists.text("sum-roles[0]") == "100 %"
    assert lists.box("roles[1].activity_pct[4]").get_attribute("aria-invalid") == "true"
    assert "last valid result" in lists.text("stale")
    assert (lists.answer(), lists.query()) == (answer, query)
    lists.button("Add a role").click()  # is refused as well: nothing is lost or changed
    lists.page.wait_for_timeout(400)
    assert lists.box("roles[1].activity_pct[0]").input_value() == "30"
    assert lists.page.locator("[data-edit='remove'][data-list='roles']").count() == 4
    lists.fill("roles[1].activity_pct[1]", "35")
    assert lists.text("sum-roles[1]") == "100 %"
    assert lists.text("stale") == ""
    assert shown(lists).roles[1].activity_pct["idle"] == 30
    assert lists.box("roles[1].activity_pct[4]").get_attribute("aria-invalid") is None


def test_scenario_too_long_for_a_link_is_told_and_still_edited(lists):
    """Without a link the page says so and answers; lists are still edited, up to their limit."""
    names = [f"{index:02}{'ö' * 78}" for index in range(50)]
    first = to_data(default())["activities"][3]
    role = to_data(default())["roles"][0] | {"weight_pct": 100, "activity_pct": {names[0]: 100}}
    long = small(activities=[first | {"name": name} for name in names], roles=[role])
    lists.open("?v=1&cores=20")
    before = lists.asked()
    lists.page.evaluate("text => window.crestline.openEdited(JSON.parse(text))", dump(long))
    lists.expect_all_painted(before)
    assert lists.text("link-note") == words.TOO_LONG_FOR_A_LINK
    assert lists.query() == ""
    assert lists.answer() == words.answer_sentence(assess(long))
    lists.unfold("Activities")
    assert lists.button("Add an activity").is_disabled()
    lists.press(f"Remove the activity {names[49]}")
    assert lists.button("Add an activity").is_enabled()
    expect(lists.box("activities[48].name")).to_have_value(names[48])
    assert json.loads(lists.page.evaluate("() => window.crestline.scenario()"))["activities"][48:]


def test_axe_finds_nothing_with_all_unfolded(new_context, server):
    """Lists, their help and their errors have no finding of WCAG 2.2 A or AA, in both looks."""
    page = new_context(bypass_csp=True).new_page()
    lists = Lists(page, server.url).open()
    for group in ("Activities", "Roles", "Day"):
        lists.unfold(group)
    for summary in page.locator(".explained > summary").all():
        summary.press("Enter")  # by the keyboard
    assert page.locator(".explained[open] dd:visible").count() > 20
    lists.fill_wrong("roles[1].activity_pct[0]", "30", "roles[1].activity_pct")
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        found = Axe().run(page, "#controls", {"runOnly": {"type": "tag", "values": tags}})
        assert found.violations_count == 0, found.generate_report()
