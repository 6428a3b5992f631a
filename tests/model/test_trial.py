"""Does a trial plan promise what the trial will keep?"""

import json
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import scipy.stats
from scipy.signal import lfilter

from model.errors import InputError
from model.evidence.block_fit import fit_blocks
from model.evidence.blocks import cut_blocks, spells_of
from model.evidence.noise import Noise, covariances_of_blocks, noise_of, variance_of_sum
from model.evidence.on_off import offload_effect
from model.evidence.student import (
    mean_of_estimated_spread,
    power_of,
    smallest_effect_found,
    t_cdf,
    t_quantile,
)
from model.evidence.trial import plan_trial
from model.evidence.trial_exactness import ORDERS

REFERENCES = Path(__file__).resolve().parents[1] / "references"
VALUES = json.loads((REFERENCES / "trial_values.json").read_text(encoding="utf-8"))
THUE_MORSE = "0110100110010110"


def drawn(noise: Noise, rows: int, generator) -> np.ndarray:
    """Readings that stray as the noise says."""
    fresh = generator.standard_normal(rows + 2_000) * np.sqrt(1 - noise.carry**2)
    slow = lfilter([1.0], [1.0, -noise.carry], fresh)[2_000:]
    quick = generator.standard_normal(rows)
    return noise.sd * (np.sqrt(noise.slow_share) * slow + np.sqrt(1 - noise.slow_share) * quick)


def error_of_pairs(noise: Noise, states: str, block_s: float) -> float:
    """Standard error of the mean difference of pairs of blocks, 5 s of each dropped."""
    steady = np.where(np.arange(block_s) < 5, 0.0, 1 / (block_s - 5))
    signs = [1.0 if state == "1" else -1.0 for state in states]
    weights = np.concatenate([sign * steady for sign in signs]) / (len(states) / 2)
    return np.sqrt(variance_of_sum(weights, noise))


def thue_morse(blocks: int) -> str:
    """The order 0110 1001 ..., for so many blocks."""
    return "".join(str(place.bit_count() % 2) for place in range(blocks))


@pytest.mark.parametrize("row", VALUES["planning"]["rows"])
def test_differences_of_pairs_agree_with_the_full_covariance_matrix(row):
    """Standard error, half width and smallest effect are those of an independent calculation."""
    error = error_of_pairs(Noise(1, row["lag_1"]), thue_morse(row["blocks"]), row["block_s"])
    degrees = row["blocks"] // 2 - 1

    # Independent: the file names program and version. Its power leaves out the far tail.
    assert error == pytest.approx(row["standard_error"], rel=1e-10)
    assert t_quantile(0.975, degrees) * error == pytest.approx(row["half_width"], rel=1e-10)
    assert smallest_effect_found(error, degrees, 0.8, 0.95) == pytest.approx(
        row["smallest_effect"], rel=3e-6
    )


def test_smallest_effects_of_pairs_are_those_known():
    """At 60 s a block the smallest effects are the known ones, rounded to a hundredth."""
    table = VALUES["smallest_effects_rounded"]
    for blocks, expected in table["by_blocks"].items():
        order = thue_morse(int(blocks))
        found = [
            smallest_effect_found(
                error_of_pairs(Noise(1, lag_1), order, 60), int(blocks) // 2 - 1, 0.8, 0.95
            )
            for lag_1 in table["lag_1"]
        ]
        # Independent: the file names program and version.
        assert found == pytest.approx(expected, abs=0.006)


