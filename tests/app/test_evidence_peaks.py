"""Are peaks counted by state, with nothing added where readings were lost?"""

import numpy as np
import pytest

from app.evidence_peaks import default_thresholds, peaks_of
from model.errors import InputError
from model.evidence.record import ReadingReport, Readings
from model.scenario import default
from tests.app.trial_logs import host_log


def test_peaks_are_counted_by_state_without_the_seconds_after_a_switch(logs):
    """Peaks with and without the card are told apart, and a desktop that settles is no peak."""
    log, state = logs[0]
    values = log.columns["encode_cores"].copy()
    after = np.flatnonzero(np.diff(state)) + 1
    for late in range(5):
        values[after + late] = 9.0
    log = Readings(**{**vars(log), "columns": {"encode_cores": values}})
    found = peaks_of([log], [state], {"encode_cores": 0.4})
    off, on = found["rows"]
    assert (off["state"], on["state"]) == ("off", "on")
    assert off["highest"] < 1
    # Derived: without the card readings lie around 0.6, with it around 0.1, ten deviations away.
    assert (off["above_share"], on["above_share"]) == (1.0, 0.0)
    unsettled = peaks_of([log], [state], {"encode_cores": 0.4}, drop_s=0)
    assert unsettled["rows"][0]["highest"] == 9.0


def test_lost_readings_count_as_lost_time():
    """Rows that a log lacks are neither filled in nor passed over: their time counts as lost."""
    time_s = np.concatenate([np.arange(300.0), np.arange(330.0, 600.0)])
    rng = np.random.default_rng(1)
    log = Readings(
        "gap.csv", time_s, 1.0, None, {"host_cores": rng.uniform(1, 2, len(time_s))}, None, None,
        ReadingReport("CSV", 570, 570),
    )  # fmt: skip
    (row,) = peaks_of([log], [None], {"host_cores": 1.5})["rows"]
    # Derived: 30 s lie between the readings at 299 s and at 330 s that have none.
    assert (row["observed_s"], row["lost_s"]) == (570.0, 30.0)
    assert "5 % of the time has no readings" in " ".join(row["warnings"])


def test_thresholds_are_checked_and_have_usual_values(logs):
    """A column that has no peaks, or a threshold below 0, is refused; usual ones are there."""
    log, state = logs[0]
    usual = default_thresholds([log, host_log()], default())
    # Derived: 85 % of the example's 64 threads.
    assert usual == {"encode_cores": 0.5, "cpu_cores": 1.0, "host_cores": 54.4}
    for wrong in ({"frames_hz": 1.0}, {"encode_cores": -1.0}):
        with pytest.raises(InputError) as told:
            peaks_of([log], [state], wrong)
        assert told.value.field.startswith("thresholds")


# ----------------------------------------------------------------- demands, changes, comparison
