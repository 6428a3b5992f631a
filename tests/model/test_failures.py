"""Is a host after a failure what the same curves say of the host that is left?"""

import json
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from model.__main__ import main
from model.assess import assess
from model.errors import InputError
from model.failures import (
    CIRCUMSTANCES,
    FAILURES,
    FailureAnswer,
    failure,
    mean_presence,
    possible_failures,
)
from model.hosts import ARMS
from model.rush import logon_rush
from model.scenario import Day, Scenario, default, from_data, to_data
from tests.checked import Recorder
from tests.model.test_saturation_order import scenarios

LATTICE = 2e-3  # of quantiles between points of the demand's lattice


def small(**parts: dict[str, Any]) -> Scenario:
    """The example on a host of 8 cores, with values in some of its parts replaced."""
    data = to_data(default())
    data["host"] |= {"cores": 8, "memory_gib": 256}
    data["sessions"] = 20
    for part, values in parts.items():
        data[part] |= values
    return from_data(data)


def shown(answer: FailureAnswer, when: str) -> list[tuple[Any, ...]]:
    """Sessions and values of both arms, before or after."""
    states = getattr(answer, when)
    return [
        (each.sessions, each.headroom_pct, each.wait_busy_pct, each.frames_busy_pct)
        for each in (states[arm] for arm in ARMS)
    ]


def expected(scenario: Scenario) -> list[tuple[Any, ...]]:
    """The same of a scenario, as it is assessed."""
    now = assess(scenario).now
    names = ("headroom_pct", "wait_busy_pct", "frames_busy_pct")
    return [(scenario.sessions, *(now[arm][name] for name in names)) for arm in ARMS]


def with_sessions(scenario: Scenario, sessions: int) -> Scenario:
    """The scenario with another number of sessions."""
    return scenario.model_copy(update={"sessions": sessions})


CHANGES = [
    ("card_lost", {"accelerator": {"cards": 2}}, {"accelerator": {"cards": 1, "share_pct": 50}}),
    ("card_lost", {}, {"accelerator": {"cards": 0}}),
    ("socket_down", {}, {"host": {"cores": 4, "memory_gib": 128}}),
    ("smt_off", {}, {"host": {"threads_per_core": 1}}),
]


@pytest.mark.parametrize(("key", "before", "after"), CHANGES)
def test_failure_is_the_host_that_is_left(
    key: str, before: dict[str, Any], after: dict[str, Any]
) -> None:
    """A host that lost something is, to the last bit, a host that never had it."""
    answer = failure(small(**before), key)
    left = small(**after)
    assert shown(answer, "before") == expected(small(**before))
    assert shown(answer, "after") == expected(left)
    rated = assess(left).rated
    for arm in ARMS:
        assert answer.after[arm].most_sessions == rated[arm].rated_load


def test_sessions_of_a_lost_host_spread_over_the_rest() -> None:
    """With one of four hosts lost, the other three take a third more each, rounded up."""
    scenario = small()
    answer = failure(scenario, "host_lost", hosts=4)
    # Derived: 4 x 20 sessions on 3 hosts are 26.7 each.
    assert shown(answer, "after") == expected(with_sessions(scenario, 27))
    for arm, rated in assess(scenario).rated.items():
        most = answer.after[arm].most_sessions
        # Derived: the largest number of which 4/3 still fit.
        assert math.ceil(most * 4 / 3) <= rated.rated_load < math.ceil((most + 1) * 4 / 3)


def test_everyone_on_a_call_leaves_no_other_activity() -> None:
    """With everyone on a call, the host is one whose roles do nothing else."""
    data = to_data(small())
    for role in data["roles"]:
        role["activity_pct"] = {"video call": 100}
    answer = failure(small(), "everyone_on_a_call")
    assert "video call" in answer.note
    assert shown(answer, "after") == expected(from_data(data))


def test_without_a_call_everyone_does_what_costs_most() -> None:
    """Where no activity is called a call, the one with the most CPU work stands for it."""
    text = json.dumps(to_data(small())).replace("video call", "meeting")
    answer = failure(from_data(json.loads(text)), "everyone_on_a_call")
    # Derived: full-screen video needs 0.91 cores of encoding and 0.19 of application, more than
    # scrolling documents with 0.93 and 0.135.
    assert '"full-screen video"' in answer.note


def test_everyone_present_is_set_against_the_mean_of_the_day() -> None:
    """Before everyone is present, the mean presence of the day is on the host."""
    day = {"start": "08:00", "end": "16:00"}
    curve = [["08:00", 0], ["12:00", 100], ["16:00", 0]]
    scenario = small(day=day | {"present_pct": curve})
    answer = failure(scenario, "everyone_present")
    # Derived: a triangle has half the area of its box.
    assert shown(answer, "before") == expected(with_sessions(scenario, 10))
    assert shown(answer, "after") == expected(scenario)


