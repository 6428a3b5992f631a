"""Does the working day add up: who is there, what they do, what the host makes of it?"""

import subprocess
import sys
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest

from model.accelerator import assign_most_active_first
from model.cpu import capacity_curve, core_rate
from model.day import (
    DayResult,
    carried_over,
    crest_reduction_pct,
    simulate_day,
    simulate_day_both,
)
from model.demand import demand_law
from model.errors import InputError
from model.hosts import ARMS, kinds
from model.people import People
from model.saturation import saturation_curve
from model.scenario import Scenario, default, from_data, to_data

REPOSITORY = Path(__file__).resolve().parents[2]
ALL_DAY = [["07:00", 100], ["19:00", 100]]


def activity(name, dwell_s=60, app_ms=0, frames_hz=0, software_ms=0, offloaded_ms=0, **more):
    """Return an activity with ten application bursts a second."""
    return {
        "name": name, "dwell_s": dwell_s, "app_burst_ms": app_ms, "app_bursts_per_s": 10,
        "frame_rate_hz": frames_hz, "changed_pixels_pct": 100,
        "software_ms_per_frame": software_ms, "offloaded_ms_per_frame": offloaded_ms,
        "network_mbps": 1, **more,
    }  # fmt: skip


def made(activities, activity_pct, present=ALL_DAY, sessions=10, displays=1, card=None, **host):
    """Return a scenario of one role on a host whose cores are the reference core."""
    return from_data(
        {
            "version": 1, "name": "made", "sessions": sessions, "reference_clock_ghz": 3.0,
            "host": {
                "cores": 4, "threads_per_core": 1, "clock_ghz": 3.0, "turbo_ratio": 1.0,
                "reserve_pct": 0, **host,
            },
            "accelerator": {"cards": 0} | (card or {}),
            "activities": activities,
            "roles": [
                {"name": "all", "weight_pct": 100, "displays": displays,
                 "activity_pct": activity_pct},
            ],
            "day": {"start": "07:00", "end": "19:00", "present_pct": present, "logon_core_s": 0},
        }
    )  # fmt: skip


def changed(scenario, **groups):
    """Return the scenario with some fields of some groups replaced."""
    data = to_data(scenario)
    for name, new in groups.items():
        data[name] = data[name] | new if isinstance(new, dict) else new
    return from_data(data)


def planners(card, sessions=64):
    """Return the shipped example with berth planners only, all of them there all day."""
    planner = to_data(default())["roles"][0] | {"weight_pct": 100}
    return changed(
        default(), roles=[planner], day={"present_pct": ALL_DAY}, sessions=sessions,
        accelerator=card,
    )  # fmt: skip


def capacity(scenario: Scenario) -> float:
    """Return what the host does at most. [reference-core s/s]"""
    host = scenario.host
    return float(capacity_curve(host, scenario.reference_clock_ghz, host.threads))


def mean_work(scenario, result):
    """Return the mean work asked for. [reference-core s/s]"""
    return result.mean_pct / 100 * capacity(scenario)


def assert_same(one: DayResult, other: DayResult):
    """Both hold the same numbers to the last bit."""
    for field in fields(DayResult):
        if field.name != "arm":
            np.testing.assert_array_equal(getattr(one, field.name), getattr(other, field.name))


@pytest.mark.parametrize("counted", ["short", "middle", "long"])
def test_time_is_shared_as_the_habit_says(counted):
    """Activities take their share of the time, however long each of them lasts."""
    shares, dwell_s = {"short": 25, "middle": 30, "long": 45}, {"short": 2, "middle": 60}
    activities = [
        activity(name, dwell_s.get(name, 900), app_ms=100 if name == counted else 0)
        for name in shares
    ]
    scenario = made(activities, shares, sessions=400, cores=400)

    result = simulate_day(scenario, "software", 3, 5)

    # Derived: 1 core for the share of the time. The standard error is at most
    # sqrt(2 * 900 s * 0.25 / (2000 * 43,200 s)) = 0.0023, for the longest; four of them.
    assert mean_work(scenario, result) / 400 == pytest.approx(shares[counted] / 100, abs=0.009)


