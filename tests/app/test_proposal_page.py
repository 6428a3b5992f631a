"""Does the proposal hold the numbers of the other pages, name what it lacks, and keep secrets?"""

import datetime as dt
import json

import numpy as np
import pytest

from app import sure_result as sure_file
from app import words, words_proposal
from app.answers import curve_answer, next_answer
from app.evidence_effects import work_out_effects
from app.evidence_records import Spells
from app.evidence_report import report_of
from app.evidence_store import COOKIE, EvidenceStore
from app.failure_answers import told as told_of_event
from app.fleet_answers import asked_of, plan_answer
from app.proposal_answers import compose
from app.server import make_app
from app.settings import Settings
from app.sure_answers import shown
from app.sure_question import question_of
from app.sure_work import sure_result
from app.theme import LIGHT
from app.words_limits import LIMITS_OF_VALIDITY
from model import fleet_inputs
from model.evidence.record import ReadingReport, Readings
from model.fleet_url import from_text, to_text
from model.hosts import ARMS
from model.scenario import default, dump, from_data, to_data
from model.scenario_url import from_query
from model.uncertainty import FEWEST_DRAWS

PIN = "n=90&cores=24&v=1"


@pytest.fixture
def data_folder(tmp_path):
    """Where the server keeps what visitors leave."""
    return tmp_path / "data"


@pytest.fixture
def client(data_folder):
    """A client of a fresh application."""
    return make_app(Settings(workers=0, data_folder=data_folder)).server.test_client()


def asked(*include, scenario=None, **more):
    """Return a question as the page sends it."""
    return {"scenario": dump(scenario or default()), "include": list(include)} | more


def part(client, key, **more):
    """Return one part of the proposal."""
    told = client.post("/proposal/compose", json=asked(key, **more)).get_json()
    (section,) = told["sections"]
    assert section["key"] == key
    return section


def plain(figure):
    """Return the numbers that a chart shows, by the name of the line."""
    return [(trace.get("name"), trace.get("x"), trace.get("y")) for trace in figure["data"]]


def cells(section, at=0):
    """Return the rows of a table by their first cell."""
    return {row[0]: row[1:] for row in section["tables"][at]["rows"]}


def save(client, name, scenario):
    """Save a scenario on the shelf and return its id."""
    body = {"scenario": dump(scenario), "name": name}
    return client.post("/shelf-data/items", json=body).get_json()["item"]["id"]


def test_host_shows_what_the_host_page_shows(client):
    """Sentences, values and the lines of all four charts are those of the Host page."""
    scenario = default().model_copy(update={"sessions": 120})
    section = part(client, "host", scenario=scenario)
    curves, rest = curve_answer(scenario, LIGHT), next_answer(scenario, LIGHT)
    texts = curves["texts"] | rest["texts"]
    assert section["lead"] == texts["answer-sentence"]
    assert section["sentences"][1:3] == [texts["limit-offloaded"], texts["limit-software"]]
    assert section["lists"][0]["items"] == rest["lines"]
    row = cells(section)["Headroom at busy moments [% of CPU]"]
    assert row == [texts[f"now-{arm}-headroom_pct"] for arm in ARMS]
    figures = curves["figures"] | rest["figures"]
    assert [each["name"] for each in section["figures"]] == [
        "headroom", "contention", "day", "desktop",
    ]  # fmt: skip
    for each in section["figures"]:
        own = json.loads(json.dumps(figures[each["name"]]))
        assert plain(each["figure"]) == plain(own)
        assert each["takeaway"] == texts[f"takeaway-{each['name']}"]
        assert each["link"] == "/?n=120&v=1"
        assert each["sheet"]["caution"] == words.CAUTION


def test_host_without_a_card_has_one_column(client):
    """Where there is no card, nothing is said of one."""
    data = to_data(default())
    data["accelerator"]["cards"] = 0
    section = part(client, "host", scenario=from_data(data))
    assert section["tables"][0]["head"][1:] == ["without card"]


