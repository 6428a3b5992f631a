"""Does each input of a scenario have a control with its unit, its help, a place for its error?"""

from typing import Any

import pytest
from dash import no_update
from dash.development.base_component import Component

from app import ids, labels
from app.components.fields import value_at
from app.components.inputs import controls
from app.pages.host import edited
from model.defaults import FIELDS, MOST_ACTIVITIES, MOST_POINTS, MOST_ROLES
from model.errors import InputError
from model.scenario import Scenario, default, dump, from_data, to_data

SUMS = {"roles.activity_pct", "day.present_pct"}  # their controls are told by place


def parts(scenario: Scenario) -> list[Component]:
    """Return every part of the controls for a scenario."""
    return [part for top in controls(scenario) for part in [top, *top._traverse()]
            if isinstance(part, Component)]  # fmt: skip


def prop(part: Component, name: str) -> Any:
    """Return a property of a part, None where it has none."""
    return getattr(part, name, None)


def paths(found: list[Component]) -> list[str]:
    """Return the paths of all controls."""
    return [part.id["path"] for part in found if isinstance(prop(part, "id"), dict)]


def text_of(part: Any) -> str:
    """Return what a part and all in it say."""
    if isinstance(part, str | int | float):
        return str(part)
    if isinstance(part, list | tuple):
        return "".join(text_of(each) for each in part)
    return text_of(prop(part, "children") or "")


def buttons(found: list[Component], edit: str, kind: str) -> list[Component]:
    """Return the buttons that change a list."""
    return [part for part in found if prop(part, "data-edit") == edit
            and prop(part, "data-list") == kind]  # fmt: skip


def sized(activities: int, roles: int, points: int = 9) -> Scenario:
    """Return the example with so many activities, roles and points."""
    data = to_data(default())
    first, role = data["activities"][0], data["roles"][0]
    data["activities"] = [first | {"name": f"step {i}"} for i in range(activities)]
    data["roles"] = [
        role | {"name": f"team {i}", "weight_pct": 100 if i == 0 else 0,
                "activity_pct": {"step 0": 100}}
        for i in range(roles)
    ]  # fmt: skip
    clocks = [f"{minute // 60:02}:{minute % 60:02}" for minute in range(points)]
    data["day"]["present_pct"] = [[clock, 50] for clock in clocks]
    return from_data(data)


def test_every_input_has_one_control_that_holds_its_value():
    """Each number, text and choice of the scenario stands in exactly one control."""
    scenario = default()
    found = parts(scenario)
    there = paths(found)
    assert len(there) == len(set(there))
    templates = {path for path in FIELDS if path.split(".")[0] not in ("activities", "roles")}
    wanted = templates - SUMS | {"day.start", "day.end"}
    for kind, extra in (("activities", {"name", "spans"}), ("roles", {"name", "display"})):
        names = {path.split(".")[1] for path in FIELDS if path.startswith(f"{kind}.")} | extra
        for i in range(len(getattr(scenario, kind))):
            wanted |= {f"{kind}[{i}].{name}" for name in names - {"activity_pct"}}
    wanted |= {f"roles[{i}].activity_pct[{j}]" for i in range(4) for j in range(9)}
    wanted |= {f"day.present_pct[{i}][{j}]" for i in range(9) for j in (0, 1)}
    assert set(there) == wanted
    for part in found:
        if not isinstance(prop(part, "id"), dict) or "activity_pct[" in part.id["path"]:
            continue
        value = value_at(scenario, part.id["path"])
        if part._type == "Select":
            assert [each.value for each in part.children if each.selected] == [value]
        else:
            assert part.value == value, part.id


def test_habits_show_the_share_of_each_role_in_each_activity():
    """A share that a role does not have shows as 0; each row tells its sum."""
    scenario = default()
    found = parts(scenario)
    boxes = {part.id["path"]: part.value for part in found
             if isinstance(prop(part, "id"), dict) and part._type == "Input"}  # fmt: skip
    for i, role in enumerate(scenario.roles):
        for j, activity in enumerate(scenario.activities):
            share = role.activity_pct.get(activity.name, 0)
            assert boxes[f"roles[{i}].activity_pct[{j}]"] == share
        total = next(part for part in found if prop(part, "id") == f"sum-roles[{i}]")
        assert text_of(total) == "100 %"


def test_every_control_has_a_label_and_a_place_for_its_error():
    """Each control is named by one label, and the error that the model may raise has its place."""
    found = parts(default())
    labels = [part.htmlFor for part in found if part._type == "Label"]
    assert sorted(labels) == sorted(
        ids.in_page(part.id) for part in found if isinstance(prop(part, "id"), dict)
    )
    places = {str(prop(part, "id")).removeprefix("error-") for part in found
              if str(prop(part, "id")).startswith("error-")}  # fmt: skip
    for path in paths(found):
        row = path.rpartition("[")[0] if path.endswith("]") else path
        assert row in places, path


