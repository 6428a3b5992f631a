"""Does a picture say what the page says, and does a file open the scenario that it holds?"""

import datetime as dt
import json

import pytest

from app import ids, labels, url_state, words
from app.answers import curve_answer, next_answer
from app.pictures import EXAMPLE, query_of_file, sheets
from app.server import make_app
from app.settings import Settings
from app.theme import LIGHT
from model import scenario_url
from model.errors import InputError
from model.scenario import default, dump, from_data, to_data

DAY = dt.date(2026, 11, 5)


@pytest.fixture(scope="module")
def client():
    """A client of a fresh application."""
    return make_app(Settings(workers=0)).server.test_client()


def named(letter: str, length: int):
    """The default scenario with a name of so many letters for everything that has one."""
    data = to_data(default())
    renamed = {
        each["name"]: f"{index}{letter * (length - 1)}"
        for index, each in enumerate(data["activities"])
    }
    for each in data["activities"]:
        each["name"] = renamed[each["name"]]
    for index, role in enumerate(data["roles"]):
        role["name"] = f"{index}{letter * (length - 1)}"
        role["activity_pct"] = {renamed[k]: share for k, share in role["activity_pct"].items()}
    return from_data(data | {"name": letter * length})


def test_picture_has_the_numbers_of_the_page():
    """Each picture's curves, takeaway and answer are those that the page shows."""
    scenario = default().model_copy(update={"sessions": 90})
    pinned = default()
    told = sheets(scenario, pinned, DAY)
    page, rest = (make(scenario, LIGHT, pinned) for make in (curve_answer, next_answer))
    texts = page["texts"] | rest["texts"]
    figures = page["figures"] | rest["figures"]

    assert [chart["name"] for chart in told["charts"]] == list(ids.CHARTS)
    for chart in told["charts"]:
        shown = figures[chart["name"]]["data"]
        assert [(t["x"], t["y"]) for t in chart["figure"]["data"]] == [
            (t["x"], t["y"]) for t in shown
        ]
        assert chart["takeaway"] == texts[f"takeaway-{chart['name']}"]
        assert chart["title"] == labels.TITLES[chart["name"]]
        assert chart["figure"]["layout"]["paper_bgcolor"] == "#ffffff"
        assert any("pinned" in entry["label"] for entry in chart["key"])
    assert told["summary"][0] == texts["answer-sentence"]
    assert texts["pin-note"] in told["summary"][-1]


def test_picture_tells_scenario_date_and_caution():
    """Name, sessions, host, cards, every role and target, the date and the caution are told."""
    told = sheets(default(), None, DAY)
    summary = " ".join(told["summary"])

    assert told["name"] == default().name
    assert told["date"] == "Crestline, 5 November 2026"
    assert told["caution"] == words.CAUTION
    for part in ("110 sessions", "32 cores", "3 GHz", "1,024 GiB", "1 card with 100 display"):
        assert part in summary
    for role in default().roles:
        assert f"{role.name} {role.weight_pct:g} %" in summary
    assert "p95 at most 85 %" in summary
    assert "pinned" not in json.dumps([chart["key"] for chart in told["charts"]])


def test_every_axis_of_a_picture_has_its_unit():
    """An axis on a picture is titled; a number's unit stands in brackets, or it counts or tells."""
    for chart in sheets(default(), None, DAY)["charts"]:
        for name, axis in chart["figure"]["layout"].items():
            if not name.startswith(("xaxis", "yaxis")) or axis.get("type") == "category":
                continue
            title = axis["title"]["text"]
            assert "[" in title or title in ("Sessions on the host", "Time of day")


def test_link_of_a_picture_opens_its_scenario():
    """The link that goes into the file opens the same scenario, and what was pinned beside it."""
    scenario = named("x", 60)
    pin = scenario_url.to_query(default().model_copy(update={"sessions": 60}))
    found = url_state.from_address(sheets(scenario, scenario_url.from_query(pin), DAY)["query"])
    assert (found.scenario, found.pin) == (scenario, pin)
    # The example's own link is empty; a text in a file must not be.
    assert sheets(default(), None, DAY)["query"] == EXAMPLE
    assert url_state.from_address(EXAMPLE).scenario == default()


