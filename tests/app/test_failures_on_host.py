"""Does the Host page say of an event what the model says, in words that a customer can read?"""

import json
import re

import pytest

from app import words_failures as words
from app.answers import curve_answer
from app.components.events import bad_day, event_buttons
from app.events import CIRCUMSTANCE_OF, from_text
from app.failure_answers import failure_text, told
from app.pages.host import opened_at
from app.server import make_app
from app.settings import Settings
from app.theme import LIGHT
from model.failures import (
    CIRCUMSTANCES,
    FAILURES,
    FailureAnswer,
    HostState,
    failure,
    possible_failures,
)
from model.hosts import ARMS
from model.rush import LogonRush
from model.scenario import Scenario, default, dump, to_data
from tests.scenarios import changed


@pytest.fixture(scope="module")
def client():
    """A client of a fresh application."""
    return make_app(Settings(workers=0)).server.test_client()


def ask(client, scenario: Scenario, event: object):
    """Ask as the page does."""
    return client.post("/answer/failure", json={"scenario": dump(scenario), "event": event})


def table_cells(table, label: str) -> list[str]:
    """The cells of one row, each with its lines joined."""
    (row,) = [each for each in table["rows"] if each["label"].startswith(label)]
    return ["; ".join(lines) for lines in row["cells"]]


@pytest.mark.parametrize("text", [*FAILURES, "host_lost~2", "socket_down~4", "logon_rush~3.5",
                                  "everyone_on_a_call~0"])  # fmt: skip
def test_table_holds_what_the_model_says(client, text):
    """Every cell is the model's own value for that arm, before and after."""
    scenario = changed(sessions=90)
    shown = ask(client, scenario, text).get_json()
    event = from_text(text, scenario)
    answer = failure(scenario, event.key, **event.circumstances)
    states = [state for arm in ARMS for state in (answer.before[arm], answer.after[arm])]

    assert shown["note"] == answer.note
    assert [arm["label"] for arm in shown["table"]["arms"]] == ["without card", "with card"]
    for label, name in (
        ("Headroom", "headroom_pct"),
        ("Scheduler wait", "wait_busy_pct"),
        ("Delivered frames", "frames_busy_pct"),
        ("Most sessions", "most_sessions"),
        ("Sessions on", "sessions"),
    ):
        cells = [float(cell) for cell in table_cells(shown["table"], label)]
        # Derived: the model's value, rounded as the page writes it.
        assert cells == pytest.approx([getattr(each, name) for each in states], abs=0.501)
    targets = [cell.replace("\N{NO-BREAK SPACE}", " ")
               for cell in table_cells(shown["table"], "Targets")]  # fmt: skip
    assert targets == [
        "all hold" if each.holds else "missed:; " + "; ".join(each.missed) for each in states
    ]
    assert (shown["rush"] != "") == (event.key == "logon_rush")


def test_lost_card_is_told_answer_first():
    """The sentence says what is lost, whether targets hold, and how many sessions would do."""
    shown = told(changed(sessions=120), "card_lost")
    most = failure(changed(sessions=120), "card_lost").after["offloaded"].most_sessions
    # Derived: the model's own number in a sentence written by hand.
    assert shown["sentence"] == (
        "If the card is lost at 120 sessions, targets are missed. All targets hold up to "
        f"{most} sessions, as without any card."
    )
    two = told(changed(sessions=20, accelerator__cards=2), "card_lost")["sentence"]
    assert two.startswith("If one of 2 cards is lost at 20 sessions, every target still holds. ")