@pytest.mark.parametrize("row", VALUES["abba"]["rows"])
def test_abba_agrees_with_the_full_covariance_matrix(row):
    """The standard error of ABBA blocks of any length is that of an independent calculation."""
    error = error_of_pairs(Noise(1, row["lag_1"]), "0110" * (row["blocks"] // 4), row["block_s"])

    # Independent: the file names program and version.
    assert error == pytest.approx(row["standard_error"], rel=1e-9)


@pytest.mark.parametrize(
    "noise",
    [Noise(1, 0.0), Noise(2, 0.8), Noise(1, 0.97), Noise(1, 0.9, 0.4, interval_s=2.0)],
)
@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("blocks", [8, 16, 28])
def test_plans_agree_with_regression_on_all_readings(noise, order, blocks):
    """Standard error and degrees are those of levels regressed on offload and a drift."""
    plan = plan_trial(["video"], noise, blocks=blocks, block_s=50.0, drop_s=6.0, order=order)
    rows_a_block, dropped = round(50 / noise.interval_s), round(6 / noise.interval_s)
    rows = blocks * rows_a_block
    apart = np.abs(np.subtract.outer(np.arange(rows), np.arange(rows)))
    readings = noise.sd**2 * np.where(apart == 0, 1.0, noise.slow_share * noise.carry**apart)
    means = np.zeros((blocks, rows))
    for block in range(blocks):
        first, last = block * rows_a_block + dropped, (block + 1) * rows_a_block
        means[block, first:last] = 1 / (last - first)
    levels = means @ readings @ means.T
    powers = np.linspace(-1, 1, blocks)[:, None] ** np.arange(blocks // 4 + 1)
    columns = np.column_stack([powers, np.array(plan.states[0], dtype=float)])
    inverse = np.linalg.pinv(columns)
    rest = (np.eye(blocks) - columns @ inverse) @ levels

    # Derived: ordinary least squares by a pseudo-inverse of powers of time, dense covariances.
    assert plan.standard_error == pytest.approx(
        np.sqrt((inverse @ levels @ inverse.T)[-1, -1]), rel=1e-7
    )
    # Derived: Satterthwaite's degrees for the true covariances. The method sees them within
    # blocks only, which moves the degrees by a few per cent.
    degrees = np.trace(rest) ** 2 / np.trace(rest @ rest)
    assert plan.degrees == pytest.approx(degrees, rel=0.03)
    assert plan.interval_calibration == pytest.approx(1, abs=0.02)


def test_plan_parts_blocks_as_the_log_will_be_parted():
    """A log switched as planned is cut and fitted with the weights that the plan stands on."""
    plan = plan_trial(["video"], Noise(1, 0.5), blocks=16, block_s=60.0, drop_s=5.0)
    on = np.repeat(plan.states[0], 60).astype(int)
    time_s = np.arange(960.0)
    fit = fit_blocks(cut_blocks(np.zeros(960), time_s, spells_of(on, time_s), 5.0, 60.0))
    weights = np.zeros((16, 60))
    weights[:, 5:] = fit.contrast[:, None] / 55

    # Derived: the quadratic form over single readings, by another function.
    expected = np.sqrt(variance_of_sum(weights.ravel(), plan.noise))
    assert plan.standard_error == pytest.approx(expected, rel=1e-10)


def test_covariances_of_blocks_are_sums_over_readings():
    """Means of two blocks vary together as all pairs of their readings do."""
    noise = Noise(sd=3.0, carry=0.9, slow_share=0.4)
    found = covariances_of_blocks(noise, 12, 9, 4)
    distance = np.abs(np.subtract.outer(np.arange(48), np.arange(48)))
    covariance = 9.0 * np.where(distance == 0, 1.0, 0.4 * 0.9**distance)

    for apart in range(4):
        # Derived: the definition, the first three readings of each block left out.
        expected = covariance[3:12, 12 * apart + 3 : 12 * apart + 12].mean()
        assert found[apart] == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("row", VALUES["mean_of_correlated"]["rows"])
def test_variance_of_a_mean_has_its_closed_form(row):
    """The variance of a mean of correlated readings is the textbook's."""
    weights = np.full(row["readings"], 1 / row["readings"])

    # Derived: the closed form.
    assert variance_of_sum(weights, Noise(1, row["lag_1"])) == pytest.approx(
        row["variance"], rel=1e-10
    )


def test_variance_of_any_sum_is_the_quadratic_form():
    """Any weights and any noise give weights times covariance matrix times weights."""
    noise = Noise(sd=3.0, carry=0.9, slow_share=0.4)
    weights = np.random.default_rng(1).normal(size=50)
    distance = np.abs(np.subtract.outer(np.arange(50), np.arange(50)))
    covariance = 9.0 * np.where(distance == 0, 1.0, 0.4 * 0.9**distance)

    # Derived: the definition.
    assert variance_of_sum(weights, noise) == pytest.approx(weights @ covariance @ weights)
    assert variance_of_sum(np.zeros(5), noise) == 0


@pytest.mark.parametrize(
    ("noise", "goal"),
    [
        (Noise(2.0, 0.0), {"smallest_effect": 0.4}),
        (Noise(2.0, 0.8), {"half_width": 0.75}),
        (Noise(2.0, 0.95), {"blocks": 16}),
        (Noise(2.0, 0.98, 0.6), {"blocks": 8}),
    ],
    ids=["independent", "slow", "slower", "few blocks"],
)
def test_promises_are_kept(noise, goal):
    """In simulated trials error, half width, power and coverage come out as planned."""
    trials = 300
    plan = plan_trial(["video"], noise, **goal)
    generator = np.random.default_rng(21)
    on = np.repeat(plan.states[0], 60).astype(int)
    readings = drawn(noise, len(on) * trials, generator).reshape(trials, -1)
    effects = [
        offload_effect(row + plan.smallest_effect * on, on, 1.0, 5.0, block_s=60.0, resamples=0)
        for row in readings
    ]
    found = np.array([effect.difference.value for effect in effects])
    low, high = np.array([effect.difference.interval for effect in effects]).T

    # Derived: shares and means of so many trials, within three standard errors. The proportions of
    # the noise are estimated too, which moves half widths by up to 2 %.
    def sampling(share):
        return 3 * np.sqrt(share * (1 - share) / trials)

    half = (high - low) / 2
    assert found.std() == pytest.approx(plan.standard_error, rel=3 / np.sqrt(2 * trials))
    assert half.mean() == pytest.approx(
        plan.half_width, rel=0.02 + 3 * half.std() / half.mean() / np.sqrt(trials)
    )
    assert ((low > 0) | (high < 0)).mean() == pytest.approx(plan.power, abs=sampling(0.8))
    covered = (low <= plan.smallest_effect) & (plan.smallest_effect <= high)
    assert covered.mean() == pytest.approx(plan.interval_coverage, abs=sampling(0.95))
    assert np.median([effect.degrees for effect in effects]) == pytest.approx(plan.degrees, rel=0.1)


def test_power_curve_rises_from_the_false_alarms():
    """The curve starts at one less the confidence, rises, and passes the plan's point."""
    plan = plan_trial(["video"], Noise(0.2, 0.8), half_width=0.1)

    assert plan.powers[0] == pytest.approx(1 - plan.interval_coverage)
    assert plan.powers[0] == pytest.approx(0.05, abs=1e-4)
    assert (np.diff(plan.powers) > 0).all()
    assert np.interp(plan.smallest_effect, plan.effects, plan.powers) == pytest.approx(0.8)
    assert plan.effects[-1] == pytest.approx(2 * plan.smallest_effect)


@pytest.mark.parametrize("goal", ["smallest_effect", "half_width"])
@pytest.mark.parametrize("block_s", [60.0, None])
def test_plan_is_the_shortest_that_will_do(goal, block_s):
    """The plan reaches its goal, and four blocks fewer of the same length do not."""
    noise = Noise(0.1, 0.8)
    plan = plan_trial(["video"], noise, **{goal: 0.04}, block_s=block_s)
    fewer = plan_trial(["video"], noise, blocks=plan.blocks - 4, block_s=plan.block_s)

    assert plan.blocks > 16
    assert getattr(plan, goal) <= 0.04 < getattr(fewer, goal)
    if block_s is None:
        fixed = plan_trial(["video"], noise, **{goal: 0.04})
        assert plan.total_s <= fixed.total_s


def test_shorter_blocks_help_when_noise_is_slow():
    """In the same time, blocks of 30 s find smaller effects in slow noise than blocks of 240 s."""
    short, long = (
        plan_trial(["video"], Noise(1, 0.98), blocks=blocks, block_s=block_s).standard_error
        for blocks, block_s in ((64, 30.0), (8, 240.0))
    )

    assert short < long / 2


def test_easy_goals_still_get_sixteen_blocks():
    """A huge effect is not judged by fewer blocks than are usual."""
    assert plan_trial(["video"], Noise(0.01, 0), smallest_effect=5.0).blocks == 16


def test_goal_out_of_reach_says_what_can_be_had():
    """What no trial of 128 blocks can do is refused with what one can."""
    with pytest.raises(InputError, match=r"0\.02; expected at least 0\.3\d+,") as caught:
        plan_trial(["video"], Noise(1, 0.95), smallest_effect=0.02)

    assert caught.value.field == "smallest_effect"
    amount = float(str(caught.value.expected).split(",")[0].removeprefix("at least "))
    assert plan_trial(["video"], Noise(1, 0.95), smallest_effect=amount).blocks == 128


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("blocks", [8, 12, 16, 20, 32, 64, 128])
def test_orders_are_balanced(order, blocks):
    """Each pair of blocks has both states, and each state is first in half of the pairs."""
    for seed in range(6):
        (states,) = plan_trial(["a"], Noise(1, 0), blocks=blocks, order=order, seed=seed).states
        assert len(states) == blocks
        assert all(states[i] != states[i + 1] for i in range(0, blocks, 2))
        assert sum(states[0::2]) == blocks // 4


def test_orders_are_those_named():
    """Thue-Morse and ABBA are their sequences, one way or the other; chance picks which."""
    for order, expected in (("Thue-Morse", THUE_MORSE), ("ABBA", "0110" * 4)):
        drawn_orders = {
            "".join(str(int(on)) for on in states)
            for seed in range(20)
            for states in plan_trial(["a"], Noise(1, 0), blocks=16, order=order, seed=seed).states
        }
        flipped = expected.translate(str.maketrans("01", "10"))
        # Published, from memory: the Thue-Morse sequence, OEIS A010060.
        assert drawn_orders == {expected, flipped}
    permuted = {
        plan_trial(["a"], Noise(1, 0), blocks=16, order="permuted", seed=seed).states
        for seed in range(20)
    }
    assert len(permuted) > 10


def test_straight_and_bent_drifts_cancel():
    """Sixteen blocks in Thue-Morse order see nothing of a drift up to the third power."""
    (states,) = plan_trial(["a"], Noise(1, 0), blocks=16).states
    sign = np.where(states, 1, -1)
    middle = np.arange(16) - 7.5

    # Derived: a known property of the sequence, powers below the binary logarithm of its length.
    for power in range(4):
        assert sign @ middle**power == pytest.approx(0, abs=1e-9)


def test_seed_decides_and_repeats():
    """The same seed gives the same plan, and other seeds other orders of activities."""
    names = ["text", "video", "scrolling", "idle"]
    plans = [plan_trial(names, Noise(1, 0), blocks=8, seed=seed) for seed in (0, 0, 1, 2, 3)]

    assert plans[0].run_sheet == plans[1].run_sheet
    assert {plan.seed for plan in plans} == {0, 1, 2, 3}
    assert len({plan.activities for plan in plans}) > 1
    assert all(sorted(plan.activities) == sorted(names) for plan in plans)
    for plan in plans:  # no state is always the first
        assert [states[0] != after[0] for states, after in pairwise(plan.states)] == [True] * 3


def test_run_sheet_has_every_block_in_turn():
    """Blocks follow each other without gap, with settling time before each activity."""
    plan = plan_trial(
        ["text", "video"], Noise(1, 0), blocks=8, block_s=60, drop_s=5, settle_s=90, seed=4
    )
    sheet = plan.run_sheet

    # Derived: by hand, two activities of 90 s and 8 minutes.
    assert plan.activity_s == 570
    assert plan.total_s == 1_140 == sheet[-1].end_s
    assert [row.block for row in sheet] == list(range(1, 17))
    assert sheet[0].clock == "0:01:30"
    assert sheet[8].clock == "0:11:00"
    assert sheet[8].start_s == sheet[7].end_s + 90
    assert all(row.count_from_s == row.start_s + 5 for row in sheet)
    assert all(row.end_s == row.start_s + 60 for row in sheet)
    assert [row.activity for row in sheet] == [name for name in plan.activities for _ in range(8)]
    for earlier, later in pairwise(sheet):
        same_part = earlier.activity == later.activity
        assert later.switched == (not same_part or earlier.on != later.on)
    assert {row.state for row in sheet} == {"with card", "without card"}


def test_sheet_says_what_must_be_agreed():
    """Checklist and cautions speak of production, of who agreed and of how to switch back."""
    plan = plan_trial(["text"], Noise(1, 0, interval_s=2.0), blocks=8)
    printed = " ".join(plan.checklist + plan.cautions)

    for words in ("not in production", "Agreed by", "put back as it was", "every 2 s", "never in"):
        assert words in printed


def test_noise_that_blocks_do_not_show_is_warned_of():
    """Where blocks are too short to show the noise's memory, the plan tells what that costs."""
    calm = plan_trial(["a"], Noise(1, 0.9), blocks=16, order="ABBA")
    short = plan_trial(["a"], Noise(1, 0.9), blocks=16, block_s=10.0, order="ABBA")

    assert calm.interval_coverage == pytest.approx(0.95, abs=0.003)
    assert len(short.cautions) == len(calm.cautions) + 1
    assert f"{100 * short.interval_coverage:.0f} %" in short.cautions[-1]


PLAN = {"activities": ["a"], "noise": Noise(1, 0), "smallest_effect": 1.0}


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"activities": []}, "activities"),
        ({"activities": ["a", ""]}, "activities[1]"),
        ({"activities": ["a", "b", "a"]}, "activities[2]"),
        ({"noise": 1.0}, "noise"),
        ({"smallest_effect": None}, "goal"),
        ({"half_width": 1.0}, "goal"),
        ({"smallest_effect": 0.0}, "smallest_effect"),
        ({"smallest_effect": None, "half_width": -1.0}, "half_width"),
        ({"smallest_effect": None, "blocks": 10}, "blocks"),
        ({"smallest_effect": None, "blocks": 4}, "blocks"),
        ({"smallest_effect": None, "blocks": 132}, "blocks"),
        ({"smallest_effect": None, "blocks": 16.0}, "blocks"),
        ({"smallest_effect": None, "blocks": 16, "block_s": None}, "block_s"),
        ({"block_s": 9.0}, "block_s"),
        ({"block_s": 0.0}, "block_s"),
        ({"drop_s": -1.0}, "drop_s"),
        ({"drop_s": 300.0, "block_s": None}, "drop_s"),
        ({"settle_s": float("nan")}, "settle_s"),
        ({"order": "ABAB"}, "order"),
        ({"seed": -1}, "seed"),
        ({"seed": 1.5}, "seed"),
        ({"power": 0.05}, "power"),
        ({"power": 1.0}, "power"),
        ({"confidence": 1.0}, "confidence"),
    ],
)
def test_wrong_plans_name_their_field(changed, field):
    """Each value out of range is refused by name."""
    with pytest.raises(InputError) as caught:
        plan_trial(**PLAN | changed)

    assert caught.value.field == field


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"sd": 0}, "sd"),
        ({"carry": 1.0}, "carry"),
        ({"slow_share": 1.1}, "slow_share"),
        ({"interval_s": 0}, "interval_s"),
    ],
)
def test_wrong_noise_names_its_field(changed, field):
    """Noise out of range is refused by name."""
    with pytest.raises(InputError) as caught:
        Noise(**{"sd": 1, "carry": 0.5} | changed)

    assert caught.value.field == field