def test_scenario_too_long_for_a_link_has_a_picture_that_says_so():
    """Where no link can hold the scenario, the picture says that it does not hold it."""
    # Derived: a link has 12 characters for a letter of four bytes; 19 names of 79 such letters
    # make more than 18,000, and a link holds 16,384.
    scenario = named("\N{MUSICAL SYMBOL G CLEF}", 80)
    data = to_data(scenario)
    data["activities"] += [dict(data["activities"][0], name="\N{MUSICAL SYMBOL F CLEF}" * 80)]
    data["roles"] = [
        dict(data["roles"][0], name=f"{i}" + "\N{MUSICAL SYMBOL C CLEF}" * 79, weight_pct=12.5)
        for i in range(8)
    ]
    long = from_data(data)
    assert url_state.to_address(long) is None
    told = sheets(long, None, DAY)
    assert told["query"] is None
    assert told["reopen"] == {"none": words.NO_LINK_IN_PICTURE}
    with pytest.raises(InputError, match="a link can hold"):
        query_of_file({"text": dump(long)})


def test_no_bar_of_a_picture_runs_off_the_sheet():
    """The axis of a desktop's picture reaches beyond its longest bar."""
    data = to_data(default())
    for role in data["roles"]:
        role["vcpus"] = 1  # so that one encoder thread is all of the desktop
    for activity in data["activities"]:
        activity["software_ms_per_frame"] = 400.0
    layout_of = {}
    for name, scenario in (("plain", default()), ("heavy", from_data(data))):
        (chart,) = (
            each for each in sheets(scenario, None, DAY)["charts"] if each["name"] == "desktop"
        )
        figure = chart["figure"]
        longest = max(x for trace in figure["data"] for x in trace["x"])
        layout_of[name] = figure["layout"]["xaxis"]["range"]
        assert layout_of[name][1] >= longest
    assert layout_of["plain"] == [0, 60]
    assert layout_of["heavy"][1] > 60


def test_page_is_given_its_pictures(client):
    """What the page's script asks for is answered with a sheet for each chart."""
    scenario = default().model_copy(update={"sessions": 70})
    reply = client.post("/pictures", json={"scenario": dump(scenario), "pin": None})
    assert reply.status_code == 200
    assert reply.get_json()["query"] == "n=70&v=1"


@pytest.mark.parametrize(
    ("question", "named"),
    [(None, "The scenario"), ([], "The scenario"), ({"scenario": "/etc/hostname"}, "The scenario"),
     ({"scenario": '{"version": 1}'}, "Name"),
     ({"scenario": dump(default()), "pin": 3}, "The pinned scenario"),
     ({"scenario": dump(default()), "pin": "n=0&v=1"}, "Sessions")],
)  # fmt: skip
def test_what_is_no_question_for_pictures_is_refused(client, question, named):
    """What was sent in place of a scenario or a pin is refused by name; no file is read for it."""
    told = client.post("/pictures", json=question).get_json()
    assert told["error"].startswith(f"{named} is ")


def test_scenario_file_opens(client):
    """A scenario file, and a file of all numbers that holds one, give the link of the scenario."""
    scenario = default().model_copy(update={"sessions": 70})
    for text in (dump(scenario), "\n " + json.dumps({"scenario": to_data(scenario), "link": ""})):
        assert client.post("/open-file", json={"text": text}).get_json() == {"query": "n=70&v=1"}
    example = client.post("/open-file", json={"text": dump(default())}).get_json()
    assert example == {"query": EXAMPLE}


@pytest.mark.parametrize(
    ("text", "named"),
    [(dump(default()).replace('"cores": 32', '"cores": 0'), "CPU cores"), ("{", "The scenario"),
     ("/etc/hostname", "The scenario"), (None, "The scenario"), ('{"scenario": {}}', "Name"),
     ("[1]", "The scenario")],
)  # fmt: skip
def test_file_that_is_no_scenario_is_refused_by_field(client, text, named):
    """A file that cannot be opened gets one sentence that names the field."""
    reply = client.post("/open-file", json={"text": text})
    assert reply.status_code == 200
    assert reply.get_json()["error"].startswith(f"{named} is ")


def test_failure_of_a_picture_gives_a_number_and_no_stack(client, monkeypatch, caplog):
    """A failure while pictures are made is told by a number; the stack stays in the log."""
    monkeypatch.setattr("app.pictures.curve_answer", lambda *given: 1 / 0)
    reply = client.post("/pictures", json={"scenario": dump(default())})
    assert reply.status_code == 500
    assert "number" in reply.get_json()["error"]
    assert "ZeroDivisionError" in caplog.text