@pytest.mark.parametrize(
    ("text", "begins"),
    [
        ("host_lost", "If one of 4 hosts is lost with 90 sessions on each, "),
        ("host_lost~1000", "If one of 1,000 hosts is lost with 90 sessions on each, "),
        ("socket_down", "If one of 2 sockets goes down at 90 sessions, "),
        ("smt_off", "If SMT is switched off at 90 sessions, "),
        ("everyone_present", "If all 90 sessions are present, "),
        ("everyone_on_a_call", "If all 90 sessions are on a call at once, "),
        ("everyone_on_a_call~0", 'If all 90 sessions are in the activity "idle" at once, '),
        ("logon_rush~3.5", "If all 90 sessions log on within 3.5 min of a power cut, "),
    ],
)
def test_sentence_begins_with_the_event(text, begins):
    """Each event is named with its own circumstance."""
    scenario = changed(sessions=90)
    assert told(scenario, text)["sentence"].startswith(begins)
    one = told(changed(sessions=1), text)["sentence"]
    assert not re.search(r"all 1 |\b1 sessions are|one session (are|log) ", one)


def state(holds: bool, most: int) -> HostState:
    """A state of a host of which only that matters."""
    return HostState(10, 50.0, 0.0, 100.0, () if holds else ("frames", "memory"), holds, most)


HOLDS = [
    # before and after with the card, then without, most sessions of both; what is said
    ("1111", (9, 8), "every target still holds, with the card and without. All targets hold up "
     "to 9 sessions with the card, 8 without."),
    ("1110", (9, 0), "every target still holds with the card; without it targets are missed. All "
     "targets hold up to 9 sessions with the card, at no number without it."),
    ("1100", (9, 9), "every target still holds with the card; without it targets are missed, as "
     "before the event. All targets hold up to 9 sessions, with the card or without."),
    ("1011", (0, 8), "every target still holds without the card; with it targets are missed. All "
     "targets hold up to 8 sessions without it, at no number with the card."),
    ("1010", (9, 8), "targets are missed with the card and without. All targets hold up to 9 "
     "sessions with the card, 8 without."),
    ("1000", (9, 8), "targets are missed with the card and without; without it they were before "
     "the event too. All targets hold up to 9 sessions with the card, 8 without."),
    ("0000", (0, 0), "targets are missed with the card and without, as before the event. All "
     "targets hold at no number of sessions, with the card or without."),
    ("0101", (9, 8), "every target holds, with the card and without. All targets hold up to 9 "
     "sessions with the card, 8 without."),
]  # fmt: skip


@pytest.mark.parametrize(("holds", "most", "said"), HOLDS)
def test_sentence_tells_which_arm_holds(holds, most, said):
    """What holds on one arm only, and what was missed before already, is told apart."""
    scenario = default()
    before = {"offloaded": state(holds[0] == "1", 9), "software": state(holds[2] == "1", 9)}
    after = {
        "offloaded": state(holds[1] == "1", most[0]),
        "software": state(holds[3] == "1", most[1]),
    }
    answer = FailureAnswer("smt_off", "SMT switched off", "", before, after)
    event = from_text("smt_off", scenario)

    assert words.sentence(answer, event, scenario) == (
        f"If SMT is switched off at {scenario.sessions} sessions, {said}"
    )


@pytest.mark.parametrize(
    ("served_s", "said"),
    [
        ((627.0, 727.0), "the last one works after 10 min 27 s (its own wait: 27 s) with the "
         "card, after 12 min 7 s (its own wait: 2 min 7 s) without."),
        ((604.2, 604.2), "after 10 min 4 s (its own wait: 4.2 s), with the card or without."),
        ((627.0, float("inf")), "with the card; without it not everyone gets in, since those "
         "who are in leave too little of the CPU."),
        ((float("inf"),) * 2, "Not everyone gets in, since those who are in leave too little of "
         "the CPU, with the card or without."),
        ((90_000.0, 9_000.0), "after 25 h (its own wait: 25 h) with the card, after 2.5 h "
         "(its own wait: 2.3 h) without."),
    ],
)  # fmt: skip
def test_rush_says_when_the_last_one_works(served_s, said):
    """A logon rush ends at a time in minutes, or it is said that it does not end."""
    rush = {
        arm: LogonRush(end, end - 600, 50.0, 0.0, 1.0)
        for arm, end in zip(("offloaded", "software"), served_s, strict=True)
    }
    answer = FailureAnswer("logon_rush", "Logon rush", "", {}, {}, rush)

    assert said in words.rush_sentence(answer, default())


