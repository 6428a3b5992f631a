"""Do measured costs get into a scenario, and does the scenario keep where they came from?"""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.errors import InputError, LinkError
from model.evidence.calibration import Level, ScenarioChange, apply_changes, measured_bounds
from model.evidence.calibration_desktop import ActivityLevels, changes_from
from model.evidence.calibration_host import changes_from_demands
from model.evidence.demands import estimate_demands
from model.hosts import ARMS, kinds
from model.scenario import (
    MEASURABLE,
    Measured,
    canonical,
    default,
    from_data,
    load,
    measured_path,
    to_data,
)
from model.scenario_url import from_query, to_query
from model.targets import rated_load
from tests.model.drawn import extreme_scenarios, scenarios

SCROLLING = "scrolling documents"
SOFTWARE = measured_path(SCROLLING, "software_ms_per_frame")
OFFLOADED = measured_path(SCROLLING, "offloaded_ms_per_frame")
MEASURED = ActivityLevels(
    SCROLLING,
    encode_off_cores=Level(0.9, 0.85, 0.95),
    encode_on_cores=Level(0.06, 0.05, 0.07),
    frames_off_hz=Level(30.0, 30.0, 30.0),
    frames_on_hz=Level(30.0, 30.0, 30.0),
)


def proposed(levels=MEASURED, scenario=None, role=1, **more):
    """Return the proposal for one activity, measured on a desktop of one of the roles."""
    scenario = scenario or default()
    return changes_from([levels], scenario, scenario.roles[role], "office.csv", **more)


def by_path(proposal):
    """Return the changes of a proposal by their path."""
    return {change.path: change for change in proposal.changes}


def marked(**changes):
    """Return the example with one measured number, some fields of the mark replaced."""
    scenario = default()
    mark = {
        "path": SOFTWARE, "value": 31.0, "low": 28.0, "high": 34.0, "source": "office.csv",
    } | changes  # fmt: skip
    return from_data(to_data(scenario) | {"measured": [mark]})


# ------------------------------------------------------------------------------ the proposal


def test_cost_of_a_frame_is_cpu_over_frames():
    """Encoder CPU over delivered frames is proposed as the cost of a frame, each way."""
    changes = by_path(proposed())

    # Derived: 0.9 core s/s at 30 frames/s are 30 core-ms, 0.06 are 2.
    software, offloaded = changes[SOFTWARE], changes[OFFLOADED]
    assert (software.before, software.after) == (31.0, 30.0)
    assert (offloaded.before, offloaded.after) == (2.6, 2.0)
    # Derived: frames without spread leave the relative interval of the CPU.
    assert (software.low, software.high) == (pytest.approx(28.33), pytest.approx(31.67))
    assert software.log == "office.csv"
    assert software.sentence == (
        "scrolling documents: CPU to encode a frame without a card from 31 to 30 core-ms "
        "(28.33 to 31.67; office.csv)."
    )


def test_cost_is_that_of_a_reference_display_and_core():
    """Larger displays and faster cores than the reference are taken off."""
    scenario = default()  # the drafter has displays of 1920x1200 and scrolls on one
    drafter = by_path(proposed(role=2))[SOFTWARE]
    fast = by_path(proposed(clock_ghz=3.6, relative_ipc=1.25))[SOFTWARE]
    data = to_data(scenario)
    data["activities"][3]["spans"] = "all"
    both = by_path(proposed(scenario=from_data(data), role=0))[SOFTWARE]

    # Derived: 30 core-ms times 1080/1200; times 3.6/3.0 and 1.25; halved for two displays.
    assert drafter.after == pytest.approx(27)
    assert fast.after == pytest.approx(45)
    assert both.after == pytest.approx(15)


def test_intervals_of_cpu_and_frames_join():
    """The interval of a cost is that of CPU and of frames together."""
    levels = ActivityLevels(
        SCROLLING, encode_off_cores=Level(0.9, 0.873, 0.927), frames_off_hz=Level(30, 28.8, 31.2)
    )
    change = by_path(proposed(levels))[SOFTWARE]

    # Derived: 3 % and 4 % join to 5 %.
    assert (change.low, change.high) == (pytest.approx(28.5), pytest.approx(31.5))


