"""Does the prediction for a host meet a log of that host, and say so only where it does?"""

from functools import lru_cache

import numpy as np
import pytest
from scipy import stats

from model.accelerator import Accelerator
from model.cpu import Host, capacity_curve
from model.demand import demand_law
from model.errors import InputError
from model.evidence.comparison import (
    LEVELS,
    compare,
    compare_distribution,
    wasserstein_distance,
)
from model.evidence.prediction import Distribution, predicted_for, predicted_series
from model.hosts import kinds
from model.saturation import saturation_curve
from model.scenario import default, from_data, to_data

ROWS = 1_440  # four hours in steps of ten seconds
STEP_S = 10.0


def small(**changes):
    """Return the example with some parts replaced."""
    return from_data(to_data(default()) | changes)


def in_threads(scenario, demand):
    """Return the number of busy threads at which the host does that much work."""
    busy = np.linspace(0, scenario.host.threads, 20_001)
    return np.interp(demand, capacity_curve(scenario.host, 3.0, busy), busy)


@lru_cache(maxsize=4)
def simulated(arm, sessions, logs, seed=5):
    """Return simulated logs of the example, kept for several tests."""
    return predicted_series(
        default(), np.full(ROWS, sessions), STEP_S, arm, seed=seed, series=logs
    )  # fmt: skip


# ----------------------------------------------------------------------------- the distance


def test_distance_of_shifted_samples_is_the_shift():
    """A sample and its copy five further on lie five apart."""
    # Derived: every value is moved by 5.
    assert wasserstein_distance([0, 1, 3], [5, 6, 8]) == pytest.approx(5)
    assert wasserstein_distance([2, 1], [1, 2]) == 0


def test_distance_agrees_with_another_program(checked):
    """Distances of samples of different lengths and weights are scipy's."""
    rng = np.random.default_rng(1)
    theirs, ours = [], []
    for _ in range(20):
        one, other = rng.normal(size=37), rng.exponential(size=11)
        weights, more = rng.random(37), rng.random(11)

        found = wasserstein_distance(one, other, weights, more)

        # Independent: scipy.stats.wasserstein_distance.
        assert found == pytest.approx(stats.wasserstein_distance(one, other, weights, more))
        theirs.append(stats.wasserstein_distance(one, other, weights, more))
        ours.append(found)
        assert wasserstein_distance(one, other) == pytest.approx(
            stats.wasserstein_distance(one, other)
        )
    source = "scipy, scipy.stats.wasserstein_distance"
    what = "distance of two weighted samples"
    checked("Evidence", what, source, theirs, ours, kind="independent", rel=1e-9)


# --------------------------------------------------------------------------- the prediction


@pytest.mark.parametrize("sessions", [12, 40, 90])
def test_prediction_for_a_fixed_number_is_that_of_the_curve(sessions):
    """With the same number of sessions all the time, quantiles are those of the demand's law."""
    scenario = default()
    of = kinds(scenario)
    # Independent of this module: the lattices of model.demand, made for one number at a time.
    law = demand_law(of.chance, of.demand[of.first], [sessions], 1e9)
    expected = in_threads(scenario, np.array([law.p50[0], law.p95[0], law.p99[0]]))

    found = predicted_for(scenario, np.full(5, sessions))

    # The other lattice has steps of 0.08 cores, which is its p50's tolerance.
    assert found.quantile(LEVELS) == pytest.approx(expected, rel=6e-3)


def test_prediction_for_one_session_is_its_list_of_states():
    """One session's distribution is what its activities ask for, each as often as it occurs."""
    scenario = default()
    of = kinds(scenario)

    found = predicted_for(scenario, [1])

    # Derived: the law of a single draw.
    busy = in_threads(scenario, of.demand[of.first])
    assert found.mean_cores == pytest.approx(float(of.chance @ busy), rel=1e-3)
    assert found.quantile(1.0) == pytest.approx(busy.max(), rel=1e-3)


def test_prediction_mixes_the_numbers_present():
    """Half the time 20 and half the time 60 sessions give half of each distribution."""
    few, many, both = (
        predicted_for(default(), present) for present in ([20], [60], [20, 60, 60, 20])
    )
    at = np.linspace(1, 30, 50)

    def share(distribution):
        return np.interp(at, distribution.values_cores, distribution.cumulative)

    # Derived: a mixture's distribution function is the mean of its parts'.
    assert share(both) == pytest.approx((share(few) + share(many)) / 2, abs=2e-3)
    assert both.mean_cores == pytest.approx((few.mean_cores + many.mean_cores) / 2, rel=1e-3)


def test_nobody_asks_for_nothing():
    """A host without sessions shows no CPU, in distribution and in simulated logs."""
    found = predicted_for(default(), [0, 0, 0])

    assert found.mean_cores == 0
    assert found.quantile([0.5, 0.99]).tolist() == [0, 0]
    assert (predicted_series(default(), np.zeros(9), 1.0, "offloaded") == 0).all()


