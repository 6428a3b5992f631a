"""Does a link open the scenario that it was made from, and does any other text explain itself?"""

import json
import string
from pathlib import Path
from urllib.parse import parse_qsl, urlsplit

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from model import scenario_url
from model.defaults import FIELDS
from model.errors import InputError, LinkError
from model.scenario import default, from_data, to_data
from model.scenario_url import LONGEST_LINK, from_query, to_query
from tests.model.drawn import extreme_scenarios, scenarios

KEPT = Path(__file__).resolve().parents[1] / "references" / "link_version_1.json"


def changed(**changes):
    """Return the default scenario's data with some of its parts replaced."""
    return to_data(default()) | changes


# ----------------------------------------------------------------------------- there and back


def test_default_scenario_needs_no_query():
    """The default scenario's link is the bare address."""
    assert to_query(default()) == ""


@pytest.mark.parametrize("text", ["", "?", "v=1", "?v=1"])
def test_bare_address_opens_the_default(text):
    """An address without values opens the default scenario."""
    assert from_query(text) == default()


@settings(max_examples=80)
@given(scenarios())
def test_everyday_scenario_comes_back_exactly(scenario):
    """A scenario with everyday numbers comes back equal from its link."""
    assert from_query(to_query(scenario)) == scenario


@settings(max_examples=80)
@given(extreme_scenarios())
def test_extreme_scenario_comes_back_exactly(scenario):
    """Every digit of every number, and every sign of every name, comes back from the link."""
    query = to_query(scenario)

    assert from_query(query) == scenario
    assert from_query(f"?{query}") == scenario
    assert to_query(from_query(query)) == query
    assert query.isascii()


@given(extreme_scenarios())
@settings(max_examples=30)
def test_link_is_a_query_as_other_programs_read_it(scenario):
    """The link survives being taken apart and put together as part of a whole address."""
    query = to_query(scenario)
    address = urlsplit(f"http://127.0.0.1:8050/?{query}")

    assert address.query == query
    assert address.fragment == ""
    pairs = parse_qsl(query, strict_parsing=True)
    assert len(pairs) == len({name for name, _ in pairs}) == query.count("&") + 1


def test_few_changes_make_a_short_readable_link():
    """Two sliders moved give two values and the version."""
    data = changed(sessions=120)
    data["host"]["cores"] = 48

    assert to_query(from_data(data)) == "n=120&cores=48&v=1"


def test_values_stand_in_any_order():
    """A link whose version stands first opens as well."""
    assert from_query("v=1&n=120&cores=48") == from_query("n=120&cores=48&v=1")


def test_demonstration_link_is_below_300_characters():
    """A handful of changes, one role's habit and the presence curve included, stays short."""
    data = changed(name="Pier 7, night shift", sessions=140)
    data["host"] |= {"cores": 64, "clock_ghz": 2.45}
    data["accelerator"] |= {"cards": 2, "share_pct": 60}
    data["activities"][3]["software_ms_per_frame"] = 28.5
    data["roles"][0]["weight_pct"], data["roles"][1]["weight_pct"] = 40, 25
    data["roles"][1]["activity_pct"] = {"idle": 20, "typing and reading": 50, "media player": 30}
    data["day"]["present_pct"][1] = ["08:30", 72.5]
    scenario = from_data(data)

    query = to_query(scenario)
    assert len(query) < 300
    assert from_query(query) == scenario


def test_custom_mix_is_below_2000_characters():
    """Eight roles and ten activities, all of them the visitor's own, fit into one line."""
    activities = [
        {
            "name": f"dock survey step {index}",
            "dwell_s": 45 + index,
            "app_burst_ms": 12.5,
            "app_bursts_per_s": 7.25,
            "frame_rate_hz": 24,
            "changed_pixels_pct": 35.5,
            "spans": "all",
            "software_ms_per_frame": 21.75,
            "offloaded_ms_per_frame": 2.35,
            "network_mbps": 4.5,
        }
        for index in range(10)
    ]
    roles = [
        {
            "name": f"surveyor of area {index}",
            "weight_pct": 12.5,
            "vcpus": 4,
            "displays": 2,
            "display": "2560x1440",
            "memory_gib": 8,
            "gpu_memory_gib": 0.5,
            "activity_pct": {activity["name"]: 10 for activity in activities},
        }
        for index in range(8)
    ]
    scenario = from_data(changed(activities=activities, roles=roles))

    query = to_query(scenario)
    assert len(query) < 2000
    assert from_query(query) == scenario


