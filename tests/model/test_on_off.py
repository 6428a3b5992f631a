"""Is the effect of offload what it is, and is its interval as wide as it must be?"""

import json
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy.signal import lfilter
from scipy.stats import t as student_t

from model.errors import InputError
from model.evidence.block_noise import block_noise
from model.evidence.blocks import cut_blocks, spells_of
from model.evidence.on_off import effects_by_activity, offload_effect
from tests.checked import Recorder

REFERENCES = Path(__file__).resolve().parents[1] / "references"
VALUES = json.loads((REFERENCES / "effect_values.json").read_text(encoding="utf-8"))
ON_OFF = pd.read_csv(REFERENCES / "on_off_series.csv")
PLAN = "0110100110010110"


def states(order: str, block_rows: int) -> np.ndarray:
    """Offload by row for blocks in an order, 1 on and 0 off."""
    return np.repeat([int(state) for state in order], block_rows)


def noise(seed: int, rows: int, alike: float) -> np.ndarray:
    """Noise of deviation 1 in which neighbours correlate as told."""
    fresh = np.random.default_rng(seed).standard_normal(rows + 500) * np.sqrt(1 - alike**2)
    return lfilter([1.0], [1.0, -alike], fresh)[500:]


def covered(effects, truth: float) -> float:
    """The share of intervals of the difference that hold the truth."""
    return np.mean([e.difference.interval[0] <= truth <= e.difference.interval[1] for e in effects])


@pytest.mark.parametrize(
    "row", VALUES["pairs_and_quads"]["rows"], ids=lambda row: f"{row['column']}_{row['name']}"
)
def test_pairs_and_quads_agree_with_scipy(row: dict, checked: Recorder) -> None:
    """Neighbouring pairs, and fours, of planned blocks give the interval of a t test."""
    effect = offload_effect(ON_OFF[row["column"]], ON_OFF["on"], 1.0, resamples=0)
    (check,) = (each for each in effect.checks if each.name == row["name"])
    # Independent: scipy 1.17.1, on block means taken apart by hand; call in the file.
    assert check.difference == pytest.approx(row["difference"], rel=1e-9)
    assert check.interval == pytest.approx((row["low"], row["high"]), rel=1e-9)
    checked(
        "Evidence", f"effect of offload and its interval by {row['name']}, "
        f"{row['column'].replace('_', ' ')}", "scipy 1.17.1, a t test on block means",
        [row["difference"], row["low"], row["high"]], [check.difference, *check.interval],
        kind="independent", rel=1e-9,
    )  # fmt: skip


@pytest.mark.parametrize("column", ["correlation_0.5", "correlation_0.8", "correlation_0.95"])
def test_headline_agrees_with_a_regression_in_statsmodels(column: str, checked: Recorder) -> None:
    """The difference is the slope in a regression of block levels on offload and a drift."""
    effect = offload_effect(ON_OFF[column], ON_OFF["on"], 1.0, resamples=0)
    level = ON_OFF[column].to_numpy().reshape(16, 60)[:, 5:].mean(axis=1)
    on = ON_OFF["on"].to_numpy()[::60]
    drift = np.polynomial.legendre.legvander(np.linspace(-1, 1, 16), 4)
    fit = sm.OLS(level, np.column_stack([on, drift])).fit()
    # Independent: statsmodels, ordinary least squares on blocks averaged here.
    assert effect.difference.value == pytest.approx(fit.params[0], rel=1e-10)
    checked(
        "Evidence", f"effect of offload, {column.replace('_', ' ')}",
        "statsmodels, ordinary least squares on block means", fit.params[0],
        effect.difference.value, kind="independent", rel=1e-10,
    )  # fmt: skip
    # Independent: its interval takes block levels as unrelated; theirs here are nearly so.
    half = (effect.difference.interval[1] - effect.difference.interval[0]) / 2
    assert half == pytest.approx(student_t.ppf(0.975, 10) * fit.bse[0], rel=0.08)


