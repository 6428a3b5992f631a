"""Are the seconds of a played day those that the simulated day sums up?"""

import numpy as np
import pytest

from model.cpu import capacity_curve
from model.day import simulate_day_both
from model.day_trace import day_trace
from model.errors import InputError
from model.hosts import ARMS
from model.scenario import Scenario, default, from_data, to_data


def changed(**groups) -> Scenario:
    """The shipped example with some fields of some groups replaced."""
    data = to_data(default())
    for name, new in groups.items():
        data[name] = data[name] | new if isinstance(new, dict) else new
    return from_data(data)


def steady(sessions: int, displays: int, **card) -> Scenario:
    """Sessions that all watch video all day, 20.736 Mpixel/s for each display."""
    video = {
        "name": "video", "dwell_s": 60, "app_burst_ms": 2, "app_bursts_per_s": 10,
        "frame_rate_hz": 10, "changed_pixels_pct": 100, "spans": "all",
        "software_ms_per_frame": 10, "offloaded_ms_per_frame": 2.5, "network_mbps": 1,
    }  # fmt: skip
    role = {"name": "all", "weight_pct": 100, "displays": displays, "activity_pct": {"video": 100}}
    day = {"end": "07:05", "present_pct": [["07:00", 100], ["19:00", 100]], "logon_core_s": 0}
    return changed(
        sessions=sessions, activities=[video], roles=[role], day=day,
        accelerator={"cards": 1, "share_pct": 100} | card,
    )  # fmt: skip


SCENARIOS = {
    "as shipped": {},
    "few cores, work waits": {"host": {"cores": 6}},
    "slots are short": {"accelerator": {"displays_per_card": 20}},
    "pixel rate is short": {"accelerator": {"megapixels_per_s_per_card": 500}},
    "some may use the card": {"accelerator": {"share_pct": 40}, "host": {"cores": 16}},
    "no card": {"accelerator": {"cards": 0}},
}


