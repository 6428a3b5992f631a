"""Are the numbers that leave the page those of the model, and is a wrong question refused?"""

import csv
import io
import json
import math
import re
import threading
import urllib.request
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

import pytest
from werkzeug.serving import make_server

from app import downloads, ids, url_state
from app.answers import next_answer
from app.figures.day import MINUTES_A_POINT
from app.numbers import full_day
from app.server import make_app
from app.settings import Settings
from app.theme import LIGHT
from app.words import CAUTION
from model import scenario_url
from model.assess import assess, one_desktop, what_if
from model.day import crest_reduction_pct
from model.evidence.calibration import measured_bounds
from model.hosts import ARMS
from model.scenario import default, dump, from_data, to_data
from tests.scenarios import changed

README = Path(__file__).resolve().parents[2] / "README.md"
LABEL = {"software": "without card", "offloaded": "with card"}
PINNED = "pin=n%3D90%26cores%3D24%26v%3D1"
UNIT = re.compile(r" \[[^\]]+\]$")


@pytest.fixture(scope="module")
def application():
    """A fresh application."""
    return make_app(Settings(workers=0))


@pytest.fixture(scope="module")
def client(application):
    """A client of it."""
    return application.server.test_client()


def too_long_for_a_link():
    """A scenario whose names, and whose presence curve of many points, no link holds."""
    ship = quote("\U0001f6a2" * 78)
    counts = {"a": len(default().activities), "r": len(default().roles)}
    names = [f"{kind}{at}.name={ship}{at}" for kind, count in counts.items() for at in range(count)]
    data = to_data(scenario_url.from_query("&".join([f"name={ship}", *names, "v=1"])))
    minutes = range(7 * 60, 7 * 60 + 200)
    data["day"]["present_pct"] = [[f"{at // 60:02}:{at % 60:02}", 100 / 3] for at in minutes]
    scenario = from_data(data)
    assert url_state.to_address(scenario) is None
    return scenario


def table(reply):
    """Return the header of a table and its rows, each by the name of the column."""
    assert reply.status_code == 200, reply.text
    header, *rows = csv.reader(io.StringIO(reply.text, newline=""), strict=True)
    assert len(set(header)) == len(header)
    return header, [dict(zip(header, row, strict=True)) for row in rows]


def column(rows, name):
    """Return a column of numbers."""
    return [float(row[name]) for row in rows]


@pytest.mark.parametrize(
    ("chart", "names"),
    [
        (
            "headroom",
            {
                "headroom": ("headroom_pct", "% of CPU"),
                "CPU demand p95": ("cpu_p95_pct", "% of CPU"),
            },
        ),
        (
            "contention",
            {
                "delivered frames busy": ("frames_busy_pct", "% of wanted"),
                "scheduler wait busy": ("wait_busy_pct", "% of vCPU time"),
                "response slow-down mean": ("stretch_mean", "times"),
            },
        ),
    ],
)
def test_curves_are_those_of_the_model(client, chart, names):
    """Every number of sessions has its row, and each value is the model's to the last digit."""
    found = assess(changed(sessions=90))
    _, rows = table(client.get(f"/numbers/{chart}.csv?n=90&v=1"))
    sessions = column(rows, "sessions on the host [sessions]")
    # Derived: the model's own curve, every number of it.
    assert sessions == found.curves["software"].sessions.tolist()
    assert sessions == list(range(1, len(rows) + 1))
    for told, (field, unit) in names.items():
        for arm in ARMS:
            expected = getattr(found.curves[arm], field).tolist()
            assert column(rows, f"{told} {LABEL[arm]} [{unit}]") == expected