def test_independent_readings_get_the_plain_interval() -> None:
    """Without memory and with equal noise the interval is that of ordinary least squares."""
    values = noise(1, 960, 0.0) + 5 * states(PLAN, 60)
    effect = offload_effect(values, states(PLAN, 60), 1.0, resamples=0)
    drift = np.polynomial.legendre.legvander(np.linspace(-1, 1, 16), 4)
    level = values.reshape(16, 60)[:, 5:].mean(axis=1)
    fit = sm.OLS(level, np.column_stack([states(PLAN, 1), drift])).fit()
    # Independent: statsmodels. The fitted memory is nil or nearly so.
    assert effect.difference.interval == pytest.approx(tuple(fit.conf_int()[0]), rel=2e-3)
    assert effect.degrees == pytest.approx(10, abs=0.05)


def test_standard_error_of_readings_agrees_with_statsmodels(checked: Recorder) -> None:
    """The cross-check on single readings is a regression with Newey and West's error."""
    effect = offload_effect(ON_OFF["correlation_0.8"], ON_OFF["on"], 1.0)
    check = {each.name: each for each in effect.checks}["hac"]
    used = np.tile(np.arange(60) >= 5, 16)
    kept = ON_OFF[used]
    fit = sm.OLS(kept["correlation_0.8"], sm.add_constant(kept["on"])).fit(
        cov_type="HAC", cov_kwds={"maxlags": int(check.units), "use_correction": False}
    )
    # Independent: statsmodels with the same lag.
    assert check.difference == pytest.approx(fit.params["on"], rel=1e-10)
    assert check.interval == pytest.approx(tuple(fit.conf_int().loc["on"]), rel=1e-9)
    checked(
        "Evidence", "interval of an effect from single readings",
        "statsmodels, regression with Newey and West's error", fit.conf_int().loc["on"],
        check.interval, kind="independent", rel=1e-9,
    )  # fmt: skip


def test_bootstrap_agrees_with_newey_west() -> None:
    """The two cross-checks on single readings tell nearly the same."""
    effect = offload_effect(ON_OFF["correlation_0.5"], ON_OFF["on"], 1.0)
    checks = {each.name: each for each in effect.checks}
    assert list(checks) == ["pairs", "quads", "hac", "bootstrap"]
    widths = [np.ptp(checks[name].interval) for name in ("hac", "bootstrap")]
    # Derived: both estimate one variance; each is good to about a tenth.
    assert widths[1] == pytest.approx(widths[0], rel=0.2)


@pytest.mark.parametrize("column", ["correlation_0.5", "correlation_0.8", "correlation_0.95"])
def test_known_effect_lies_near_the_interval(column: str) -> None:
    """The effect that was put into a made-up log is found."""
    effect = offload_effect(ON_OFF[column], ON_OFF["on"], 1.0, resamples=0)
    low, high = effect.difference.interval
    # Derived: the series were made with an effect of -118. One of them lies just outside.
    assert low - (high - low) < -118 < high + (high - low)
    assert effect.on.value - effect.off.value == pytest.approx(effect.difference.value)


@pytest.mark.parametrize("order", [PLAN[:8], PLAN, PLAN + PLAN[::-1], "01" * 8, "0110" * 4])
@pytest.mark.parametrize("alike", [0.0, 0.9])
def test_intervals_cover(order: str, alike: float) -> None:
    """Ninety-five intervals in a hundred hold the true effect, whatever the order of blocks."""
    offload = states(order, 60)
    effects = [
        offload_effect(10 + noise(s, len(offload), alike) - offload, offload, 1.0, resamples=0)
        for s in range(100)
    ]
    # Derived: 95 of 100, less three binomial standard errors.
    assert covered(effects, -1) >= 0.95 - 3 * (0.95 * 0.05 / 100) ** 0.5