def test_full_host_shows_all_its_threads_or_cores():
    """Demand beyond the host shows as all threads busy, or all cores where cores are counted."""
    host = Host(cores=8)
    scenario = small(host=host.model_dump())

    assert predicted_for(scenario, [200]).quantile(0.5) == pytest.approx(16)
    assert predicted_for(scenario, [200], counted="cores").quantile(0.5) == pytest.approx(8)
    assert predicted_series(scenario, np.full(40, 200), 1.0).min() == pytest.approx(16)


@pytest.mark.parametrize("slots", [10, 100])
def test_card_that_is_full_leaves_work_to_the_cpu(slots):
    """Where display slots run out, prediction and simulated logs meet the curve."""
    scenario = small(accelerator=Accelerator(displays_per_card=slots).model_dump())
    row = saturation_curve(scenario, "offloaded", [80]).at(80)
    capacity = float(capacity_curve(scenario.host, 3.0, scenario.host.threads))
    expected = in_threads(
        scenario, np.array([row["cpu_p50_pct"], row["cpu_p95_pct"]]) / 100 * capacity
    )

    found = predicted_for(scenario, [80], "offloaded").quantile([0.5, 0.95])
    series = predicted_series(scenario, np.full(600, 80), 30.0, "offloaded", series=4)

    assert found == pytest.approx(expected, rel=0.02)
    assert np.quantile(series, [0.5, 0.95]) == pytest.approx(expected, rel=0.06)


@pytest.mark.parametrize("arm", ["software", "offloaded"])
def test_simulated_logs_have_the_predicted_distribution(arm):
    """Many simulated logs together have the mean and the quantiles that are predicted."""
    logs = simulated(arm, 60, 40)
    expected = predicted_for(default(), [60], arm)

    # Derived: three standard errors of the mean over logs, which are independent.
    means = logs.mean(axis=1)
    error = 3 * float(means.std(ddof=1)) / len(means) ** 0.5
    assert float(means.mean()) == pytest.approx(expected.mean_cores, abs=error)
    # Roles have their shares in each log, which takes a little off the spread of the law.
    assert np.quantile(logs, LEVELS) == pytest.approx(expected.quantile(LEVELS), rel=0.03)


def test_simulated_logs_remember_as_long_as_people_stay():
    """With one activity that lasts 100 s, readings 100 s apart are alike to 1/e."""
    data = to_data(default())
    base = next(a for a in data["activities"] if a["name"] == "full-screen video")
    quiet = base | {"name": "quiet", "frame_rate_hz": 0, "app_burst_ms": 0, "dwell_s": 200}
    data["activities"] = [base | {"name": "film", "dwell_s": 200}, quiet]
    role = data["roles"][0] | {"weight_pct": 100, "activity_pct": {"film": 50, "quiet": 50}}
    scenario = from_data(data | {"roles": [role]})

    series = predicted_series(scenario, np.full(6_000, 20), 10.0, series=6)

    around = series - series.mean(axis=1, keepdims=True)
    alike = [
        float((around[:, lag:] * around[:, : 6_000 - lag]).sum() / (around**2).sum())
        for lag in (10, 20)
    ]
    # Derived: from either activity the next is either with chance 1/2, so a difference halves its
    # rate of leaving, 1/200 s: alike to exp(-t / 200 s).
    assert alike == pytest.approx([np.exp(-0.5), np.exp(-1)], abs=0.06)


def test_same_seed_gives_the_same_log():
    """The same seed gives the same log, another seed another one."""
    one, same, other = (
        predicted_series(default(), np.full(50, 30), 1.0, seed=seed) for seed in (3, 3, 4)
    )

    assert (one == same).all()
    assert (one != other).any()


def test_arm_without_a_card_in_the_host_is_the_software_arm():
    """Without a card both arms predict the same to the last bit."""
    scenario = small(accelerator=Accelerator(cards=0).model_dump())
    one, other = (predicted_for(scenario, [30, 40], arm) for arm in ("software", "offloaded"))
    assert (one.values_cores == other.values_cores).all()
    assert (one.cumulative == other.cumulative).all()


# --------------------------------------------------------------------------- the comparison


def test_log_of_the_host_that_was_modelled_is_trusted():
    """A day's log of a host that behaves as modelled is trusted, its drops in numbers included."""
    present = np.rint(60 * np.sin(np.linspace(0.2, 3.0, 4_320)))
    log = predicted_series(default(), present, STEP_S, "offloaded", seed=77)[0]
    log[100:140] = np.nan

    found = compare(default(), "offloaded", log, present, STEP_S)

    assert found.verdict == "trust"
    assert "may be trusted for this host: p50, p95 and p99" in found.sentence
    assert found.chance > 0.05
    assert found.rows_used == 4_280
    assert [each.level for each in found.quantiles] == list(LEVELS)
    for each in found.quantiles:
        assert each.low_cores <= each.difference_cores <= each.high_cores
        assert each.measured_cores - each.predicted_cores == pytest.approx(each.difference_cores)
    assert found.distance_cores < 0.3
    assert found.measured_quantiles_cores.shape == found.levels.shape
    assert found.predicted_quantiles_cores.shape == found.levels.shape
    assert (np.diff(found.predicted_quantiles_cores) >= 0).all()