def test_day_is_the_one_on_the_page(client):
    """Every minute has its row, and the largest of every few minutes are those of the chart."""
    scenario = changed(sessions=90, day__start="07:30")
    reply = client.get("/numbers/day.csv?n=90&start=0730&v=1")
    header, rows = table(reply)
    times = [row["time of day [h:min]"] for row in rows]
    # Derived: from half past seven to seven in the evening are 690 minutes.
    assert (times[0], times[-1], len(times)) == ("07:30", "18:59", 690)
    drawn = next_answer(scenario, LIGHT)["figures"]["day"]["data"]
    for arm in ARMS:
        p95 = column(rows, f"CPU demand p95 {LABEL[arm]} [% of CPU]")
        coarse = [max(p95[at : at + MINUTES_A_POINT]) for at in range(0, len(p95), MINUTES_A_POINT)]
        on_page = next(trace["y"] for trace in drawn if trace.get("name") == LABEL[arm])
        assert coarse == pytest.approx(on_page, abs=0.051)
    assert "sessions present mean [sessions]" in header


def test_desktop_has_every_role_and_activity(client):
    """The table of one desktop has each role and activity, as the model gives them."""
    scenario = default()
    _, rows = table(client.get("/numbers/desktop.csv"))
    expected = [
        (role.name, alone.activity, alone.app_pct, alone.encode_pct["software"])
        for role in scenario.roles
        for alone in one_desktop(scenario, role)
    ]
    unit = "[% of the desktop's vCPUs]"
    assert [
        (
            row["role"],
            row["activity"],
            float(row[f"application work {unit}"]),
            float(row[f"encoding without card {unit}"]),
        )
        for row in rows
    ] == expected
    shares = column(rows, "share of the role's time [%]")
    # Derived: the shares of each role's time add up to 100 %.
    assert sum(shares) == pytest.approx(100 * len(scenario.roles))


@pytest.mark.parametrize("chart", ids.CHARTS)
def test_table_says_its_units_and_the_caution(client, chart):
    """Each column of numbers has its unit; what the table is of, and the caution, stand once."""
    reply = client.get(f"/numbers/{chart}.csv?{PINNED}&name=A&n=90&v=1")
    header, rows = table(reply)
    about = {"scenario": "A", "link": "/?name=A&n=90&v=1", "note": CAUTION}
    about["pinned link"] = "/?n=90&cores=24&v=1"
    assert {name: rows[0][name] for name in about} == about
    assert not any(row[name] for row in rows[1:] for name in about)
    for name in set(header) - set(about) - {"role", "activity", "time of day [h:min]"}:
        assert UNIT.search(name), name
        assert all(math.isfinite(float(row[name])) for row in rows if row[name]), name
    assert reply.headers["Content-Type"] == "text/csv; charset=utf-8"
    name = f'attachment; filename="crestline-estimate-{chart}-a.csv"'
    assert reply.headers["Content-Disposition"] == name
    assert reply.headers["Cache-Control"] == "no-store"
    assert all(line.endswith("\r") for line in reply.text.split("\n")[:-1])


@pytest.mark.parametrize(
    ("own", "pinned"),
    [("n=150&v=1", "n=90&mem=256&v=1"), ("n=90&mem=256&v=1", "n=150&v=1")],
)
def test_pinned_numbers_stand_beside(client, own, pinned):
    """What is pinned comes as further columns, in the same order of sessions, longer or shorter."""
    quoted = pinned.replace("=", "%3D").replace("&", "%26")
    _, rows = table(client.get(f"/numbers/headroom.csv?pin={quoted}&{own}"))
    _, alone = table(client.get(f"/numbers/headroom.csv?{own}"))
    _, other = table(client.get(f"/numbers/headroom.csv?{pinned}"))
    name = "headroom with card [% of CPU]"
    shown = [row[name] for row in rows]
    assert [cell for cell in shown if cell] == [row[name] for row in alone]
    beside = [row[f"pinned {name}"] for row in rows]
    assert [cell for cell in beside if cell] == [row[name] for row in other]
    assert len(alone) != len(other)
    # Derived: a number of sessions has one row, the longer curve has them all.
    sessions = column(rows, "sessions on the host [sessions]")
    assert sessions == list(range(1, max(len(alone), len(other)) + 1))


