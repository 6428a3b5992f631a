"""Do more cores, slots and share never harm, more sessions never help, and limits stay simple?

Scenarios are drawn so that what a display saves on the card grows with its pixel rate, and so
that no source needs more than one core; beyond that a display that saves little may take the slot
of one that saves more, and the order need not hold.
"""

import hashlib
import os
import subprocess
import sys
import time
import tracemalloc
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.defaults import harbour
from model.saturation import SaturationCurve, saturation_curve
from model.scenario import Scenario, from_data
from model.targets import rated_load

REPOSITORY = Path(__file__).resolve().parents[2]
SESSIONS = np.arange(1, 31)
ROUNDING = 1e-6  # of single-precision sums over sampled hosts
LATTICE = 2e-3  # of quantiles between points of the demand's lattice
ARMS = ["software", "offloaded"]
ARRAYS = [field.name for field in fields(SaturationCurve) if field.name != "arm"]


def scenario_data(
    activities: list[dict[str, Any]],
    host: dict[str, Any] | None = None,
    accelerator: dict[str, Any] | None = None,
    roles: list[dict[str, Any]] | None = None,
) -> dict[str, Any]:
    """Return a scenario as plain data, with one role that does all activities unless given."""
    share = 100 / len(activities)
    one = {
        "name": "anyone",
        "weight_pct": 100,
        "activity_pct": {activity["name"]: share for activity in activities},
    }
    return {
        "version": 1,
        "name": "drawn",
        "sessions": 10,
        "host": {"cores": 4, "clock_ghz": 2.8, "memory_gib": 400} | (host or {}),
        "accelerator": accelerator or {},
        "activities": activities,
        "roles": roles or [one],
        "day": {"present_pct": [["07:00", 5], ["19:00", 5]]},
    }


@st.composite
def scenarios(draw: st.DrawFn) -> dict[str, Any]:
    """Draw a small host whose displays save in proportion to their pixel rate."""
    saved_ms = draw(st.floats(2, 8))  # for a whole 1920x1080 frame, on the reference core
    activities = []
    for index in range(draw(st.integers(1, 4))):
        changed = draw(st.integers(5, 100))
        offloaded = draw(st.floats(0.2, 1.5))
        activities.append(
            {
                "name": f"activity {index}",
                "app_burst_ms": draw(st.floats(1, 20)),
                "app_bursts_per_s": draw(st.sampled_from([0.0, 2.0, 5.0, 10.0])),
                "frame_rate_hz": draw(st.sampled_from([0.0, 5.0, 15.0, 25.0, 30.0])),
                "changed_pixels_pct": changed,
                "spans": draw(st.sampled_from(["one", "all"])),
                "software_ms_per_frame": offloaded + saved_ms * changed / 100,
                "offloaded_ms_per_frame": offloaded,
            }
        )
    habit = [draw(st.integers(1, 10)) for _ in activities]
    names = [activity["name"] for activity in activities]
    roles = [
        {
            "name": f"role {index}",
            "weight_pct": weight,
            "vcpus": draw(st.sampled_from([1, 2, 4])),
            "displays": draw(st.integers(1, 2)),
            "display": draw(st.sampled_from(["1280x720", "1920x1080"])),
            "activity_pct": dict(
                zip(names, [100 * part / sum(habit) for part in habit], strict=True)
            ),
        }
        for index, weight in enumerate(draw(st.sampled_from([[100], [60, 40]])))
    ]
    host = {
        "cores": draw(st.integers(1, 8)),
        "threads_per_core": draw(st.sampled_from([1, 2])),
        "turbo_ratio": draw(st.sampled_from([1.0, 1.2, 1.5])),
    }
    accelerator = {
        "cards": 1,
        "displays_per_card": draw(st.integers(1, 30)),
        "megapixels_per_s_per_card": 1_000_000,
        "share_pct": draw(st.sampled_from([25, 50, 100])),
    }
    return scenario_data(activities, host, accelerator, roles)


def changed(data: dict[str, Any], part: str, **values: Any) -> dict[str, Any]:
    """Return the data with other values in one of its parts."""
    return data | {part: data[part] | values}