def test_renamed_activity_keeps_the_roles_habits():
    """A new name of an activity is one value in the link; the roles' shares follow it."""
    data = changed()
    data["activities"][3]["name"] = "07:00 ~ _ + & = % ü"
    for role in data["roles"]:
        if "scrolling documents" in role["activity_pct"]:
            share = role["activity_pct"].pop("scrolling documents")
            role["activity_pct"][data["activities"][3]["name"]] = share
    scenario = from_data(data)

    query = to_query(scenario)
    assert query.count("=") == 2
    assert from_query(query) == scenario


@pytest.mark.parametrize("share", [{"idle": 0.0}, {}])
def test_no_share_and_share_of_zero_stay_apart(share):
    """A role's share of 0 is not the same as none, and both come back as they were."""
    data = changed()
    data["roles"][0]["activity_pct"] = {"typing and reading": 100.0} | share
    scenario = from_data(data)

    assert from_query(to_query(scenario)).roles[0].activity_pct == scenario.roles[0].activity_pct


def test_scenario_too_large_for_a_link_says_so():
    """A scenario whose link could not be read back is refused when the link is made."""
    names = [f"{index:02}{'ö' * 78}" for index in range(50)]
    activities = [to_data(default())["activities"][0] | {"name": name} for name in names]
    roles = [
        to_data(default())["roles"][0] | {"activity_pct": {names[0]: 100}, "name": names[index]}
        for index in range(4)
    ]
    for role in roles:
        role["weight_pct"] = 25

    with pytest.raises(InputError, match=str(LONGEST_LINK)):
        to_query(from_data(changed(activities=activities, roles=roles)))


# ------------------------------------------------------------------------------ kept for ever


@pytest.mark.parametrize("kept", json.loads(KEPT.read_text("utf-8")), ids=lambda kept: kept["for"])
def test_link_given_away_once_opens_the_same_numbers(kept):
    """A link of version 1 opens the scenario that it opened when it was first kept."""
    # Pinned: these links and their scenarios were kept when version 1 was made. A number that
    # scenarios got later is not in them, and stands at its default.
    assert from_query(kept["query"]) == from_data(kept["scenario"])
    assert set(kept["scenario"]) <= set(to_data(from_query(kept["query"])))


def test_field_that_came_later_stands_alone_in_a_link(monkeypatch):
    """A link from before an activity had a number opens with its default, and one with it in full.

    Here the display stream plays a number that came after the first release.
    """
    monkeypatch.setitem(scenario_url._IN_WHOLE, "a", 9)
    data = changed()
    whole = "scrolling documents~40~8~14~25~80~one~30~3"
    data["activities"][3] |= {
        "dwell_s": 40, "app_burst_ms": 8, "app_bursts_per_s": 14, "frame_rate_hz": 25,
        "changed_pixels_pct": 80, "software_ms_per_frame": 30, "offloaded_ms_per_frame": 3,
        "network_mbps": FIELDS["activities.network_mbps"].value,
    }  # fmt: skip
    later = changed()
    later["activities"][3] = data["activities"][3] | {"network_mbps": 7}
    written = f"a3={whole.replace(' ', '+')}"

    assert to_query(from_data(data)).replace("%7E", "~") == f"{written}&v=1"
    assert from_query(f"a3={whole}&v=1") == from_data(data)
    assert to_query(from_data(later)).replace("%7E", "~") == f"{written}&a3.mbps=7&v=1"
    assert from_query(f"a3.mbps=7&a3={whole}&v=1") == from_data(later)
    with pytest.raises(LinkError, match=r"all fields in a3 or each alone"):
        from_query(f"a3={whole}&a3.soft=1&v=1")


# -------------------------------------------------------------------------------- wrong links