def test_pin_is_compared_as_on_the_host_page(client):
    """What differs from the pin, and what it does, are the words and values of the pages."""
    scenario, pinned = default(), from_query(PIN)
    section = part(client, "pin", pin=PIN)
    texts = curve_answer(scenario, LIGHT, pinned)["texts"]
    crest = next_answer(scenario, LIGHT, pinned)["texts"]["pin-crest"]
    assert f"Against the pin: {section['lead']}" == f"{texts['pin-change']}; {crest}."
    assert section["sentences"][1] == texts["pin-note"]
    found = curve_answer(pinned, LIGHT)["texts"]["answer-sentence"]
    assert cells(section)["Rated load, with card [sessions]"][1] in found
    assert cells(section)["CPU cores"] == ["32", "24"]
    assert section["link"] == f"/?{PIN}"
    with_lines = part(client, "host", pin=PIN)["figures"][0]
    assert with_lines["link"] == "/?pin=n%3D90%26cores%3D24%26v%3D1&v=1"


def test_event_is_told_as_on_the_host_page(client):
    """The event's sentence and its table are those of the Host page; a refusal is told too."""
    section = part(client, "event", event="host_lost~6")
    found = told_of_event(default(), "host_lost~6")
    assert section["lead"] == found["sentence"]
    rows = [row["cells"] for row in found["table"]["rows"]]
    assert [row[1:] for row in section["tables"][0]["rows"]] == rows
    assert section["link"] == "/?if=host_lost~6&v=1"
    refused = part(client, "event", event="socket_down~5")
    assert "5 sockets do not share 32 cores evenly" in refused["lead"]


def test_fleet_holds_the_plan_of_the_fleet_page(client):
    """Answer, tables and charts are those of the Fleet page, the example said to be one."""
    grown = fleet_inputs.from_data(
        fleet_inputs.to_data(fleet_inputs.example()) | {"growth_pct_per_year": 3.0}
    )
    for text in (None, to_text(grown, default())):
        inputs = from_text(text or "", default())
        section = part(client, "fleet", fleet=text)
        plan = plan_answer(asked_of(default(), inputs, None, None, None), LIGHT)
        assert section["lead"] == plan["sentence"]
        own = {row["label"]: row["cells"] for row in plan["overall"]["rows"]}
        assert cells(section)["Hosts"] == own["Hosts"]
        assert section["tables"][2]["rows"][0][0] == plan["sites"]["rows"][0][0]
        figures = {each["name"]: each for each in section["figures"]}
        for name, figure in plan["figures"].items():
            assert plain(figures[name]["figure"]) == plain(json.loads(json.dumps(figure)))
        assert (words_proposal.EXAMPLE_FLEET in section["sentences"]) is (text is None)
        assert section["link"].startswith("/fleet")


def test_draws_are_those_of_the_host_page(client, data_folder):
    """Ranges and ranking are those of the result that is kept, and no other scenario gets it."""
    question, _ = question_of({"scenario": dump(default()), "draws": FEWEST_DRAWS})
    result = sure_result(question)
    folder = data_folder / "sure" / question.key
    folder.mkdir(parents=True)
    (folder / sure_file.FILE).write_text(sure_file.to_text(result), encoding="utf-8")
    section = part(client, "sure", sure=question.key)
    found = shown(result, LIGHT, None)
    assert section["lead"] == found["sentences"][0]
    assert section["tables"][0]["rows"] == found["table"]["rows"]
    assert plain(section["figures"][0]["figure"]) == plain(json.loads(json.dumps(found["ranking"])))
    named = [trace["name"] for trace in part(client, "host", sure=question.key)["figures"][0][
        "figure"]["data"] if f"{FEWEST_DRAWS} in all" in trace.get("name", "")]  # fmt: skip
    assert len(named) == 2
    other = default().model_copy(update={"sessions": 91})
    refused = part(client, "sure", sure=question.key, scenario=other)
    assert refused["failed"] == words_proposal.NOT_THERE["sure"]
    assert "no longer kept" in part(client, "sure", sure="0" * 64)["failed"]