def _never_harms(before: dict[str, Any], after: dict[str, Any], arm: str = "offloaded") -> None:
    old, new = from_data(before), from_data(after)
    one = saturation_curve(old, arm, SESSIONS)
    other = saturation_curve(new, arm, SESSIONS)
    assert (other.cpu_mean_pct <= one.cpu_mean_pct * (1 + ROUNDING) + 1e-9).all()
    for name in ("cpu_p95_pct", "cpu_p99_pct"):
        assert (getattr(other, name) <= getattr(one, name) * (1 + LATTICE) + 1e-9).all(), name
    assert rated_load(new, arm).rated_load >= rated_load(old, arm).rated_load


@settings(max_examples=25)
@given(scenarios(), st.integers(1, 4), st.sampled_from(ARMS))
def test_more_cores_never_harm(data: dict[str, Any], more: int, arm: str) -> None:
    """With more cores, demand in per cent does not rise and the rated load does not fall."""
    cores = data["host"]["cores"]
    _never_harms(data, changed(data, "host", cores=cores + more), arm)


@settings(max_examples=25)
@given(scenarios(), st.integers(1, 10))
def test_more_slots_never_harm(data: dict[str, Any], more: int) -> None:
    """With more display slots, demand does not rise and the rated load does not fall."""
    slots = data["accelerator"]["displays_per_card"]
    _never_harms(data, changed(data, "accelerator", displays_per_card=slots + more))


@settings(max_examples=25)
@given(scenarios(), st.sampled_from([5, 25, 50]))
def test_a_larger_share_never_harms(data: dict[str, Any], more: int) -> None:
    """With more sessions entitled, demand does not rise and the rated load does not fall."""
    share = data["accelerator"]["share_pct"]
    _never_harms(data, changed(data, "accelerator", share_pct=min(share + more, 100)))


@settings(max_examples=25)
@given(scenarios(), st.sampled_from(ARMS))
def test_more_sessions_never_help(data: dict[str, Any], arm: str) -> None:
    """With each session more, demand and wait do not fall, headroom and frames do not rise."""
    curve = saturation_curve(from_data(data), arm, SESSIONS)
    for name in ("headroom_pct", "frames_mean_pct", "frames_busy_pct"):
        assert (np.diff(getattr(curve, name)) <= 1e-9).all(), name
    for name in ("cpu_mean_pct", "cpu_p50_pct", "cpu_p95_pct", "cpu_p99_pct", "wait_mean_pct",
                 "wait_busy_pct", "stretch_mean", "overload_probability", "network_busy_pct",
                 "memory_pct"):  # fmt: skip
        assert (np.diff(getattr(curve, name)) >= -1e-9).all(), name
    assert all(np.isfinite(getattr(curve, name)).all() for name in ARRAYS)


@settings(max_examples=20)
@given(scenarios(), st.sampled_from([{"share_pct": 0}, {"cards": 0}]))
def test_a_card_for_nobody_changes_nothing(data: dict[str, Any], nobody: dict[str, Any]) -> None:
    """With no card or nobody entitled, both arms are equal to the last bit."""
    scenario = from_data(changed(data, "accelerator", **nobody))
    software = saturation_curve(scenario, "software", SESSIONS)
    offloaded = saturation_curve(scenario, "offloaded", SESSIONS)
    for name in ARRAYS:
        assert getattr(software, name).tobytes() == getattr(offloaded, name).tobytes(), name


@settings(max_examples=10)
@given(scenarios(), st.integers(1, 30), st.integers(31, 400))
def test_how_far_one_looks_does_not_matter(data: dict[str, Any], number: int, far: int) -> None:
    """A number of sessions has the same values alone and in a longer list, to 0.5 %.

    The lattice of the demand is as fine as the largest number of sessions lets it be.
    """
    scenario = from_data(data)
    alone = saturation_curve(scenario, "offloaded", [number]).at(number)
    among = saturation_curve(scenario, "offloaded", [far, number]).at(number)
    for name, value in alone.items():
        assert among[name] == pytest.approx(value, rel=5e-3, abs=5e-3), name