@pytest.mark.parametrize(
    ("points", "hours"),
    [
        # Derived: hours of full presence in a day of eight.
        ((("08:00", 40), ("09:00", 40)), 8 * 0.4),
        ((("06:00", 0), ("10:00", 100), ("18:00", 100)), 2 * 0.75 + 6),
        ((("12:00", 80), ("13:00", 20)), 4 * 0.8 + 0.5 + 3 * 0.2),
    ],
)
def test_mean_presence_counts_the_day_only(points: Any, hours: float) -> None:
    """Presence stays the same beyond its points, and what is outside the day is left out."""
    day = Day(start="08:00", end="16:00", present_pct=points)
    assert mean_presence(day) == pytest.approx(hours / 8)


@pytest.mark.parametrize("key", ["card_lost", "host_lost", "socket_down", "smt_off",
                                 "everyone_present"])  # fmt: skip
@settings(max_examples=8)
@given(scenarios())
def test_no_failure_makes_a_host_better(key: str, data: dict[str, Any]) -> None:
    """After a failure headroom is not larger, and no more sessions can belong to the host."""
    scenario = from_data(data)
    if key not in possible_failures(scenario):
        return
    answer = failure(scenario, key)
    for arm in ARMS:
        before, after = answer.before[arm], answer.after[arm]
        demand = 100 - before.headroom_pct
        assert after.headroom_pct <= before.headroom_pct + LATTICE * demand + 1e-9
        assert after.most_sessions <= before.most_sessions


@settings(max_examples=8)
@given(scenarios(), st.sampled_from(list(FAILURES)))
def test_most_sessions_is_where_the_targets_end(data: dict[str, Any], key: str) -> None:
    """A host with the most sessions that hold does hold after the event; with one more it fails."""
    scenario = from_data(data)
    if key not in possible_failures(scenario):
        return
    answer = failure(scenario, key)
    for arm in ARMS:
        most = answer.after[arm].most_sessions
        if most:
            assert failure(with_sessions(scenario, most), key).after[arm].holds
        if most < answer.before[arm].most_sessions:
            assert not failure(with_sessions(scenario, most + 1), key).after[arm].holds


def test_missed_targets_are_told_in_words() -> None:
    """A target that is missed stands in words with its value and what it should be."""
    after = failure(small(), "socket_down").after["software"]
    assert not after.holds
    cpu = next(words for words in after.missed if words.startswith("CPU demand"))
    assert cpu == f"CPU demand (p95) {100 - after.headroom_pct:.1f} %, at most 85 %"


# ------------------------------------------------------------------------------------ logon rush


@pytest.mark.parametrize(
    ("sessions", "usual", "within_s"),
    [
        (100, 30.0, 600.0),
        (100, 39.0, 60.0),
        (100, 39.0, 120.0),
        (400, 20.0, 120.0),
        (50, 10.0, 5.0),
        (80, 0.5, 10.0),
    ],
)
def test_rush_follows_its_differential_equation(
    sessions: int, usual: float, within_s: float, checked: Recorder
) -> None:
    """The logons done and the time until all are agree with a numerical solution."""
    capacity, logon = 40.0, 25.0
    found = logon_rush(sessions, logon, usual, capacity, 1.0, within_s)
    work = sessions * logon

    def flow(t: float, y: Any) -> list[float]:
        asked = min(work, work * t / within_s)
        free = capacity - usual * y[0] / work
        inflow = work / within_s if t < within_s else 0.0
        return [free if asked - y[0] > 1e-6 * work else min(inflow, free)]

    def served(t: float, y: Any) -> float:
        return float(y[0] - work * (1 - 1e-5))

    served.terminal = True  # type: ignore[attr-defined]
    # Independent: scipy.integrate.solve_ivp, Runge-Kutta of order 5(4), steps of 0.2 % at most.
    first = solve_ivp(flow, (0, within_s), [0.0], max_step=within_s / 500)
    rest = solve_ivp(flow, (within_s, 1e5), first.y[:, -1], events=served, max_step=within_s / 5)
    assert found.backlog_core_s == pytest.approx(work - first.y[0, -1], abs=2e-3 * work)
    assert found.served_s == pytest.approx(max(rest.t_events[0][0], within_s + logon), rel=5e-3)
    checked(
        "When something fails", f"seconds until {sessions} sessions are in that ask within "
        f"{within_s:g} s, {usual:g} of {capacity:g} cores in use then",
        "the differential equation, solved by scipy.integrate.solve_ivp",
        max(rest.t_events[0][0], within_s + logon), found.served_s, kind="independent", rel=5e-3,
    )  # fmt: skip


def test_rush_on_an_idle_host_is_work_over_capacity(checked: Recorder) -> None:
    """Where sessions that are in ask for nothing, the rush lasts as long as its work."""
    found = logon_rush(80, 25, 0, 40, 1, 10)
    assert found.served_s == pytest.approx(50)  # Derived: 2000 core-s on 40 cores
    assert found.backlog_core_s == pytest.approx(1600)  # Derived: 400 of 2000 core-s in 10 s
    checked(
        "When something fails", "seconds, and work waiting, of 80 logons on an idle host",
        "by hand: 2,000 core-s on 40 cores, 400 done in 10 s", [50, 1600],
        [found.served_s, found.backlog_core_s], kind="derived", rel=1e-9,
    )  # fmt: skip
    # Derived: nobody is in after 10 s, for a logon takes 25 s on its one core.
    assert found.logging_on == pytest.approx(80)
    longer = logon_rush(80, 25, 0, 40, 1, 40)
    assert longer.served_s == pytest.approx(40 + 25)  # Derived: its own 25 s, though 50 s would do
    assert found.peak_demand_pct == pytest.approx(500)  # Derived: 200 core-s/s on 40


