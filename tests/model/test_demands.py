"""Are the demands of activities found in a host's total, with intervals that hold?"""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import nnls

from model.errors import InputError, MeasurementError
from model.evidence.demands import estimate_demands
from model.evidence.least_squares import nonnegative_least_squares
from tests.model.host_logs import counts_over_time, noise

REFERENCES = Path(__file__).resolve().parents[1] / "references"
KNOWN = json.loads((REFERENCES / "demand_values.json").read_text(encoding="utf-8"))["host_totals"]
NAMES = ["typing", "forms", "video"]
TRUE = np.array([0.1, 0.45, 0.6])
BASE = 1.5


def host_totals():
    """Return the total and the counts of the kept example."""
    table = pd.read_csv(REFERENCES / "host_totals.csv")
    return table["cores"].to_numpy(), table[["a1", "a2", "a3", "a4"]].to_numpy(dtype=float)


# --------------------------------------------------------------------------- the arithmetic


def test_factor_that_would_be_negative_is_zero():
    """Where the slope would be negative it is 0, and the base is the mean."""
    columns = np.array([[1.0, 1.0], [1.0, 2.0], [1.0, 3.0]])

    # Derived: the straight slope of 6, 5, 1 is -2.5; without it the mean, 4, is best.
    assert nonnegative_least_squares(columns, np.array([6.0, 5.0, 1.0])) == pytest.approx([4, 0])


def test_factors_agree_with_another_program():
    """Factors of columns drawn at random, many of them at the bound, are scipy's."""
    rng = np.random.default_rng(11)
    at_bound = 0
    for _ in range(60):
        columns = rng.standard_normal((25, 6)) * 10.0 ** rng.integers(-3, 4, 6)
        values = columns @ rng.standard_normal(6) + rng.standard_normal(25)
        # Independent: scipy.optimize.nnls, on columns of like length.
        length = np.sqrt((columns**2).sum(axis=0))
        expected = nnls(columns / length, values)[0]
        at_bound += int((expected == 0).sum())

        found = nonnegative_least_squares(columns, values) * length

        assert found == pytest.approx(expected, abs=1e-9)
        assert ((found == 0) == (expected == 0)).all()
    assert at_bound > 100


def test_no_column_that_helps_leaves_all_at_zero():
    """Values that every column would make worse, and values of 0, get factors of 0."""
    assert (nonnegative_least_squares(np.ones((5, 2)), -np.ones(5)) == 0).all()
    assert (nonnegative_least_squares(np.ones((5, 1)), np.zeros(5)) == 0).all()


# ------------------------------------------------------------------------------- the demands


def test_demands_of_the_kept_example(checked):
    """Base, demands and condition of the kept example are what scipy finds."""
    total, counts = host_totals()

    found = estimate_demands(total, counts, ["a1", "a2", "a3", "a4"], 1.0)

    # Independent: scipy 1.17.1, see tests/references/README.md.
    assert found.base_cores == pytest.approx(KNOWN["demands"][0], abs=1e-8)
    assert found.demand_cores == pytest.approx(np.array(KNOWN["demands"][1:]), abs=1e-8)
    assert found.condition == pytest.approx(KNOWN["condition"], rel=1e-8)
    checked(
        "Evidence", "base and demands of four activities from a host's total [cores]",
        "scipy 1.17.1, scipy.optimize.nnls", KNOWN["demands"],
        [found.base_cores, *found.demand_cores], kind="independent", abs=1e-8,
    )  # fmt: skip
    norm = found.residual_sd_cores * (900 - 5) ** 0.5
    assert norm == pytest.approx(KNOWN["residual_norm"], rel=1e-8)
    assert found.residual_cores @ found.residual_cores == pytest.approx(norm**2)
    assert found.fitted_cores + found.residual_cores == pytest.approx(total)
    true = np.array(KNOWN["true"])
    assert (found.low_cores <= true[1:]).all()
    assert (true[1:] <= found.high_cores).all()
    # Independent: half widths by a bootstrap of blocks; ours may be half as wide again.
    low, high = np.array(KNOWN["bootstrap_interval"])[1:4].T
    wide = (found.high_cores - found.low_cores)[:3] / (high - low)
    assert (wide > 0.9).all()
    assert (wide < 1.5).all()


