"""Does the address at which the page asks answer right, and refuse what it cannot use?"""

import json

import pytest

from app import ids, words
from app.answers import curve_answer, next_answer
from app.server import make_app
from app.settings import Settings, from_environment
from app.theme import LIGHT
from model.assess import assess
from model.errors import InputError
from model.hosts import ARMS
from model.scenario import default, dump, from_data, to_data

JSON = "application/json"


@pytest.fixture(scope="module")
def client():
    """A client of a fresh application."""
    return make_app(Settings(workers=0)).server.test_client()


def ask(client, lane="curve", **question):
    """Ask as the page does."""
    return client.post(f"/answer/{lane}", json={"sequence": 7, "theme": "light"} | question)


def test_answer_is_that_of_the_model(client):
    """The sentence and the values are those of the model, for the scenario that was sent."""
    scenario = default().model_copy(update={"sessions": 90})
    reply = ask(client, scenario=dump(scenario)).get_json()
    answer = json.loads(reply["text"])
    found = assess(scenario)
    assert reply["sequence"] == 7
    assert answer["query"] == "n=90&v=1"
    assert answer["texts"]["answer-sentence"] == words.answer_sentence(found)
    assert answer["texts"]["now-title"] == "With 90 sessions"
    # Derived: the drawn curve passes through the model's value at the number asked for.
    for trace, arm in zip(answer["figures"]["headroom"]["data"], reversed(ARMS), strict=True):
        drawn = dict(zip(trace["x"], trace["y"], strict=True))
        assert drawn[90] == pytest.approx(found.now[arm]["headroom_pct"], abs=0.051)


def test_changed_input_never_shows_an_old_result(client):
    """Two scenarios that differ in one cost get two answers; the first one is not shown again."""
    data = to_data(default())
    before = ask(client, scenario=dump(default())).get_json()["text"]
    data["activities"][3]["software_ms_per_frame"] = 30.5
    after = ask(client, scenario=dump(from_data(data))).get_json()["text"]
    again = ask(client, scenario=dump(default())).get_json()["text"]
    assert before == again
    assert before != after


@pytest.mark.parametrize("lane", ["day", "next"])
def test_other_lanes_draw_the_day(client, lane):
    """The rough day and the full day both answer with the chart of the day."""
    answer = json.loads(ask(client, lane, scenario=dump(default())).get_json()["text"])
    assert len(answer["figures"]["day"]["data"]) == 6
    if lane == "next":
        assert len(answer["lines"]) == 3


@pytest.mark.parametrize(
    ("scenario", "named"),
    [(None, "scenario"), (5, "scenario"), ("demo_data/x.json", "scenario"), ("{", "scenario"),
     ('{"version": 1}', "Name"), ("{}" * 3, "scenario")],
)  # fmt: skip
def test_what_is_no_scenario_is_refused(client, scenario, named):
    """What was sent in place of a scenario is refused by name; no file is ever read for it."""
    reply = ask(client, scenario=scenario)
    assert reply.status_code == 200
    assert named in reply.get_json()["error"]["message"]


def test_what_is_no_question_is_refused(client):
    """A body that is no question, and a lane that is none, do not break the server."""
    assert "error" in client.post("/answer/curve", data=b"\xff{").get_json()
    assert "error" in client.post("/answer/curve", json=[1, 2]).get_json()
    assert client.post("/answer/zork", json={}).status_code == 404
    huge = client.post("/answer/curve", data=b"x" * 2_000_000, content_type=JSON)
    assert huge.status_code == 413


def test_failure_gives_a_number_and_no_stack(client, monkeypatch, caplog):
    """A failure in the model is told by a number; the stack stays in the log."""
    monkeypatch.setattr("app.answers.assess", lambda scenario, work: 1 / 0)
    scenario = default().model_copy(update={"name": "never asked before"})
    reply = ask(client, scenario=dump(scenario))
    assert reply.status_code == 500
    assert "number" in reply.get_json()["failure"]
    assert "ZeroDivision" not in reply.get_data(as_text=True)
    assert "ZeroDivisionError" in caplog.text


def test_headers_keep_the_page_to_itself(client):
    """Every answer carries the policy that allows the page's own scripts only."""
    policy = client.get("/").headers["Content-Security-Policy"]
    assert "script-src 'self'" in policy
    assert "unsafe-inline" not in policy.split("style-src")[0]
    assert client.get("/health").status_code == 200


@pytest.mark.parametrize("given", ["0", "-1", "many", "1.5", "65"])
def test_wrong_setting_is_named(given):
    """A setting out of range is refused by the name of its variable."""
    with pytest.raises(InputError, match="CRESTLINE_THREADS is"):
        from_environment({"CRESTLINE_THREADS": given})
    assert from_environment({}) == Settings()


def test_every_chart_has_its_figure_sentence_and_spoken_line():
    """Once a slider rests, no chart of the page is without what is drawn and said of it."""
    answers = [curve_answer(default(), LIGHT), next_answer(default(), LIGHT)]
    figures, texts, spoken = (
        {name for answer in answers for name in answer[part]}
        for part in ("figures", "texts", "spoken")
    )

    assert figures == set(ids.CHARTS)
    assert {name for name in texts if name.startswith("takeaway-")} == {
        f"takeaway-{chart}" for chart in ids.CHARTS
    }
    assert spoken == set(ids.CHARTS)
