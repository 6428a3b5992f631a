"""Does the printed sheet name every input of the scenario, with its unit?"""

from app.proposal import sheet
from model.defaults import FIELDS
from model.scenario import default, from_data, to_data


def told(scenario):
    """All labels and heads of the sheet, and all its values."""
    found = sheet(scenario)
    rows = [row for group in found["groups"] for row in group["rows"]]
    heads = [head for table in found["tables"] for head in table["head"]]
    cells = [cell for table in found["tables"] for row in table["rows"] for cell in row]
    return [label for label, _ in rows] + heads, [value for _, value in rows] + cells


def test_every_number_of_the_scenario_is_on_the_sheet():
    """There is a label for each number that a scenario holds, in lists and tables."""
    # Derived: one label for each field that `model.defaults` describes, and five inputs that have
    # no range: names of roles and activities, the display, displays in motion, hours of the day.
    labels, _ = told(default())
    others = {"Role", "Activity", "Display size [pixels]", "Displays in motion"}
    others.add("Hours of the day")
    assert len(labels) == len(FIELDS) + len(others)
    assert others < set(labels)


def test_changed_input_changes_the_sheet():
    """Each number that is changed shows as it was given, however small the change."""
    data = to_data(default())
    data["host"]["clock_ghz"] = 3.1234
    data["targets"]["max_wait_pct"] = 4.5
    data["activities"][2]["network_mbps"] = 0.61
    data["roles"][0]["memory_gib"] = 6.25
    _, before = told(default())
    _, after = told(from_data(data))
    changed = [now for was, now in zip(before, after, strict=True) if was != now]
    assert changed == ["3.1234", "4.5", "6.25", "0.61"]


def test_table_rows_fit_their_heads():
    """Each row of a table has a cell for each head."""
    for table in sheet(default())["tables"]:
        assert {len(row) for row in table["rows"]} == {len(table["head"])}
