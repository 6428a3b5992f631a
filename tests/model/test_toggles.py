"""Are toggles found where they were, and nowhere else?"""

import json
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import lfilter

from model.errors import InputError
from model.evidence.changes import find_changes
from model.evidence.toggles import LEAST_SEPARATION, find_toggles, offload_between

REFERENCES = Path(__file__).resolve().parents[1] / "references"
VALUES = json.loads((REFERENCES / "trial_values.json").read_text(encoding="utf-8"))
STEPS = pd.read_csv(REFERENCES / "steps.csv")
RECORDING = pd.read_csv(REFERENCES / "recording_17_toggles.csv")


def noise(generator, rows: int, lag_1: float) -> np.ndarray:
    """Noise of deviation 1 whose correlation is lag_1 to the power of the distance."""
    fresh = generator.standard_normal(rows + 500) * np.sqrt(1 - lag_1**2)
    return lfilter([1.0], [1.0, -lag_1], fresh)[500:]


def switched(generator, rows: int, least: int, most: int) -> tuple[np.ndarray, np.ndarray]:
    """The first rows of spells of drawn lengths, and the state, 1 on: the lower level."""
    ends = np.cumsum(generator.integers(least, most, rows // least))
    ends = ends[ends < rows - least]
    state = np.zeros(rows, dtype=int)
    for end in ends:
        state[end:] = 1 - state[end]
    return ends, state


def matched(found, true, tolerance: int) -> int:
    """How many toggles are found, each true one counting for one found one at most."""
    left = list(true)
    for row in found:
        near = [each for each in left if abs(each - row) <= tolerance]
        if near:
            left.remove(near[0])
    return len(true) - len(left)


def f1_of(step: float, lag_1: float, logs: int, least: int = 20, most: int = 60) -> float:
    """F1 at 3 s over some logs of half an hour."""
    hits = found = true = 0
    for log in range(logs):
        generator = np.random.default_rng([11, log])
        ends, state = switched(generator, 1_800, least, most)
        toggles = find_toggles(noise(generator, 1_800, lag_1) - step * state, 1.0)
        hits += matched(toggles.rows, ends, 3)
        found += len(toggles.rows)
        true += len(ends)
    return 2 * hits / (found + true)


@pytest.mark.parametrize(
    ("step", "lag_1"), [(4, 0), (6, 0.5), (8, 0.5), (8, 0.8), (8, 0.9), (8, 0.95)]
)
def test_nearly_every_toggle_is_found_within_3_s(step, lag_1):
    """F1 at 3 s is at least 0.99 for clear steps, however slow the noise."""
    # Derived: the promise.
    assert f1_of(step, lag_1, logs=25) >= 0.99


@pytest.mark.parametrize(("least", "most"), [(10, 40), (120, 300)])
def test_toggles_are_found_in_short_and_long_spells(least, most):
    """F1 holds for spells of hardly the least dwell and for long ones."""
    # Derived: the promise.
    assert f1_of(4, 0, 15, least, most) >= 0.99
    assert f1_of(8, 0.95, 15, least, most) >= 0.99


def logs_without_toggles():
    """Two hundred logs of noise, slow noise and drifts."""
    for log in range(200):
        generator = np.random.default_rng([12, log])
        rows = (300, 900, 3_600)[log % 3]
        lag_1 = (0.0, 0.5, 0.9, 0.95, 0.98)[log % 5]
        readings = noise(generator, rows, lag_1)
        if log % 4 == 1:
            readings += np.linspace(0, generator.uniform(0, 20), rows)
        if log % 4 == 2:
            readings += generator.uniform(0, 20) * np.sin(
                np.linspace(0, generator.uniform(1, 20), rows)
            )
        yield readings


def test_no_toggle_is_invented():
    """In 200 logs without a toggle none is found, and each time it is said why."""
    for readings in logs_without_toggles():
        toggles = find_toggles(readings, 1.0)
        assert len(toggles.rows) == 0
        assert toggles.refusal
        assert (toggles.offload == -1).all()


def test_recording_gives_its_17_toggles():
    """All toggles of a real recording are found within 2 s, in the right direction, no other."""
    state = RECORDING["offload_on"].to_numpy()
    true = np.flatnonzero(np.diff(state)) + 1

    toggles = find_toggles(RECORDING["worker_cpu_pct_one_core"], 1.0)

    # Derived: the recording notes its own switches.
    assert len(toggles.rows) == len(true) == 17
    assert np.abs(toggles.rows - true).max() <= 2
    assert toggles.to_on.tolist() == (state[true] == 1).tolist()
    assert np.mean(toggles.offload == state) > 0.99
    assert toggles.cautions == ()
    # Derived: means of the recording's own states, 14.0 and 0.26 % of a core; the rest is rounding
    # and the few readings around a switch.
    assert toggles.on_level - toggles.off_level == pytest.approx(-13.74, abs=0.1)


@pytest.mark.parametrize("case", VALUES["steps"], ids=lambda case: case["column"])
def test_steps_are_found_exactly(case):
    """Five toggles in noise of three kinds are found to the reading."""
    # Independent: the file names the program; the same as the true ones.
    assert find_toggles(STEPS[case["column"]], 1.0).rows.tolist() == case["changes"]


def test_levels_too_close_are_refused_with_the_reason():
    """A step of two standard deviations is refused, and levels and distance are told."""
    generator = np.random.default_rng(3)
    _, state = switched(generator, 1_800, 30, 60)

    toggles = find_toggles(noise(generator, 1_800, 0.5) + 10 - 2 * state, 1.0)

    assert len(toggles.rows) == 0
    assert toggles.separation < LEAST_SEPARATION
    assert "standard deviations of the noise apart" in toggles.refusal
    assert f"{toggles.separation:.1f}" in toggles.refusal


def test_a_ramp_is_no_toggle():
    """Readings that go slowly from one level to another and back are refused as a drift."""
    ramp = np.interp(np.arange(1_200), [0, 300, 500, 800, 1_000, 1_200], [0, 0, 9, 9, 0, 0])

    toggles = find_toggles(ramp + noise(np.random.default_rng(1), 1_200, 0), 1.0)

    assert "drift" in toggles.refusal


def test_slow_noise_that_falls_in_two_is_refused():
    """Noise that lingers on two sides is told from a switch by how fast it moves."""
    refused = [
        toggles.refusal
        for log in range(60)
        for toggles in [find_toggles(noise(np.random.default_rng([7, log]), 300, 0.98), 1.0)]
    ]

    assert all(refused)
    assert any("hardly faster" in reason for reason in refused)


@pytest.mark.parametrize(
    ("values", "told"),
    [
        (np.ones(100), "Every reading is the same"),
        (np.arange(15.0), "There are 15 readings"),
        (np.full(50, np.nan), "There are 0 readings"),
        ([0.0] * 100 + [9.0] * 3 + [0.0] * 100, "keep to one level"),
    ],
)
def test_nothing_to_find_is_said(values, told):
    """Constant, short and empty logs, and a mere peak, are refused for their own reason."""
    toggles = find_toggles(values, 1.0)

    assert told in toggles.refusal
    assert len(toggles.rows) == 0


def test_missing_readings_and_peaks_do_no_harm():
    """A tenth of the readings missing and a peak of a hundred steps leave the toggles in place."""
    generator = np.random.default_rng(5)
    ends, state = switched(generator, 1_800, 30, 60)
    readings = noise(generator, 1_800, 0.5) - 8 * state
    readings[generator.integers(0, 1_800, 4)] = 800.0
    readings[generator.random(1_800) < 0.1] = np.nan

    toggles = find_toggles(readings, 1.0)

    assert len(toggles.rows) == len(ends)
    assert np.abs(toggles.rows - ends).max() <= 3
    assert toggles.noise_sd == pytest.approx(1, abs=0.35)


def test_levels_without_noise_are_infinitely_far_apart():
    """A clean square wave is found exactly."""
    toggles = find_toggles([20.0] * 30 + [1.0] * 30 + [20.0] * 30, 1.0)

    assert toggles.rows.tolist() == [30, 60]
    assert toggles.to_on.tolist() == [True, False]
    assert (toggles.on_level, toggles.off_level) == (1.0, 20.0)
    assert toggles.separation == np.inf
    assert toggles.sharpness.tolist() == [1.0, 1.0]


def test_unit_and_direction_do_not_matter():
    """Scaled or shifted readings give the same toggles, mirrored ones the opposite states."""
    generator = np.random.default_rng(8)
    _, state = switched(generator, 900, 30, 60)
    readings = noise(generator, 900, 0.8) - 8 * state
    plain = find_toggles(readings, 1.0)

    for scaled in (readings * 1e-3, readings * 1e4 + 1e6):
        assert find_toggles(scaled, 1.0).rows.tolist() == plain.rows.tolist()
    mirrored = find_toggles(-readings, 1.0, on_is_lower=False)
    assert mirrored.rows.tolist() == plain.rows.tolist()
    assert mirrored.offload.tolist() == plain.offload.tolist()
    assert find_toggles(-readings, 1.0).offload.tolist() == (1 - plain.offload).tolist()


def test_the_interval_counts():
    """Ten readings a second, and one in five seconds, keep to the dwell in seconds."""
    generator = np.random.default_rng(9)
    _, state = switched(generator, 600, 30, 60)
    fast = find_toggles(np.repeat(-8.0 * state, 10) + generator.standard_normal(6_000), 0.1)
    slow = find_toggles((-8.0 * state + generator.standard_normal(600)), 5.0, least_dwell_s=60)

    true = np.flatnonzero(np.diff(state)) + 1
    assert fast.times_s == pytest.approx(true, abs=0.21)
    assert slow.times_s == pytest.approx(5.0 * true, abs=5)


def test_one_toggle_is_warned_of():
    """A single toggle is shown with the caution that anything else may have changed then."""
    readings = np.random.default_rng(2).standard_normal(600) - 9.0 * (np.arange(600) >= 300)

    toggles = find_toggles(readings, 1.0)

    assert toggles.rows.tolist() == [300]
    assert "one toggle only" in toggles.cautions[0]


def test_another_activity_is_warned_of():
    """Spells of one state on levels of their own are told."""
    level = np.repeat([100.0, 5.0, 60.0, 5.0, 100.0, 5.0, 60.0], 60)

    toggles = find_toggles(level + np.random.default_rng(2).standard_normal(420), 1.0)

    assert len(toggles.rows) == 6
    assert "change of activity" in toggles.cautions[-1]


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.one_of(st.floats(-1e3, 1e3), st.just(float("nan")), st.sampled_from([0.0, 1.0, 50.0])),
        min_size=1,
        max_size=120,
    ),
    st.integers(1, 12),
)
def test_any_series_is_answered(values, dwell):
    """Whatever the readings, spells keep the least dwell, or a refusal says why."""
    toggles = find_toggles(values, 1.0, least_dwell_s=dwell)

    edges = [0, *toggles.rows.tolist(), len(values)]
    if toggles.refusal is None:
        assert min(later - before for before, later in pairwise(edges)) >= dwell
        again = offload_between(toggles.rows, len(values), not toggles.to_on[0])
        assert again.tolist() == toggles.offload.tolist()
        assert (np.diff(toggles.to_on.astype(int)) != 0).all()
        assert np.isfinite(toggles.sharpness).all()
    else:
        assert len(toggles.rows) == 0