def test_rare_activity_is_not_lost_in_the_table_of_draws():
    """An activity that one change in a hundred thousand leads to still gets its time."""
    activities = [activity("long", 40_000, app_ms=100), activity("short", 1)]
    scenario = made(activities, {"long": 30, "short": 70}, sessions=200, cores=200)

    result = simulate_day(scenario, "software", 5, 2)

    # Derived: 0.3 cores each; standard error below sqrt(0.21 / 400) = 0.023, three of them.
    assert mean_work(scenario, result) / 200 == pytest.approx(0.30, abs=0.07)


def test_time_is_shared_alike_in_short_stays():
    """Whoever comes is found in any activity as the habit says, not only in the short ones."""
    present = [
        [f"{7 + minute // 60:02}:{minute % 60:02}", minute // 10 % 2 * 100]
        for minute in range(0, 720, 10)
    ]
    activities = [activity("long", 900, app_ms=100), activity("short", 2)]
    scenario = made(activities, {"long": 50, "short": 50}, present, sessions=400, cores=400)

    result = simulate_day(scenario, "software", 3, 5)

    # Derived: half of the time present. 72,000 stays of ten minutes on average: a standard
    # error below sqrt(0.25 / 72,000) = 0.002, four of them.
    share = mean_work(scenario, result) / result.present_mean.mean()
    assert share == pytest.approx(0.5, abs=0.008)


def test_roles_share_the_sessions_by_weight():
    """With several roles, mean demand is that of the mix, with the card's saving or without."""
    scenario = changed(
        default(), day={"present_pct": ALL_DAY},
        accelerator={"displays_per_card": 1_000, "megapixels_per_s_per_card": 1e6, "share_pct": 60},
    )  # fmt: skip
    of = kinds(scenario)

    both = simulate_day_both(scenario, 1, 20)

    # Derived: sessions times chance times demand; the card takes 60 % of what it could.
    software = 110 * of.chance @ of.demand[of.first]
    served = 110 * of.chance @ of.demand[of.first + of.moving]
    assert mean_work(scenario, both["software"]) == pytest.approx(software, rel=0.005)
    assert mean_work(scenario, both["offloaded"]) == pytest.approx(
        0.6 * served + 0.4 * software, rel=0.015
    )


def test_demand_of_steady_sessions_follows_the_exact_law(checked):
    """With everybody there all day, seconds are moments of the law of independent sessions."""
    scenario = planners({}, sessions=60)
    of, limit = kinds(scenario), capacity(scenario)

    result = simulate_day(scenario, "software", 11, 60)
    law = demand_law(of.chance, of.demand[of.first], np.array([60]), limit)

    # Independent: the law by Fourier transform, which draws nothing. The tolerances are those
    # promised; three standard errors of each are smaller.
    assert mean_work(scenario, result) == pytest.approx(law.mean[0], rel=0.01)
    assert result.crest_pct == pytest.approx(law.p99[0] / limit * 100, rel=0.02)
    assert result.demand_p95_pct.mean() == pytest.approx(law.p95[0] / limit * 100, rel=0.02)
    assert result.demand_p50_pct.mean() == pytest.approx(law.p50[0] / limit * 100, rel=0.02)
    checked(
        "Day", "p99, p95 and p50 of the seconds of a steady day of 60 sessions [% of CPU]",
        "the exact law by Fourier transform, which draws nothing",
        np.array([law.p99[0], law.p95[0], law.p50[0]]) / limit * 100,
        [result.crest_pct, result.demand_p95_pct.mean(), result.demand_p50_pct.mean()],
        kind="independent", rel=0.02,
    )  # fmt: skip


@pytest.mark.parametrize("arm", ARMS)
@pytest.mark.parametrize("card", [{}, {"displays_per_card": 30}, {"share_pct": 40}])
def test_steady_day_agrees_with_the_saturation_curve(arm, card, checked):
    """Both views of one host tell the same demand, whether or not display slots run out."""
    scenario = planners(card)

    result = simulate_day(scenario, arm, 1, 20)
    curve = saturation_curve(scenario, arm, [64]).at(64)

    # Independent: the exact law, or sampled hosts where slots run out, in place of a day. The
    # mean of 800 sampled hosts and of 20 days has a standard error below 0.4 %, three of them;
    # the 99th per cent of 800 hosts is the eighth of them from the top.
    assert result.mean_pct == pytest.approx(curve["cpu_mean_pct"], rel=0.012)
    assert result.crest_pct == pytest.approx(curve["cpu_p99_pct"], rel=0.035)
    told = "with card" if arm == "offloaded" else "without card"
    told += "".join(f", {name.replace('_', ' ')} {value}" for name, value in card.items())
    checked(
        "Day", f"mean and crest of a steady day, {told} [% of CPU]",
        "the curve over sessions, which knows no time",
        [curve["cpu_mean_pct"], curve["cpu_p99_pct"]], [result.mean_pct, result.crest_pct],
        kind="independent", rel=0.035, allowed="1.2 % of the mean, 3.5 % of the crest",
    )  # fmt: skip


@pytest.mark.parametrize("card", [{"displays_per_card": 40}, {"megapixels_per_s_per_card": 900}])
def test_steady_day_agrees_with_many_sampled_hosts_where_the_card_is_short(card, checked):
    """Where slots or pixel rate run out, seconds are like moments of hosts drawn one by one."""
    scenario = planners(card)
    of = kinds(scenario)
    counts = np.random.default_rng(5).multinomial(64, of.chance, size=40_000).T
    served = assign_most_active_first(
        counts * of.moving[:, None], list(of.pixel_rate_mpx_s), scenario.accelerator
    )
    saving = of.demand[of.first] - of.demand[of.first + of.moving]  # of one display: none spans two
    drawn = of.demand[of.first] @ counts - saving @ served
    drawn *= 100 / capacity(scenario)

    result = simulate_day(scenario, "offloaded", 1, 40)

    # Independent: NumPy's multinomial draws and `assign_most_active_first`, no course of time.
    # Three standard errors of 40 days' mean are 0.6 %, of their p99 about 2 %.
    assert result.mean_pct == pytest.approx(drawn.mean(), rel=0.006)
    assert result.crest_pct == pytest.approx(np.quantile(drawn, 0.99), rel=0.025)
    short = ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in card.items())
    checked(
        "Day", f"mean and crest where the card is short: {short} [% of CPU]",
        "40,000 hosts drawn one by one with NumPy", [drawn.mean(), np.quantile(drawn, 0.99)],
        [result.mean_pct, result.crest_pct], kind="independent", rel=0.025,
        allowed="0.6 % of the mean, 2.5 % of the crest",
    )  # fmt: skip