@pytest.mark.parametrize(
    "noise",
    [Noise(2, 0.0), Noise(2, 0.5), Noise(2, 0.8), Noise(2, 0.95), Noise(2, 0.95, 0.5)],
)
def test_pilot_logs_give_the_plan_of_their_noise(noise):
    """On average over pilot logs, the planned standard error is that of the true noise."""
    on = np.repeat([int(each) for each in THUE_MORSE], 60)
    generator = np.random.default_rng(31)
    found = [noise_of(drawn(noise, 960, generator) - 9.0 * on, on, 1.0) for _ in range(30)]
    errors = np.array([plan_trial(["a"], each, blocks=16).standard_error for each in found])
    true = plan_trial(["a"], noise, blocks=16).standard_error

    # Derived: the noise drawn; three standard errors of the mean and 3 % for the fit's own bend.
    tolerance = 3 * errors.std() / np.sqrt(30) + 0.03 * true
    assert errors.mean() == pytest.approx(true, abs=tolerance)
    assert np.mean([each.sd for each in found]) == pytest.approx(2, rel=0.1)
    assert np.mean([each.lag_1 for each in found]) == pytest.approx(noise.lag_1, abs=0.04)


def test_pilot_leaves_out_what_does_not_count():
    """Seconds after a switch, unknown states and missing readings do not enter the noise."""
    generator = np.random.default_rng(32)
    on = np.repeat([0, 1, 0, 1], 150)
    clean = drawn(Noise(1, 0.5), 600, generator)
    spoilt = clean - 9.0 * on
    for switch in (150, 300, 450):
        spoilt[switch : switch + 5] += 100
    on[590:] = -1
    spoilt[590:] = 500.0
    spoilt[20] = np.nan

    noise = noise_of(spoilt, on, 1.0, origin="pilot.csv")

    assert noise.sd == pytest.approx(1, abs=0.15)
    assert noise.lag_1 == pytest.approx(0.5, abs=0.12)
    assert noise.origin == "pilot.csv"


