"""Does the Fleet page answer at its addresses, and refuse in words?"""

import base64
import json
from urllib.parse import quote

import pytest

from app.pages.fleet import page_layout
from app.server import PAGES, make_app
from app.settings import Settings
from app.words import CAUTION
from model.fleet import plain, plan_fleet
from model.fleet_inputs import example, from_data, to_data
from model.fleet_url import to_text
from model.scenario import canonical, default
from model.scenario import to_data as scenario_data

SCENARIO = canonical(default())


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    """A client of an application that works everything out itself."""
    settings = Settings(workers=0, data_folder=tmp_path_factory.mktemp("data"))
    return make_app(settings).server.test_client()


def asked(client, address, **body):
    """What the page is told at one of its addresses."""
    reply = client.post(f"/fleet/{address}", json={"scenario": SCENARIO} | body)
    assert reply.status_code == 200
    assert reply.headers["Cache-Control"] == "no-store"
    return reply.get_json()


def test_page_stands_in_the_menu():
    """The page has an address of its own and holds all that its scripts draw from."""
    assert PAGES["fleet"] == ("/fleet", "Fleet")
    about = json.loads(getattr(page_layout()[-1], "data-fields"))
    assert {field["path"] for field in about["choice"]} >= {"host_price", "host.cores"}
    new = about["new_choice"]
    assert from_data(to_data(example()) | {"choices": [new]}).choices[0].host_price == 10_000


def test_link_is_read_and_written(client):
    """The text of a link gives the fleet, and a fleet its text; without one it is the example."""
    told = asked(client, "read", link=None)
    assert told["fleet"] == to_data(example())
    assert (told["link"], told["example"]) == ("", True)
    told = asked(client, "read", link="growth~3*v~1")
    assert told["fleet"]["growth_pct_per_year"] == 3
    assert asked(client, "read", fleet=told["fleet"])["link"] == "growth~3*v~1"
    assert asked(client, "read", link="zork")["error"]["field"] == "fleet"


def test_lanes_answer_with_their_number(client):
    """Plan, map and event come as text with the number of the question; a repeat is the same."""
    fleet = to_data(example())
    for lane in ("plan", "map", "event"):
        body = {"sequence": 7, "fleet": fleet, "event": "host_lost", "theme": "dark"}
        told = asked(client, lane, **body)
        assert (told["sequence"], told["lane"]) == (7, lane)
        json.loads(told["text"])
        assert asked(client, lane, **body)["text"] == told["text"]


def test_wrong_questions_are_refused_by_field(client):
    """What cannot be used is named by its field; nothing is read from a file for it."""
    fleet = to_data(example())
    lost = json.loads(json.dumps(fleet))
    lost["sites"][0]["sessions"]["night watch"] = 4
    wrong = [
        ({"fleet": fleet | {"growth_pct_per_year": "x"}}, "growth_pct_per_year"),
        ({"fleet": [1]}, "fleet"), ({"fleet": lost}, "sites[0].sessions.night watch"),
        ({"scenario": "pyproject.toml"}, "scenario"), ({"scenario": 3}, "scenario"),
        ({"fleet": fleet, "event": 3}, "event"), ({"link": 3}, "link"),
    ]  # fmt: skip
    for body, field in wrong:
        assert asked(client, "plan", **body)["error"]["field"] == field, body
    flood = asked(client, "event", fleet=fleet, event="flood")["error"]
    assert "'flood'" in flood["message"]
    assert client.post("/fleet/plan", data=b"\xff{").get_json()["error"]["field"] == "scenario"


def test_table_is_read_and_a_wrong_cell_told(client):
    """Pasted text and a file give sites and notes; a wrong cell is named by row and column."""
    told = asked(client, "table", text="site;chart drafter\nQuay;3\nMole;\n")
    assert told["sites"][0] == {"name": "Quay", "sessions": {"chart drafter": 3}}
    assert any("empty cell" in note for note in told["notes"])
    told = asked(client, "table", text="site;chart drafter\nQuay;three\n")
    assert told["error"]["message"].startswith(
        "The pasted table, row 2, column \"chart drafter\" is 'three'"
    )
    content = base64.b64encode("site,clerk\nQuay,3\n".encode("utf-16")).decode()
    told = asked(client, "table", name="mine.csv", base64=content)
    assert "mine.csv" in told["error"]["message"]
    assert "clerk" in told["error"]["message"]
    assert asked(client, "table", name="x.csv", base64="?")["error"]["field"] == "file"
    assert "error" in asked(client, "table")