def test_pinned_day_that_begins_earlier_keeps_the_order(client):
    """A pinned day that begins an hour earlier puts its minutes first, by the clock."""
    _, rows = table(client.get("/numbers/day.csv?pin=n%3D20%26v%3D1&start=0800&n=20&v=1"))
    times = [row["time of day [h:min]"] for row in rows]
    assert times == sorted(times)
    name = "sessions present mean [sessions]"
    # Derived: the shipped day begins at seven, so an hour has the pinned numbers alone.
    assert times[0] == "07:00"
    assert [row[name] for row in rows[:60]] == [""] * 60
    assert all(row[f"pinned {name}"] for row in rows[:60])
    assert rows[60][name]


def test_range_of_measured_costs_stands_beside_the_headroom(client):
    """With measured costs the table of headroom has the band of the chart, and only then."""
    data = to_data(default())
    data["measured"] = [
        {
            "path": "activities[full-screen video].software_ms_per_frame", "value": 38.0,
            "low": 30.0, "high": 50.0, "source": "trial.csv",
        }
    ]  # fmt: skip
    scenario = from_data(data)
    _, rows = table(client.post("/numbers/headroom.csv", data=dump(scenario)))
    cheap, dear = (assess(each) for each in measured_bounds(scenario))
    for arm in ARMS:
        low, high = (f"headroom {LABEL[arm]} measured costs {end} [% of CPU]"
                     for end in ("low", "high"))  # fmt: skip
        ends = [each.curves[arm].headroom_pct.tolist() for each in (dear, cheap)]
        shown = rows[: min(map(len, ends))]
        # Derived: the lower and the higher of the answers at both ends of the costs.
        pairs = [sorted(pair) for pair in zip(*ends, strict=False)][: len(shown)]
        assert list(zip(column(shown, low), column(shown, high), strict=True)) == [
            (least, most) for least, most in pairs
        ]
        assert not any(row[name] for row in rows[len(shown) :] for name in (low, high))
        if arm == "software":  # dearer frames leave less
            own = column(shown, f"headroom {LABEL[arm]} [% of CPU]")
            assert [pair[0] for pair in pairs] == ends[0][: len(shown)]
            assert all(a <= b <= c for (a, c), b in zip(pairs, own, strict=True))
    asked = scenario_url.to_query(scenario)
    pinned, _ = table(client.get(f"/numbers/headroom.csv?pin={quote(asked)}&v=1"))
    assert f"pinned {low}" in pinned
    assert low not in pinned
    plain, _ = table(client.post("/numbers/contention.csv", data=dump(scenario)))
    assert not any("measured" in name for name in plain)


def test_formula_in_a_name_is_made_text(client):
    """An activity and a scenario named like formulas are text in every cell that holds them."""
    data = json.loads(dump(default()).replace("full-screen video", "=1+1"))
    data["name"] = '=HYPERLINK("x","y")'
    data["roles"][0]["name"] = "@role"
    reply = client.post("/numbers/desktop.csv", data=json.dumps(data))
    _, rows = table(reply)
    assert rows[0]["scenario"] == '\'=HYPERLINK("x","y")'
    assert {row["activity"] for row in rows} >= {"'=1+1", "idle"}
    assert {row["role"] for row in rows} >= {"'@role"}
    cells = [cell for row in rows for cell in row.values()]
    assert not [cell for cell in cells if cell.startswith(("=", "@", "+"))]
    assert re.search(r'filename="[a-z0-9.-]+"$', reply.headers["Content-Disposition"])