def test_frames_wanted_are_those_of_the_better_state():
    """Frames that the CPU could not deliver without offload are still wanted."""
    levels = ActivityLevels(
        SCROLLING, frames_off_hz=Level(22, 20, 24), frames_on_hz=Level(29.5, 29, 30)
    )
    change = by_path(proposed(levels))[measured_path(SCROLLING, "frame_rate_hz")]

    assert (change.after, change.low, change.high) == (29.5, 29, 30)


def test_work_of_the_application_is_the_rest():
    """The desktop's CPU less the encoder's goes to the application's bursts."""
    levels = ActivityLevels(
        SCROLLING,
        encode_on_cores=Level(0.06, 0.06, 0.06),
        frames_on_hz=Level(30, 30, 30),
        desktop_on_cores=Level(0.21, 0.18, 0.24),
    )
    change = by_path(proposed(levels))[measured_path(SCROLLING, "app_burst_ms")]

    # Derived: 0.15 core s/s in 15 bursts a second are 10 core-ms, give or take 2.
    assert change.after == pytest.approx(10)
    assert (change.low, change.high) == (pytest.approx(8), pytest.approx(12))


@pytest.mark.parametrize(
    ("levels", "told"),
    [
        (ActivityLevels("juggling"), 'no activity "juggling"'),
        (ActivityLevels(SCROLLING, encode_off_cores=Level(1, 1, 1)), "frames were not counted"),
        (
            ActivityLevels(
                SCROLLING, encode_off_cores=Level(1, 1, 1), frames_off_hz=Level(1, 0, 2)
            ),
            "may have been none",
        ),
        (
            ActivityLevels(
                SCROLLING, encode_off_cores=Level(90, 90, 90), frames_off_hz=Level(2, 2, 2)
            ),
            "from 0 to 10000 core-ms",
        ),
        (ActivityLevels(SCROLLING), "no level of the encoder's CPU"),
    ],
)
def test_what_cannot_be_used_is_told(levels, told):
    """A level that gives no cost is told in a note and proposes nothing of the kind."""
    proposal = proposed(levels)

    assert told in " ".join(proposal.notes)
    assert SOFTWARE not in by_path(proposal)


def test_level_outside_its_interval_is_refused():
    """A mean that lies outside its own interval is no level."""
    for level in ((1, 2, 3), (4, 2, 3), (float("nan"), 0, 1)):
        with pytest.raises(InputError):
            Level(*level)


# ----------------------------------------------------------------- demands of a host's total


def host_log(arm):
    """Return demands found in a log that the example itself made, without noise."""
    scenario = from_data(
        to_data(default())
        | {"accelerator": default().accelerator.model_dump() | {"displays_per_card": 10_000}}
    )
    of = kinds(scenario)
    names = [activity.name for activity in scenario.activities]
    rng = np.random.default_rng(2)
    state_of = rng.multinomial(60, of.chance / of.chance.sum(), 3_000)
    wanted = of.demand[of.first] if arm == "software" else of.demand[of.first + of.moving]
    total = state_of @ wanted
    counts = np.stack([state_of[:, of.activity == a].sum(axis=1) for a in range(len(names))], 1)
    return scenario, estimate_demands(total, counts, names, 1.0, base_cores=0)


@pytest.mark.parametrize("arm", ARMS)
def test_demands_made_by_a_scenario_give_its_costs_back(arm):
    """A total that the scenario itself made leads back to the scenario's costs."""
    scenario, demands = host_log(arm)
    number = "software_ms_per_frame" if arm == "software" else "offloaded_ms_per_frame"

    proposal = changes_from_demands(demands, scenario, arm, "host.csv")
    changes = by_path(proposal)

    checked = 0
    for activity in scenario.activities:
        change = changes.get(measured_path(activity.name, number))
        # Where encoding asks for more than a core the host gives less than is asked for.
        if change is not None and activity.software_ms_per_frame < 26:
            assert change.after == pytest.approx(change.before, rel=0.05)
            checked += 1
    assert checked >= 4
    idle = changes[measured_path("idle", "app_burst_ms")]
    assert idle.after == pytest.approx(4, rel=0.1, abs=0.5)


def test_card_that_not_all_may_use_gives_no_cost():
    """Where only some may use the card, a total does not tell the cost with it."""
    scenario, demands = host_log("offloaded")
    card = scenario.accelerator.model_dump() | {"share_pct": 50}
    shared = from_data(to_data(scenario) | {"accelerator": card})

    proposal = changes_from_demands(demands, shared, "offloaded", "host.csv")

    assert proposal.changes == ()
    assert "Not every session may use the card" in proposal.notes[0]


