"""Does a host's log give demands and a comparison, and does one that cannot say why?"""

import json

import numpy as np
import pytest

from app import evidence_csv, evidence_shown_host
from app.evidence_host import arm_of, compared_of, demands_of
from app.figures.residuals import MOST_POINTS, thinned
from app.theme import DARK, LIGHT
from model.errors import InputError
from model.evidence.record import Readings
from model.scenario import default, from_data, to_data
from tests.app.trial_logs import host_log


def test_demands_are_found_and_shown():
    """The made-up host's demands lie in the table's intervals, and the residuals are thinned."""
    data = to_data(default())
    data["host"] |= {
        "threads_per_core": 1, "turbo_ratio": 1, "reserve_pct": 0,
        "clock_ghz": data["reference_clock_ghz"],
    }  # fmt: skip
    plain = from_data(data)  # a busy core is one reference core
    found, told = demands_of([host_log()], 0, None, plain)
    for row, true in zip(told["rows"], (0.1, 0.5), strict=True):
        # Derived: the log was made with these.
        assert row["low"] < true < row["high"]
    # Derived: twice the clock, and every busy core is worth two reference cores.
    data["host"]["clock_ghz"] = 2 * data["reference_clock_ghz"]
    twice, _ = demands_of([host_log()], 0, None, from_data(data))
    np.testing.assert_allclose(twice.demand_cores, 2 * found.demand_cores, rtol=1e-6)
    shown = evidence_shown_host.demands_shown(told, LIGHT)
    assert [row[0] for row in shown["table"]["rows"]] == [*found.names, "the host without sessions"]
    assert shown["figure"]["data"][0]["x"]
    json.dumps(told, allow_nan=False)
    x, y = thinned(np.arange(50_000.0), np.where(np.arange(50_000) == 777, 99.0, 0.5))
    assert len(x) <= MOST_POINTS
    assert y.max() == 99.0


def test_logs_that_cannot_answer_are_refused(logs):
    """A desktop's log has no host total, a log without counts no demands, and none lies beyond."""
    log, state = logs[0]
    bare = Readings(**{**vars(host_log()), "counts": {}, "columns": {"host_cores": np.ones(1200)}})
    for readings, at, cure in (
        ([log], 0, "mapped as the host's CPU"), ([bare], 0, "count the sessions"),
        ([log], 5, "one of the logs"),
    ):  # fmt: skip
        with pytest.raises(InputError, match=cure):
            demands_of(readings, at, None, default())
    with pytest.raises(InputError, match="sessions present"):
        compared_of([bare], [None], 0, default(), "software")
    with pytest.raises(InputError, match="threads, cores"):
        compared_of([host_log()], [None], 0, default(), "software", counted="dozens")
    assert arm_of(None) is None
    assert arm_of(state) is None
    assert arm_of(np.ones(5, dtype=int)) == "offloaded"


def test_comparison_is_kept_and_shown():
    """A made-up host is held against the model: verdict, quantiles, plot and table agree."""
    told = compared_of([host_log()], [None], 0, default(), "software")
    json.dumps(told, allow_nan=False)
    shown = evidence_shown_host.compared_shown(told, DARK)
    assert shown["verdict"] == told["verdict"]
    assert [row[0] for row in shown["table"]["rows"]] == ["p50", "p95", "p99"]
    line = shown["figure"]["data"][2]
    assert len(line["x"]) == len(told["levels"])
    header, rows = evidence_csv.compared_csv(told)
    assert len(rows) == len(told["levels"])
    at_95 = next(row for row in rows if row[0] == pytest.approx(95))
    assert at_95[header.index("difference 95 % low [cores]")] is not None