@pytest.mark.parametrize("order", [PLAN[:8], PLAN])
def test_drift_is_taken_out(order: str) -> None:
    """A level that climbs by five deviations changes neither difference nor interval."""
    offload = states(order, 60)
    values = noise(3, len(offload), 0.5) - 2 * offload
    still = offload_effect(values, offload, 1.0, resamples=0)
    climbing = offload_effect(values + np.linspace(0, 5, len(offload)), offload, 1.0, resamples=0)
    # Derived: a straight line is part of the drift that is taken out; its slope within blocks
    # moves the fitted memory a little.
    assert climbing.difference.value == pytest.approx(still.difference.value, abs=1e-9)
    assert np.ptp(climbing.difference.interval) == pytest.approx(
        np.ptp(still.difference.interval), rel=0.03
    )
    assert np.ptp(climbing.drift) > 4
    assert any("drifts by about" in sentence for sentence in climbing.warnings)


def test_ratio_of_scaled_noise_covers() -> None:
    """The ratio's interval holds where offload scales level and noise, drift included."""
    offload = states(PLAN, 60)
    hits = 0
    for seed in range(100):
        load = 10 + noise(seed, 960, 0.8) + np.linspace(0, 3, 960)
        effect = offload_effect(
            np.where(offload == 1, 0.15 * load, load), offload, 1.0, resamples=0
        )
        hits += effect.ratio.interval[0] <= 0.15 <= effect.ratio.interval[1]
    # Derived: 95 of 100 give or take three binomial standard errors.
    assert 88 <= hits <= 100


def test_ratio_is_one_where_difference_is_nil() -> None:
    """A ratio of 1 is believed where a difference of 0 is, and not where it is not."""
    offload = states(PLAN, 60)
    for seed in range(30):
        effect = offload_effect(
            20 + noise(seed, 960, 0.5) + 0.2 * offload, offload, 1.0, resamples=0
        )
        nil = effect.difference.interval[0] <= 0 <= effect.difference.interval[1]
        # Derived: both ask whether the levels differ; the ends differ by rounding of the noise.
        near = min(abs(end) for end in effect.difference.interval) < 0.01
        assert near or nil == (effect.ratio.interval[0] <= 1 <= effect.ratio.interval[1])


def test_ratio_without_a_level_has_no_interval() -> None:
    """Where the level without offload may be 0, any ratio would do."""
    effect = offload_effect(noise(5, 960, 0.0), states(PLAN, 60), 1.0, resamples=0)
    assert effect.ratio.interval is None
    assert effect.difference.interval is not None
    assert any("ratio can be anything" in sentence for sentence in effect.warnings)


def test_units_do_not_matter() -> None:
    """Percent instead of shares scales every answer but the ratio."""
    offload = states(PLAN, 60)
    values = 3 + noise(2, 960, 0.7) - offload
    one, hundred = (
        offload_effect(factor * values, offload, 1.0, resamples=50) for factor in (1, 100)
    )
    assert hundred.difference.interval == pytest.approx(
        tuple(100 * np.array(one.difference.interval))
    )
    assert hundred.ratio.interval == pytest.approx(one.ratio.interval)


def test_swapping_states_turns_the_difference() -> None:
    """Calling on off and off on changes the sign and nothing else."""
    offload = states(PLAN, 60)
    values = 3 + noise(2, 960, 0.7) - offload
    here, there = (offload_effect(values, each, 1.0) for each in (offload, 1 - offload))
    low, high = here.difference.interval
    assert there.difference.interval == pytest.approx((-high, -low))


@pytest.mark.parametrize(
    ("values", "offload", "reason"),
    [
        (noise(1, 600, 0.5), states("01", 300), "switched only once"),
        (noise(1, 600, 0.5), states("010", 200), "switched only twice"),
        (noise(1, 240, 0.5), states("0101", 60), "Only 4 blocks"),
        (np.full(960, 4.0), states(PLAN, 60), "never change"),
        (4.0 - states(PLAN, 60), states(PLAN, 60), "without noise"),
        (noise(1, 128, 0.5), states(PLAN, 8), "too short"),
        (noise(1, 960, 0.5), states("0" * 16, 60), "No block with offload on"),
        (np.full(960, np.nan), states(PLAN, 60), "No block with offload on"),
        (noise(1, 960, 0.5), np.full(960, -1), "No block with offload on"),
    ],
)
def test_no_interval_where_none_is_supported(values, offload, reason: str) -> None:
    """A log that supports no interval gets none, and a reason."""
    effect = offload_effect(values, offload, 1.0)
    assert effect.method == "none"
    for estimate in (effect.off, effect.on, effect.difference, effect.ratio):
        assert estimate.interval is None
    assert all(check.interval is None for check in effect.checks)
    assert len(effect.warnings) == 1
    assert reason in effect.warnings[0]