def brute_force(votes, dwell: int, cost: float) -> float:
    """The best sum of votes in high spells less the cost of changes, by trying all divisions."""
    rows = len(votes)
    best: dict[tuple[int, bool], float] = {(0, False): 0.0, (0, True): 0.0}
    for end in range(1, rows + 1):
        for high in (False, True):
            best[end, high] = max(
                (
                    best[start, not high] - cost * (start > 0) + high * sum(votes[start:end])
                    for start in range(0, end - dwell + 1)
                ),
                default=-np.inf,
            )
    return max(best[rows, False], best[rows, True])


def test_spells_are_the_best_there_are():
    """The search for spells finds the optimum that trying every division finds."""
    from model.evidence import toggles as module

    for log in range(40):
        generator = np.random.default_rng([4, log])
        votes = np.clip(generator.normal(0, 1, 40) + np.repeat([0.4, -0.4, 0.4, -0.4], 10), -1, 1)
        dwell = int(generator.integers(1, 8))
        ends, first_high = module._best_spells(votes, dwell)
        high = offload_between(ends, 40, first_high)

        # Independent: the function above.
        cost = module._RELUCTANCE * dwell
        expected = brute_force(votes.tolist(), dwell, cost)
        assert float(high @ votes) - cost * len(ends) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("values", "interval_s", "dwell_s", "field"),
    [
        ([], 1.0, 10.0, "values"),
        ([[1.0, 2.0]], 1.0, 10.0, "values"),
        (["a", "b"], 1.0, 10.0, "values"),
        ([1.0, 2.0], 0.0, 10.0, "interval_s"),
        ([1.0, 2.0], float("nan"), 10.0, "interval_s"),
        ([1.0, 2.0], 1.0, -1.0, "least_dwell_s"),
    ],
)
def test_wrong_input_is_named(values, interval_s, dwell_s, field):
    """What cannot be used is refused by name."""
    with pytest.raises(InputError) as caught:
        find_toggles(values, interval_s, dwell_s)

    assert caught.value.field == field


