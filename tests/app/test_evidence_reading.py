"""Does a log become readings with all that was left out told, and can switches be corrected?"""

import time
from dataclasses import replace

import numpy as np
import pytest
from flask import Flask

from app import evidence_reading
from app.evidence_jobs import Jobs
from app.evidence_packing import ranges
from app.evidence_records import Spells
from app.evidence_store import EvidenceStore
from app.evidence_switches import edited, proposed_spells
from app.evidence_web import Desk
from app.figures.log import MOST_POINTS, thinned
from app.workers import Workers
from model.errors import InputError
from model.evidence.log_text import Upload
from model.evidence.mapping import CpuBase
from model.evidence.readings import look_at, read_log

PATIENCE_S = 30


def log_text(rows=400, every=50, offload=False, scale=1.0):
    """A log of one desktop whose encoder falls from 40 to 4 % of a core and back."""
    noise = np.random.default_rng(1).normal(0, 1.0, rows)
    head = "timestamp,encoder cpu %" + (",offload" if offload else "")
    lines = [head]
    for second in range(rows):
        on = second // every % 2
        cell = f"{(4 if on else 40) * scale + noise[second] * scale:.2f}"
        moment = f"2026-03-04T10:{second // 60:02d}:{second % 60:02d}Z"
        lines.append(f"{moment},{cell}" + (f",{on}" if offload else ""))
    return "\n".join(lines) + "\n"


@pytest.fixture
def client(tmp_path):
    """A visitor of a server with parts 2 and 3, and nothing else."""
    server = Flask("evidence")
    server.config["MAX_CONTENT_LENGTH"] = 1_000_000

    def report(error):
        raise error

    desk = Desk(server, EvidenceStore(tmp_path / "evidence"), Jobs(), report)
    evidence_reading.register(desk, Workers(0))
    client = server.test_client()
    client.desk = desk
    return client


def post(client, path, **body):
    """Ask as the page's script does."""
    return client.post(f"/evidence-data/{path}", json=body).json


def uploaded(client, text, name="trial.csv"):
    """Hand over a log, have it looked at, and return its id and what was seen."""
    data = text if isinstance(text, bytes) else text.encode()
    told = client.post(
        f"/evidence-data/upload?name={name}", data=data, content_type="application/octet-stream"
    ).json
    log = told["log"]["id"]
    return log, post(client, "look", log=log)


def finished(client):
    """Wait for the job under way and return its last state."""
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        job = client.get("/evidence/job").json["job"]
        if job["state"] != "running":
            return job
        time.sleep(0.05)
    raise AssertionError("the job does not end")


def read(client, *looked, base=None):
    """Read logs in the server itself, with one answer about the percentage."""
    session = client.desk.store.find(client.get_cookie("crestline-evidence").value)
    wanted = [
        (log, seen["look"]["mapping"] | {"encode_base": base or {"of": "core"}})
        for log, seen in looked
    ]
    return evidence_reading.read_logs(session, lambda share, words: None, wanted)


def view(client, log, **more):
    """Ask for the chart of a log."""
    return client.get("/evidence-data/view", query_string={"log": log, **more}).json


# ------------------------------------------------------------------------- look and read


def test_look_proposes_and_asks_what_only_the_owner_knows(client):
    """The proposal has a reason for each column, and the percentage is left open and asked."""
    _, seen = uploaded(client, log_text())
    look = seen["look"]

    assert {each["name"]: each["meaning"] for each in look["columns"]} == {
        "timestamp": "time", "encoder cpu %": "encode_cores",
    }  # fmt: skip
    assert look["mapping"]["encode_base"] is None
    assert [each["field"] for each in look["questions"]] == ["encode_base"]
    assert look["columns"][1]["example"] == pytest.approx(40, abs=2)