def test_document_is_the_whole_assessment(client):
    """The JSON holds what the model answers: rated loads, curves, day and changes."""
    scenario = changed(sessions=90, host__cores=24)
    reply = client.get("/api/assess?n=90&cores=24&v=1")
    document = json.loads(reply.text)
    found, days = assess(scenario), full_day(scenario)
    assert document["version"] == 1
    assert document["caution"] == CAUTION
    assert document["link"] == "/?n=90&cores=24&v=1"
    assert from_data(document["scenario"]) == scenario
    assert document["gain_sessions"] == found.gain_sessions
    for arm in ARMS:
        told, rated = document["arms"][arm], found.rated[arm]
        assert told["label"] == LABEL[arm]
        assert told["rated_load"] == rated.rated_load
        assert (told["limit"], told["binding_limit"]) == (rated.limit, rated.binding_limit)
        assert told["at_sessions"] == found.now[arm]
        assert told["at_rated_load"] == rated.row
        assert told["curve"]["headroom_pct"] == found.curves[arm].headroom_pct.tolist()
        assert told["curve"]["sessions"] == found.curves[arm].sessions.tolist()
        for name in ("crest_pct", "crest_factor", "minutes_above_100_pct"):
            assert told["day"][name] == getattr(days[arm], name)
        assert len(told["day"]["demand_p95_pct"]) == 720
    cut = crest_reduction_pct(days["software"], days["offloaded"])
    assert document["day"]["crest_reduction_pct"] == cut
    changes = [(each["change"], each["rated_load"]) for each in document["what_if"]]
    assert changes == [(each.change, each.rated) for each in what_if(scenario)]
    assert "pinned" not in document
    assert reply.headers["Content-Type"] == "application/json"
    assert reply.headers["Cache-Control"] == "no-store"


def test_pinned_answer_comes_with_the_document(client):
    """With a pin the document holds the pinned answer too, the same as it is alone."""
    document = client.get(f"/api/assess?{PINNED}&n=150&v=1").get_json()
    alone = client.get("/api/assess?n=90&cores=24&v=1").get_json()
    assert document["pinned"] == {
        name: value for name, value in alone.items() if name not in ("version", "caution")
    }
    assert document["scenario"]["sessions"] == 150


def test_no_number_breaks_strict_json(client):
    """A number that is not finite, as graphics memory that the host has none of, is null."""
    data = to_data(default())
    data["roles"][0]["gpu_memory_gib"] = 1
    text = client.post("/api/assess", data=json.dumps(data)).text

    def refuse(name):
        raise AssertionError(name)

    document = json.loads(text, parse_constant=refuse)
    # Derived: memory asked for over a capacity of 0 is not finite.
    assert document["arms"]["software"]["at_sessions"]["gpu_memory_pct"] is None
    assert document["arms"]["software"]["rated_load"] == 0


def test_scenario_too_long_for_a_link_is_sent_along(client):
    """A scenario that no link holds is answered when it is sent, and says that it has no link."""
    scenario = too_long_for_a_link()
    document = client.post("/api/assess", data=dump(scenario)).get_json()
    assert document["link"] is None
    assert from_data(document["scenario"]) == scenario
    reply = client.post(f"/numbers/desktop.csv?{PINNED}&v=1", data=dump(scenario))
    _, rows = table(reply)
    assert rows[0]["scenario"] == scenario.name
    assert (rows[0]["link"], rows[0]["pinned link"]) == ("", "/?n=90&cores=24&v=1")
    name = 'attachment; filename="crestline-estimate-desktop.csv"'
    assert reply.headers["Content-Disposition"] == name


@pytest.mark.parametrize("path", ["/api/assess", "/numbers/day.csv"])
@pytest.mark.parametrize(
    ("query", "field", "value"),
    [
        ("n=0&v=1", "sessions", "0"),
        ("n=90", "v", None),
        ("zork=1&v=1", "zork", "1"),
        ("name=%ff&v=1", "name", "%ff"),
        (f"cores={'9' * 300}&v=1", "host.cores", "9" * 200),
        ("pin=n%3D0%26v%3D1&n=90&v=1", "sessions", "0"),
    ],
)
def test_wrong_link_names_its_field(client, path, query, field, value):
    """A link that cannot be read is answered with the field, its value and what would do."""
    reply = client.get(f"{path}?{query}")
    assert reply.status_code == 400
    error = reply.get_json()["error"]
    assert (error["field"], error["value"]) == (field, value)
    assert error["expected"] in error["message"]
    assert reply.headers["Cache-Control"] == "no-store"
    assert "Content-Disposition" not in reply.headers