WRONG = [
    # link, step, part of the message that names the field, part that says what would do
    ("n=120", "cut short", "v is None", "v=1"),
    ("n=120&cores=48&v", "cut short", "v is 'v'", "a name, an equals sign and a value"),
    ("n=120&cores=48&v=", "cut short", "v is 'v='", "a name, an equals sign and a value"),
    ("n=120&cor", "cut short", "cor is", "a name, an equals sign and a value"),
    ("name=Pier%2", "cut short", "name is 'name=Pier%2'", "a name, an equals sign and a value"),
    ("v=2&n=120", "unknown version", "v is '2'", "1, the version"),
    ("v=2&what=ever", "unknown version", "v is '2'", "1, the version"),
    ("v=01&n=120", "unknown version", "v is '01'", "1, the version"),
    ("v=1&seats=120", "unknown field", "seats is '120'", "n or cores"),
    ("v=1&N=120", "unknown field", "N is '120'", "n or cores"),
    ("v=1&a3.sofa=1", "unknown field", "a3.sofa is '1'", "n or cores"),
    ("v=1&a03.soft=1", "unknown field", "a03.soft is '1'", "n or cores"),
    ("v=1&a9.soft=1", "unknown field", "a9.soft is '1'", "below 9"),
    ("v=1&nr=2&r2.w=1", "unknown field", "r2.w is '1'", "below 2"),
    ("v=1&n=1&n=2", "malformed", "n is '2'", "one value; '1' stands before"),
    ("v=1&v=1", "malformed", "v is '1'", "one value"),
    ("v=1&&n=1", "malformed", "link is ''", "a name, an equals sign and a value"),
    ("v=1&=1&n=1", "malformed", "link is '=1'", "a name, an equals sign and a value"),
    ("name=%zz&v=1", "malformed", "name is 'name=%zz'", "a name, an equals sign and a value"),
    ("name=%ff&v=1", "malformed", "name is", "UTF-8"),
    ("v=1&n=many", "malformed", "sessions is 'many'", "from 1 to 100000 sessions"),
    ("v=1&n=nan", "malformed", "sessions is 'nan'", "from 1 to 100000 sessions"),
    ("v=1&smt=inf", "malformed", "host.smt_yield is 'inf'", "from 0 to 1 of a core"),
    ("v=1&smt=0x1", "malformed", "host.smt_yield is '0x1'", "from 0 to 1 of a core"),
    ("v=1&smt=1_0", "malformed", "host.smt_yield is '1_0'", "from 0 to 1 of a core"),
    ("v=1&smt=+1", "malformed", "host.smt_yield is ' 1'", "from 0 to 1 of a core"),
    ("v=1&n=" + "9" * 5000, "malformed", "sessions is '999", "from 1 to 100000 sessions"),
    ("v=1&na=some", "malformed", "na is 'some'", "from 1 to 50"),
    ("v=1&na=10", "malformed", "a9 is None", "all its fields"),
    ("v=1&na=10&a9.soft=1", "malformed", "a9 is None", "all its fields"),
    ("v=1&a3=swim~1", "malformed", "a3 is 'swim~1'", "10 fields"),
    ("v=1&r3=swim~1", "malformed", "r3 is 'swim~1'", "8 fields"),
    ("v=1&a3.soft=1&a3=swim~1~1~1~1~1~one~1~1~1", "malformed", "a3.soft is '1'", "each alone"),
    ("v=1&a3=swim~1~1~x~1~1~one~1~1~1", "malformed", "activities[3].app_bursts_per_s", "1000 1/s"),
    ("v=1&r0.p=1_2_x", "malformed", "roles[0].activity_pct is 'x'", "from 0 to 100 %"),
    ("v=1&r0.p=10_10_10_10_10_10_10_10_10_10", "malformed", "r0.p is '10 shares'", "at most 9"),
    ("v=1&present=0700", "malformed", "day.present_pct[0] is '0700'", "0730-60"),
    ("v=1&present=0700-x", "malformed", "day.present_pct[0] is 'x'", "from 0 to 100 %"),
    ("v=1&n=0", "out of range", "sessions is 0", "from 1 to 100000 sessions"),
    ("v=1&n=100001", "out of range", "sessions is 100001", "from 1 to 100000 sessions"),
    ("v=1&cores=2.5", "out of range", "host.cores is 2.5", "a whole number from 1 to 4096 cores"),
    ("v=1&smt=-0.1", "out of range", "host.smt_yield is -0.1", "from 0 to 1 of a core"),
    ("v=1&smt=1e999", "out of range", "host.smt_yield is inf", "from 0 to 1 of a core"),
    ("v=1&na=0", "out of range", "na is 0", "from 1 to 50"),
    ("v=1&nr=51", "out of range", "nr is 51", "from 1 to 50"),
    ("v=1&a3.spans=two", "out of range", "activities[3].spans is 'two'", "'one' or 'all'"),
    ("v=1&a3.name=idle", "out of range", "activities[3].name is 'idle'", "no other one has"),
    ("v=1&r0.display=10x10", "out of range", "roles[0].display is '10x10'", "1920x1080"),
    ("v=1&r0.w=36", "out of range", "roles.weight_pct is 'a total of 101'", "100 %"),
    ("v=1&r0.p=50_49", "out of range", "roles[0].activity_pct is 'a total of 99'", "100 %"),
    ("v=1&start=2500", "out of range", "day.start is '25:00'", "07:30"),
    ("v=1&start=early", "out of range", "day.start is 'early'", "07:30"),
    ("v=1&end=0600", "out of range", "day.end is '06:00'", "after the start"),
    ("v=1&present=0900-1_0800-2", "out of range", "day.present_pct[1] is '08:00'", "after the one"),
    ("v=1&name=%0A", "out of range", "name is '\\n'", "printable text"),
    ("x" * 16_000, "cut short", "xxx is 'xxx", "a name, an equals sign and a value"),
    ("x" * 8_000 + "=" + "y" * 8_000 + "&v=1", "unknown field", "xxx is 'yyy", "n or cores"),
    (f"n={'y' * 4000}&n={'y' * 4000}&v=1", "malformed", "n is 'yyy", "stands before"),
    (f"{'x' * 8000}=1&{'x' * 8000}.x=1&v=1", "unknown field", "xxx is '1'", "n or cores"),
    ("n=1&" * 4096 + "v=1", "malformed", "link is '16387 characters'", "at most 16384"),
]