def test_logs_of_one_make_share_a_form(client):
    """Logs with the same columns get the same group, another log another one."""
    one, other = (uploaded(client, log_text(), f"{n}.csv")[1] for n in "ab")
    third = uploaded(client, log_text(offload=True), "c.csv")[1]

    assert one["look"]["group"] == other["look"]["group"] != third["look"]["group"]


def test_job_reads_logs_and_tells_what_was_refused(client):
    """Reading happens in a process of its own; one bad log does not keep a good one from it."""
    good, seen = uploaded(client, log_text())
    bad, _ = uploaded(client, log_text())
    mapping = seen["look"]["mapping"] | {"encode_base": {"of": "core"}}
    wrong = mapping | {"time_format": "epoch_s"}

    told = post(client, "read", groups=[{"logs": [good], "mapping": mapping},
                                        {"logs": [bad], "mapping": wrong}])  # fmt: skip
    job = finished(client)

    assert told["job"]["state"] == "running"
    assert job["state"] == "done"
    assert job["result"]["read"] == [good]
    (failed,) = job["result"]["failed"]
    assert (failed["log"], failed["error"]["column"]) == (bad, "timestamp")
    logs = {each["id"]: each for each in client.get("/evidence-data/logs").json["logs"]}
    assert logs[good]["readings"]["kept"] == "400 of 400 rows kept"
    assert logs[good]["spells"]["switches"] == 7
    assert logs[bad]["readings"] is None


def test_job_can_be_cancelled(client):
    """A job that is cancelled ends at once, and another one can begin."""
    log, seen = uploaded(client, log_text())
    mapping = seen["look"]["mapping"] | {"encode_base": {"of": "core"}}
    group = {"logs": [log], "mapping": mapping}
    post(client, "read", groups=[group])

    second = post(client, "read", groups=[group])
    cancelled = post(client, "cancel")
    post(client, "read", groups=[group])

    assert "under way" in second["error"]["message"]
    assert cancelled["job"]["state"] == "cancelled"
    assert finished(client)["state"] == "done"


def test_every_row_left_out_is_listed_with_its_reason(client):
    """The CSV of findings names each dropped row and each emptied cell."""
    lines = log_text().splitlines()
    lines[10] = "broken"
    lines[20] = lines[20].split(",")[0] + ","
    log, seen = uploaded(client, "\n".join(lines))
    read(client, (log, seen))

    text = client.get(f"/evidence-data/findings.csv?log={log}").get_data(as_text=True)

    told = [line.split(",") for line in text.split("\r\n")]
    assert ["trial.csv", "dropped", "1 cell where the header has 2", "whole row", "11"] in told
    assert ["trial.csv", "emptied", "the cell is empty", "encoder cpu %", "21"] in told


def test_readings_that_contradict_an_answer_are_flagged(client):
    """More than all the vCPUs can do is told as a doubt, with the consequence."""
    log, seen = uploaded(client, log_text(scale=4))
    read(client, (log, seen), base={"of": "desktop", "processors": 1})

    (told,) = client.get("/evidence-data/logs").json["logs"]

    doubts = [f for f in told["readings"]["findings"] if f["action"] == "contradicts"]
    assert "which cannot be" in doubts[0]["sentence"]


def test_consequences_are_told_for_each_answer(client):
    """An example reading is worked out under each answer, and an open one stays open."""
    bases = [{"of": "core"}, {"of": "desktop", "processors": 2}, {"of": "host"}]
    told = post(client, "consequences", reading=3, bases=bases)

    # Derived: 3 % of two processors are 6 % of one.
    assert told["consequences"] == [
        "3 % of one core = 0.03 cores", "3 % of 2 vCPU = 6 % of one core", None,
    ]  # fmt: skip


def test_file_larger_than_other_requests_is_taken_up_to_its_own_limit(client):
    """A log may be larger than the megabyte that any other request may have."""
    text = log_text()
    log, _ = uploaded(client, text.encode() + b"\n" * 2_000_000)

    assert log
    reply = client.post("/evidence-data/toggles", data=b"{" + b" " * 1_100_000,
                        content_type="application/json")  # fmt: skip
    assert "error" in reply.json


