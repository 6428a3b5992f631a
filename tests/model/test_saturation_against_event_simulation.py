"""Does the saturation curve say what comes of simulating every burst on many drawn hosts?

Scenarios are drawn with fixed seeds: 20 to 60 sessions on hosts of 4 to 16 cores. In some of them
the display slots run out, in some the pixel rate, in some a share of the sessions may use the card.
"""

from typing import Any

import numpy as np
import pytest

from model.defaults import BURST_PHASES
from model.saturation import saturation_curve
from model.scenario import from_data, to_data
from tests.checked import Recorder
from tests.model.event_simulation import HostRun, simulate_host

SIMULATION = "an event simulation of every burst, tests/model/event_simulation.py"
SIMULATED_HOSTS = 150
SECONDS = 6.0
MOMENTS = 12_000
LIMITS = ["slots", "pixel rate", "share", "slots and share", "none", "pixel rate and share",
          "slots", "pixel rate"]  # fmt: skip
DRAWN = range(len(LIMITS))


def drawn_scenario(seed: int) -> dict[str, Any]:
    """Draw a scenario; its limit is the entry of LIMITS at the seed."""
    rng = np.random.default_rng([seed, 4_711])
    limit = LIMITS[seed]
    activities = [
        {
            "name": f"activity {index}",
            "app_burst_ms": float(rng.uniform(2, 20)),
            "app_bursts_per_s": float(rng.choice([2, 5, 10, 15])),
            "frame_rate_hz": float(rng.choice([5, 15, 24, 30])) if index else 0.0,
            "changed_pixels_pct": float(rng.uniform(20, 100)),
            "spans": str(rng.choice(["one", "all"])),
            "software_ms_per_frame": float(rng.uniform(8, 30)),
            "offloaded_ms_per_frame": float(rng.uniform(1, 4)),
        }
        for index in range(int(rng.integers(3, 7)))
    ]
    names = [str(activity["name"]) for activity in activities]
    roles = []
    for index in range(3):
        habit = rng.dirichlet(np.ones(len(names))) * 100
        roles.append(
            {
                "name": f"role {index}",
                "weight_pct": [50, 30, 20][index],
                "vcpus": [2, 1, 4][index],
                "displays": int(rng.integers(1, 4)),
                "display": str(rng.choice(["1280x1024", "1920x1080", "2560x1440"])),
                "activity_pct": dict(zip(names, habit.tolist(), strict=True)),
            }
        )
    sessions = int(rng.integers(20, 61))
    data = {
        "version": 1,
        "name": f"drawn {seed}",
        "sessions": sessions,
        "host": {
            "cores": int(rng.integers(4, 17)),
            "threads_per_core": int(rng.integers(1, 3)),
            "turbo_ratio": float(rng.uniform(1, 1.4)),
        },
        "accelerator": {
            "cards": 1,
            "displays_per_card": round(sessions * 0.5) if "slots" in limit else 10_000,
            "megapixels_per_s_per_card": sessions * 20.0 if "pixel rate" in limit else 1e6,
            "share_pct": 60 if "share" in limit else 100,
        },
        "activities": activities,
        "roles": roles,
        "day": {"present_pct": [["07:00", 5], ["19:00", 5]]},
    }
    return to_data(from_data(data))  # with every field filled in


def simulated(seed: int, arm: str) -> tuple[dict[str, float], HostRun]:
    """Return the curve's answer for a drawn scenario, and the simulation's."""
    data = drawn_scenario(seed)
    curve = saturation_curve(from_data(data), arm, [data["sessions"]]).at(data["sessions"])
    run = simulate_host(
        data,
        arm,
        data["sessions"],
        SIMULATED_HOSTS,
        100 * seed + 7,
        SECONDS,
        BURST_PHASES,
        MOMENTS,
    )
    return curve, run


@pytest.mark.slow
@pytest.mark.parametrize("arm", ["software", "offloaded"])
@pytest.mark.parametrize("seed", DRAWN, ids=[f"{seed}: {LIMITS[seed]}" for seed in DRAWN])
def test_the_curve_is_what_simulated_hosts_show(seed: int, arm: str, checked: Recorder) -> None:
    """Demand is within 2 %, frames within 3 points and wait within 1 of the simulated hosts'."""
    curve, run = simulated(seed, arm)
    # Independent: tests/model/event_simulation.py. Its own standard errors are at most 0.4 % of
    # the demand, 0.6 points of the frames and 0.5 of the wait.
    assert run.demand_error_pct <= 0.004 * run.demand_mean_pct
    assert run.frames_error_pct <= 0.6
    assert run.wait_error_pct <= 0.5
    told = f"{'with' if arm == 'offloaded' else 'without'} card, short of {LIMITS[seed]}"
    for what, expected, ours, tolerance in (
        ("mean CPU demand [%]", run.demand_mean_pct, curve["cpu_mean_pct"], {"rel": 0.02}),
        ("delivered frames [%]", run.frames_pct, curve["frames_mean_pct"], {"abs": 3}),
        ("scheduler wait [%]", run.wait_pct, curve["wait_mean_pct"], {"abs": 1}),
    ):
        checked(
            "Curve over sessions", f"{what} of drawn host {seed}, {told}", SIMULATION, expected,
            ours, kind="independent", **tolerance,
        )  # fmt: skip
    assert curve["cpu_mean_pct"] == pytest.approx(run.demand_mean_pct, rel=0.02)
    assert curve["frames_mean_pct"] == pytest.approx(run.frames_pct, abs=3)
    assert curve["wait_mean_pct"] == pytest.approx(run.wait_pct, abs=1)
    assert curve["slots_mean"] == pytest.approx(run.slots_mean, rel=0.02, abs=0.05)
    if arm == "offloaded" and ("slots" in LIMITS[seed] or "pixel" in LIMITS[seed]):
        assert run.limit_share > 0.1  # or the scenario would not test the limit