@pytest.mark.parametrize(
    ("body", "status", "field"),
    [
        (b"", 400, "scenario"),
        (b"demo_data/scenarios/harbour.json", 400, "scenario"),
        (b"[1, 2]", 400, "scenario"),
        (b"{", 400, "scenario"),
        (b"\xff\xfe", 400, "scenario"),
        (b'{"version": 1}', 400, "name"),
        (b'{"version": 2}', 400, "version"),
        (b"{" + b" " * 1_500_000, 413, None),
    ],
)
def test_what_is_no_scenario_is_refused(client, body, status, field):
    """What was sent in place of a scenario is refused; no file of the server is read for it."""
    reply = client.post("/api/assess", data=body)
    assert reply.status_code == status
    assert reply.get_json()["error"]["field"] == field


def test_unknown_chart_is_not_found(client):
    """A chart that is none is told so, with the names of those that are."""
    reply = client.get("/numbers/zork.csv")
    assert reply.status_code == 404
    assert reply.get_json()["error"]["value"] == "zork"
    assert "headroom" in reply.get_json()["error"]["message"]


def test_failure_gives_a_number_and_no_stack(client, monkeypatch, caplog):
    """An unforeseen failure is told by a number; the stack stays in the log."""
    monkeypatch.setattr("app.numbers.assess", lambda scenario: 1 / 0)
    reply = client.get("/api/assess?name=never+asked+before&v=1")
    assert reply.status_code == 500
    assert "number" in reply.get_json()["error"]["message"]
    assert "ZeroDivision" not in reply.text
    assert "ZeroDivisionError" in caplog.text


def test_asking_for_the_header_alone_sends_no_body(client):
    """HEAD answers with the headers of the file and nothing else."""
    reply = client.head("/numbers/desktop.csv")
    assert (reply.status_code, reply.data) == (200, b"")
    assert reply.headers["Content-Type"] == "text/csv; charset=utf-8"


def test_numbers_are_remembered_unless_long(client, monkeypatch):
    """The same question is worked out once; an answer longer than the limit is not kept."""
    worked_out = []

    def count(*given):
        worked_out.append(given)
        return "{}"

    monkeypatch.setattr(downloads, "numbers_text", count)
    for _ in range(2):
        client.get("/api/assess?name=kept&v=1")
    assert len(worked_out) == 1
    monkeypatch.setattr(downloads, "LONGEST_REMEMBERED", 1)
    for _ in range(2):
        assert client.get("/api/assess?name=too+long&v=1").text == "{}"
    assert len(worked_out) == 3


@contextmanager
def served(application):
    """Serve an application on a free port of this machine; give its address."""
    server = make_server("127.0.0.1", 0, application.server)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def test_readme_curl_line_answers(application):
    """The line that README gives to scripts answers with the fields that README lists."""
    page = README.read_text(encoding="utf-8")
    address = re.search(r"^curl -s 'http://127\.0\.0\.1:8050(/[^']+)'$", page, re.MULTILINE)
    assert address is not None
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    with served(application) as url, opener.open(url + address[1], timeout=30) as reply:
        document = json.load(reply)
    scenario = changed(sessions=150, host__cores=48)
    # Derived: the model's own answer for the scenario in the line.
    rated = assess(scenario).rated["offloaded"].rated_load
    assert document["arms"]["offloaded"]["rated_load"] == rated

    table = page.partition("| field |")[2].partition("\n\n")[0]
    rows = re.findall(r"^\| (?:\.\.\. )?(`[^|]+`) \|", table, re.MULTILINE)
    named = {name for row in rows for name in re.findall(r"`([^`]+)`", row)}
    own = {*document, "pinned", "event"} - {"arms"} | {f"arms.{arm}" for arm in ARMS}
    of_arm = set(document["arms"]["software"]) - {"label", "slots_full"}
    assert named == own | of_arm
