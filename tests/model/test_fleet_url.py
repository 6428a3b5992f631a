"""Does a link bring back the fleet that it was made from, and does it say what is wrong?"""

from decimal import Decimal
from urllib.parse import quote

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from model.errors import InputError, LinkError
from model.fleet_inputs import FLEET_FIELDS, check_roles, from_data, to_data
from model.fleet_inputs import example as example_fleet
from model.fleet_url import example_for, from_text, to_text
from model.scenario import default
from model.scenario import from_data as scenario_from
from model.scenario import to_data as scenario_data
from tests.model.drawn import accelerator_data, host_data

ROLES = [role.name for role in default().roles]
NAMES = (
    st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")) | st.just(" "))
    .map(lambda text: " ".join(text.split())[:40].strip())
    .filter(lambda text: text and text.isprintable())
)


def with_roles(*names):
    """The example scenario with these roles instead of its own, all alike."""
    data = scenario_data(default())
    first = data["roles"][0]
    data["roles"] = [
        first | {"name": name, "weight_pct": round(100 / len(names), 2)} for name in names
    ]
    return scenario_from(data)


def money(path):
    """Amounts with two decimals over the whole range."""
    quantity = FLEET_FIELDS[path]
    return st.integers(0, int(quantity.high) * 100).map(lambda cents: str(Decimal(cents) / 100))


@st.composite
def fleets(draw):
    """Fleets with any names, roles that the scenario has and others, and any numbers."""

    def number(path, whole=False):
        low, high = FLEET_FIELDS[path].low, FLEET_FIELDS[path].high
        return draw(st.integers(int(low), int(high)) if whole else st.floats(low, high))

    roles = st.sampled_from([*ROLES, "somebody else", "role 5"])
    sessions = st.dictionaries(roles, st.integers(0, 1_000), max_size=5)
    named = draw(st.lists(NAMES, min_size=1, max_size=5, unique=True))
    sites = [{"name": name, "sessions": draw(sessions)} for name in named]
    sites[0]["sessions"][ROLES[0]] = 1
    choices = []
    for name in draw(st.lists(NAMES, min_size=1, max_size=4, unique=True)):
        idle = number("choices.idle_watts")
        choices.append(
            {
                "name": name,
                "host": draw(host_data()),
                "accelerator": draw(accelerator_data()),
                "rack_units": number("choices.rack_units", whole=True),
                "idle_watts": idle,
                "busy_watts": max(idle, number("choices.busy_watts")),
                "card_watts": number("choices.card_watts"),
                "host_price": draw(money("choices.host_price")),
                "card_price": draw(money("choices.card_price")),
                "yearly_cost_per_host": draw(money("choices.yearly_cost_per_host")),
            }
        )
    hours = draw(st.floats(1, 8_784))
    share = {"share_pct": number("spare.share_pct")}
    return from_data(
        {
            "sites": sites,
            "growth_pct_per_year": number("growth_pct_per_year"),
            "horizon_years": draw(st.integers(1, 3)),
            "discount_pct": number("discount_pct"),
            "spare": draw(st.sampled_from([{"hosts": 2}, share])),
            "drain_hosts": number("drain_hosts", whole=True),
            "choices": choices,
            "energy_price_per_kwh": draw(st.sampled_from(["0", "0.000001", "0.3125", "12"])),
            "overhead_factor": number("overhead_factor"),
            "hours_per_year": hours,
            "working_hours_per_year": draw(st.floats(0, hours)),
            "currency": draw(NAMES)[:20].strip(),
        }
    )


@settings(max_examples=150, deadline=None)
@given(fleets())
@example(example_fleet())
def test_text_brings_back_the_fleet(fleet):
    """A fleet comes back equal, to the last digit, from the text that it is written as."""
    assert from_text(to_text(fleet, default()), default()) == fleet


def test_example_needs_no_text():
    """The example is written as nothing, and what differs from it alone is written."""
    assert to_text(example_fleet(), default()) == ""
    assert from_text("", default()) == example_fleet()
    data = to_data(example_fleet()) | {"growth_pct_per_year": 3, "spare": {"share_pct": 12.5}}
    data["choices"][1]["host_price"] = 18500.5
    data["sites"][0]["sessions"]["berth planner"] = 281
    text = to_text(from_data(data), default())
    # Derived: by hand from the names in the module's docstring.
    assert text == "growth~3*spareshare~12.5*s0~North_quay~281_120_90*c1.price~18500.5*v~1"
    assert quote(text, safe="!*()'~") == text


def test_texts_with_signs_and_new_elements_are_written_plainly():
    """Blanks, joining signs and further sites and host choices have a place of their own."""
    data = to_data(example_fleet())
    data["sites"].append({"name": "Dock_1 ~*!", "sessions": {"training room": 0}})
    data["choices"].append({"name": "Tall host", "rack_units": 4})
    text = to_text(from_data(data), default())
    assert text == "sites~4*choices~3*s3~Dock!21_!3!4!1~___0*c2.name~Tall_host*c2.units~4*v~1"
    assert from_text(text, default()) == from_data(data)