@pytest.mark.parametrize("lag1", [0, 0.8, 0.95])
def test_intervals_hold_the_true_demand(lag1):
    """Intervals hold the true demand in about 95 % of logs, however long the noise remembers."""
    rng = np.random.default_rng(2024)
    logs, rows, inside = 150, 900, 0
    for _ in range(logs):
        counts = counts_over_time(rng, rows)
        total = BASE + counts @ TRUE + noise(rng, rows, lag1) + 3
        found = estimate_demands(total, counts, NAMES, 1.0)
        inside += int(((found.low_cores <= TRUE) & (found.high_cores >= TRUE)).sum())

    # Derived: three intervals a log, taken as independent; three standard errors of a share.
    share = inside / (3 * logs)
    assert share > 0.95 - 3 * (0.95 * 0.05 / (3 * logs)) ** 0.5


def test_noise_free_total_gives_the_demands_back():
    """Totals made by the utilisation law alone give exact demands, and the known base stays."""
    counts = counts_over_time(np.random.default_rng(3), 300)
    total = BASE + counts @ TRUE

    found = estimate_demands(total, counts, NAMES, 1.0)
    known = estimate_demands(total, counts, NAMES, 1.0, base_cores=BASE)

    # Derived: what the total was made of.
    assert found.base_cores == pytest.approx(BASE)
    assert found.demand_cores == pytest.approx(TRUE)
    assert known.demand_cores == pytest.approx(TRUE)
    assert (known.base_low_cores, known.base_cores, known.base_high_cores) == (BASE,) * 3
    assert found.r2 == pytest.approx(1)
    assert found.high_cores - found.low_cores == pytest.approx(0, abs=1e-9)
    assert found.warnings == ()


def test_missing_cells_leave_their_rows_out():
    """A row in which anything is missing has no residual, and the others decide."""
    rng = np.random.default_rng(4)
    counts = counts_over_time(rng, 400)
    total = BASE + counts @ TRUE
    total[7] = np.nan
    counts[9, 1] = np.nan

    found = estimate_demands(total, counts, NAMES, 1.0)

    assert found.rows_used == 398
    assert np.flatnonzero(np.isnan(found.residual_cores)).tolist() == [7, 9]
    assert found.demand_cores == pytest.approx(TRUE)


def test_demand_held_at_zero_keeps_an_honest_interval():
    """A demand held at 0 has an interval from 0, and a warning tells what the data asked for."""
    rng = np.random.default_rng(5)
    counts = counts_over_time(rng, 900)
    total = 9 + counts @ np.array([0.1, -0.2, 0.6]) + noise(rng, 900, 0.3, 0.3)

    found = estimate_demands(total, counts, NAMES, 1.0)

    assert found.demand_cores[1] == found.low_cores[1] == 0
    assert found.held_at_zero == ("forms",)
    assert (found.low_cores <= found.demand_cores).all()
    assert (found.demand_cores <= found.high_cores).all()
    told = [warning for warning in found.warnings if "held at 0" in warning]
    assert len(told) == 1
    assert told[0].startswith('"forms" is held at 0')
    assert "chance does not explain it" in told[0]


# ------------------------------------------------------------------------------- the warnings


def warned(found, words):
    """Tell whether any of the warnings has the words."""
    return any(words in warning for warning in found.warnings)


def test_counts_that_move_together_are_told():
    """Two activities that rise and fall together are named, and their sum is still right."""
    rng = np.random.default_rng(6)
    counts = counts_over_time(rng, 900)
    counts[:, 1] = counts[:, 0] + (rng.random(900) < 0.03)
    total = BASE + counts @ TRUE + noise(rng, 900, 0.5, 0.3)

    found = estimate_demands(total, counts, NAMES, 1.0)

    assert warned(found, '"typing" and "forms" rise and fall together (correlation 0.99)')
    assert found.condition > 30
    assert found.demand_cores[:2].sum() == pytest.approx(TRUE[:2].sum(), abs=0.05)
    lengths = found.high_cores - found.low_cores
    assert lengths[:2].min() > 3 * lengths[2]


def test_counts_always_in_step_are_refused():
    """Counts that follow exactly from each other are refused, with the names and a way out."""
    counts = counts_over_time(np.random.default_rng(7), 100)
    total = BASE + counts @ TRUE
    doubled = counts.copy()
    doubled[:, 1] = 2 * counts[:, 0]

    with pytest.raises(MeasurementError, match=r"typing, forms.*join these"):
        estimate_demands(total, doubled, NAMES, 1.0)

    everyone = np.column_stack([counts, 30 - counts.sum(axis=1)])
    with pytest.raises(MeasurementError, match=r"the base, typing.*base_cores"):
        estimate_demands(total, everyone, [*NAMES, "idle"], 1.0)
    found = estimate_demands(total, everyone, [*NAMES, "idle"], 1.0, base_cores=BASE)
    # Derived: the idle use nothing.
    assert found.demand_cores == pytest.approx([*TRUE, 0], abs=1e-9)