def test_rush_without_a_queue_ends_with_the_last_logon() -> None:
    """Where nothing waits, the last session is in after its own logon on one core."""
    found = logon_rush(60, 20, 5, 40, 0.8, 600)
    assert found.backlog_core_s == 0
    assert found.served_s == pytest.approx(600 + 20 / 0.8)  # Derived
    assert found.logging_on == pytest.approx(2.5)  # Derived: one each 10 s, for 25 s
    assert found.peak_demand_pct == pytest.approx((2 + 5) / 40 * 100)  # Derived


def test_rush_never_ends_where_work_leaves_nothing() -> None:
    """Where those who are in need the whole CPU before all are, the rest never get in."""
    assert logon_rush(100, 25, 45, 40, 1, 60).served_s == math.inf


def test_rush_without_logon_work_takes_no_time() -> None:
    """Logons without work are done when they are asked for."""
    found = logon_rush(10, 0, 5, 40, 1, 60)
    assert (found.served_s, found.backlog_core_s, found.logging_on) == (60, 0, 0)


def test_shorter_rush_is_no_easier() -> None:
    """The sooner all log on, the longer the last one waits and the fewer sessions hold."""
    answers = [failure(small(), "logon_rush", within_min=within) for within in (60, 10, 2)]
    for arm in ARMS:
        waits = [each.rush[arm].longest_wait_s for each in answers if each.rush]
        most = [each.after[arm].most_sessions for each in answers]
        assert (np.diff(waits) >= -1e-9).all()
        assert (np.diff(most) <= 0).all()
    assert answers[-1].after["software"].most_sessions < answers[0].after["software"].most_sessions


# ----------------------------------------------------------------------------------- what is wrong


@pytest.mark.parametrize(
    ("parts", "key", "arguments", "field"),
    [
        ({}, "flood", {}, "failure"),
        ({"accelerator": {"cards": 0}}, "card_lost", {}, "accelerator.cards"),
        ({"host": {"threads_per_core": 1}}, "smt_off", {}, "host.threads_per_core"),
        ({}, "socket_down", {"sockets": 3}, "sockets"),
        ({}, "host_lost", {"hosts": 1}, "hosts"),
        ({}, "host_lost", {"hosts": 2.5}, "hosts"),
        ({}, "logon_rush", {"within_min": math.nan}, "within_min"),
        ({}, "everyone_on_a_call", {"activity": "juggling"}, "activity"),
    ],
)
def test_what_cannot_happen_is_refused(
    parts: dict[str, Any], key: str, arguments: dict[str, Any], field: str
) -> None:
    """An event that the host cannot meet, or an argument out of range, is named."""
    with pytest.raises(InputError) as refused:
        failure(small(**parts), key, **arguments)
    assert refused.value.field == field


def test_possible_failures_can_all_be_asked_for() -> None:
    """What is offered for a host can be asked for, and what is left out is refused."""
    scenario = small(accelerator={"cards": 0}, host={"threads_per_core": 1, "cores": 5})
    offered = possible_failures(scenario)
    assert offered == ["host_lost", "everyone_present", "everyone_on_a_call", "logon_rush"]
    for key in FAILURES:
        if key in offered:
            assert failure(scenario, key).title == FAILURES[key]
        else:
            with pytest.raises(InputError):
                failure(scenario, key)


def test_command_names_every_failure(capsys: pytest.CaptureFixture[str]) -> None:
    """The help of the command lists every event that it can be asked for."""
    with pytest.raises(SystemExit):
        main(["failure", "--help"])
    told = capsys.readouterr().out
    assert [key for key in FAILURES if key not in told] == []


def test_defaults_are_those_told() -> None:
    """The circumstances that are taken unasked are those of the records that explain them."""
    values = {name: each.value for name, each in CIRCUMSTANCES.items()}
    assert failure(small(), "host_lost") == failure(small(), "host_lost", **values)  # type: ignore[arg-type]


def test_command_prints_both_states(capsys: pytest.CaptureFixture[str], tmp_path: Any) -> None:
    """The command prints what the function returns."""
    path = tmp_path / "small.json"
    path.write_text(json.dumps(to_data(small())), encoding="utf-8")
    assert main(["failure", str(path), "host_lost", "--hosts", "3"]) == 0
    printed = json.loads(capsys.readouterr().out)
    answer = failure(small(), "host_lost", hosts=3)
    assert printed["after"]["offloaded"]["sessions"] == answer.after["offloaded"].sessions
    assert main(["failure", str(path), "host_lost", "--hosts", "1"]) == 2
    assert "hosts is 1" in capsys.readouterr().err
