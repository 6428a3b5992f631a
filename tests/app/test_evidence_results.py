"""What does a visitor see of results: on both pages, in the report, at the addresses?"""

import csv
import datetime as dt
import io
import json

import numpy as np
import pytest

from app import words_measured, words_trial
from app.answers import curve_answer, next_answer
from app.evidence_effects import work_out_effects
from app.evidence_peaks import peaks_of
from app.evidence_records import Spells
from app.evidence_report import report_of
from app.evidence_store import COOKIE, EvidenceStore
from app.figures.headroom import headroom_figure
from app.server import make_app
from app.settings import Settings
from app.theme import DARK, LIGHT
from app.words import CAUTION
from model.assess import assess
from model.evidence.calibration import measured_bounds
from model.scenario import default, dump, load, to_data
from model.scenario_url import from_query
from tests.app.trial_logs import host_log


@pytest.fixture(scope="module")
def measured():
    """The example with one measured cost of a wide interval."""
    data = to_data(default())
    data["measured"] = [
        {
            "path": "activities[full-screen video].software_ms_per_frame", "value": 38.0,
            "low": 30.0, "high": 50.0, "source": "=trial.csv",
        }
    ]  # fmt: skip
    return load(json.dumps(data))


def test_host_page_says_measured_and_draws_the_range(measured):
    """With a measured cost the page says so, and the rested chart shows the range it leaves."""
    moving = curve_answer(measured, LIGHT)
    at = [activity.name for activity in measured.activities].index("full-screen video")
    assert moving["measured"] == words_measured.measured_marks(measured)
    assert moving["measured"][0]["path"] == f"activities[{at}].software_ms_per_frame"
    assert moving["measured"][0]["told"] == "measured 30 to 50"
    assert "1 number of 1 activity (=trial.csv)" in moving["texts"]["measured-note"]
    assert len(moving["figures"]["headroom"]["data"]) == 2
    rested = next_answer(measured, LIGHT)
    band = rested["figures"]["headroom"]["data"][1]
    assert band["name"] == "range of the measured costs, without card"
    assert band["fill"] == "toself"
    assert "rated loads of" in rested["texts"]["measured-range"]
    low, high = measured_bounds(measured)
    ends = [assess(end).rated["software"].rated_load for end in (high, low)]
    assert ends[0] < ends[1]
    # Derived: dearer frames carry fewer sessions.
    assert f"{ends[0]} to {ends[1]} without" in rested["texts"]["measured-range"]


def test_host_page_without_measurements_stays_as_it_was():
    """Without a measured cost there is neither a mark, nor a sentence, nor a second chart."""
    moving, rested = curve_answer(default(), LIGHT), next_answer(default(), LIGHT)
    assert moving["measured"] == []
    assert moving["texts"]["measured-note"] == ""
    assert rested["texts"]["measured-range"] == ""
    assert set(rested["figures"]) == {"day"}


def test_band_encloses_the_curve(measured):
    """At every number of sessions drawn the curve lies between both edges of its band."""
    found = assess(measured)
    bounds = tuple(assess(end) for end in measured_bounds(measured))
    figure = headroom_figure(found, LIGHT, None, bounds)
    cheap, dear = (each.curves["software"].headroom_pct for each in bounds)
    own = found.curves["software"].headroom_pct
    shared = min(map(len, (cheap, dear, own)))
    assert (dear[:shared] <= own[:shared]).all()
    assert (own[:shared] <= cheap[:shared]).all()
    assert any("measured costs" in each["text"] for each in figure["layout"]["annotations"])


# ------------------------------------------------------------------------ report, CSV, addresses


def test_report_holds_method_data_exclusions_results_and_cautions(logs, effects):
    """The report says how, on what, without what, with which result, and what to mind."""
    peaks = peaks_of([log for log, _ in logs], [state for _, state in logs], {"cpu_cores": 1.0})
    report = report_of(effects, peaks, dt.date(2026, 11, 25))
    titles = [section["title"] for section in report["sections"]]
    assert titles[:2] == ["Method", "Data"]
    assert {"Exclusions", "Results", "Cautions"} <= set(titles)
    assert report["date"] == "25 November 2026"
    sections = {section["title"]: section for section in report["sections"]}
    assert sections["Cautions"]["list"][-1] == CAUTION
    assert "host.csv: when offload was on has not" in " ".join(sections["Exclusions"]["list"])
    assert sections["Results"]["table"]["rows"][-1][0] == "Mean of 2 parts"
    for section in report["sections"]:
        if "table" in section:
            widths = {len(row) for row in section["table"]["rows"]}
            assert widths <= {len(section["table"]["head"])}
    json.dumps(report, allow_nan=False)


def test_numbers_get_the_digits_that_their_interval_supports():
    """A value is as fine as its interval allows, and an open end is told in words."""
    # Derived: the rule in the function's docstring.
    assert words_trial.number(-0.54710, 0.0121) == "-0.547"
    assert words_trial.number(20.5560, 0.04) == "20.56"
    assert words_trial.number(1234.5, 30) == "1,234"
    assert words_trial.number(0.0, 0.0) == "0"
    assert words_trial.interval(1.0, None) == "1.00, no upper limit"
    assert words_trial.duration(8160) == "2 h 16 min"


