"""Does a refusal speak of what the page shows, and not of paths in the code?"""

import pytest

from app.refusals import field_name, refusal
from model.defaults import FIELDS
from model.errors import InputError
from model.scenario import default, from_data, to_data


@pytest.mark.parametrize(
    ("path", "name"),
    [("host.cores", "CPU cores"), ("roles[1].vcpus", "Role 2, vCPUs"),
     ("roles[0].weight_pct", "Role 1, share of the sessions"),
     ("roles[0].activity_pct.idle", "Role 1, habit, idle"),
     ("activities[8].frame_rate_hz", "Activity 9, frame rate"),
     ("activities[0].spans", "Activity 1, displays in motion"), ("roles[2]", "Role 3"),
     ("day.present_pct[2][1]", "Sessions present, point 3"), ("tags[0]", "Tag 1"),
     ("day.start", "Start of the day"),
     ("revisions[1].scenario.host.cores", "Revision 2, CPU cores"), ("zork", "zork")],
)  # fmt: skip
def test_field_has_the_name_of_the_page(path, name):
    """Rows are counted from 1, labels are those beside the controls, the unknown stays."""
    assert field_name(path) == name


def test_every_number_of_a_scenario_has_a_name():
    """No path of a number of the scenario reaches the page as it is."""
    for template in FIELDS:
        kind, dot, rest = template.partition(".")
        path = f"{kind}[0].{rest}" if dot and kind in ("activities", "roles") else template
        assert field_name(path) != path
        assert "_" not in field_name(path)


@pytest.mark.parametrize(
    ("value", "told"),
    [(0, "CPU cores is 0; expected a whole number."), (None, "CPU cores is missing; expected a "
     "whole number."), ("", "CPU cores is missing; expected a whole number.")],
)  # fmt: skip
def test_refusal_says_which_value_and_what_would_do(value, told):
    """A value is repeated, and one that is not there is called missing."""
    assert refusal(InputError("host.cores", value, "a whole number.")) == told


def test_refusal_of_the_model_is_retold():
    """What the model refuses is told with the page's name and the model's own range."""
    data = to_data(default())
    data["roles"][1]["vcpus"] = 1000
    with pytest.raises(InputError) as refused:
        from_data(data)
    expected = FIELDS["roles.vcpus"].expected
    assert refusal(refused.value) == f"Role 2, vCPUs is 1000; expected {expected}."