def test_total_below_the_application_is_told():
    """A demand smaller than the scenario's application alone is told, not turned negative."""
    scenario, demands = host_log("software")
    data = to_data(scenario)
    data["activities"][3]["app_burst_ms"] = 500

    proposal = changes_from_demands(demands, from_data(data), "software", "host.csv")

    assert any("less than the application alone" in note for note in proposal.notes)


def test_unknown_arm_is_refused():
    """An arm that does not exist is refused by name."""
    _, demands = host_log("software")
    with pytest.raises(InputError, match="arm"):
        changes_from_demands(demands, default(), "both", "host.csv")


# ---------------------------------------------------------------------------- in the scenario


def test_accepted_changes_are_made_and_marked():
    """Only accepted changes are made; each is marked with its interval and its log."""
    changes = by_path(proposed())

    scenario = apply_changes(default(), [changes[SOFTWARE]])

    activity = scenario.activities[3]
    assert activity.software_ms_per_frame == 30.0
    assert activity.offloaded_ms_per_frame == default().activities[3].offloaded_ms_per_frame
    (mark,) = scenario.measured
    assert (mark.path, mark.value, mark.source) == (SOFTWARE, 30.0, "office.csv")
    assert (mark.activity, mark.number_name) == (SCROLLING, "software_ms_per_frame")
    assert mark.low < mark.value < mark.high
    assert apply_changes(default(), []) == default()


def test_later_log_takes_the_place_of_an_earlier_one():
    """A number measured again has the mark of the later log, and other marks stay."""
    first = apply_changes(default(), proposed().changes)
    change = by_path(proposed())[SOFTWARE]
    again = ScenarioChange(SOFTWARE, 30.0, 29.0, 28.0, 29.5, "second.csv", "")

    scenario = apply_changes(first, [change, again])

    sources = {mark.path: mark.source for mark in scenario.measured}
    assert sources[SOFTWARE] == "second.csv"
    assert sources[OFFLOADED] == "office.csv"
    assert scenario.activities[3].software_ms_per_frame == 29.0


def test_change_for_a_missing_activity_is_refused():
    """A change to an activity that the scenario does not have names it."""
    path = measured_path("juggling", "software_ms_per_frame")
    with pytest.raises(InputError, match="juggling"):
        apply_changes(default(), [ScenarioChange(path, 1, 2, 1, 3, "log", "")])


def test_name_of_the_log_is_made_fit_for_a_mark():
    """A log's name with line ends or of great length still marks what was measured."""
    name = "a\nlog " + "x" * 200
    scenario = default()
    proposal = changes_from([MEASURED], scenario, scenario.roles[1], name)

    (source,) = {mark.source for mark in apply_changes(scenario, proposal.changes).measured}

    assert source.startswith("a log xxx")
    assert source.endswith("...")
    assert len(source) <= 120


def test_bounds_have_all_measured_numbers_at_their_ends():
    """The bounds of a scenario enclose its answer on both arms."""
    scenario = apply_changes(default(), proposed().changes)
    low, high = measured_bounds(scenario)

    assert low.activities[3].software_ms_per_frame == pytest.approx(28.33)
    assert high.activities[3].software_ms_per_frame == pytest.approx(31.67)
    assert low.measured == high.measured == ()
    for arm in ARMS:
        loads = [rated_load(each, arm).rated_load for each in (high, scenario, low)]
        assert loads == sorted(loads)
    assert measured_bounds(default()) == (default(), default())


# -------------------------------------------------------------------------- marks and links


def test_scenario_without_measurements_reads_as_before():
    """A scenario without measurements has neither the field in its file nor a key in its link."""
    assert "measured" not in to_data(default())
    assert "measured" not in canonical(default())
    assert from_data(to_data(default()) | {"measured": []}) == default()


def test_mark_comes_back_from_file_and_link():
    """A measured number, its interval and its log come back from file and link."""
    scenario = apply_changes(default(), proposed().changes)

    assert load(json.dumps(to_data(scenario))) == scenario
    query = to_query(scenario)
    assert from_query(query) == scenario
    assert "m.a3.soft=28.33~31.67~office.csv" in query
    assert query.endswith("v=1")


NUMBERS = st.floats(0, 1e9, allow_subnormal=False)
PRINTABLE = st.characters(exclude_categories=("C", "Z"), include_characters=" ")
SOURCES = st.text(PRINTABLE, max_size=118).map(lambda middle: f"a{middle}b")