def test_confirmed_toggles_become_states():
    """Toggles that were moved, added or deleted by hand give the state of each reading."""
    assert offload_between([4, 2], 6, first_on=False).tolist() == [0, 0, 1, 1, 0, 0]
    assert offload_between([], 3, first_on=True).tolist() == [1, 1, 1]


@pytest.mark.parametrize("rows", [[0], [6], [-1], [2, 2]])
def test_toggles_outside_the_log_are_refused(rows):
    """A toggle before the first reading, past the last or twice in a place is refused."""
    with pytest.raises(InputError, match="toggle_rows"):
        offload_between(rows, 6, first_on=False)


def test_nile_changed_once_after_1898(checked):
    """The yearly volume of the Nile has its one known change, and no other."""
    nile = VALUES["nile"]
    volumes = np.array(nile["volumes"], dtype=float)

    changes = find_changes(volumes, least=10)

    # Published, second-hand: Cobb 1978 for the year, Zeileis et al. 2003 for the squares.
    assert changes.tolist() == [nile["last_year_of_first_level"] - nile["first_year"] + 1]
    left = sum(((part - part.mean()) ** 2).sum() for part in np.split(volumes, changes))
    assert left == pytest.approx(nile["squares_left"], rel=1e-9)
    year = nile["first_year"] + changes - 1
    checked(
        "Evidence", "last year before the Nile's volume fell, and squares left", nile["source"],
        [1898, nile["squares_left"]], [*year, left], kind="published, second-hand", rel=1e-9,
    )  # fmt: skip