def test_saved_scenarios_keep_their_own_links(client):
    """The table is that of the Shelf page, and each chart opens the scenario that it shows."""
    small = default().model_copy(update={"sessions": 60})
    ids = [save(client, "Berth", small), save(client, "Quay", default())]
    section = part(client, "shelf", items=ids)
    own = client.post("/shelf-data/compare", json={"ids": ids, "theme": "light"}).get_json()
    rows = [row for row in section["tables"][0]["rows"] if len(row) > 1]
    assert [row[1:] for row in rows] == [row["cells"] for row in own["rows"]]
    figures = {each["name"]: each for each in section["figures"]}
    assert {name: each["link"] for name, each in figures.items()} == {
        "saved-with-card": "/?pin=&n=60&v=1", "saved-without-card": "/?pin=&n=60&v=1",
        "saved-a": "/?n=60&v=1", "saved-b": "/?v=1",
    }  # fmt: skip
    for arm, name in zip(own["arms"], ("saved-with-card", "saved-without-card"), strict=True):
        assert plain(figures[name]["figure"]) == plain(arm["figure"])
    curves = curve_answer(small, LIGHT)
    headroom = json.loads(json.dumps(curves["figures"]["headroom"]))
    assert plain(figures["saved-a"]["figure"]) == plain(headroom)
    assert section["sentences"][0] == f"A Berth: {curves['texts']['answer-sentence']}"


def test_what_is_gone_from_the_shelf_is_named(client):
    """A saved scenario that was deleted meanwhile leaves a part that says so, not a gap."""
    gone = save(client, "Berth", default())
    client.post(f"/shelf-data/items/{gone}/delete", json={"version": 1})
    section = part(client, "shelf", items=[gone])
    assert section["title"] == "Saved scenarios"
    assert section["failed"].startswith("This part could not be worked out.")
    assert "sentences" not in section


def keep_trial(data_folder):
    """Keep a made-up trial with confirmed switches and return its visitor's key and session."""
    store = EvidenceStore(data_folder / "evidence")
    key, session = store.open_session()
    blocks = (0, 1, 1, 0, 1, 0, 0, 1, 1, 0, 0, 1, 0, 1, 1, 0)
    state = np.repeat(np.array(blocks), 60)
    rng = np.random.default_rng(4)
    encode = np.where(state == 1, 0.1, 0.6) + rng.normal(0, 0.03, len(state))
    with (data_folder / "log.csv").open("w+b") as file:
        file.write(b"made up")
        file.seek(0)
        log = session.add("my_secret_desk.csv", file)
    readings = Readings(
        log.name, np.arange(float(len(state))), 1.0, None, {"encode_cores": encode}, None,
        tuple(["video call"] * len(state)), ReadingReport("CSV", len(state), len(state)),
    )  # fmt: skip
    session.keep_readings(log.id, readings)
    rows = tuple(int(at) for at in np.flatnonzero(np.diff(state, prepend=-1)))
    spells = Spells(rows, tuple(int(state[at]) for at in rows), confirmed=True)
    session.keep_spells(log.id, spells)
    return key, session