def test_what_is_no_log_is_refused_with_its_name(client):
    """A picture or a spreadsheet file is told from a log when it is looked at."""
    _, seen = uploaded(client, b"PK\x03\x04" + b"\x00" * 100, "book.xlsx")

    assert seen["error"]["field"] == "book.xlsx"
    assert "save the sheet as CSV" in seen["error"]["message"]


def test_removing_takes_the_cookie_too(client):
    """After "Remove my data" nothing is left, and the browser has no key any more."""
    uploaded(client, log_text())
    session = client.desk.store.find(client.get_cookie("crestline-evidence").value)

    post(client, "remove", all=True)

    assert not session.folder.exists()
    assert client.get_cookie("crestline-evidence") is None
    assert client.get("/evidence-data/logs").json["logs"] == []


def test_demo_trial_opens_with_its_answers(client):
    """One request brings in all invented logs, read as their README says."""
    post(client, "demo")
    assert finished(client)["state"] == "done"

    logs = {each["name"]: each for each in client.get("/evidence-data/logs").json["logs"]}

    assert len(logs) == 10
    assert all(each["readings"] for each in logs.values())
    # Derived: 16 blocks in the order 0110 1001 1001 0110 change 10 times; the 4 s that are
    # missing from 500 s on lie in a spell with card.
    assert logs["video_call.csv"]["spells"] | {"notes": 0} == {
        "confirmed": False, "origin": "log", "edited": False, "notes": 0, "column": "",
        "least_dwell_s": 10.0, "switches": 10, "rows_on": 476, "rows_off": 480, "rows_unknown": 0,
    }  # fmt: skip
    assert logs["switched_by_hand.csv"]["spells"]["origin"] == "found"
    assert logs["host_day.csv.gz"]["spells"]["origin"] == "none"


# ------------------------------------------------------------------------------ switches


def readings_of(text, **more):
    """Read a log's text with one answer."""
    upload = Upload("trial.csv", text.encode())
    mapping = look_at(upload).proposed.model_copy(update={"encode_base": CpuBase(of="core")} | more)
    return read_log(upload, mapping)


def test_switches_are_found_across_a_gap():
    """Rows that are missing do not shift the switches that come after them."""
    lines = log_text().splitlines()
    del lines[70:90]
    spells = proposed_spells(readings_of("\n".join(lines)))

    time_s = readings_of("\n".join(lines)).time_s
    # Derived: every 50 s by construction.
    assert [float(time_s[row]) for row in spells.rows] == [0, 50, 100, 150, 200, 250, 300, 350]
    assert spells.states == (0, 1, 0, 1, 0, 1, 0, 1)


def test_log_without_two_levels_has_no_switches_and_says_why():
    """A steady load is not cut into spells; the reason is told."""
    spells = proposed_spells(readings_of(log_text(every=1_000)))

    assert (spells.rows, spells.states) == ((0,), (-1,))
    assert len(spells.notes) == 1


def test_switches_of_the_log_itself_come_first():
    """A log that names its switches is not searched, unless that is asked for."""
    log = readings_of(log_text(offload=True))

    assert proposed_spells(log).origin == "log"
    assert proposed_spells(log, "encode_cores").origin == "found"
    assert proposed_spells(log).rows == proposed_spells(log, "encode_cores").rows


TIMES = np.arange(100.0)
SPELLS = Spells((0, 20, 50), (0, 1, 0), confirmed=True)