def test_host_without_card_shows_one_arm():
    """Without a card there is nothing to compare, so table and sentences speak of one arm."""
    shown = told(changed(accelerator__cards=0), "logon_rush")

    assert [arm["arm"] for arm in shown["table"]["arms"]] == ["software"]
    assert "card" not in shown["sentence"] + shown["rush"]
    assert all(len(row["cells"]) == 2 for row in shown["table"]["rows"])


CANNOT = [
    ({"accelerator__cards": 0}, "card_lost", "this host has no card"),
    ({"host__threads_per_core": 1}, "smt_off", "each core runs one thread already"),
    ({"host__cores": 17}, "socket_down",
     "17 cores are not shared evenly by any number of sockets from 2 to 16"),
    ({"host__cores": 1}, "socket_down", "one core stands in one socket"),
]  # fmt: skip


def test_every_reason_is_put_to_the_test():
    """A reason is told of each event that the poorest host cannot meet."""
    poorest = changed(accelerator__cards=0, host__threads_per_core=1, host__cores=1,
                      host__turbo_ratio=1)  # fmt: skip

    missing = set(FAILURES) - set(possible_failures(poorest))
    assert missing == {key for _, key, _ in CANNOT}
    assert all(words.offers(poorest)[key]["reason"] for key in missing)


@pytest.mark.parametrize(("fields", "key", "reason"), CANNOT)
def test_event_that_the_host_cannot_meet_says_why(client, fields, key, reason):
    """Its button is told the reason with the curves; from a link, the section says it."""
    scenario = changed(**fields)
    offers = curve_answer(scenario, LIGHT)["events"]

    assert offers[key] == {"text": None, "reason": reason}
    others = [other for name, other in offers.items() if name != key]
    assert all(each["reason"] == "" and each["text"] for each in others)
    refused = ask(client, scenario, key).get_json()["refused"]
    assert refused.startswith(f"{FAILURES[key]}: ")
    assert "cannot" in refused


@pytest.mark.parametrize(
    ("fields", "text", "named"),
    [
        ({"accelerator__cards": 0}, "card_lost", "cannot happen to this host, this host has no "),
        ({}, "socket_down~3", "3 sockets do not share 32 cores evenly"),
        ({}, "host_lost~1", f"{words.CIRCUMSTANCE_LABELS['hosts']} is '1'; expected a whole number "
         "from 2 to 10000 hosts."),
        ({}, "logon_rush~soon", "is 'soon'; expected a number from 0.1 to 1440 min"),
        ({}, "everyone_on_a_call~99", "is '99'; expected the number of an activity, 0 to "),
        ({}, "flood", "The event is 'flood'; expected one of card_lost"),
        ({"sessions": 100_000}, "host_lost~2", "200,000 sessions would be on the host afterwards; "
         "expected at most 100000."),
    ],
)  # fmt: skip
def test_what_has_no_answer_is_told_in_words(client, fields, text, named):
    """An event without an answer is answered by the reason, with the range that would do."""
    shown = ask(client, changed(**fields), text)

    assert shown.status_code == 200
    assert list(shown.get_json()) == ["refused"]
    assert named in shown.get_json()["refused"]


@pytest.mark.parametrize(
    ("question", "field"),
    [
        (None, "scenario"),
        ([], "scenario"),
        ({"scenario": "harbour.json", "event": "smt_off"}, "scenario"),
        ({"scenario": '{"version": 1}', "event": "smt_off"}, "name"),
        ({"scenario": dump(default()), "event": None}, "event"),
    ],
)
def test_question_that_is_none_is_refused(client, question, field):
    """What is no scenario or no event is refused by name."""
    told_back = client.post("/answer/failure", json=question).get_json()
    assert told_back["error"]["field"] == field