def fingerprint(scenario: Scenario) -> str:
    """Return a digest of every bit of both arms' curves."""
    digest = hashlib.sha256()
    for arm in ARMS:
        curve = saturation_curve(scenario, arm, [1, 10, 50, 130])
        for name in ARRAYS:
            digest.update(getattr(curve, name).tobytes())
    return digest.hexdigest()


@pytest.mark.slow
@pytest.mark.parametrize("hash_seed", ["1", "4242"])
def test_a_fresh_process_gives_the_same_bits(hash_seed: str) -> None:
    """Another process, with names hashed in another way, gives the same results to the bit."""
    code = (
        "from model.scenario import default\n"
        "from tests.model.test_saturation_order import fingerprint\n"
        "print(fingerprint(default()))"
    )
    other = subprocess.run(
        [sys.executable, "-c", code],
        cwd=REPOSITORY,
        env=os.environ | {"PYTHONHASHSEED": hash_seed},
        capture_output=True,
        text=True,
        check=True,
    )
    assert other.stdout.strip() == fingerprint(from_data(harbour()))


def activity(name: str = "work", **values: Any) -> dict[str, Any]:
    """Return an activity as plain data, the rest of it by default."""
    return {"name": name, **values}


@pytest.mark.parametrize("arm", ARMS)
def test_without_frames_all_are_delivered(arm: str) -> None:
    """Where no picture moves, every frame wanted is delivered and no slot is taken."""
    scenario = from_data(scenario_data([activity(), activity("more", app_burst_ms=30)]))
    curve = saturation_curve(scenario, arm, SESSIONS)
    # Derived: none of none is all; 10 ms and 30 ms of work five times a second, 0.1 cores.
    assert (curve.frames_mean_pct == 100).all()
    assert (curve.frames_busy_pct == 100).all()
    assert (curve.slots_mean == 0).all()
    assert np.diff(curve.cpu_mean_pct) == pytest.approx(
        np.full(len(SESSIONS) - 1, curve.cpu_mean_pct[0])
    )


@pytest.mark.parametrize("arm", ARMS)
def test_without_work_only_memory_is_used(arm: str) -> None:
    """Sessions without any work leave the whole CPU, and memory sets the rated load."""
    scenario = from_data(scenario_data([activity(app_bursts_per_s=0)]))
    curve = saturation_curve(scenario, arm, SESSIONS)
    # Derived: no work.
    for name in ("cpu_mean_pct", "cpu_p50_pct", "cpu_p99_pct", "wait_busy_pct",
                 "overload_probability"):  # fmt: skip
        assert (getattr(curve, name) == 0).all(), name
    assert (curve.headroom_pct == 100).all()
    assert (curve.frames_busy_pct == 100).all()
    rated = rated_load(scenario, arm)
    assert rated.limit == "memory"
    assert rated.rated_load == 100  # Derived: 400 GiB over 4 GiB


@pytest.mark.parametrize("sessions", [1, 5, 100])
def test_one_activity_has_no_spread(sessions: int) -> None:
    """With one role in one activity, every quantile of demand is the mean."""
    scenario = from_data(scenario_data([activity(frame_rate_hz=25)]))
    here = saturation_curve(scenario, "software", [sessions]).at(sessions)
    # Derived: 0.05 cores of application and 0.25 of encoding; 4 cores and 1 for their second
    # threads, at 2.8 / 3 of the reference core, less 6 %.
    expected = 0.30 * sessions / (5 * 2.8 / 3 * 0.94) * 100
    assert here["cpu_mean_pct"] == pytest.approx(expected)
    for name in ("cpu_p50_pct", "cpu_p95_pct", "cpu_p99_pct"):
        assert here[name] == pytest.approx(expected, rel=2e-3)


def test_one_core_is_enough_for_a_host() -> None:
    """A host with a single core has a curve and a rated load."""
    host = {"cores": 1, "threads_per_core": 1}
    scenario = from_data(scenario_data([activity(frame_rate_hz=10)], host))
    curve = saturation_curve(scenario, "offloaded", SESSIONS)
    assert all(np.isfinite(getattr(curve, name)).all() for name in ARRAYS)
    # Derived: 0.07 cores a session, 0.877 in all: 85 % are ten sessions, and waiting allows fewer.
    assert 1 <= rated_load(scenario, "offloaded").rated_load <= 10


