"""Is a result that cannot be right refused in place of being shown?"""

import numpy as np
import pytest

from model.contention import closed_station
from model.day import carried_over
from model.errors import DefectError
from model.laws import check_carried, check_curve, check_equal, check_station
from model.saturation import saturation_curve
from model.scenario import default

STATION = {
    "sources": np.array([6.0, 3.0]),
    "service_s": np.array([0.02, 0.005]),
}


def station_parts() -> dict:
    """A right result of the station, as the laws are given it."""
    found = closed_station([6, 3], STATION["service_s"], [0.02, 0.03], [0, 1, 2, 2.5])
    return STATION | {
        "response_s": found.response_s,
        "throughput_hz": found.throughput_hz,
        "queue_pmf": found.queue_pmf,
        "delivered": found.delivered,
    }


def curve_parts() -> dict:
    """A right curve of the example, by name."""
    found = saturation_curve(default(), "software", np.arange(1, 41))
    return {name: getattr(found, name).copy() for name in vars(found) if name.endswith("_pct")}


def test_right_results_obey_every_law():
    """What the model really gives is never refused."""
    check_station(**station_parts())
    check_curve(curve_parts(), None)


@pytest.mark.parametrize(
    ("name", "law"),
    [("queue_pmf", "sum to 1"), ("throughput_hz", "work done equals work asked for"),
     ("delivered", "work done equals work asked for"),
     ("response_s", "runnable sources equal rate times response")],
)  # fmt: skip
def test_station_off_by_a_millionth_is_refused(name, law):
    """A part of a station's result that is off by a millionth breaks a law, which is named."""
    parts = station_parts()

    with pytest.raises(DefectError, match=law):
        check_station(**parts | {name: parts[name] * (1 + 1e-6)})


@pytest.mark.parametrize(
    ("name", "at", "value", "law"),
    [("cpu_p95_pct", 9, 1000.0, "cpu_p95_pct is at most cpu_p99_pct"),
     ("wait_busy_pct", 0, -0.1, "wait_busy_pct is at least 0"),
     ("frames_mean_pct", 3, 100.1, "frames_mean_pct is at most 100"),
     ("frames_busy_pct", 30, 0.0, "frames_busy_pct falls with sessions"),
     ("cpu_mean_pct", 20, 0.0, "cpu_mean_pct rises with sessions"),
     ("memory_pct", 5, np.nan, "memory_pct is a number")],
)  # fmt: skip
def test_curve_with_one_wrong_value_is_refused(name, at, value, law):
    """One value out of its range or order is enough, and the law is named."""
    parts = curve_parts()
    parts[name][at] = value

    with pytest.raises(DefectError, match=law):
        check_curve(parts, None)


def test_curve_off_the_utilisation_law_is_refused():
    """Mean demand that is not sessions times work per session is refused."""
    parts = curve_parts()

    with pytest.raises(DefectError, match="sessions times work per session"):
        check_curve(parts, parts["cpu_mean_pct"] * 1.001)


def test_day_that_loses_work_is_refused():
    """Work that arrives in a day is done or left over at its end, to the last second."""
    arrived = np.random.default_rng(4).uniform(0, 20, (3, 500))
    before = carried_over(arrived, 10.2)
    check_carried(arrived, before, 10.2)
    before[1, 200] += 1.0

    with pytest.raises(DefectError, match="done or left over"):
        check_carried(arrived, before, 10.2)


def test_no_number_is_equal_to_nothing():
    """A missing number on one side of a law is refused, not passed over."""
    with pytest.raises(DefectError, match="found nan"):
        check_equal("one is one", float("nan"), 1.0)
