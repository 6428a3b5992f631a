"""Are a visitor's effects those of the model, and what is said where there are none?"""

import json

import numpy as np
import pytest

from app import evidence_shown_effects, words_trial
from app.evidence_effects import effects_of, work_out_effects
from app.theme import LIGHT
from model.errors import InputError
from model.evidence.on_off import offload_effect
from model.evidence.record import ReadingReport, Readings
from tests.app.trial_logs import trial


def test_effects_are_those_of_the_model(logs, effects):
    """Each row is the model's own effect of that column, and the overall row is their mean."""
    log, state = logs[0]
    own = offload_effect(log.columns["encode_cores"], state, 1.0, 5.0, time_s=log.time_s)
    row = effects["rows"][0]
    assert (row["log_name"], row["activity"], row["column"]) == (
        "a.csv", "typing and reading", "encode_cores",
    )  # fmt: skip
    assert row["difference"]["value"] == own.difference.value
    assert (row["difference"]["low"], row["difference"]["high"]) == own.difference.interval
    assert {each["name"] for each in row["checks"]} == {"pairs", "quads", "hac", "bootstrap"}
    differences = [
        each["difference"] for each in effects["rows"] if each["column"] == "encode_cores"
    ]
    overall = effects["overall"]["encode_cores"]["difference"]
    # Derived: the mean of the two.
    assert overall["value"] == pytest.approx(sum(each["value"] for each in differences) / 2)
    # Derived: the made-up card saves half a core.
    assert overall["low"] < -0.5 < overall["high"]
    # Derived: of two alike, the mean is surer than each.
    assert overall["high"] - overall["low"] < differences[0]["high"] - differences[0]["low"]
    json.dumps(effects, allow_nan=False)


def test_log_without_confirmed_switches_has_no_effect(logs, effects):
    """Nothing is shown of a log until its switches are confirmed, and the reason is told."""
    assert {row["log"] for row in effects["rows"]} == {0, 1}
    assert effects["notes"] == [
        "host.csv: when offload was on has not been confirmed, so no effect is shown."
    ]
    log, state = logs[0]
    quiet = effects_of([log], [np.zeros_like(state)])
    assert quiet["rows"] == []
    assert "not switched" in quiet["notes"][0]


def test_one_switch_gives_levels_without_an_interval(logs):
    """A log that cannot support an interval says so in the table, the sentence and the warning."""
    log, _ = logs[0]
    state = np.repeat([0, 1], 480)
    found = effects_of([log], [state])
    row = found["rows"][0]
    assert row["difference"]["low"] is None
    assert "switched only once" in row["warnings"][0]
    assert "supports no interval" in words_trial.effect_sentence(row)
    table = evidence_shown_effects.effect_table(found, "encode_cores")
    assert "(no interval)" in table["rows"][0][3]
    figure = evidence_shown_effects.forest_of(found, "encode_cores", False, LIGHT)
    assert figure["data"][-1]["name"] == "no interval"


def test_activities_of_one_log_are_told_apart():
    """A log of two activities has a row for each and one for all, named by the activity."""
    (one, state), (other, _) = trial("a.csv", "x", 1), trial("b.csv", "y", 2)
    rows = one.rows * 2
    both = Readings(
        "both.csv", np.arange(float(rows)), 1.0, None,
        {"encode_cores": np.concatenate([log.columns["encode_cores"] for log in (one, other)])},
        None, tuple(["x"] * one.rows + ["y"] * one.rows), ReadingReport("CSV", rows, rows),
    )  # fmt: skip
    found = effects_of([both], [np.concatenate([state, state])])
    assert [row["title"] for row in found["rows"]] == ["all rows of the log", "x", "y"]
    assert found["overall"]["encode_cores"]["parts"] == 2
    names = tuple(f"n{at // 15}" for at in range(rows))
    many = Readings(**{**vars(both), "activity": names})
    assert (
        "at most 60 activities" in effects_of([many], [np.concatenate([state, state])])["notes"][0]
    )


def test_wrong_seconds_are_refused(logs):
    """Seconds dropped below 0, or blocks of none, are named."""
    log, state = logs[0]
    with pytest.raises(InputError) as told:
        effects_of([log], [state], drop_s=-1)
    assert told.value.field == "drop_s"
    with pytest.raises(InputError) as told:
        effects_of([log], [state], block_s=0)
    assert told.value.field == "block_s"


def test_progress_is_told(logs):
    """Whoever waits hears how far the work is, from nothing to all."""
    log, state = logs[0]
    shares = []
    effects_of([log], [state], progress=lambda share, _: shares.append(share))
    assert shares == sorted(shares)
    assert (shares[0], shares[-1]) == (0.0, 1.0)


class Kept:
    """A visitor's session whose switches may change while effects are worked out."""

    def __init__(self, log, *states):
        """Take a log and the states told at each question, the last one from then on."""
        self.log, self.told, self.kept = log, list(states), {}

    def readings(self):
        """Return the log."""
        return [self.log]

    def states(self):
        """Return the state of now."""
        return [self.told.pop(0) if len(self.told) > 1 else self.told[0]]

    def result(self, name):
        """Return what was kept."""
        return self.kept.get(name)

    def keep(self, name, data):
        """Keep a result."""
        self.kept[name] = data


def test_effects_of_switches_that_changed_meanwhile_are_not_kept(logs):
    """Effects worked out on old switches never stand beside the new ones."""
    log, state = logs[0]
    steady = Kept(log, state)
    assert work_out_effects(steady, lambda share, what: None) == {"effects": 3}
    assert steady.kept["effects"]["rows"]
    for changed in (1 - state, None):
        moved = Kept(log, state, changed)
        with pytest.raises(InputError) as told:
            work_out_effects(moved, lambda share, what: None)
        assert told.value.field == "effect"
        assert moved.kept == {}


# --------------------------------------------------------------------------------------- peaks