def test_same_seed_gives_the_same_day_and_another_seed_another():
    """All chance comes from the seed, and 0 is a seed like any other."""
    one, again, other = (simulate_day(default(), "offloaded", seed, 2) for seed in (0, 0, 1))

    assert_same(one, again)
    assert one.mean_pct != other.mean_pct


def test_one_arm_alone_is_what_both_together_give():
    """Asking for one arm draws the same people as asking for both."""
    both = simulate_day_both(default(), np.int64(7), 3)

    assert list(both) == list(ARMS)
    for arm in ARMS:
        assert both[arm].arm == arm
        assert_same(both[arm], simulate_day(default(), arm, 7, 3))


@pytest.mark.parametrize(
    "card", [{}, {"displays_per_card": 20}, {"share_pct": 30}, {"megapixels_per_s_per_card": 500}]
)
def test_card_lowers_every_minute(card):
    """Both arms have the same people, so that the card never makes a minute worse."""
    both = simulate_day_both(changed(default(), accelerator=card), 2, 4)
    software, offloaded = both["software"], both["offloaded"]

    assert (offloaded.demand_max_pct <= software.demand_max_pct).all()
    assert offloaded.mean_pct < software.mean_pct
    assert offloaded.changes == software.changes
    np.testing.assert_array_equal(offloaded.present_mean, software.present_mean)


@pytest.mark.parametrize("card", [{"cards": 0}, {"share_pct": 0}])
def test_arms_are_equal_without_a_card(card):
    """With no card, or nobody entitled to it, the arms are equal to the last bit."""
    both = simulate_day_both(changed(default(), accelerator=card), 4, 3)

    assert_same(both["software"], both["offloaded"])
    assert crest_reduction_pct(both["software"], both["offloaded"]) == 0