@pytest.mark.parametrize(
    ("values", "offload", "field"),
    [
        (np.arange(20.0), None, "values"),
        (np.full(100, 0.1), None, "values"),
        (np.zeros((100, 2)), None, "values"),
        (np.arange(100.0), np.zeros(99), "offload"),
        (np.arange(100.0), np.full(100, -1), "values"),
    ],
)
def test_pilots_that_say_nothing_are_refused(values, offload, field):
    """A pilot log too short, constant or of another shape is refused by name."""
    with pytest.raises(InputError) as caught:
        noise_of(values, offload, 1.0)

    assert caught.value.field == field


DEGREES = [0.5, 1, 2, 3, 7, 15, 31.5, 200, 5_000]


@pytest.mark.parametrize("degrees", DEGREES)
def test_t_distributions_agree_with_scipy(degrees):
    """Student's t and the noncentral t are scipy's to eleven places."""
    for t in (-50.0, -2.3, -0.5, 0.0, 0.7, 4.0, 30.0):
        # Independent: scipy 1.17.1, stats.t.cdf and stats.nct.cdf.
        assert t_cdf(t, degrees) == pytest.approx(scipy.stats.t.cdf(t, degrees), abs=1e-11)
        for shift in (-20.0, -1.0, 0.5, 3.0, 8.0):
            expected = scipy.stats.nct.cdf(t, degrees, shift)
            if np.isnan(expected):  # scipy gives up in the far tails
                expected = float(t > shift)
            assert t_cdf(t, degrees, shift) == pytest.approx(expected, abs=1e-11)
    for probability in (1e-6, 0.025, 0.3, 0.5, 0.8, 0.975, 0.9999):
        expected = scipy.stats.t.ppf(probability, degrees)
        assert t_quantile(probability, degrees) == pytest.approx(expected, rel=1e-10, abs=1e-10)