def test_log_of_a_dearer_host_is_not_trusted():
    """A log a third above the prediction is told to be so, with the interval of how far."""
    log = 1.33 * simulated("software", 40, 1, seed=9)[0]

    found = compare(default(), "software", log, np.full(ROWS, 40), STEP_S)

    assert found.verdict == "distrust"
    assert "Do not trust the model for this host" in found.sentence
    assert " % above the predicted one" in found.sentence
    # Derived: the smallest chance that 59 simulated logs can give.
    assert found.chance == pytest.approx(1 / 60)
    assert found.mean_difference_cores > 0


def test_short_log_leaves_it_open():
    """A few minutes cannot tell, and the sentence asks for more."""
    log = predicted_series(default(), np.full(60, 40), 5.0, seed=12)[0]

    found = compare(default(), "software", log, np.full(60, 40), 5.0)

    assert found.verdict == "undecided"
    assert "Measure for longer" in found.sentence
    assert any("independent readings" in warning for warning in found.warnings)


def test_host_at_its_limit_tells_nothing():
    """A host that is full all the time agrees with any prediction, and is not trusted for it."""
    found = compare(default(), "software", np.full(300, 64.0), np.full(300, 400), STEP_S)

    assert found.verdict == "undecided"
    assert "at its limit all the time" in found.sentence
    assert any("their agreement says nothing" in warning for warning in found.warnings)


def test_coarse_log_is_told():
    """A log whose rows are means over minutes is told to flatten the peaks."""
    log = predicted_series(default(), np.full(200, 40), 300.0, seed=1)[0]

    found = compare(default(), "software", log, np.full(200, 40), 300.0)

    assert any("peaks are flatter" in warning for warning in found.warnings)


def test_chance_and_intervals_hold_their_level():
    """Logs of the modelled host are called different in about 5 %, and intervals hold in 95 %."""
    logs = simulated("software", 40, 260)
    others, mine = logs[:200], logs[200:]
    predicted = Distribution(
        np.sort(others.ravel()), np.linspace(0, 1, others.size), float(others.mean())
    )
    rng = np.random.default_rng(3)
    below, inside = 0, np.zeros(3)
    for seed, log in enumerate(mine):
        chosen = others[rng.permutation(200)[:59]]
        found = compare_distribution(predicted, chosen, log, resamples=199, seed=seed)
        below += found.chance <= 0.05
        inside += [each.low_cores <= 0 <= each.high_cores for each in found.quantiles]

    # Derived: three standard errors of a share of 60.
    assert below / 60 < 0.05 + 3 * (0.05 * 0.95 / 60) ** 0.5
    assert (inside / 60 > 0.95 - 3 * (0.05 * 0.95 / 60) ** 0.5).all()


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"arm": "both"}, "arm"),
        ({"sessions_present": np.ones(3)}, "sessions_present"),
        ({"sessions_present": np.full(40, -1.0)}, "sessions_present"),
        ({"measured_cores": np.full(40, np.nan)}, "rows"),
        ({"measured_cores": np.full(40, -1.0)}, "measured_cores"),
        ({"interval_s": 0}, "interval_s"),
        ({"counted": "sockets"}, "counted"),
        ({"tolerance_pct": 0}, "tolerance_pct"),
    ],
)
def test_wrong_input_names_its_field(changes, field):
    """Input that cannot be compared is refused by the name of the argument."""
    given = {
        "scenario": default(), "arm": "software", "measured_cores": np.ones(40),
        "sessions_present": np.ones(40), "interval_s": 1.0,
    } | changes  # fmt: skip

    with pytest.raises(InputError) as raised:
        compare(**given)

    assert raised.value.field == field


@pytest.mark.parametrize(
    ("series", "measured", "field"),
    [
        (np.ones((3, 40)), np.ones(40), "series_cores"),
        (np.ones((20, 39)), np.ones(40), "series_cores"),
        (np.ones((20, 20)), np.ones(20), "rows"),
    ],
    ids=["few series", "other rows", "few rows"],
)
def test_series_that_do_not_fit_are_refused(series, measured, field):
    """Simulated logs that are too few or of another length are refused."""
    predicted = predicted_for(default(), [1])
    with pytest.raises(InputError) as raised:
        compare_distribution(predicted, series, measured)

    assert raised.value.field == field


def test_too_many_rows_are_not_simulated():
    """More rows than are simulated are refused with what to do instead."""
    with pytest.raises(InputError, match="every n-th row"):
        predicted_series(default(), np.ones(200_001), 1.0)