def test_larger_share_keeps_the_people_and_saves_more():
    """The numbers drawn do not depend on the card; each step of the share adds saving."""
    results = [
        simulate_day_both(changed(default(), accelerator={"share_pct": share}), 4, 2)
        for share in (0, 25, 50, 75, 100)
    ]

    assert len({result["software"].mean_pct for result in results}) == 1
    means = [result["offloaded"].mean_pct for result in results]
    assert means == sorted(means, reverse=True)
    # Derived: the saving is about in proportion to the share (slots are short at times only).
    assert means[0] - means[2] == pytest.approx((means[0] - means[4]) / 2, rel=0.15)


@pytest.mark.parametrize(
    ("displays", "spans", "card", "saved"),
    [
        # Derived: without the card a display costs 0.1 cores, with it 0.025: 0.075 saved each.
        (1, "one", {"displays_per_card": 4}, 4 * 0.075),
        (1, "one", {"displays_per_card": 50}, 10 * 0.075),
        (2, "all", {"displays_per_card": 5}, 5 * 0.075),
        (3, "all", {"displays_per_card": 30}, 30 * 0.075),
        # Derived: a display changes 2.0736 * 10 Mpixel/s, so that 104 hold five of them.
        (1, "one", {"displays_per_card": 50, "megapixels_per_s_per_card": 104}, 5 * 0.075),
        (1, "one", {"displays_per_card": 3, "megapixels_per_s_per_card": 104}, 3 * 0.075),
    ],
)
def test_displays_without_a_slot_cost_the_difference(displays, spans, card, saved):
    """The card saves for as many displays as its slots and its pixel rate hold."""
    video = activity("video", 60, 2, 10, 10, 2.5, spans=spans)
    scenario = made([video], {"video": 100}, displays=displays, card={"cards": 1} | card)

    both = simulate_day_both(scenario, 1, 1)

    assert mean_work(scenario, both["software"]) - mean_work(
        scenario, both["offloaded"]
    ) == pytest.approx(saved, rel=1e-6)


def test_both_ways_of_sharing_slots_agree():
    """Taking slots from the least active is serving the most active first, seen from below."""
    activities = [dict(each) for each in to_data(default())["activities"]]
    activities[-1]["spans"] = "all"
    scenario = changed(default(), activities=activities, accelerator={"displays_per_card": 45})
    people = People(scenario)
    drawn = people.draw(np.random.default_rng(1), 1, True)

    from_below = people.card.lost(drawn)
    people.card.pixel_limit = -1.0  # every second is taken for one whose pixel rate is short
    from_above = people.card.lost(drawn)

    assert np.count_nonzero(from_below) > 10_000
    np.testing.assert_allclose(from_below, from_above, atol=1e-12)


def test_logon_work_is_done_once_and_in_full():
    """Every session that arrives logs on once: neither those there at dawn nor after lunch."""
    present = [["07:00", 20], ["09:00", 100], ["12:00", 100], ["12:30", 10], ["13:00", 100]]
    scenario = made([activity("idle")], {"idle": 100}, present, sessions=50)
    scenario = changed(scenario, day={"logon_core_s": 7.3})

    result = simulate_day(scenario, "software", 1, 4)

    # Derived: four fifths of 50 sessions arrive after the start, 7.3 core-seconds each.
    work = mean_work(scenario, result) * scenario.day.length_s
    assert work == pytest.approx(40 * 7.3, rel=1e-5)
    assert result.carried_over_core_s == 0


def test_logon_runs_on_one_core():
    """A logon takes one core's rate until it is done, and the last second what is left."""
    present = [["07:00", 0], ["07:01", 100]]
    scenario = made([activity("idle")], {"idle": 100}, present, sessions=1, clock_ghz=2.4)
    scenario = changed(scenario, day={"logon_core_s": 7.3})

    result = simulate_day(scenario, "software", 1, 1)

    # Derived: one of four cores is a quarter; 7.3 / 0.8 = 9.125 seconds, so p99 of a minute at
    # most holds it, and the mean over the day is 7.3 / (4 * 0.8 * 43,200).
    assert core_rate(scenario.host, 3.0) == pytest.approx(0.8)
    assert result.demand_max_pct.max() == pytest.approx(25)
    assert result.mean_pct / 100 * 3.2 * 43_200 == pytest.approx(7.3, rel=1e-5)