@pytest.mark.parametrize(
    ("values", "host", "limit"),
    [
        ({"frame_rate_hz": 60, "software_ms_per_frame": 40}, {}, "frames"),
        ({"app_burst_ms": 150, "app_bursts_per_s": 10}, {"cores": 1, "threads_per_core": 1}, "cpu"),
        ({}, {"memory_gib": 2}, "memory"),
    ],
)
def test_nobody_may_be_the_most(values: dict[str, Any], host: dict[str, Any], limit: str) -> None:
    """Where even one session misses a target the rated load is 0, and what it misses is named."""
    rated = rated_load(from_data(scenario_data([activity(**values)], host)), "software")
    assert rated.rated_load == 0
    assert rated.limit == limit


@pytest.mark.parametrize("arm", ARMS)
def test_two_thousand_sessions_are_no_trouble(arm: str) -> None:
    """Far beyond what a host carries, the curve is still finite and falls as it should."""
    curve = saturation_curve(from_data(harbour()), arm, [100, 500, 1_000, 2_000])
    assert all(np.isfinite(getattr(curve, name)).all() for name in ARRAYS)
    assert (np.diff(curve.frames_mean_pct) < 0).all()
    assert (np.diff(curve.cpu_p95_pct) > 0).all()


def _rich_data(seed: int, share_pct: float) -> dict[str, Any]:
    rng = np.random.default_rng(seed)
    activities = [
        activity(
            f"activity {index}",
            app_burst_ms=float(rng.uniform(1, 20)),
            frame_rate_hz=float(rng.choice([0, 10, 25, 30])),
            changed_pixels_pct=float(rng.uniform(1, 100)),
            software_ms_per_frame=float(rng.uniform(5, 30)),
            spans=["one", "all"][index % 2],
        )
        for index in range(50)
    ]
    roles = [
        {
            "name": f"role {index}",
            "weight_pct": 2,
            "displays": 1 + index % 4,
            "display": ["1920x1080", "2560x1440", "1280x1024"][index % 3],
            "activity_pct": {each["name"]: 2 for each in activities},
        }
        for index in range(50)
    ]
    card = {"displays_per_card": 20, "share_pct": share_pct}
    return scenario_data(activities, {"cores": 32}, card, roles)


@pytest.mark.slow
@pytest.mark.parametrize("share_pct", [50, 100])
def test_the_largest_mix_fits_into_memory(
    share_pct: float, capsys: pytest.CaptureFixture[str]
) -> None:
    """Fifty roles with fifty activities take less than 1 GiB, with limits that bind."""
    scenario = from_data(_rich_data(1, share_pct))
    tracemalloc.start()
    begun = time.perf_counter()
    curve = saturation_curve(scenario, "offloaded", np.arange(1, 201))
    seconds = time.perf_counter() - begun
    peak_mib = tracemalloc.get_traced_memory()[1] / 2**20
    tracemalloc.stop()
    with capsys.disabled():
        print(f"\n50 roles x 50 activities: {seconds:.1f} s, {peak_mib:.0f} MiB at most")
    assert all(np.isfinite(getattr(curve, name)).all() for name in ARRAYS)
    assert peak_mib < 1_024


@pytest.mark.parametrize("spans", ["one", "all"])
def test_frames_that_cost_nothing_are_delivered(spans: str) -> None:
    """Frames without any CPU work count as wanted and as delivered."""
    free = activity(frame_rate_hz=25, offloaded_ms_per_frame=0, spans=spans)
    card: dict[str, Any] = {"displays_per_card": 10}
    scenario = from_data(scenario_data([free], {}, card))
    slots: npt.NDArray[np.int64] = np.array([5, 10, 40])
    with_card = saturation_curve(scenario, "offloaded", slots)
    without = saturation_curve(scenario, "software", slots)
    assert (with_card.frames_mean_pct[:2] == 100).all()  # Derived: all are on the card
    # Derived: the ten displays on the card deliver all their frames, whatever the others do.
    share_pct = 25 + 75 * without.frames_mean_pct[2] / 100
    assert with_card.frames_mean_pct[2] >= share_pct - 1e-9