def test_order_that_follows_a_drift_is_refused() -> None:
    """On early and off late, with few switches between, cannot be told from a drift."""
    offload = np.concatenate([states("1" * 5 + "01" + "0" * 5, 60)])
    effect = offload_effect(noise(1, len(offload), 0.3), offload, 1.0, block_s=60)
    assert effect.difference.interval is None
    assert "imitate" in effect.warnings[0]


def test_few_blocks_and_few_bursts_are_told() -> None:
    """Eight blocks, or a level carried by rare bursts, come with a warning."""
    few = offload_effect(noise(1, 480, 0.3), states(PLAN[:8], 60), 1.0, resamples=0)
    assert any("8 blocks give a wide interval" in sentence for sentence in few.warnings)
    bursts = np.where(np.random.default_rng(2).random(960) < 0.01, 30.0, 1.0)
    rare = offload_effect(bursts, states(PLAN, 60), 1.0, resamples=0)
    assert any("too short" in sentence for sentence in rare.warnings)
    plain = offload_effect(5 + noise(1, 960, 0.3), states(PLAN, 60), 1.0, resamples=0)
    assert plain.warnings == ()


def test_blocks_are_read_off_the_log() -> None:
    """Two planned blocks without a switch between them count as two."""
    offload = states(PLAN, 60)
    spells = spells_of(offload, np.arange(960.0))
    assert [spell.on for spell in spells] == [state == "1" for state in "01010101010"]
    assert all(before.last == after.first for before, after in pairwise(spells))
    for order in (PLAN, "0110" * 4, "01" * 8):
        values = np.arange(960.0)
        found = cut_blocks(values, values, spells_of(states(order, 60), values), 5.0)
        assert "".join(str(int(on)) for on in found.on) == order
        assert found.block_s == 60
        # Derived: rows 5 to 59 of each block, whose mean is 32 s after it begins.
        assert found.level == pytest.approx(60 * np.arange(16) + 32)


def test_log_that_begins_late_keeps_its_blocks() -> None:
    """A log that begins and ends within a block loses a part of that block and nothing else."""
    offload = states("01" * 8, 60)[45:-20]
    values = noise(1, len(offload), 0.5)
    found = cut_blocks(
        values,
        np.arange(len(offload)) * 1.0,
        spells_of(offload, np.arange(len(offload)) * 1.0),
        5.0,
    )
    assert found.block_s == 60
    # Derived: the first spell of 15 s is dropped, the last of 40 s is kept.
    assert len(found.on) == 15


def test_missing_and_unknown_rows_are_left_out() -> None:
    """Missing readings, a gap in time and unknown states change the blocks they fall in only."""
    offload = states(PLAN, 60)
    values = 8 + noise(9, 960, 0.4) - 3 * offload
    whole = offload_effect(values, offload, 1.0, resamples=0)
    holed, doubtful = values.copy(), offload.copy()
    holed[100:105] = np.nan
    doubtful[[60, 420]] = -1
    effect = offload_effect(holed, doubtful, 1.0, resamples=0)
    assert len(effect.blocks.on) == 16
    # Derived: a few readings of 880 are gone; the answer moves by far less than its interval.
    assert effect.difference.value == pytest.approx(whole.difference.value, abs=0.05)
    kept = np.flatnonzero((np.arange(960) < 300) | (np.arange(960) >= 360))
    gap = offload_effect(
        values[kept], offload[kept], 1.0, time_s=kept.astype(float), block_s=60, resamples=0
    )
    assert len(gap.blocks.on) == 15
    assert gap.difference.value == pytest.approx(whole.difference.value, abs=0.1)