def test_renamed_role_keeps_its_sessions():
    """Roles are told by their number, so a link follows a new name."""
    text = "s0~North_quay~281_120_90*v~1"
    renamed = with_roles("pilot", *ROLES[1:])
    fleet = from_text(text, renamed)
    assert dict(fleet.sites[0].sessions) == {
        "pilot": 281, "gatehouse clerk": 120, "chart drafter": 90,
    }  # fmt: skip
    assert to_text(fleet, renamed) == text
    assert dict(example_for(renamed).sites[1].sessions)["pilot"] == 60


def test_sessions_of_a_removed_role_are_kept():
    """A role that the scenario lost stays in the fleet under a name, and is refused when used."""
    few = with_roles("pilot", "gatehouse clerk")
    fleet = from_text("s0~North_quay~281_120_90*v~1", few)
    assert fleet.sites[0].sessions["role 3"] == 90
    text = to_text(fleet, few)
    assert text == "s0~North_quay~281_120*x0~role!23~90*v~1".replace("role!23", "role_3")
    assert from_text(text, few) == fleet
    with pytest.raises(InputError, match="role 3"):
        check_roles(fleet, few)
    back = with_roles("pilot", "gatehouse clerk", "role 3")
    assert from_text(text, back).sites[0].sessions["role 3"] == 90
    taken = with_roles("role 3", "gatehouse clerk")
    assert "removed role 3" in from_text("s0~North_quay~1_2_3*v~1", taken).sites[0].sessions


def test_text_cut_short_anywhere_is_refused():
    """No beginning of a text opens, so that none shows what was never meant."""
    text = "growth~3*s0~North_quay~281_120_90*c1.price~18500.5*v~1"
    for length in range(1, len(text)):
        with pytest.raises(LinkError) as refused:
            from_text(text[:length], default())
        assert refused.value.step == "cut short", text[:length]


@pytest.mark.parametrize(
    ("text", "step", "named"),
    [("growth~3", "cut short", "fleet is"), ("growth~3*v~2", "unknown version", "fleet.v is '2'"),
     ("growth*v~1", "malformed", "fleet is 'growth'"), ("~3*v~1", "malformed", "fleet is '~3'"),
     ("growth~3*growth~4*v~1", "malformed", "fleet.growth is '4'"),
     ("zork~3*v~1", "unknown field", "fleet.zork is '3'"),
     ("c0.zork~3*v~1", "unknown field", "fleet.c0.zork is '3'"),
     ("c0~3*v~1", "unknown field", "fleet.c0 is '3'"),
     ("s7~Quay~1*v~1", "unknown field", "fleet.s7 is 7"),
     ("c2.price~1*v~1", "unknown field", "fleet.c2.price is 2"),
     ("sites~0*v~1", "out of range", "fleet.sites is 0"),
     ("choices~9*v~1", "out of range", "fleet.choices is 9"),
     ("choices~two*v~1", "malformed", "fleet.choices is 'two'"),
     ("sites~4*v~1", "malformed", "fleet.s3 is None"),
     ("choices~3*v~1", "malformed", "fleet.c2 is None"),
     ("choices~3*c2.units~4*v~1", "out of range", "fleet.choices.2..name is None"),
     ("s0~Quay*v~1", "malformed", "fleet.s0 is 'Quay'"),
     ("s0~Quay~1_many*v~1", "malformed", "fleet.s0 is '1_many'"),
     ("s0~Quay~-1*v~1", "out of range", "fleet.sites.0..sessions.berth planner is -1"),
     ("s0~Qu!9ay~1*v~1", "malformed", "fleet.s0 is 'Qu!9ay'"),
     ("s0~Lock_island~1*v~1", "out of range", "fleet.sites.1..name is 'Lock island'"),
     ("x0~clerk~1_2_3_4*v~1", "malformed", "fleet.x0 is"),
     ("x0~berth_planner~1*v~1", "malformed", "fleet.x0 is 'berth planner'"),
     ("growth~NaN*v~1", "malformed", "fleet.growth is 'NaN'"),
     ("growth~101*v~1", "out of range", "fleet.growth_pct_per_year is 101"),
     ("spare~1*spareshare~5*v~1", "out of range", "fleet.spare is 'both'"),
     ("c0.price~1.005*v~1", "out of range", "host_price is '1.005'"),
     ("c0.busy~1*v~1", "out of range", "busy_watts is 1"),
     ("currency~*v~1", "out of range", "fleet.currency is")],
)  # fmt: skip
def test_wrong_text_is_named(text, step, named):
    """What cannot be read is refused by its item and value, and by the step that failed."""
    with pytest.raises(LinkError, match=named) as refused:
        from_text(text, default())
    assert refused.value.step == step
