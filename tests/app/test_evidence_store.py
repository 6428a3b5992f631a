"""Are a visitor's logs kept apart from all others, within limits, and removed in time?"""

import io
import json
import os
import time

import numpy as np
import pytest
from flask import Flask

from app.evidence_files import tidy_name
from app.evidence_jobs import Jobs
from app.evidence_records import Limits, Spells
from app.evidence_store import COOKIE, EvidenceStore
from app.evidence_web import Desk, body
from model.errors import InputError, MeasurementError
from model.evidence.log_text import Upload
from model.evidence.mapping import CpuBase, Mapping
from model.evidence.readings import read_log

LOG = "t;offload;activity;encoder;sessions in typing\n" + "".join(
    f"{t};{t // 3 % 2};{'typing' if t % 2 else ''};{t % 7};{t % 3}\n" for t in range(12)
).replace("5;1;typing;5;2", "5;1;typing;;2")
LOG_BYTES = LOG.encode()
MAPPING = Mapping(
    time="t", time_format="elapsed_s", offload="offload", activity="activity",
    encode_cores="encoder", encode_base=CpuBase(of="core"), decimal=".",
    counts={"typing": "sessions in typing"},
)  # fmt: skip


def put(session, name="trial.csv", content=LOG_BYTES):
    """Hand over a log."""
    return session.add(name, io.BytesIO(content))


def read(session):
    """Hand over a log and read it."""
    log = put(session)
    session.keep_readings(log.id, read_log(Upload(log.name, LOG.encode()), MAPPING))
    return log


def test_key_leads_to_its_own_folder_and_to_no_other(store):
    """Two visitors have two folders, neither named by its key, and nobody else may look in."""
    (key, one), (other_key, other) = store.open_session(), store.open_session()

    put(one)

    assert store.find(key).logs()[0].name == "trial.csv"
    assert store.find(other_key).logs() == []
    assert key not in str(one.folder)
    for folder in (store.folder, one.folder, other.folder):
        assert folder.stat().st_mode & 0o077 == 0


@pytest.mark.parametrize("key", [None, "", "x", "../" * 14 + "x", "A" * 43, "A" * 64, "é" * 43])
def test_unknown_or_made_up_key_finds_nothing(store, key):
    """A key that nobody was given leads nowhere."""
    store.open_session()

    assert store.find(key) is None
    assert store.remove(key) is False


def test_readings_come_back_as_they_were(session):
    """All that was read of a log survives being kept: numbers, gaps, words and findings."""
    log = read(session)
    expected = read_log(Upload("trial.csv", LOG.encode()), MAPPING)

    (found,) = session.readings()

    assert (found.name, found.interval_s, found.start) == ("trial.csv", 1.0, None)
    np.testing.assert_array_equal(found.time_s, expected.time_s)
    np.testing.assert_array_equal(found.columns["encode_cores"], expected.columns["encode_cores"])
    np.testing.assert_array_equal(found.counts["typing"], expected.counts["typing"])
    np.testing.assert_array_equal(found.offload, expected.offload)
    assert found.activity == expected.activity
    assert found.report.sentences == expected.report.sentences
    assert np.isnan(found.columns["encode_cores"]).any()
    assert session.about_readings(log.id)["rows"] == 12


def test_nothing_pickled_is_stored(session):
    """What lies in a visitor's folder is the log, JSON and plain arrays, so none of it runs."""
    read(session)
    session.keep("effect", {"a": 1})

    for path in session.folder.iterdir():
        if path.suffix == ".npz":
            with np.load(path, allow_pickle=False) as arrays:
                assert all(array.dtype.kind in "fi" for array in arrays.values())
        elif path.suffix == ".json":
            json.loads(path.read_text(encoding="utf-8"))
        else:
            assert path.suffix == ".raw" or path.name == "used"


def test_states_are_hidden_until_they_are_confirmed(session):
    """No result can use switches that the visitor has not confirmed."""
    log = read(session)
    spells = Spells((0, 3, 9), (0, 1, -1), origin="log")

    session.keep_spells(log.id, spells)
    assert session.states() == [None]

    session.keep_spells(log.id, Spells((0, 3, 9), (0, 1, -1), confirmed=True))
    # Derived: rows 0 to 2 off, 3 to 8 on, 9 to 11 not used.
    assert session.states()[0].tolist() == [0] * 3 + [1] * 6 + [-1] * 3


def test_results_go_with_what_they_were_made_of(session):
    """A change of logs, readings or switches forgets what was worked out before."""
    log = read(session)
    for change in (
        lambda: session.keep_spells(log.id, Spells((0,), (1,))),
        lambda: session.forget_readings(log.id),
        lambda: session.drop(log.id),
    ):
        session.keep("effect", {"ratio": 0.5})
        assert session.result("effect") == {"ratio": 0.5}
        change()
        assert session.result("effect") is None


def test_file_too_large_leaves_nothing_behind(tmp_path):
    """A log larger than may be is refused with its name, and no part of it stays."""
    store = EvidenceStore(tmp_path / "evidence", Limits(file_bytes=1024**2))
    session = store.open_session()[1]

    with pytest.raises(MeasurementError, match=r"big\.csv.*at most 1 MB a file"):
        put(session, "big.csv", b"x" * (1024**2 + 1))

    assert [path.name for path in session.folder.iterdir()] == ["used"]