def test_activities_have_their_own_effects() -> None:
    """Each activity's effect comes from its own rows."""
    offload = states(PLAN, 60)
    video = np.arange(960) % 60 >= 30
    values = 5 + 0.1 * noise(4, 960, 0.3) - np.where(video, 3, 1) * offload
    effects = effects_by_activity(
        values, offload, np.where(video, "video", "typing").tolist(), 1.0, resamples=0
    )
    assert list(effects) == ["", "typing", "video"]
    for name, truth in (("typing", -1), ("video", -3)):
        low, high = effects[name].difference.interval
        # Derived: the effect that was put in; the interval is 0.1 wide.
        assert low - 0.05 < truth < high + 0.05
        assert len(effects[name].blocks.on) == 16
    # Derived: 25 of 55 used rows are typing.
    assert effects[""].difference.value == pytest.approx((-25 - 3 * 30) / 55, abs=0.05)


def test_noise_of_either_state_is_told_apart() -> None:
    """Noise that offload makes five times smaller is found to be, and equal noise to be equal."""
    offload = states(PLAN, 60)
    rows = np.arange(960.0)
    for factor in (1.0, 0.2):
        values = noise(6, 960, 0.6) * np.where(offload == 1, factor, 1.0)
        found = block_noise(values, cut_blocks(values, rows, spells_of(offload, rows), 5.0))
        # Derived: 480 readings a state give the ratio to about a tenth.
        assert found.on_to_off == pytest.approx(factor, rel=0.25)


def test_neighbouring_blocks_are_as_alike_as_their_readings() -> None:
    """The covariance of block levels follows that of the readings."""
    alike, offload, rows = 0.95, states(PLAN * 8, 60), np.arange(7680.0)
    found = []
    for seed in range(10):
        values = noise(seed, 7680, alike)
        fitted = block_noise(values, cut_blocks(values, rows, spells_of(offload, rows), 5.0))
        found.append(fitted.bands[1, 5] / fitted.bands[0, 5])
    within = np.abs(np.subtract.outer(np.arange(55), np.arange(55)))
    between = np.abs(np.subtract.outer(np.arange(55), np.arange(55) + 60))
    # Derived: sums over all pairs of readings, 0.18; a single log gives it to about 0.06.
    expected = np.mean(alike**between) / np.mean(alike**within)
    assert np.mean(found) == pytest.approx(expected, abs=0.06)
    columns = np.eye(128)
    assert fitted.square_sum == pytest.approx((fitted.times(columns) ** 2).sum())
    assert fitted.trace == pytest.approx(np.trace(fitted.times(columns)))


def test_recording_gives_back_the_load_that_was_switched() -> None:
    """A recorded encoder that was switched 17 times shows its saving."""
    log = pd.read_csv(REFERENCES / "recording_17_toggles.csv")
    effect = offload_effect(
        log["worker_cpu_pct_one_core"] / 100, log["offload_on"], 1.0, resamples=200
    )
    assert effect.switches == 17
    low, high = effect.difference.interval
    # Derived: the worker took about 0.14 cores while it worked and a hundredth while it did not.
    assert -0.16 < low < high < -0.11
    for check in effect.checks:
        assert check.interval[0] < effect.difference.value < check.interval[1]


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"values": np.array([])}, "values"),
        ({"values": np.full(960, np.inf)}, "values"),
        ({"offload": np.zeros(3)}, "offload"),
        ({"offload": np.full(960, 2)}, "offload"),
        ({"interval_s": 0.0}, "interval_s"),
        ({"drop_s": -1.0}, "drop_s"),
        ({"block_s": 0.0}, "block_s"),
        ({"confidence": 1.0}, "confidence"),
        ({"resamples": -1}, "resamples"),
        ({"seed": -1}, "seed"),
        ({"time_s": np.zeros(960)}, "time_s"),
    ],
)
def test_wrong_input_is_named(changes: dict, field: str) -> None:
    """What cannot be used is named."""
    given = {
        "values": noise(1, 960, 0.5),
        "offload": states(PLAN, 60),
        "interval_s": 1.0,
        **changes,
    }
    with pytest.raises(InputError) as caught:
        offload_effect(**given)
    assert caught.value.field == field
