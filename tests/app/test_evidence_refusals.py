"""Does a refusal on the Evidence page speak of what is seen there, and still mark the right box?"""

import json
import re
from pathlib import Path

import pytest

from app import evidence_refusals
from app.evidence_refusals import evidence_refusal, told_error
from app.server import make_app
from app.settings import Settings
from model.errors import InputError, MeasurementError
from model.evidence.mapping import Mapping
from model.scenario import default, to_data

APP = Path(evidence_refusals.__file__).parent


@pytest.mark.parametrize(
    ("field", "name"),
    [("host.cores", "CPU cores"), ("activities[8].frame_rate_hz", "Activity 9, frame rate"),
     ("roles[1].vcpus", "Role 2, vCPUs"), ("drop_s", "Dropped at the start of a block"),
     ("thresholds.cpu_cores", "Threshold, Desktop's CPU"), ("seed", "Seed"),
     ("base_cores", "CPU of the host without sessions"), ("sessions", "Sessions"),
     ("encode_base.processors", "What the encoder's CPU is a percentage of"), ("zork", "zork")],
)  # fmt: skip
def test_field_has_the_label_that_is_seen(field, name):
    """The message has the label of the box; the field keeps its own name, to be marked by."""
    told = told_error(InputError(field, -1, "a number of 0 or more"))
    assert told == {
        "field": field, "message": f"{name} is -1; expected a number of 0 or more.",
        "row": None, "column": None,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("error", "message"),
    [
        (MeasurementError("mapping.encode_base", None, "an answer"),
         "What the encoder's CPU is a percentage of is missing; expected an answer."),
        (MeasurementError("mapping.counts.video call", "a", "another column"),
         "The column of sessions in video call is 'a'; expected another column."),
        (MeasurementError("rows", 2, "at least 60"), "Readings is 2; expected at least 60."),
        (MeasurementError("trial.csv", "x", "a number", 5, "cpu"),
         "trial.csv, row 5, column \"cpu\" is 'x'; expected a number."),
    ],
)  # fmt: skip
def test_log_and_its_answers_are_told_by_name(error, message):
    """Answers about a log have labels too; a log keeps its name, with row and column."""
    assert evidence_refusal(error) == message
    told = told_error(error)
    assert (told["field"], told["row"], told["column"]) == (error.log, error.row, error.column)


def test_every_answer_about_a_log_has_a_name():
    """No field of the form under a log reaches the page as the code calls it."""
    for field in Mapping.model_fields:
        shown = evidence_refusal(InputError(f"mapping.{field}", 1, "more"))
        assert not re.search(r"mapping|_", shown.partition(" is ")[0]) or field == "counts", field


def test_every_field_that_the_evidence_routes_refuse_has_a_name():
    """What is refused by the Evidence page's own code is never told by a name of the code."""
    source = "".join(path.read_text(encoding="utf-8") for path in APP.glob("evidence_*.py"))
    fields = set(re.findall(r'InputError\(\s*"([a-z_.]+)"', source))
    asked = r'_(?:number|optional|place)\((?:asked|question|given), "([a-z_]+)"'
    fields |= set(re.findall(asked, source))
    assert len(fields) > 25
    unnamed = [
        field for field in sorted(fields)
        if evidence_refusal(InputError(field, 1, "more")).startswith(f"{field} ")
    ]  # fmt: skip
    assert unnamed == []


def test_scenario_that_will_not_do_is_told_by_its_labels(tmp_path):
    """A scenario sent along with a question is refused as on the Host page."""
    client = make_app(Settings(workers=0, data_folder=tmp_path)).server.test_client()
    client.post("/evidence-data/upload?name=a.csv", data=b"t,cpu\n0,1\n1,2\n",
                content_type="application/octet-stream")  # fmt: skip
    data = to_data(default())
    data["roles"][1]["vcpus"] = 1000
    question = {"scenario": json.dumps(data), "log": 0, "arm": "software"}
    error = client.post("/evidence-data/compare", json=question).get_json()["error"]
    assert error["field"] == "roles[1].vcpus"
    assert error["message"].startswith("Role 2, vCPUs is 1000; expected ")
    error = client.post("/evidence-data/effect", json={"drop_s": None}).get_json()["error"]
    assert error["field"] == "drop_s"
    assert error["message"].startswith("Dropped at the start of a block is missing; expected ")