@pytest.mark.parametrize(
    ("change", "rows", "states"),
    [
        ({"action": "move", "row": 20, "to_s": 30.4}, (0, 30, 50), (0, 1, 0)),
        ({"action": "move", "row": 20, "to_s": 77}, (0, 49, 50), (0, 1, 0)),
        ({"action": "move", "row": 50, "to_s": 3}, (0, 20, 21), (0, 1, 0)),
        ({"action": "move", "row": 50, "to_s": 500}, (0, 20, 99), (0, 1, 0)),
        ({"action": "add", "at_s": 70}, (0, 20, 50, 70), (0, 1, 0, 1)),
        ({"action": "add", "at_s": 0}, (0, 1, 20, 50), (0, 1, 1, 0)),
        ({"action": "remove", "row": 50}, (0, 20), (0, 1)),
        ({"action": "remove", "row": 20}, (0,), (0,)),
        ({"action": "state", "row": 20, "state": -1}, (0, 20, 50), (0, -1, 0)),
        ({"action": "state", "row": 0, "state": 1}, (0, 50), (1, 0)),
    ],
)
def test_switches_are_moved_added_and_removed(change, rows, states):
    """Each change by hand does what it says, keeps the order, and waits to be confirmed again."""
    if change == {"action": "add", "at_s": 0}:
        rows, states = (0, 1, 50), (0, 1, 0)  # a spell with card that begins earlier
    found = edited(SPELLS, TIMES, change)

    assert (found.rows, found.states) == (rows, states)
    assert found == replace(SPELLS, rows=rows, states=states, confirmed=False, edited=True)


def test_first_switch_in_a_log_not_marked_makes_two_spells():
    """Where nothing is known, a switch that is added separates without card from with card."""
    found = edited(Spells((0,), (-1,)), TIMES, {"action": "add", "at_s": 40})

    assert (found.rows, found.states) == ((0, 40), (0, 1))


@pytest.mark.parametrize(
    "change",
    [
        {"action": "move", "row": 0, "to_s": 10},
        {"action": "move", "row": 21, "to_s": 10},
        {"action": "move", "row": 20, "to_s": None},
        {"action": "move", "row": 20, "to_s": float("nan")},
        {"action": "add", "at_s": 20},
        {"action": "add", "at_s": -1},
        {"action": "add", "at_s": True},
        {"action": "remove", "row": 0},
        {"action": "remove", "row": [20]},
        {"action": "state", "row": 20, "state": 2},
        {"action": "state", "row": 20, "state": True},
        {"action": "burn"},
        {},
    ],
)
def test_change_that_cannot_be_made_is_refused(change):
    """A change without sense is refused and nothing is changed."""
    with pytest.raises(InputError):
        edited(SPELLS, TIMES, change)


def test_switches_are_changed_and_confirmed_over_http(client):
    """A change answers with the new view; only what is confirmed is passed on."""
    log, seen = uploaded(client, log_text())
    read(client, (log, seen))
    session = client.desk.store.find(client.get_cookie("crestline-evidence").value)
    assert session.states() == [None]

    moved = post(client, "toggles", log=log, action="move", row=50, to_s=55, view={"to_s": 120})
    confirmed = post(client, "toggles", action="confirm", logs=[log])

    assert [each["at_s"] for each in moved["spells"]] == [0, 55, 100]
    assert moved["summary"]["edited"] is True
    assert confirmed["summaries"][log]["confirmed"] is True
    assert session.states()[0][50:60].tolist() == [0] * 5 + [1] * 5
    back = post(client, "toggles", log=log, action="reset")
    assert [each["at_s"] for each in back["spells"]][:3] == [0, 50, 100]
    assert session.states() == [None]


def test_log_that_is_not_marked_cannot_be_confirmed(client):
    """Nobody confirms by mistake that nothing is known."""
    log, seen = uploaded(client, log_text(every=1_000))
    read(client, (log, seen))

    told = post(client, "toggles", action="confirm", logs=[log])

    assert told["error"]["field"] == "trial.csv"


# ------------------------------------------------------------------------------- the chart