@pytest.mark.parametrize(
    ("link", "step", "told", "expected"), WRONG, ids=[link[:40] for link, *_ in WRONG]
)
def test_wrong_link_says_what_is_wrong(link, step, told, expected):
    """A wrong link is refused in one sentence with field, value, range and the step that failed."""
    with pytest.raises(LinkError) as refused:
        from_query(link)

    message = str(refused.value)
    assert refused.value.step == step
    assert told in message
    assert expected in message
    assert message.isprintable()
    assert len(message) < 300


def test_value_that_the_model_refuses_keeps_its_cause():
    """The error of a link out of range carries the model's own error."""
    with pytest.raises(LinkError) as refused:
        from_query("v=1&cores=0")

    cause = refused.value.__cause__
    assert isinstance(cause, InputError)
    assert not isinstance(cause, LinkError)
    assert cause.field == refused.value.field == "host.cores"


@pytest.mark.parametrize("given_", [None, b"v=1", 7])
def test_what_is_no_text_is_no_link(given_):
    """Anything but text is refused like a wrong link."""
    with pytest.raises(LinkError):
        from_query(given_)


def test_link_that_was_cut_short_anywhere_is_refused():
    """No beginning of a link opens, so that none shows a number that was never meant."""
    data = changed(name="Pier 7", sessions=140)
    data["host"]["cores"] = 48
    data["roles"][0]["weight_pct"], data["roles"][1]["weight_pct"] = 40, 25
    query = to_query(from_data(data))

    for length in range(1, len(query)):
        with pytest.raises(LinkError) as refused:
            from_query(query[:length])
        assert refused.value.step == "cut short", query[:length]


KEYS = ["v", "n", "na", "nr", "a3", "a3.soft", "r0", "r0.p", "r0.w", "present", "name", "start"]
LIKELY = st.lists(
    st.tuples(st.sampled_from(KEYS), st.text(string.digits + "~_-.e%+ x", max_size=20)), max_size=5
).map(lambda pairs: "v=1&" + "&".join(f"{key}={value}" for key, value in pairs))


@settings(max_examples=400)
@given(st.one_of(st.text(), st.text(string.printable), LIKELY))
@example("\ud800=\ud800&v=1")
@example("v=1&name=\ud800")
@example("v=1&name=\x00")
@example("v=1&n=٣")
@example("v=1&start=٠٧٠٠")
@example("v=1&r0.p=_")
@example("v=1&a3=~~~~~~~~~")
@example("v=1&r0=~~~~~~~")
def test_any_text_opens_or_is_refused_as_a_link(text):
    """No text does anything but open as a scenario or be refused in one line."""
    step, message, scenario = opened(text)

    if scenario is None:
        assert step in STEPS
        assert message.isprintable()
    else:
        assert from_query(to_query(scenario)) == scenario


STEPS = {"cut short", "unknown version", "unknown field", "malformed", "out of range"}


def opened(text):
    """Return the step that failed and its message, or the scenario."""
    try:
        return "", "", from_query(text)
    except LinkError as error:
        return error.step, str(error), None