def test_wrong_event_in_a_link_is_told():
    """A link whose circumstance is out of range opens the example, and says what is wrong."""
    opened, notice = opened_at("?if=host_lost~1&n=90&v=1")

    assert (opened.scenario, opened.event) == (default(), None)
    assert "is '1'; expected a whole number from 2 to 10000 hosts" in notice
    assert opened_at("?if=host_lost~3&n=90&v=1")[0].event == "host_lost~3"


def test_unforeseen_failure_gives_a_number(client, monkeypatch, caplog):
    """An unforeseen failure is told by a number; the stack stays in the log."""
    monkeypatch.setattr("app.failure_answers.failure", lambda *given, **more: 1 / 0)
    reply = ask(client, changed(name="never asked before"), "smt_off")

    assert reply.status_code == 500
    assert "number" in reply.get_json()["failure"]
    assert "ZeroDivisionError" in caplog.text


def test_buttons_know_every_event_and_its_range():
    """The section holds a button for each event; ranges are those of the model."""
    text = json.dumps(bad_day().to_plotly_json(), default=lambda part: part.to_plotly_json())
    for key, title in FAILURES.items():
        assert f'"id": "host-events-{key}"' in text
        assert title in text
    group = event_buttons("some").to_plotly_json()["props"]
    told_script = json.loads(group["data-circumstances"])
    assert {key: each["name"] for key, each in told_script.items()} == CIRCUMSTANCE_OF
    for each in told_script.values():
        quantity = CIRCUMSTANCES.get(each["name"])
        if quantity is not None:
            assert (each["low"], each["high"]) == (quantity.low, quantity.high)
    fewer = event_buttons("some", without=("hosts",)).to_plotly_json()["props"]
    assert "host_lost" not in json.loads(fewer["data-circumstances"])


def test_whole_answer_holds_the_event_of_the_link(client):
    """The numbers for other programs hold the host before and after, to the last digit."""
    scenario = changed(sessions=120)
    document = client.get("/api/assess?if=host_lost~6&n=120&v=1").get_json()
    answer = failure(scenario, "host_lost", hosts=6)

    found = document["event"]
    assert (found["if"], found["event"]) == ("host_lost~6", "host_lost")
    for arm in ARMS:
        for when in ("before", "after"):
            # Derived: the model's own states, field by field.
            expected = json.loads(json.dumps(getattr(answer, when)[arm].__dict__))
            assert found[when][arm] == expected
    assert found["rush"] is None
    assert "event" not in client.get("/api/assess?n=120&v=1").get_json()


def test_whole_answer_says_what_cannot_happen(client):
    """An event that the host cannot meet is refused in words beside the numbers of the host."""
    document = client.get("/api/assess?if=card_lost&cards=0&v=1").get_json()
    assert "has no card" in document["event"]["refused"]
    assert document["gain_sessions"] == 0

    rush = client.get("/api/assess?if=logon_rush&n=400&v=1").get_json()["event"]["rush"]
    assert rush["software"]["served_s"] is None  # never


def test_whole_answer_takes_the_event_beside_a_file(client):
    """Sent along with a scenario too long for a link, the event is read and checked too."""
    body = {"scenario": to_data(changed(sessions=50)), "pin": None, "event": "smt_off"}
    assert client.post("/api/assess", json=body).get_json()["event"]["event"] == "smt_off"
    for wrong, field in (("flood", "if"), (7, "event")):
        reply = client.post("/api/assess", json=body | {"event": wrong})
        assert reply.status_code == 400
        assert reply.get_json()["error"]["field"] == field


def test_process_of_its_own_answers_alike():
    """The text that a process is asked for is the answer itself."""
    assert json.loads(failure_text(dump(default()), "smt_off")) == told(default(), "smt_off")
