"""Planning on the page: what the form asks is what the model plans, and refusals name the box."""

import json

import numpy as np
import pytest

from app import evidence_plan
from app.evidence_refusals import told_error
from app.server import make_app
from app.settings import Settings
from app.theme import DARK, LIGHT
from app.words_trial import PLAN_FIELDS
from model.errors import InputError
from model.evidence.noise import Noise, noise_of
from model.evidence.record import ReadingReport, Readings
from model.evidence.trial import plan_trial

QUESTION = {
    "activities": ["typing", "panning"],
    "noise": {"sd": 0.05, "carry": 0.8, "interval_s": 1, "column": "encode_cores"},
    "goal": "smallest_effect", "amount": 0.03, "block_s": 60, "drop_s": 5, "settle_s": 60,
    "order": "Thue-Morse", "seed": 1,
}  # fmt: skip


class Kept:
    """A visitor's session with one log."""

    def __init__(self, log, state=None):
        """Take the log and its state, None where it was not confirmed."""
        self.log, self.state = log, state

    def readings(self):
        """Return the log."""
        return [self.log]

    def states(self):
        """Return its state."""
        return [self.state]


def pilot(activity=None):
    """A log of ten minutes in which a slow deviation fades by a tenth a reading."""
    rng = np.random.default_rng(7)
    values = np.zeros(600)
    for at in range(1, 600):
        values[at] = 0.9 * values[at - 1] + rng.normal(0, 0.05)
    report = ReadingReport("CSV", 600, 600)
    return Readings(
        "pilot.csv", np.arange(600.0), 1.0, None, {"encode_cores": 0.5 + values}, None, activity,
        report,
    )  # fmt: skip


def test_plan_is_that_of_the_model():
    """The page's plan is the model's for the same numbers, in words, as a curve and as a sheet."""
    plan, unit = evidence_plan.planned(QUESTION, None)
    own = plan_trial(["typing", "panning"], Noise(0.05, 0.8), smallest_effect=0.03)
    assert (plan.blocks, plan.states, plan.activities) == (own.blocks, own.states, own.activities)
    told = evidence_plan.told_of(plan, unit, LIGHT)
    json.dumps(told, allow_nan=False)
    assert len(told["sheet"]["rows"]) == 2 * plan.blocks
    assert all(len(row) == len(told["sheet"]["head"]) for row in told["sheet"]["rows"])
    assert told["sheet"]["rows"][0][:2] == ["1", "0:01:00"]
    assert told["checklist"][0].startswith("This is a host and a desktop for trials, not in prod")
    assert "seed 1" in told["lines"][1]
    assert told["figure"]["layout"]["paper_bgcolor"] == LIGHT.ground
    dark = evidence_plan.told_of(plan, unit, DARK)["figure"]
    assert dark["data"][0]["line"]["color"] == DARK.text
    header, rows = evidence_plan.table_of(plan, unit)
    assert header[0] == "true effect [cores]"
    # Derived: with no effect, one in twenty trials finds one all the same.
    assert rows[0] == [0.0, pytest.approx(5.0, abs=0.01)]


def test_other_goals_are_planned():
    """A number of blocks, or a width of the interval, can be wanted instead."""
    plan, _ = evidence_plan.planned(QUESTION | {"goal": "blocks", "amount": 24}, None)
    assert plan.blocks == 24
    plan, _ = evidence_plan.planned(QUESTION | {"goal": "half_width", "amount": 0.02}, None)
    assert plan.half_width <= 0.02
    plan, _ = evidence_plan.planned(QUESTION | {"block_s": None}, None)
    assert plan.block_s >= 30


def test_noise_is_taken_from_a_pilot_log():
    """With a log chosen, its own noise is planned with, and its name is told."""
    log = pilot()
    question = QUESTION | {"amount": 0.05, "noise": {"log": 0, "column": "encode_cores"}}
    plan, unit = evidence_plan.planned(question, Kept(log))
    assert plan.noise == noise_of(log.columns["encode_cores"], None, 1.0, 5.0, "pilot.csv")
    assert "from pilot.csv" in evidence_plan.told_of(plan, unit, LIGHT)["lines"][3]


def test_noise_of_a_mixed_log_is_that_of_one_activity():
    """Steps from one activity to another are not taken for noise."""
    log = pilot(tuple(["typing"] * 400 + ["video"] * 200))
    log.columns["encode_cores"][400:] += 50
    question = QUESTION | {"amount": 0.1, "noise": {"log": 0, "column": "encode_cores"}}
    plan, _ = evidence_plan.planned(question, Kept(log))
    assert plan.noise.sd < 1
    assert plan.noise.origin == "pilot.csv (typing)"


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"activities": []}, PLAN_FIELDS["activities"][0]),
        ({"activities": "typing"}, PLAN_FIELDS["activities"][0]),
        ({"activities": ["x" * 81]}, PLAN_FIELDS["activities"][0]),
        ({"noise": None}, PLAN_FIELDS["pilot"][0]),
        ({"noise": {"sd": 0.1}}, PLAN_FIELDS["carry"][0]),
        ({"noise": {"sd": -1, "carry": 0, "interval_s": 1}}, PLAN_FIELDS["sd"][0]),
        ({"noise": {"log": 0}}, "The log"),
        ({"noise": {"log": 0, "column": "sessions"}}, "The reading shown"),
        ({"goal": "luck"}, PLAN_FIELDS["goal"][0]),
        ({"amount": "much"}, PLAN_FIELDS["amount"][0]),
        ({"amount": True}, PLAN_FIELDS["amount"][0]),
        ({"amount": 1e-9}, "Smallest effect not to be missed (80 % power)"),
        ({"order": "random"}, PLAN_FIELDS["order"][0]),
        ({"seed": 1.5}, PLAN_FIELDS["seed"][0]),
        ({"block_s": 6}, PLAN_FIELDS["block_s"][0]),
    ],
)
def test_refusals_name_the_box(change, field):
    """What cannot be planned is told by the label that the visitor sees."""
    with pytest.raises(InputError) as told:
        evidence_plan.planned(QUESTION | change, None)
    error = told_error(told.value)
    assert error["message"].startswith(f"{field} is ")
    assert error["field"] == told.value.field


def test_a_visitor_without_logs_can_plan(tmp_path):
    """Plan, curve and picture need no log; the address answers JSON alone."""
    client = make_app(Settings(workers=0, data_folder=tmp_path)).server.test_client()
    assert client.get("/evidence-data/trial-words").get_json()["goals"]
    told = client.post("/evidence-data/plan", json=QUESTION).get_json()
    assert told["answer"].startswith("Plan ")
    table = client.post("/evidence-data/csv/power", json=QUESTION)
    assert table.headers["Content-Type"] == "text/csv; charset=utf-8"
    assert "crestline-estimate-trial-power.csv" in table.headers["Content-Disposition"]
    picture = client.post("/evidence-data/picture/power", json=QUESTION).get_json()
    assert picture["data"]["query"] is None
    assert picture["chart"]["figure"]["layout"]["showlegend"] is False
    wrong = client.post("/evidence-data/plan", json=QUESTION | {"seed": -1}).get_json()
    assert wrong["error"]["field"] == "seed"
    assert wrong["error"]["message"].startswith("Seed is -1; expected ")
    form = client.post("/evidence-data/plan", data="a=b", content_type="text/plain")
    assert form.status_code == 415
    assert client.post("/evidence-data/effect-shown", json={}).get_json()["gone"] is True
    assert not (tmp_path / "evidence").exists()