@pytest.mark.parametrize("name", SCENARIOS)
@pytest.mark.parametrize("seed", [0, 7])
def test_trace_is_the_day_that_is_summed_up(name, seed):
    """Bands, crest, dropped frames and work carried over follow from the seconds, to the bit."""
    scenario = changed(**SCENARIOS[name])

    trace = day_trace(scenario, seed)
    both = simulate_day_both(scenario, seed, 1)

    # Independent: the simulated day, which keeps bands and no seconds. It holds demand in single
    # precision, and one second after the last, in which nothing is asked for.
    for arm in ARMS:
        demand = trace.demand_pct(arm).astype(np.float32)
        minutes = np.sort(demand.reshape(-1, 60), axis=1)
        np.testing.assert_array_equal(minutes[:, -1], both[arm].demand_max_pct)
        np.testing.assert_array_equal(minutes[:, 29], both[arm].demand_p50_pct)
        np.testing.assert_array_equal(minutes[:, 56], both[arm].demand_p95_pct)
        assert np.count_nonzero(demand > 100) / 60 == both[arm].minutes_above_100_pct
        assert np.sort(demand)[-(len(demand) // 100) - 1] == both[arm].crest_pct
        dropped = np.append(trace.dropped(arm), 0).sum() / np.append(trace.encode[arm], 0).sum()
        assert dropped * 100 == both[arm].frames_dropped_pct
        if both[arm].carried_over_core_s > 0:
            after = max(trace.waiting[-1] + trace.app[-1] - trace.capacity, 0)
            assert max(trace.waiting.max(), after) == both[arm].carried_over_core_s
        else:
            assert not trace.waiting.any()
        by_minute = trace.present.reshape(-1, 60).mean(axis=1)
        np.testing.assert_array_equal(by_minute, both[arm].present_mean)


def test_scenarios_reach_what_they_are_there_for():
    """The compared days are days on which work waits, frames drop and slots run out."""
    waits = day_trace(changed(**SCENARIOS["few cores, work waits"]), 7)
    short = day_trace(changed(**SCENARIOS["slots are short"]), 7)

    assert waits.waiting.max() > 100
    assert waits.dropped("software").any()
    assert short.slots_in_use.max() == short.slots == 20


def test_what_waits_is_that_of_a_plain_loop():
    """Work waits, demand counts it and frames get what applications leave, second by second."""
    trace = day_trace(changed(host={"cores": 6}), 3)

    # Independent: the rule gone through second by second, with the card switched each minute.
    left, demand, kept = 0.0, [], []
    for second, app in enumerate(trace.app):
        encode = trace.encode[ARMS[second // 60 % 2]][second]
        room = max(trace.capacity - app - left, 0)
        demand.append((app + encode + left) / trace.capacity * 100)
        kept.append(min(encode, room) / encode * 100 if encode else 100.0)
        assert trace.waiting[second] == pytest.approx(left, abs=1e-6)
        left = max(left + app - trace.capacity, 0)
    switched = np.arange(len(trace.app)) // 60 % 2 == 1
    for told, expected in ((trace.demand_pct, demand), (trace.frames_kept_pct, kept)):
        played = np.where(switched, told("offloaded"), told("software"))
        np.testing.assert_allclose(played, expected, rtol=1e-7, atol=1e-6)


@pytest.mark.parametrize(
    ("sessions", "displays", "card", "slots", "in_use"),
    [
        # Derived: every display of every session wants a slot, as far as there are slots.
        (10, 1, {"displays_per_card": 40}, 40, 10),
        (10, 3, {"displays_per_card": 40}, 40, 30),
        (20, 3, {"displays_per_card": 40}, 40, 40),
        # Derived: 210 Mpixel/s hold ten displays of 20.736, 62 hold two.
        (20, 1, {"displays_per_card": 40, "megapixels_per_s_per_card": 210}, 40, 10),
        (20, 1, {"displays_per_card": 2, "megapixels_per_s_per_card": 210}, 2, 2),
        # Derived: nobody may use them.
        (10, 1, {"share_pct": 0}, 0, 0),
        (10, 1, {"cards": 0}, 0, 0),
    ],
)
def test_slots_in_use_are_those_that_displays_take(sessions, displays, card, slots, in_use):
    """Slots are taken as long as there is one left and the pixel rate lasts."""
    trace = day_trace(steady(sessions, displays, **card), 1)

    assert trace.slots == slots
    assert set(trace.slots_in_use) == {in_use}


@pytest.mark.parametrize("card", [{"cards": 0}, {"share_pct": 0}])
def test_arms_are_equal_without_a_card(card):
    """Where no session may use a card, both arms are equal to the last bit."""
    trace = day_trace(changed(accelerator=card), 2)

    np.testing.assert_array_equal(trace.encode["software"], trace.encode["offloaded"])


def test_trace_starts_and_ends_with_the_day():
    """There is one entry for each second from the day's start to its end."""
    trace = day_trace(changed(day={"start": "06:30", "end": "07:31"}), 1)

    assert trace.start_s == 23_400  # Derived: 6.5 hours.
    assert {len(each) for each in (trace.app, trace.present, trace.waiting)} == {3_660}
    host = default().host
    assert trace.capacity == capacity_curve(host, 3.0, host.threads)


def test_frames_are_all_kept_where_none_are_wanted():
    """A second without encoding keeps 100 % of its frames."""
    trace = day_trace(changed(day={"present_pct": [["07:00", 0], ["19:00", 0]]}), 1)

    assert set(trace.frames_kept_pct("software")) == {100.0}
    assert not trace.demand_pct("offloaded").any()


@pytest.mark.parametrize("seed", [-1, 1.5, None, True])
def test_wrong_seed_is_refused(seed):
    """A seed that is no whole number of 0 or more is named."""
    with pytest.raises(InputError, match="seed is"):
        day_trace(default(), seed)


def test_wrong_arm_is_refused():
    """An arm that is none is named."""
    with pytest.raises(InputError, match="arm is"):
        day_trace(default(), 1).demand_pct("card")