def test_number_of_people_that_hardly_changes_is_told():
    """Where about as many people are there all the time, the base is told to be unsure."""
    rng = np.random.default_rng(8)
    counts = counts_over_time(rng, 600)
    idle = 30 - counts.sum(axis=1) + (np.arange(600) > 580)
    everyone = np.column_stack([counts, idle])
    total = BASE + counts @ TRUE + noise(rng, 600, 0.5, 0.3)

    found = estimate_demands(total, everyone, [*NAMES, "idle"], 1.0)

    assert warned(found, "The number of people hardly changes")


def test_activity_that_never_occurs_is_left_out():
    """An activity without a single session is left out by name."""
    counts = counts_over_time(np.random.default_rng(9), 200)
    counts[:, 2] = 0
    total = BASE + counts @ TRUE

    found = estimate_demands(total, counts, NAMES, 1.0)

    assert found.names == ("typing", "forms")
    assert warned(found, '"video" never occurs')


def test_drift_is_told():
    """A level that drifts through the log is told, and steady noise is not taken for a drift."""
    rng = np.random.default_rng(10)
    counts = counts_over_time(rng, 900)
    total = BASE + counts @ TRUE + noise(rng, 900, 0.5, 0.5)

    steady = estimate_demands(total + 1, counts, NAMES, 1.0)
    drifting = estimate_demands(total + np.linspace(0, 2, 900), counts, NAMES, 1.0)

    assert not warned(steady, "through the log")
    assert warned(drifting, "rises through the log")


def test_rows_at_the_limit_of_the_host_are_told():
    """Rows in which the host was full are told as a share."""
    counts = counts_over_time(np.random.default_rng(12), 400)
    total = BASE + counts @ TRUE
    limit = float(np.quantile(total, 0.9))

    found = estimate_demands(
        np.minimum(total, limit), counts, NAMES, 1.0, limit_cores=limit
    )  # fmt: skip

    assert warned(found, "the host is at its limit")
    assert not warned(estimate_demands(total, counts, NAMES, 1.0, limit_cores=500), "limit")


def test_total_that_the_counts_do_not_explain_is_told():
    """A total that has little to do with the counts is told as such, a constant one too."""
    rng = np.random.default_rng(13)
    counts = counts_over_time(rng, 400)

    other = estimate_demands(20 + 5 * rng.standard_normal(400), counts, NAMES, 1.0)
    constant = estimate_demands(np.full(400, 3.0), counts, NAMES, 1.0)

    assert warned(other, "explain only")
    assert warned(constant, "never changes")
    assert constant.base_cores == pytest.approx(3)
    assert constant.demand_cores == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"interval_s": 0}, "interval_s"),
        ({"names": ["typing"]}, "counts"),
        ({"names": ["typing", "typing", "video"]}, "names"),
        ({"host_cores": np.ones((2, 2))}, "host_cores"),
        ({"host_cores": -np.ones(100)}, "host_cores"),
        ({"host_cores": np.full(100, np.inf)}, "host_cores"),
        ({"counts": -np.ones((100, 3))}, "counts"),
        ({"counts": np.zeros((100, 3))}, "counts"),
        ({"host_cores": np.full(100, np.nan)}, "counts"),
        ({"base_cores": -1}, "base_cores"),
        ({"limit_cores": 0}, "limit_cores"),
    ],
)
def test_wrong_input_names_its_field(changes, field):
    """Input that cannot be used is refused by the name of the argument."""
    counts = counts_over_time(np.random.default_rng(14), 100)
    given = {
        "host_cores": BASE + counts @ TRUE, "counts": counts, "names": NAMES, "interval_s": 1.0,
    } | changes  # fmt: skip

    with pytest.raises(InputError) as raised:
        estimate_demands(**given)

    assert raised.value.field == field


def test_too_few_rows_are_refused():
    """Fewer complete rows than an interval needs are refused."""
    counts = counts_over_time(np.random.default_rng(15), 300)[:10]

    with pytest.raises(MeasurementError, match="at least 20 rows"):
        estimate_demands(np.ones(10), np.maximum(counts, 1), NAMES, 1.0)
