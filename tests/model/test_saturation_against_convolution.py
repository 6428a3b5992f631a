"""Is the demand where no limit of the card binds the convolution of single sessions' demands?

Up to six sessions every possible sum is listed with its chance. Above that, sums live on a
lattice: by direct convolution up to 40 sessions, by a transform of 262,144 points above.

Sums of few sessions are atoms: where the chance steps over a quantile's level just at one, an
error of 1e-6 in a chance moves the quantile to the next atom. So a quantile may be anywhere
between the exact ones at levels 1e-6 lower and higher, with 1 % on either side.
"""

from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from model.defaults import harbour
from model.saturation import saturation_curve
from model.scenario import from_data
from tests.checked import Recorder

FloatArray = npt.NDArray[Any]

FEW = [1, 2, 3, 4, 5, 6]
SOME = [7, 8, 9, 12, 20, 40]
MANY = [41, 60, 80, 110, 150, 200]
LEVEL_ERROR = 1e-6


def plenty() -> dict[str, Any]:
    """Return the shipped example with a card that nobody ever fills."""
    data = harbour()
    data["accelerator"] |= {"displays_per_card": 10_000, "megapixels_per_s_per_card": 1_000_000}
    return data


def single_session(data: dict[str, Any], arm: str) -> dict[float, float]:
    """Return the chance of each demand of one session. [% of capacity]"""
    host, card = data["host"], data["accelerator"]
    one_core = host["clock_ghz"] / data["reference_clock_ghz"] * host["relative_ipc"]
    one_core *= 1 - host["reserve_pct"] / 100
    threads = host["cores"] * (1 + host["smt_yield"] * (host["threads_per_core"] - 1))
    capacity = one_core * threads
    entitled = card["share_pct"] / 100 if arm == "offloaded" else 0.0
    law: dict[float, float] = {}
    activities = {activity["name"]: activity for activity in data["activities"]}
    for role in data["roles"]:
        width, height = map(int, role["display"].split("x"))
        displays = width * height / (1920 * 1080)
        for name, pct in role["activity_pct"].items():
            activity = activities[name]
            displays_moving = role["displays"] if activity["spans"] == "all" else 1
            app = activity["app_burst_ms"] * activity["app_bursts_per_s"] / 1000
            for where, chance in (("software", 1 - entitled), ("offloaded", entitled)):
                video = activity[f"{where}_ms_per_frame"] * activity["frame_rate_hz"] / 1000
                video *= displays * displays_moving
                demand = (min(app, one_core) + min(video, one_core)) / capacity * 100
                if role["vcpus"] == 1:
                    demand = min(app + video, one_core) / capacity * 100
                weight = role["weight_pct"] / 100 * pct / 100 * chance
                law[demand] = law.get(demand, 0.0) + weight
    return {demand: chance for demand, chance in law.items() if chance > 0}


def listed_sums(one: dict[float, float], sessions: int) -> tuple[FloatArray, FloatArray]:
    """Return every sum of so many demands, rising, with its chance."""
    values: FloatArray = np.zeros(1)
    chances: FloatArray = np.ones(1)
    own, weights = np.array(list(one)), np.array(list(one.values()))
    for _ in range(sessions):
        sums = np.round(np.add.outer(values, own).ravel(), 9)
        values, place = np.unique(sums, return_inverse=True)
        chances = np.bincount(place.ravel(), np.multiply.outer(chances, weights).ravel())
    return values, chances


def _on_lattice(one: dict[float, float], step: float) -> FloatArray:
    """One session's demand on a lattice, each split between two points so that means stay."""
    law: FloatArray = np.zeros(int(max(one) / step) + 2)
    for demand, chance in one.items():
        low = int(demand / step)
        law[low] += chance * (1 - (demand / step - low))
        law[low + 1] += chance * (demand / step - low)
    return law


def convolved_sums(one: dict[float, float], sessions: int) -> tuple[FloatArray, FloatArray]:
    """Return lattice sums by direct convolution, one session at a time."""
    step = max(one) / 500
    single = _on_lattice(one, step)
    chances: FloatArray = np.ones(1)
    for _ in range(sessions):
        chances = np.convolve(chances, single)
    return np.arange(len(chances)) * step, chances


def transformed_sums(one: dict[float, float], sessions: int) -> tuple[FloatArray, FloatArray]:
    """Return lattice sums by one transform long enough that nothing wraps round."""
    points = 2**18
    step = max(one) * (sessions + 1) / (points - 2)
    transform = np.fft.rfft(_on_lattice(one, step), points)
    return np.arange(points) * step, np.fft.irfft(transform**sessions, points)


def quantile(values: FloatArray, chances: FloatArray, level: float) -> float:
    """Return the least value up to which the chances add up to the level."""
    reached = np.cumsum(chances) / chances.sum()
    return float(values[np.searchsorted(reached, level)])


@pytest.mark.parametrize(
    ("arm", "share_pct"),
    [("software", 100), ("offloaded", 0), ("offloaded", 50), ("offloaded", 100)],
)
@pytest.mark.parametrize(
    ("sessions", "sums"), [(FEW, listed_sums), (SOME, convolved_sums), (MANY, transformed_sums)],
    ids=["few", "some", "many"],
)  # fmt: skip
def test_demand_is_the_convolution(
    arm: str, share_pct: float, sessions: list[int], sums: Any, checked: Recorder
) -> None:
    """Mean, p95 and p99 of demand are within 1 % of those of the convolution."""
    data = plenty()
    data["accelerator"]["share_pct"] = share_pct
    ladder = saturation_curve(from_data(data), arm, sessions)
    one = single_session(data, arm)
    mean = sum(demand * chance for demand, chance in one.items())
    assert sum(one.values()) == pytest.approx(1)
    ours: list[float] = []
    exact: list[float] = []
    for number in sessions:
        here = ladder.at(number)
        values, chances = sums(one, number)
        # Derived: the sum of independent demands, see the top of this file.
        assert here["cpu_mean_pct"] == pytest.approx(number * mean, rel=0.01)
        ours += [here["cpu_mean_pct"], here["cpu_p95_pct"], here["cpu_p99_pct"]]
        exact += [number * mean, *(quantile(values, chances, level) for level in (0.95, 0.99))]
        for level, name in ((0.95, "cpu_p95_pct"), (0.99, "cpu_p99_pct")):
            low = quantile(values, chances, level - LEVEL_ERROR)
            high = quantile(values, chances, level + LEVEL_ERROR)
            assert 0.99 * low <= here[name] <= 1.01 * high, (number, name)
    if sessions is not FEW:
        told = "with card" if arm == "offloaded" else "without card"
        checked(
            "Demand", f"mean, p95 and p99 of {min(sessions)} to {max(sessions)} sessions, {told}, "
            f"share {share_pct} %", "the sum of independent sessions, added up by another road",
            exact, ours, kind="derived", rel=0.01,
        )  # fmt: skip


@pytest.mark.parametrize("sums", [convolved_sums, transformed_sums])
def test_lattices_agree_with_the_list(sums: Any) -> None:
    """The three ways to add demands agree on four sessions to 0.5 %."""
    one = single_session(plenty(), "software")
    exact = listed_sums(one, 4)
    lattice = sums(one, 4)
    # Derived: the list of all sums.
    for level in (0.5, 0.9, 0.97):
        expected = quantile(exact[0], exact[1], level)
        assert quantile(lattice[0], lattice[1], level) == pytest.approx(expected, rel=0.005)