def test_present_sessions_follow_the_curve():
    """The sessions there are the presence curve times all sessions, to within one."""
    scenario = default()
    result = simulate_day(scenario, "software", 1, 3)

    times, shares = np.array(scenario.day.present_points).T
    curve = 110 * np.interp(result.minute_s + 29.5, times, shares)
    assert np.abs(result.present_mean - curve).max() < 1


def test_curve_is_constant_outside_its_ends():
    """Before the first and after the last time given, as many are there as just then."""
    present = [["09:00", 40], ["10:00", 80]]
    scenario = made([activity("idle")], {"idle": 100}, present, sessions=10)

    result = simulate_day(scenario, "software", 1, 2)

    # Derived: 40 % and 80 % of 10 sessions.
    assert set(result.present_mean[:119]) == {4.0}
    assert set(result.present_mean[181:]) == {8.0}


def test_work_carried_over_is_that_of_a_plain_loop(checked):
    """The closed form of the recursion agrees with going through it second by second."""
    work = np.random.default_rng(1).gamma(2.0, 2.0, (3, 2_000))
    carried = carried_over(work, 4.1)

    # Independent: the recursion itself.
    by_loop = []
    for row, expected in zip(work, carried, strict=True):
        left = 0.0
        for second, arriving in enumerate(row):
            assert expected[second] == pytest.approx(left, abs=1e-9)
            by_loop.append(left)
            left = max(left + arriving - 4.1, 0.0)
        assert expected[-1] == pytest.approx(left, abs=1e-9)
    ours = np.round(carried[:, :-1], 9)  # below it only rounding is left
    source = "the recursion, second by second"
    checked("Day", "work carried over", source, np.round(by_loop, 9), ours, kind="independent",
            abs=2e-9)  # fmt: skip


def test_overload_carries_applications_over_and_drops_all_frames():
    """What applications leave unfinished grows until evening, and no frame finds room."""
    busy = activity("busy", 60, 50, 10, 10)
    result = simulate_day(made([busy], {"busy": 100}), "software", 1, 2)

    # Derived: 10 sessions ask 0.5 cores each of 4 cores: 1 core-second is left each second.
    assert result.carried_over_core_s == pytest.approx(43_200)
    # Derived: in the last second 5 + 1 for frames, and what 43,199 seconds left.
    assert result.demand_max_pct[-1] == pytest.approx((6 + 43_199) / 4 * 100, rel=1e-6)
    assert result.frames_dropped_pct == pytest.approx(100)
    # Derived: more than 100 % in all 720 minutes.
    assert (result.minutes_above_85_pct, result.minutes_above_100_pct) == (720, 720)


def test_frames_that_do_not_fit_are_dropped():
    """Where applications fit and frames do not, frames are dropped and nothing is carried."""
    busy = activity("busy", 60, 30, 10, 20)
    result = simulate_day(made([busy], {"busy": 100}), "software", 1, 2)

    # Derived: 3 cores for applications and 2 for frames on 4 cores: half of the frames.
    assert result.frames_dropped_pct == pytest.approx(50)
    assert result.carried_over_core_s == 0
    assert result.crest_pct == result.mean_pct == pytest.approx(125)
    assert result.crest_factor == pytest.approx(1)


def test_day_with_nobody_there_is_all_zero():
    """An empty day asks for nothing, and its crest factor is 1."""
    nobody = changed(default(), day={"present_pct": [["07:00", 0], ["19:00", 0]]})
    both = simulate_day_both(nobody, 1, 2)

    for result in both.values():
        for field in fields(DayResult):
            if field.name not in ("arm", "start_s", "minute_s", "crest_factor"):
                assert not np.any(getattr(result, field.name)), field.name
        assert result.crest_factor == 1
    assert crest_reduction_pct(both["software"], both["offloaded"]) == 0