def test_t_quantiles_are_those_tabled():
    """The quantiles for 95 % intervals are the known ones."""
    table = VALUES["t_quantiles"]

    found = [t_quantile(0.975, degrees) for degrees in table["degrees"]]

    # Independent: the file names program and version.
    assert found == pytest.approx(table["quantiles"], rel=1e-10)


def test_power_has_its_limits():
    """No effect is found as often as false alarms come, a huge one always, either sign alike."""
    assert power_of(0.0, 2.0, 7, 0.95) == pytest.approx(0.05)
    assert power_of(1e9, 2.0, 7, 0.95) == pytest.approx(1)
    assert power_of(-3.0, 2.0, 7, 0.95) == power_of(3.0, 2.0, 7, 0.95)
    effect = smallest_effect_found(2.0, 3, 0.9, 0.99)
    assert power_of(effect, 2.0, 3, 0.99) == pytest.approx(0.9)
    assert smallest_effect_found(2.0, 7, 0.1, 0.95, calibration=2.0) == 0


@pytest.mark.parametrize("degrees", [1, 3.5, 10, 400])
def test_estimated_spread_is_short_on_average(degrees):
    """The mean of an estimated standard deviation is scipy's of a chi variable."""
    expected = scipy.stats.chi.mean(degrees) / np.sqrt(degrees)

    # Independent: scipy 1.17.1, stats.chi.mean.
    assert mean_of_estimated_spread(degrees) == pytest.approx(expected, rel=1e-12)