def test_chart_of_a_long_log_keeps_its_peaks_and_few_points():
    """A million readings are drawn with some two thousand points, the highest one among them."""
    rng = np.random.default_rng(1)
    values = rng.uniform(0, 1, 1_000_000)
    values[654_321] = 7.0
    values[123_456] = -3.0

    x, y = thinned(np.arange(1_000_000.0), values, 1.0)

    assert len(x) <= MOST_POINTS + 2
    assert x[y.index(7.0)] == 654_321
    assert x[y.index(-3.0)] == 123_456


def test_line_is_broken_at_a_gap_and_skips_what_is_missing():
    """Nothing is drawn across a gap, as if it had been measured."""
    time_s = np.array([0.0, 1, 2, 10, 11])
    x, y = thinned(time_s, np.array([1.0, 2, np.nan, 4, 5]), 1.0)

    assert x == [0.0, 1.0, None, 10.0, 11.0]
    assert y == [1.0, 2.0, None, 4.0, 5.0]


def test_view_shows_what_lies_between_two_times(client):
    """The chart and the list hold the spells of the stretch asked for, both ends included."""
    log, seen = uploaded(client, log_text())
    read(client, (log, seen))

    told = view(client, log, from_s=120, to_s=210, theme="dark")

    assert [each["number"] for each in told["spells"]] == [3, 4, 5]
    assert told["spells_here"] == 3
    assert told["figure"]["layout"]["xaxis"]["range"] == [120, 210]
    shades = [s for s in told["figure"]["layout"]["shapes"] if s["type"] == "rect"]
    assert [(s["x0"], s["x1"]) for s in shades] == [(100, 150), (150, 200), (200, 250)]
    labels = [each["text"] for each in told["figure"]["layout"]["annotations"]]
    assert labels == ["without card", "with card", "without card"]


@pytest.mark.parametrize(
    "asked", [{"from_s": "x"}, {"column": "colour"}, {"log": "../x"}, {"column": "cpu_cores"}]
)
def test_view_of_what_is_not_there_is_refused(client, asked):
    """A view that cannot be drawn is refused by the field that is wrong."""
    log, seen = uploaded(client, log_text())
    read(client, (log, seen))

    assert view(client, **({"log": log} | asked))["error"]["field"] in ("log", *asked)


def test_runs_of_rows_are_drawn_together():
    """Row numbers that follow each other are told as a run."""
    assert ranges(np.array([3, 4, 5, 9, 11, 12])) == "3 to 5, 9, 11 to 12"
    assert ranges(np.arange(0, 20, 2), most=3) == "0, 2, 4 and 7 more runs"


# ----------------------------------------------------------------------------- taken away


def test_numbers_in_view_are_saved_with_their_states(client):
    """The CSV of a view holds each reading in it, its unit, and whether offload was on."""
    log, seen = uploaded(client, log_text())
    read(client, (log, seen))
    asked = {"log": log, "from_s": 48, "to_s": 58}

    text = client.post("/evidence-data/csv/log", json=asked).get_data(as_text=True)

    lines = [line.split(",") for line in text.split("\r\n")[:-1]]
    assert lines[0] == [
        "time since the first reading [s]", "CPU of the display encoder [cores]",
        "offload (not confirmed)",
    ]  # fmt: skip
    assert [(each[0], each[2]) for each in lines[1:4]] == [
        ("48.0", "without card"), ("49.0", "without card"), ("50.0", "with card"),
    ]  # fmt: skip
    assert len(lines) == 12


def test_picture_of_a_log_tells_what_it_shows(client):
    """A picture has the log's name, the stretch, the counts, a key and no link."""
    log, seen = uploaded(client, log_text())
    read(client, (log, seen))

    told = post(client, "picture/log", log=log, column="encode_cores")

    assert told["data"]["summary"] == ["Log: trial.csv, from 0 to 400 s."]
    assert told["data"]["query"] is None
    expected = "200 readings with card, 200 without; 7 switches, not confirmed yet."
    assert told["chart"]["takeaway"] == expected
    assert [each["label"] for each in told["chart"]["key"]][1:] == [
        "with card", "without card", "not used",
    ]  # fmt: skip