def test_result_has_one_entry_for_each_minute():
    """Bands are told by minute, in their order, and the crest stands above the mean."""
    result = simulate_day(default(), "software", 1, 3)

    assert result.start_s == 7 * 3600
    np.testing.assert_array_equal(result.minute_s, np.arange(720) * 60)
    assert (result.demand_p50_pct <= result.demand_p95_pct).all()
    assert (result.demand_p95_pct <= result.demand_max_pct).all()
    assert result.crest_factor == result.crest_pct / result.mean_pct > 1


def test_crest_reduction_is_the_fall_of_the_crest():
    """From a crest of 80 % to one of 60 % is a quarter less."""
    software = replace(simulate_day(default(), "software", 1, 1), crest_pct=80.0)

    # Derived: 20 of 80.
    assert crest_reduction_pct(software, replace(software, crest_pct=60.0)) == 25


def test_activities_begun_are_those_expected():
    """The cost of a day is the number of activities begun: sessions by time by rate."""
    activities = [activity("short", 10), activity("long", 100)]
    scenario = made(activities, {"short": 50, "long": 50}, sessions=300)

    result = simulate_day(scenario, "software", 1, 2)

    # Derived: 0.5 / 10 s + 0.5 / 100 s = 0.055 a second, and the first of each session.
    assert result.changes == pytest.approx(600 * (43_200 * 0.055 + 1), rel=0.01)


def test_edges_of_the_inputs_are_drawn_too():
    """A day of one minute, one session, a role without sessions, displays beyond any card."""
    data = to_data(default())
    nobody = data["roles"][0] | {"name": "nobody", "weight_pct": 0}
    large = data["roles"][1] | {"displays": 16, "display": "9999x9999", "vcpus": 1}
    video = [each | {"spans": "all", "dwell_s": 86_400} for each in data["activities"]]
    for sessions, day in ((1, {"start": "07:00", "end": "07:01"}), (3_000, {"end": "24:00"})):
        scenario = changed(
            default(), sessions=sessions, day={"start": "00:00"} | day, activities=video,
            roles=[nobody, large | {"weight_pct": 100}],
        )  # fmt: skip
        both = simulate_day_both(scenario, 0, 2)

        for result in both.values():
            assert len(result.minute_s) == scenario.day.length_s // 60
            assert np.isfinite(result.demand_max_pct).all()
            assert result.demand_max_pct.min() >= 0
        assert both["offloaded"].mean_pct <= both["software"].mean_pct


@pytest.mark.parametrize(
    ("arm", "seed", "replicates", "field"),
    [
        ("card", 1, 1, "arm"),
        ("software", -1, 1, "seed"),
        ("software", 1.0, 1, "seed"),
        ("software", None, 1, "seed"),
        ("software", True, 1, "seed"),
        ("software", "1", 1, "seed"),
        ("software", 1, 0, "replicates"),
        ("software", 1, 1001, "replicates"),
        ("software", 1, 2.5, "replicates"),
        ("software", 1, float("nan"), "replicates"),
    ],
)
def test_wrong_input_is_refused_by_name(arm, seed, replicates, field):
    """An arm, a seed or a number of replicates that will not do is named."""
    with pytest.raises(InputError) as caught:
        simulate_day(default(), arm, seed, replicates)

    assert caught.value.field == field


MEASURE = """
import resource
from model.day import simulate_day_both
from model.scenario import default, from_data, to_data
data = to_data(default()) | {"sessions": 100_000}
changes = simulate_day_both(from_data(data), 1, 1)["software"].changes
print(changes, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


@pytest.mark.slow
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="memory is told in other units")
def test_hundred_thousand_sessions_need_less_than_a_gigabyte():
    """The largest host's day of twelve hours is drawn in pieces that fit into any computer."""
    done = subprocess.run(
        [sys.executable, "-c", MEASURE], cwd=REPOSITORY, capture_output=True, text=True, check=True
    )
    changes, peak_kib = map(int, done.stdout.split())

    assert changes > 50_000_000
    # Derived: the promise, 1 GB.
    assert peak_kib * 1024 < 1e9