def test_interval_that_is_too_short_finds_more():
    """Where the error is estimated too small, zero is left out more often, effect or none."""
    share = scipy.stats.nct.sf(scipy.stats.t.ppf(0.975, 7) / 1.2, 7, [0.0, 2.0])
    rest = scipy.stats.nct.cdf(-scipy.stats.t.ppf(0.975, 7) / 1.2, 7, [0.0, 2.0])

    for effect, expected in zip([0.0, 2.0], share + rest, strict=True):
        # Independent: scipy 1.17.1, stats.nct.
        assert power_of(effect, 1.0, 7, 0.95, 1.2) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: t_cdf(float("nan"), 3), "t"),
        (lambda: t_cdf(0.0, 0.0), "degrees"),
        (lambda: t_cdf(0.0, 3, 1e9), "shift"),
        (lambda: t_quantile(1.0, 3), "probability"),
        (lambda: t_quantile(0.5, float("nan")), "degrees"),
        (lambda: power_of(1.0, 0.0, 3, 0.95), "standard_error"),
        (lambda: power_of(1.0, 1.0, 3, 1.0), "confidence"),
        (lambda: smallest_effect_found(1.0, 3, 0.01, 0.95), "power"),
        (lambda: smallest_effect_found(1.0, 3, 0.8, 0.95, 0.0), "calibration"),
        (lambda: power_of(1.0, 1.0, 3, 0.95, 0.0), "calibration"),
        (lambda: mean_of_estimated_spread(0.0), "degrees"),
        (lambda: covariances_of_blocks(Noise(1, 0), 10, 11, 4), "steady_rows"),
    ],
)
def test_distributions_refuse_what_they_cannot_use(call, field):
    """Each argument out of range is refused by name."""
    with pytest.raises(InputError) as caught:
        call()

    assert caught.value.field == field