@settings(max_examples=60, deadline=None)
@given(st.one_of(scenarios(), extreme_scenarios()), st.data())
def test_any_mark_comes_back_exactly(scenario, data):
    """Marks of any numbers, with any log's name, come back to the last digit."""
    marks = []
    for activity in scenario.activities[:3]:
        for name in data.draw(st.sets(st.sampled_from(MEASURABLE))):
            value = getattr(activity, name)
            below, above = data.draw(NUMBERS), data.draw(NUMBERS)
            marks.append(
                {
                    "path": measured_path(activity.name, name), "value": value,
                    "low": min(below, value), "high": max(above, value),
                    "source": data.draw(SOURCES),
                }
            )  # fmt: skip
    scenario = from_data(to_data(scenario) | {"measured": marks})

    assert len(scenario.measured) == len(marks)
    assert load(canonical(scenario)) == scenario
    query = to_query(scenario)
    assert from_query(query) == scenario
    assert to_query(from_query(query)) == query


def test_number_changed_by_hand_is_no_longer_measured():
    """A number that someone moved, or whose activity is gone or renamed, loses its mark."""
    data = to_data(marked())
    moved = json.loads(json.dumps(data))
    moved["activities"][3]["software_ms_per_frame"] = 32
    renamed = json.loads(json.dumps(data))
    renamed["activities"][3]["name"] = "reading plans"
    for role in renamed["roles"]:
        habit = role["activity_pct"]
        role["activity_pct"] = {
            "reading plans" if name == SCROLLING else name: share for name, share in habit.items()
        }

    assert len(from_data(data).measured) == 1
    assert from_data(moved).measured == ()
    assert from_data(renamed).measured == ()


def test_marks_stand_in_the_order_of_the_activities():
    """Equal marks give equal text, in whichever order they were made."""
    scenario = apply_changes(default(), proposed().changes)
    turned = to_data(scenario)
    turned["measured"].reverse()

    assert canonical(from_data(turned)) == canonical(scenario)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"low": 32.0}, "low"),
        ({"high": 30.0}, "high"),
        ({"value": -1.0}, "value"),
        ({"source": ""}, "source"),
        ({"source": "x" * 121}, "source"),
        ({"source": "a\nb"}, "source"),
        ({"path": "host.cores"}, "path"),
        ({"path": "activities[idle].spans"}, "path"),
        ({"sure": True}, "sure"),
    ],
)
def test_mark_that_makes_no_sense_is_refused(changes, field):
    """A mark with an impossible interval, log or path is refused by name."""
    with pytest.raises(InputError) as raised:
        marked(**changes)

    assert raised.value.field == f"measured[0].{field}"


def test_number_marked_twice_is_refused():
    """Two marks for one number contradict each other."""
    data = to_data(marked())
    data["measured"] = data["measured"] * 2

    with pytest.raises(InputError, match="marked as measured once"):
        from_data(data)


@pytest.mark.parametrize(
    ("item", "step"),
    [
        ("m.a3.soft=28~34", "malformed"),
        ("m.a3.soft=low~34~log", "malformed"),
        ("m.a3.spans=28~34~log", "unknown field"),
        ("m.a44.soft=28~34~log", "unknown field"),
        ("m.soft=28~34~log", "unknown field"),
        ("m.a3.soft=32~34~log", "out of range"),
        ("m.a3.soft=28~34~+log", "out of range"),
    ],
)
def test_link_with_a_wrong_mark_explains_itself(item, step):
    """A mark in a link that cannot be read is told by name and step."""
    with pytest.raises(LinkError) as raised:
        from_query(f"{item}&v=1")

    assert raised.value.step == step


def test_activity_given_whole_may_be_marked():
    """A link may give all fields of an activity in one and mark one of them."""
    data = to_data(default())
    data["activities"][3] = {
        **data["activities"][3], "dwell_s": 21, "app_burst_ms": 8, "frame_rate_hz": 29,
        "app_bursts_per_s": 14, "changed_pixels_pct": 80, "software_ms_per_frame": 30,
        "offloaded_ms_per_frame": 2, "network_mbps": 7,
    }  # fmt: skip
    data["measured"] = [
        Measured(path=SOFTWARE, value=30, low=29, high=31, source="a~b &=.csv").model_dump()
    ]
    scenario = from_data(data)
    query = to_query(scenario)

    assert query.startswith("a3=")
    assert from_query(query) == scenario