def test_visitor_has_so_much_room_and_no_more(tmp_path):
    """What one visitor keeps is limited in all, readings included."""
    store = EvidenceStore(tmp_path / "evidence", Limits(session_bytes=1_900))
    session = store.open_session()[1]
    put(session, content=b"x" * 1_200)

    with pytest.raises(MeasurementError, match="remove some first"):
        put(session, content=b"x" * 1_200)
    log = put(session)
    with pytest.raises(MeasurementError, match="remove some first"):
        session.keep_readings(log.id, read_log(Upload("a", LOG.encode()), MAPPING))


def test_no_more_visitors_than_may_be(tmp_path):
    """When all places are taken, a further visitor is told and those who came stay."""
    store = EvidenceStore(tmp_path / "evidence", Limits(sessions=1))
    key, _ = store.open_session()

    with pytest.raises(InputError, match="at most 1 visitors"):
        store.open_session()

    assert store.find(key) is not None
    assert store.remove(key)
    store.open_session()


def test_data_goes_a_day_after_its_last_use(tmp_path):
    """Data that is used stays; what nobody has used for a day is gone, from the disk too."""
    now = [time.time()]
    store = EvidenceStore(tmp_path / "evidence", clock=lambda: now[0])
    key, session = store.open_session()
    put(session)

    now[0] += 23 * 3600
    assert store.find(key) is not None
    now[0] += 23 * 3600
    assert store.sweep() == 0
    assert store.find(key) is not None
    now[0] += 25 * 3600

    assert store.find(key) is None
    assert not session.folder.exists()


def test_data_that_grew_old_while_nothing_ran_goes_at_the_start(tmp_path):
    """A server that starts removes what is too old, and keeps what is not."""
    store = EvidenceStore(tmp_path / "evidence")
    (_, old), (key, young) = store.open_session(), store.open_session()
    long_ago = time.time() - 25 * 3600
    os.utime(old.folder / "used", (long_ago, long_ago))

    again = EvidenceStore(tmp_path / "evidence")

    assert not old.folder.exists()
    assert again.find(key).folder == young.folder


def test_removal_takes_everything(store):
    """What a visitor removes is gone from the disk, and the key leads nowhere."""
    key, session = store.open_session()
    read(session)

    assert store.remove(key)

    assert not session.folder.exists()
    assert store.find(key) is None


@pytest.mark.parametrize("log", ["", "../x", "0" * 20 + "-" + "0" * 8, 3, None, "x" * 29])
def test_log_of_another_name_is_no_way_out_of_the_folder(session, log):
    """Only ids that the store gave away lead to a log."""
    with pytest.raises(InputError, match="a log that is still here"):
        session.path(log)


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("trial.csv", "trial.csv"),
        ("../../etc/passwd", "passwd"),
        ("C:\\logs\\trial 1.csv", "trial 1.csv"),
        ("a\x00b\nc.csv", "a b c.csv"),
        ("", "log"),
        ("é" * 200 + ".csv", "é" * 116 + ".csv"),
    ],
)
def test_name_of_a_file_is_kept_without_its_folder(given, kept):
    """A log is called by the name of its file, whatever came before it."""
    assert tidy_name(given) == kept


# ------------------------------------------------------------------------------ over HTTP


@pytest.fixture
def server(store):
    """A server with one question."""
    server = Flask("asked")
    desk = Desk(server, store, Jobs(), lambda error: "failed")
    desk.bind("/count", "POST", lambda session: {"logs": len(session.logs())}, opens=True)
    desk.bind("/read", "GET", lambda session: {"logs": len(session.logs())})
    desk.bind("/fail", "GET", lambda session: {"a": 1 / 0})
    desk.bind("/refuse", "POST", lambda session: {"a": body()["a"]} if body() else {})
    return server


def test_key_travels_in_a_strict_cookie_that_no_script_reads(server):
    """The key is given in a cookie of this site only, hidden from scripts, and in no text."""
    reply = server.test_client().post("/count", json={})

    (cookie,) = reply.headers.getlist("Set-Cookie")
    assert cookie.startswith(f"{COOKIE}=")
    assert {"HttpOnly", "SameSite=Strict"} <= set(cookie.split("; "))
    assert cookie.split("=")[1].split(";")[0] not in reply.get_data(as_text=True)
    assert reply.headers["Cache-Control"] == "no-store"


def test_two_visitors_never_meet(server, store):
    """What one visitor hands over is not seen by another, nor by one without a key."""
    one, other, nobody = (server.test_client() for _ in range(3))
    one.post("/count", json={})
    other.post("/count", json={})
    put(store.find(one.get_cookie(COOKIE).value))

    assert one.get("/read").json == {"logs": 1}
    assert other.get("/read").json == {"logs": 0}
    assert nobody.get("/read").json["gone"] is True


def test_form_of_another_site_is_turned_away(server):
    """A POST that a form of another site could send does nothing."""
    reply = server.test_client().post("/count", data="{}", content_type="text/plain")

    assert reply.status_code == 415
    assert "Set-Cookie" not in reply.headers


def test_refusal_is_told_and_failure_keeps_its_cause_to_itself(server):
    """A wrong request is told by its field; an unforeseen failure by a number only."""
    client = server.test_client()
    client.post("/count", json={})

    assert client.post("/refuse", json=[1]).json["error"]["field"] == "request"
    reply = client.get("/fail")
    assert (reply.status_code, reply.json) == (500, {"failure": "failed"})