def test_whole_answer_is_at_an_address_of_its_own(client):
    """The query of a link gives the model's document with its link and the caution."""
    data = to_data(example()) | {"growth_pct_per_year": 0}
    fleet = to_text(from_data(data), default())
    query = f"if=host_lost&fleet={quote(fleet, safe='')}&n=90&v=1"
    reply = client.get(f"/api/fleet?{query}")
    assert reply.status_code == 200
    told = reply.get_json()
    assert told["caution"] == CAUTION
    assert told["link"].startswith("/fleet?if=host_lost&fleet=growth~0*v~1&")
    assert told["scenario"]["sessions"] == 90
    assert told["fleet"]["growth_pct_per_year"] == 0
    assert told["event"]["event"] == "host_lost"
    found = plan_fleet(from_data(data), default())
    first = told["plan"]["choices"][0]
    expected = plain(found)["choices"][0]["arms"]["offloaded"]["total"]
    assert first["arms"]["offloaded"]["total"] == expected
    assert first["break_even_map"]["role"] == "chart drafter"


def test_tables_are_at_addresses_of_their_own(client):
    """Each table is CSV by the query of a link, or by what the page sends."""
    for name in ("fleet-hosts", "fleet-cost", "fleet-sites"):
        reply = client.get(f"/numbers/{name}.csv?v=1")
        assert reply.status_code == 200
        assert reply.content_type == "text/csv; charset=utf-8"
        assert f'filename="crestline-estimate-{name}.csv"' in reply.headers["Content-Disposition"]
        sent = {"scenario": SCENARIO, "fleet": to_data(example())}
        assert client.post(f"/numbers/{name}.csv", json=sent).data == reply.data
    assert client.get("/numbers/headroom.csv?v=1").status_code == 200


def test_wrong_address_is_refused_with_its_status(client):
    """A link that cannot be read answers 400 with field, value, range and a message."""
    told = client.get("/api/fleet?fleet=zork&v=1")
    assert told.status_code == 400
    assert told.get_json()["error"]["field"] == "fleet"
    assert client.get("/api/fleet?cores=0&v=1").get_json()["error"]["value"] == "0"
    assert client.get("/numbers/fleet-cost.csv?%FF").status_code == 400
    assert client.post("/api/fleet", data=b"[").status_code == 400


def test_unforeseen_failure_is_told_by_a_number(client, monkeypatch, caplog):
    """A fault in the code is told without its stack, which stays in the log."""
    monkeypatch.setattr("app.fleet_web.asked_of", lambda *given: 1 / 0)
    reply = client.post("/fleet/plan", json={"scenario": SCENARIO})
    assert reply.status_code == 500
    assert "Something went wrong" in reply.get_json()["failure"]
    reply = client.get("/api/fleet?v=1")
    assert reply.status_code == 500
    assert "Something went wrong" in reply.get_json()["error"]["message"]
    assert "ZeroDivisionError" in caplog.text


def test_pictures_can_be_understood_away_from_the_page(client):
    """Each picture has title, takeaway, key, the fleet in a few lines, caution, date and link."""
    told = asked(client, "pictures", link="growth~3*v~1")
    assert told["path"] == "/fleet"
    assert told["query"] == "fleet=growth~3*v~1&v=1"
    assert told["caution"] == CAUTION
    assert any("growing by 3 % a year" in line for line in told["summary"])
    names = [chart["name"] for chart in told["charts"]]
    assert names == ["fleet-hosts", "fleet-cost", "fleet-map"]
    for chart in told["charts"]:
        assert all(chart[part] for part in ("title", "takeaway", "key"))
        assert "hovermode" in chart["figure"]["layout"]
        assert "hover" not in json.dumps(chart["figure"]["data"])
    assert scenario_data(default())["name"] in told["name"]