def test_every_number_is_explained_in_sight_of_the_keyboard():
    """What a number means, its range and its default's provenance are text, not a title alone."""
    told = " ".join(text_of(top) for top in controls(default()))
    for quantity in FIELDS.values():
        reach = f"{quantity.low:.10g} to {quantity.high:.10g} {quantity.unit}".strip()
        assert f"{quantity.meaning} {reach}. Default: {quantity.provenance}." in told
    for sentence in labels.TEXT_HELP.values():
        assert sentence in told


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [(1, "cards", "1 card"), (0, "cards", "0 cards"), (2, "cards", "2 cards"),
     (1, "sessions", "1 session"), (1, "cores", "1 core"), (1.5, "cores", "1.5 cores"),
     (1, "%", "1 %"), (1_000_000, "GiB", "1000000 GiB"), (0.25, "", "0.25"), (1, "-", "1")],
)  # fmt: skip
def test_one_is_singular(value, unit, shown):
    """One card is a card and not cards; large numbers are written out."""
    assert labels.amount(value, unit) == shown


def test_slider_tells_the_script_both_forms_of_its_unit():
    """The text beside the sliders of a small host is singular, and the script has the plural."""
    data = to_data(default()) | {"sessions": 1}
    data["host"]["cores"] = 1
    outputs = {part.id: part for part in parts(from_data(data)) if part._type == "Output"}
    for path, one, many in (("sessions", "session", "sessions"), ("host.cores", "core", "cores"),
                            ("accelerator.cards", "card", "cards")):  # fmt: skip
        output = outputs[f"shown-{path}"]
        assert text_of(output) == f"1 {one}"
        assert (prop(output, "data-unit-one"), prop(output, "data-unit")) == (one, many)


def test_last_row_cannot_be_removed():
    """The only activity, the only role and the last two points keep their rows."""
    found = parts(sized(1, 1, 2))
    for kind, count in (("activities", 1), ("roles", 1), ("day.present_pct", 2)):
        assert [each.disabled for each in buttons(found, "remove", kind)] == [True] * count
    found = parts(sized(2, 2, 3))
    for kind in ("activities", "roles", "day.present_pct"):
        assert not any(each.disabled for each in buttons(found, "remove", kind))


def test_full_list_takes_no_more():
    """A list that is as long as the model allows has its button switched off, and not before."""
    full = parts(sized(MOST_ACTIVITIES, 1, MOST_POINTS))
    for kind in ("activities", "day.present_pct"):
        assert [each.disabled for each in buttons(full, "add", kind)] == [True]
    assert [each.disabled for each in buttons(full, "add", "roles")] == [False]
    assert [each.disabled for each in buttons(parts(sized(1, MOST_ROLES)), "add", "roles")] == [
        True
    ]
    almost = parts(sized(MOST_ACTIVITIES - 1, 1, MOST_POINTS - 1))
    for kind in ("activities", "day.present_pct"):
        assert [each.disabled for each in buttons(almost, "add", kind)] == [False]


@pytest.mark.parametrize(
    ("size", "field"),
    [((MOST_ACTIVITIES + 1, 1), "activities"), ((1, MOST_ROLES + 1), "roles"),
     ((1, 1, MOST_POINTS + 1), "day.present_pct")],
)  # fmt: skip
def test_limits_on_the_page_are_those_of_the_model(size, field):
    """One entry more than the page allows is one more than the model allows."""
    with pytest.raises(InputError) as refused:
        sized(*size)
    assert refused.value.field == field


def test_changed_list_draws_its_controls():
    """A scenario with another list gives its own controls, and is marked as an edit."""
    scenario = sized(3, 2)
    drawn, base, notice = edited(dump(scenario))
    assert repr(drawn) == repr(controls(scenario))
    assert [each for each in paths(parts(scenario)) if each.endswith("].name")] == [
        "activities[0].name", "activities[1].name", "activities[2].name", "roles[0].name",
        "roles[1].name",
    ]  # fmt: skip
    assert base == {"scenario": to_data(scenario), "edited": True}
    assert notice == ""


def test_refused_list_leaves_the_controls():
    """A list that the model refuses leaves all as it is, and its field is named."""
    drawn, base, notice = edited(dump(default()).replace("full-screen video", "idle"))
    assert drawn is no_update
    assert notice is no_update
    assert base["error"]["field"] == "activities[8].name"
    assert "no other one has" in base["error"]["message"]