@pytest.fixture
def visitor(tmp_path, logs):
    """A visitor whose logs were read and confirmed; also another one's client and the session."""
    server = make_app(Settings(workers=0, data_folder=tmp_path)).server
    store = EvidenceStore(tmp_path / "evidence")
    key, session = store.open_session()
    for log, state in [*logs, (host_log(), None)]:
        kept = session.add(log.name, io.BytesIO(b"as it came"))
        session.keep_readings(kept.id, log)
        if state is not None:
            first = [0, *(np.flatnonzero(np.diff(state)) + 1).tolist()]
            spells = Spells(tuple(first), tuple(int(state[at]) for at in first), confirmed=True)
            session.keep_spells(kept.id, spells)
    client, stranger = server.test_client(), server.test_client()
    client.set_cookie(COOKIE, key)
    return client, stranger, session


def asked(client, path, **question):
    """Return what the page is told."""
    return client.post(f"/evidence-data/{path}", json=question).get_json()


def rows_of(response):
    """Return a saved table by column."""
    return list(
        csv.DictReader(io.StringIO(response.get_data(as_text=True), newline=""), strict=True)
    )


def test_addresses_answer_the_visitor_alone(visitor):
    """All that the page shows is told to whom the logs belong, and nothing of it to a stranger."""
    client, stranger, session = visitor
    scenario = dump(default())
    first = asked(client, "effect-shown", column=None, share=False)
    assert first["effects"] is None
    assert first["confirmed"] == 2
    assert [log["name"] for log in first["host_logs"]] == ["host.csv"]
    work_out_effects(session, lambda share, what: None)
    shown = asked(client, "effect-shown", column="cpu_cores", share=True, theme="dark")
    assert shown["column"] == "cpu_cores"
    assert shown["figure"]["layout"]["paper_bgcolor"] == DARK.ground
    assert len(shown["effects"]["table"]["rows"]) == 3
    assert asked(client, "peaks", scenario=scenario, thresholds=None)["table"]["rows"]
    demands = {"scenario": scenario, "log": 2, "base_cores": None}
    assert asked(client, "demands", **demands)["table"]["rows"]
    told = asked(client, "compare", **demands, arm="software", counted="threads",
                 tolerance_pct=None)  # fmt: skip
    assert told["verdict"] in ("trust", "undecided", "distrust")
    question = {"scenario": scenario, "source": "effects", "role": 1, "clock_ghz": None,
                "relative_ipc": None}  # fmt: skip
    changes = asked(client, "changes", **question)["changes"]
    done = asked(client, "apply", **question, accepted=[changes[0]["id"]])
    assert done["count"] == 1
    assert [mark.path for mark in from_query(done["query"]).measured] == [changes[0]["path"]]
    assert asked(client, "report", scenario=scenario)["sections"]
    for name in ("effects", "peaks", "demands", "compared"):
        saved = rows_of(client.post(f"/evidence-data/csv/{name}", json={}))
        assert saved[0]["note"] == CAUTION
    for name in ("forest", "quantiles", "residuals"):
        picture = asked(client, f"picture/{name}", column="encode_cores")
        assert (picture["data"]["query"], picture["data"]["caution"]) == (None, CAUTION)
    for path in ("effect", "effect-shown", "peaks", "demands", "compare", "changes", "apply",
                 "report", "csv/effects", "csv/compared", "picture/forest"):  # fmt: skip
        reply = stranger.post(f"/evidence-data/{path}", json=question | {"log": 0})
        assert reply.get_json()["gone"] is True
        assert "a.csv" not in reply.get_data(as_text=True)


def test_wrong_questions_are_refused_by_name(visitor):
    """What cannot be answered is told by its field; no file is read for it."""
    client, _, _ = visitor
    scenario = dump(default())
    wrong = [
        ("peaks", {"scenario": "pyproject.toml"}, "scenario"),
        ("peaks", {"scenario": scenario, "thresholds": [1]}, "thresholds"),
        ("peaks", {"scenario": scenario, "thresholds": {"cpu_cores": "x"}}, "thresholds.cpu_cores"),
        ("demands", {"scenario": scenario, "log": "0"}, "log"),
        ("demands", {"scenario": scenario, "log": True}, "log"),
        ("compare", {"scenario": scenario, "log": 2, "arm": 1}, "arm"),
        ("compare", {"scenario": scenario, "log": 2, "arm": "both"}, "arm"),
        ("changes", {"scenario": scenario, "role": 0}, "effect"),
        ("report", {"scenario": scenario}, "effect"),
        ("effect", {"drop_s": None}, "drop_s"),
        ("effect", [1], "request"),
        ("csv/effects", {}, "effects"),
        ("picture/forest", {"column": "sessions"}, "effect"),
    ]
    for path, body, named in wrong:
        reply = client.post(f"/evidence-data/{path}", json=body)
        assert reply.status_code == 200, path
        assert reply.get_json()["error"]["field"] == named, (path, body)


def test_accepted_changes_must_be_among_those_proposed(visitor):
    """Nothing but a ticked change of the list is made."""
    client, _, session = visitor
    work_out_effects(session, lambda share, what: None)
    question = {"scenario": dump(default()), "source": "effects", "role": 1}
    for accepted in (None, [], [999], ["0"], [True], [-1]):
        told = asked(client, "apply", **question, accepted=accepted)
        assert told["error"]["field"] == "accepted", accepted


def test_log_names_cannot_act_in_a_spreadsheet(visitor):
    """A log named like a formula is text in the saved tables."""
    client, _, session = visitor
    work_out_effects(session, lambda share, what: None)
    kept = session.result("effects")
    for row in kept["rows"]:
        row["log_name"] = "=1+1"
    session.keep("effects", kept)
    saved = rows_of(client.post("/evidence-data/csv/effects", json={}))
    assert saved[0]["log"] == "'=1+1"