def test_evidence_is_the_report_of_this_visitor_only(client, data_folder):
    """Effects and tables are those of the trial report; nobody else gets a word of them."""
    key, session = keep_trial(data_folder)
    client.set_cookie(COOKIE, key)
    assert client.post("/proposal/offers", json={}).get_json()["evidence"]["able"] is False
    work_out_effects(session, lambda share, what: None)
    offered = client.post("/proposal/offers", json={}).get_json()["evidence"]
    assert offered["able"]
    section = part(client, "evidence")
    found = report_of(session.result("effects"), session.result("peaks"), dt.date.today())
    assert section["lead"] == found["answer"][0]
    tables = {each["title"]: each["table"]["rows"] for each in found["sections"] if "table" in each}
    assert {each["title"]: each["rows"] for each in section["tables"]} == tables
    (forest,) = section["figures"]
    assert "my_secret_desk.csv" in json.dumps(forest)
    assert forest["link"] == "/?v=1"
    assert "no link holds them" in forest["sheet"]["reopen"]["link"]

    client.delete_cookie(COOKIE)
    for _ in range(2):
        refused = client.post("/proposal/compose", json=asked("host", "evidence"))
        assert "my_secret_desk" not in refused.get_data(as_text=True)
        last = refused.get_json()["sections"][1]
        assert last["failed"] == words_proposal.NOT_THERE["evidence"]
    assert client.post("/proposal/offers", json={}).get_json()["evidence"]["able"] is False


def test_sheet_ends_with_method_limits_caution_and_the_whole_link(client):
    """Five lines of method, every limit of the Method page, the full caution and all that is put
    beside the scenario close the sheet."""
    section = part(client, "close", pin=PIN, event="card_lost")
    method, limits, caution = section["lists"]
    assert len(method["items"]) == 5
    assert " ".join(method["items"]) == words.METHOD
    told = " ".join(limits["items"]).lower()
    assert all(each.what.lower() in told for each in LIMITS_OF_VALIDITY)
    assert caution["items"] == [words.CAUTION]
    assert section["link"] == "/?pin=n%3D90%26cores%3D24%26v%3D1&if=card_lost&v=1"


def test_wrong_questions_are_named(client):
    """What is no scenario, pin, part or pick is told in the answer, never as a failure."""
    for wrong, field in (
        ({"scenario": "/etc/passwd"}, "scenario"), ({"pin": "n=x&v=1"}, "n"), ({"pin": 3}, "pin"),
        ({"include": ["none"]}, "include"), ({"include": "host"}, "include"),
        ({"items": ["a"] * 5}, "items"), ({"items": ["a", "a"]}, "items"),
    ):  # fmt: skip
        told = client.post("/proposal/compose", json=asked("host") | wrong)
        assert told.status_code == 200
        assert field in told.get_json()["error"]["field"], wrong
    fleet = part(client, "fleet", fleet="no fleet")
    assert fleet["failed"].startswith("This part could not be worked out.")
    assert client.post("/proposal/compose", data="scenario=1").status_code == 415


def test_part_that_breaks_is_named_by_a_number_and_the_others_stay(monkeypatch, client):
    """One part's failure is told in its place, without its stack, and costs no other part."""

    def break_down(*given):
        raise RuntimeError("/secret/path")

    monkeypatch.setattr("app.proposal_sections.event_text", break_down)
    question = asked("event", "inputs", event="card_lost")
    event, inputs = client.post("/proposal/compose", json=question).get_json()["sections"]
    assert "number" in event["failed"]
    assert "secret" not in event["failed"]
    assert inputs["groups"]


def test_link_too_long_for_an_address_is_told(client):
    """Charts of a scenario that no link can hold have none, and their pictures say so."""
    data = to_data(default())
    long = "\N{GREEK SMALL LETTER OMEGA}" * 78
    data["roles"] = [
        data["roles"][0] | {"name": f"{long}{at:02}", "weight_pct": 2.5} for at in range(40)
    ]
    section = part(client, "host", scenario=from_data(data))
    assert section["figures"][0]["link"] is None
    assert section["figures"][0]["sheet"]["reopen"] == {"none": words.NO_LINK_IN_PICTURE}


def test_composing_needs_no_request(client):
    """Without anything to include there is nothing but date and caution."""
    told = compose(asked(), None, None)
    assert told["sections"] == []
    assert told["caution"] == words.CAUTION
