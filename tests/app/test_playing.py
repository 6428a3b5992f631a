"""Does the day that is sent for playing hold the model's seconds, and is anything else refused?"""

import base64
import json

import numpy as np
import pytest

from app.answers import DAY_SEED
from app.playing import SEED, day_text
from app.refusals import field_name
from app.server import make_app
from app.settings import Settings
from app.words import CAUTION
from model.day_trace import day_trace
from model.scenario import default, dump, from_data, to_data


@pytest.fixture(scope="module")
def client():
    """A client of a fresh application."""
    return make_app(Settings(workers=0)).server.test_client()


def unpacked(text: str, kind: str) -> np.ndarray:
    """Return the numbers that were packed into a text."""
    return np.frombuffer(base64.b64decode(text), dtype=kind)


def test_answer_holds_every_second_of_the_model(client):
    """What is sent is the model's day for the scenario that was sent, in single precision."""
    data = to_data(default()) | {"sessions": 70, "name": "Quay 3"}
    scenario = from_data(data)

    reply = client.post("/play", json={"scenario": dump(scenario)})
    told, trace = reply.get_json(), day_trace(scenario, SEED)

    assert reply.status_code == 200
    for name, sent in (("app", trace.app), *trace.encode.items()):
        np.testing.assert_array_equal(unpacked(told[name], "<f4"), sent.astype(np.float32))
    np.testing.assert_array_equal(unpacked(told["slots_in_use"], "<u4"), trace.slots_in_use)
    np.testing.assert_array_equal(unpacked(told["present"], "<u4"), trace.present)
    assert told["capacity"] == trace.capacity
    assert (told["start_s"], told["length_s"]) == (7 * 3600, 12 * 3600)
    assert (told["cards"], told["slots"], told["target_pct"]) == (1, 100, 85)
    assert told["words"]["about"] == "Quay 3: 70 sessions, 07:00 to 19:00"
    assert told["words"]["caution"].endswith(CAUTION)


def test_played_day_has_the_seed_of_the_chart():
    """The played day and the chart of the day are drawn with the same seed."""
    assert SEED == DAY_SEED


def test_day_travels_compressed(client):
    """A browser that can unpack gets the day in less than half of its size."""
    question = {"json": {"scenario": dump(default())}}

    packed = client.post("/play", **question, headers={"Accept-Encoding": "gzip"})
    plain = client.post("/play", **question)

    assert packed.headers["Content-Encoding"] == "gzip"
    assert len(packed.data) < len(plain.data) / 2
    # Derived: a day of 43,200 seconds, five numbers of four bytes each, 4/3 as base64.
    assert len(plain.data) == pytest.approx(43_200 * 5 * 4 * 4 / 3, rel=0.01)


def test_slots_beyond_two_bytes_are_sent(client):
    """A host with more displays in motion than two bytes count is told right."""
    data = to_data(default()) | {"sessions": 30_000}
    data["accelerator"] |= {"cards": 16, "displays_per_card": 10_000}
    data["accelerator"]["megapixels_per_s_per_card"] = 1_000_000
    data["roles"] = [data["roles"][0] | {"weight_pct": 100, "displays": 4}]
    for activity in data["activities"]:
        activity["spans"] = "all"
    data["day"] |= {"end": "07:10", "present_pct": [["07:00", 100], ["19:00", 100]]}

    told = json.loads(day_text(dump(from_data(data))))

    assert unpacked(told["slots_in_use"], "<u4").max() > 65_535


@pytest.mark.parametrize(
    ("scenario", "named"),
    [(None, "scenario"), (5, "scenario"), ("demo_data/x.json", "scenario"), ("{", "scenario"),
     ('{"version": 1}', "name"), ('{"version": 2}', "version")],
)  # fmt: skip
def test_what_is_no_scenario_is_refused_in_a_sentence(client, scenario, named):
    """What was sent in place of a scenario is refused by name; no file is ever read for it."""
    reply = client.post("/play", json={"scenario": scenario})

    assert reply.status_code == 200
    assert reply.get_json()["error"]["field"] == named
    assert reply.get_json()["error"]["message"].startswith(f"{field_name(named)} is ")


def test_what_is_no_question_is_refused(client):
    """A body that is no question does not break the server."""
    assert "error" in client.post("/play", data=b"\xff{").get_json()
    assert "error" in client.post("/play", json=[1, 2]).get_json()
    huge = client.post("/play", data=b"x" * 2_000_000, content_type="application/json")
    assert huge.status_code == 413


def test_failure_gives_a_number_and_no_stack(client, monkeypatch, caplog):
    """A failure in the model is told by a number; the stack stays in the log."""
    monkeypatch.setattr("app.playing.day_trace", lambda scenario, seed: 1 / 0)
    scenario = default().model_copy(update={"name": "never played before"})

    reply = client.post("/play", json={"scenario": dump(scenario)})

    assert reply.status_code == 500
    assert "number" in reply.get_json()["failure"]
    assert "ZeroDivision" not in reply.get_data(as_text=True)
    assert "ZeroDivisionError" in caplog.text
