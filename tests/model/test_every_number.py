"""Does every number of a scenario count: in an answer, and in how sure the answers are?"""

import dataclasses
from typing import Any

import numpy as np
import pytest

from model.day import simulate_day
from model.defaults import FIELDS
from model.draws import GROUPS, inputs_of
from model.hosts import ARMS
from model.saturation import saturation_curve
from model.scenario import Scenario, default, from_data, to_data
from model.targets import ALL_LIMITS, limits_missed

SESSIONS = np.arange(10, 151, 10)
NOT_DRAWN = {"activities.changed_pixels_pct"}  # it loads the card alone, and no log shows it


def example() -> dict[str, Any]:
    """The example with all displays in motion and every resource of the host asked for."""
    data = to_data(default())
    data["host"] |= {"network_gbps": 1, "gpu_memory_gib": 64}
    data["accelerator"] |= {"displays_per_card": 40, "megapixels_per_s_per_card": 800}
    data["activities"][3]["spans"] = "all"
    for role in data["roles"]:
        role["gpu_memory_gib"] = 0.5
    return data


def changed(path: str) -> Scenario:
    """The example with one of its numbers halved, or 1 where it was 0."""
    data, quantity = example(), FIELDS[path]
    part, _, name = path.rpartition(".")
    if path == "roles.activity_pct":
        data["roles"][0]["activity_pct"] |= {"idle": 0, "video call": 20}
    elif path == "day.present_pct":
        data["day"]["present_pct"][3][1] = 50
    elif path == "roles.weight_pct":
        data["roles"][0][name], data["roles"][1][name] = 5, 60
    else:
        holder = data[part] if part else data
        holder = holder[0 if part == "roles" else 3] if isinstance(holder, list) else holder
        half = max(holder[name] / 2, quantity.low) if holder[name] else 1
        holder[name] = int(half) if quantity.whole else half
    return from_data(data)


def answers(scenario: Scenario) -> list[Any]:
    """Curves, what misses its target and a simulated day, both arms."""
    found: list[Any] = [scenario.sessions]
    for arm in ARMS:
        curve = saturation_curve(scenario, arm, SESSIONS)
        day = simulate_day(scenario, arm, seed=1, replicates=1)
        records = [dataclasses.asdict(each) for each in (curve, day)]
        records.append(limits_missed(scenario, curve))
        found += [np.asarray(value).tolist() for each in records for value in each.values()]
    return found


@pytest.fixture(scope="module")
def before() -> list[Any]:
    """What the unchanged example answers."""
    return answers(from_data(example()))


@pytest.mark.parametrize("path", FIELDS)
def test_every_number_moves_an_answer(path: str, before: list[Any]) -> None:
    """No number can be filled in that changes nothing."""
    assert answers(changed(path)) != before


@pytest.mark.parametrize("path", [path for path in FIELDS if path.startswith("activities.")])
def test_every_cost_is_drawn(path: str) -> None:
    """How sure an answer is depends on every number of an activity, once it is uncertain."""
    data, name = example(), path.partition(".")[2]
    value = data["activities"][3][name] = data["activities"][3][name] or 1
    if name == "app_bursts_per_s":  # drawn where it was measured: the burst stands for both
        data["measured"] = [
            {"path": f"activities[scrolling documents].{name}", "value": value,
             "low": value * 0.9, "high": value * 1.1, "source": "log.csv"}
        ]  # fmt: skip
    inputs = inputs_of(from_data(data), dict.fromkeys(GROUPS, 20.0))

    assert any(each.number == name for each in inputs) is (path not in NOT_DRAWN)


def test_every_target_can_bind() -> None:
    """Each target of a scenario is held against a column of the curve."""
    targets = {limit.target for limit in ALL_LIMITS.values()} - {""}

    assert {f"targets.{name}" for name in targets} == {
        path for path in FIELDS if path.startswith("targets.")
    }