@pytest.mark.parametrize("case", VALUES["divisions"] + VALUES["steps"])
def test_divisions_are_the_best_there_are(case):
    """Where pruned searches go wrong, the division is still the best."""
    series = np.array(case["values"] if "values" in case else STEPS[case["column"]])

    changes = find_changes(series, case["least"], case["penalty"])

    # Independent or Derived: as the file says of each case.
    assert changes.tolist() == case["changes"]
    left = sum(((part - part.mean()) ** 2).sum() for part in np.split(series, changes))
    assert left + case["penalty"] * len(changes) == pytest.approx(case["objective"], rel=1e-9)


def test_steady_noise_has_no_change():
    """Independent noise around one level is left in one piece."""
    for log in range(20):
        assert len(find_changes(np.random.default_rng([6, log]).standard_normal(300), 10)) == 0
    assert find_changes([5.0, 5.0, 5.0], 1).tolist() == []
    assert find_changes([5.0], 4).tolist() == []


@pytest.mark.parametrize(
    ("values", "least", "penalty", "field"),
    [
        ([1.0, float("nan")], 1, None, "values[1]"),
        (np.zeros(20_001), 1, None, "values"),
        ([], 1, None, "values"),
        ("text", 1, None, "values"),
        ([1.0, 2.0], 0, None, "least"),
        ([1.0, 2.0], 1, -1.0, "penalty"),
    ],
)
def test_division_refuses_what_it_cannot_use(values, least, penalty, field):
    """Gaps, a series too long and numbers out of range are refused by name."""
    with pytest.raises(InputError) as caught:
        find_changes(values, least, penalty)

    assert caught.value.field == field
