"""What follows from a visitor's logs: effects, peaks, demands, changes, report, marks."""

import csv
import datetime as dt
import io
import json

import numpy as np
import pytest

from app import evidence_results, evidence_shown, words_measured, words_trial
from app.answers import curve_answer, next_answer
from app.evidence_report import report_of
from app.evidence_results import (
    compared_of,
    default_thresholds,
    demands_of,
    effects_of,
    peaks_of,
    proposals_of,
)
from app.evidence_store import COOKIE, EvidenceStore, Spells
from app.figures.headroom import headroom_figure
from app.figures.residuals import MOST_POINTS, thinned
from app.server import make_app
from app.settings import Settings
from app.theme import DARK, LIGHT
from app.words import CAUTION
from model.assess import assess
from model.errors import InputError
from model.evidence.calibration import apply_changes, measured_bounds
from model.evidence.on_off import offload_effect
from model.evidence.record import ReadingReport, Readings
from model.scenario import default, dump, load, to_data
from model.scenario_url import from_query

ORDER = (0, 1, 1, 0, 1, 0, 0, 1, 1, 0, 0, 1, 0, 1, 1, 0)


def trial(name, activity, seed, columns=("encode_cores", "cpu_cores", "frames_hz")):
    """A made-up log: 16 blocks of 60 s, the card saving half a core, and its states."""
    rng = np.random.default_rng(seed)
    state = np.repeat(np.array(ORDER), 60)
    rows = len(state)
    encode = np.where(state == 1, 0.1, 0.6) + rng.normal(0, 0.03, rows)
    every = {
        "encode_cores": np.maximum(encode, 0),
        "cpu_cores": np.maximum(encode, 0) + 0.3 + np.abs(rng.normal(0, 0.02, rows)),
        "frames_hz": 24 + rng.normal(0, 0.2, rows),
    }
    report = ReadingReport("CSV", rows + 2, rows)
    names = None if activity is None else tuple([activity] * rows)
    log = Readings(
        name, np.arange(float(rows)), 1.0, "2026-10-05T09:00:00Z",
        {column: every[column] for column in columns}, state, names, report,
    )  # fmt: skip
    return log, state


def host_log(rows=1_200):
    """A made-up host: two activities of 0.1 and 0.5 cores a session, 2 cores without sessions."""
    rng = np.random.default_rng(3)
    count = 20 + np.cumsum(rng.integers(-1, 2, (rows, 2)), axis=0)
    counts = np.clip(count, 2, 40).astype(float)
    total = 2 + counts @ np.array([0.1, 0.5]) + rng.normal(0, 0.2, rows)
    report = ReadingReport("CSV", rows, rows)
    return Readings(
        "host.csv", np.arange(rows) * 10.0, 10.0, None,
        {"host_cores": total, "sessions": counts.sum(axis=1)}, None, None, report,
        {"typing and reading": counts[:, 0], "full-screen video": counts[:, 1]},
    )  # fmt: skip


@pytest.fixture(scope="module")
def logs():
    """Two desktop logs of an activity each, and a host's."""
    return [trial("a.csv", "typing and reading", 1), trial("b.csv", "full-screen video", 2)]


@pytest.fixture(scope="module")
def effects(logs):
    """Their effects."""
    readings = [log for log, _ in logs] + [host_log()]
    return effects_of(readings, [*(state for _, state in logs), None])


def test_effects_are_those_of_the_model(logs, effects):
    """Each row is the model's own effect of that column, and the overall row is their mean."""
    log, state = logs[0]
    own = offload_effect(log.columns["encode_cores"], state, 1.0, 5.0, time_s=log.time_s)
    row = effects["rows"][0]
    assert (row["log_name"], row["activity"], row["column"]) == (
        "a.csv", "typing and reading", "encode_cores",
    )  # fmt: skip
    assert row["difference"]["value"] == own.difference.value
    assert (row["difference"]["low"], row["difference"]["high"]) == own.difference.interval
    assert {each["name"] for each in row["checks"]} == {"pairs", "quads", "hac", "bootstrap"}
    differences = [
        each["difference"] for each in effects["rows"] if each["column"] == "encode_cores"
    ]
    overall = effects["overall"]["encode_cores"]["difference"]
    # Derived: the mean of the two.
    assert overall["value"] == pytest.approx(sum(each["value"] for each in differences) / 2)
    # Derived: the made-up card saves half a core.
    assert overall["low"] < -0.5 < overall["high"]
    # Derived: of two alike, the mean is surer than each.
    assert overall["high"] - overall["low"] < differences[0]["high"] - differences[0]["low"]
    json.dumps(effects, allow_nan=False)


def test_log_without_confirmed_switches_has_no_effect(logs, effects):
    """Nothing is shown of a log until its switches are confirmed, and the reason is told."""
    assert {row["log"] for row in effects["rows"]} == {0, 1}
    assert effects["notes"] == [
        "host.csv: when offload was on has not been confirmed, so no effect is shown."
    ]
    log, state = logs[0]
    quiet = effects_of([log], [np.zeros_like(state)])
    assert quiet["rows"] == []
    assert "not switched" in quiet["notes"][0]


def test_one_switch_gives_levels_without_an_interval(logs):
    """A log that cannot support an interval says so in the table, the sentence and the warning."""
    log, _ = logs[0]
    state = np.repeat([0, 1], 480)
    found = effects_of([log], [state])
    row = found["rows"][0]
    assert row["difference"]["low"] is None
    assert "switched only once" in row["warnings"][0]
    assert "supports no interval" in words_trial.effect_sentence(row)
    assert "(no interval)" in evidence_shown.effect_table(found, "encode_cores")["rows"][0][3]
    figure = evidence_shown.forest_of(found, "encode_cores", False, LIGHT)
    assert figure["data"][-1]["name"] == "no interval"


def test_activities_of_one_log_are_told_apart():
    """A log of two activities has a row for each and one for all, named by the activity."""
    (one, state), (other, _) = trial("a.csv", "x", 1), trial("b.csv", "y", 2)
    rows = one.rows * 2
    both = Readings(
        "both.csv", np.arange(float(rows)), 1.0, None,
        {"encode_cores": np.concatenate([log.columns["encode_cores"] for log in (one, other)])},
        None, tuple(["x"] * one.rows + ["y"] * one.rows), ReadingReport("CSV", rows, rows),
    )  # fmt: skip
    found = effects_of([both], [np.concatenate([state, state])])
    assert [row["title"] for row in found["rows"]] == ["all rows of the log", "x", "y"]
    assert found["overall"]["encode_cores"]["parts"] == 2
    names = tuple(f"n{at // 15}" for at in range(rows))
    many = Readings(**{**vars(both), "activity": names})
    assert (
        "at most 60 activities" in effects_of([many], [np.concatenate([state, state])])["notes"][0]
    )


def test_wrong_seconds_are_refused(logs):
    """Seconds dropped below 0, or blocks of none, are named."""
    log, state = logs[0]
    with pytest.raises(InputError) as told:
        effects_of([log], [state], drop_s=-1)
    assert told.value.field == "drop_s"
    with pytest.raises(InputError) as told:
        effects_of([log], [state], block_s=0)
    assert told.value.field == "block_s"


def test_progress_is_told(logs):
    """Whoever waits hears how far the work is, from nothing to all."""
    log, state = logs[0]
    shares = []
    effects_of([log], [state], progress=lambda share, _: shares.append(share))
    assert shares == sorted(shares)
    assert (shares[0], shares[-1]) == (0.0, 1.0)


class Kept:
    """A visitor's session whose switches may change while effects are worked out."""

    def __init__(self, log, *states):
        """Take a log and the states told at each question, the last one from then on."""
        self.log, self.told, self.kept = log, list(states), {}

    def readings(self):
        """Return the log."""
        return [self.log]

    def states(self):
        """Return the state of now."""
        return [self.told.pop(0) if len(self.told) > 1 else self.told[0]]

    def result(self, name):
        """Return what was kept."""
        return self.kept.get(name)

    def keep(self, name, data):
        """Keep a result."""
        self.kept[name] = data


def test_effects_of_switches_that_changed_meanwhile_are_not_kept(logs):
    """Effects worked out on old switches never stand beside the new ones."""
    log, state = logs[0]
    steady = Kept(log, state)
    assert evidence_results.work_out_effects(steady, lambda share, what: None) == {"effects": 3}
    assert steady.kept["effects"]["rows"]
    for changed in (1 - state, None):
        moved = Kept(log, state, changed)
        with pytest.raises(InputError) as told:
            evidence_results.work_out_effects(moved, lambda share, what: None)
        assert told.value.field == "effect"
        assert moved.kept == {}


# --------------------------------------------------------------------------------------- peaks


def test_peaks_are_counted_by_state_without_the_seconds_after_a_switch(logs):
    """Peaks with and without the card are told apart, and a desktop that settles is no peak."""
    log, state = logs[0]
    values = log.columns["encode_cores"].copy()
    after = np.flatnonzero(np.diff(state)) + 1
    for late in range(5):
        values[after + late] = 9.0
    log = Readings(**{**vars(log), "columns": {"encode_cores": values}})
    found = peaks_of([log], [state], {"encode_cores": 0.4})
    off, on = found["rows"]
    assert (off["state"], on["state"]) == ("off", "on")
    assert off["highest"] < 1
    # Derived: without the card readings lie around 0.6, with it around 0.1, ten deviations away.
    assert (off["above_share"], on["above_share"]) == (1.0, 0.0)
    unsettled = peaks_of([log], [state], {"encode_cores": 0.4}, drop_s=0)
    assert unsettled["rows"][0]["highest"] == 9.0


def test_lost_readings_count_as_lost_time():
    """Rows that a log lacks are neither filled in nor passed over: their time counts as lost."""
    time_s = np.concatenate([np.arange(300.0), np.arange(330.0, 600.0)])
    rng = np.random.default_rng(1)
    log = Readings(
        "gap.csv", time_s, 1.0, None, {"host_cores": rng.uniform(1, 2, len(time_s))}, None, None,
        ReadingReport("CSV", 570, 570),
    )  # fmt: skip
    (row,) = peaks_of([log], [None], {"host_cores": 1.5})["rows"]
    # Derived: 30 s lie between the readings at 299 s and at 330 s that have none.
    assert (row["observed_s"], row["lost_s"]) == (570.0, 30.0)
    assert "5 % of the time has no readings" in " ".join(row["warnings"])


def test_thresholds_are_checked_and_have_usual_values(logs):
    """A column that has no peaks, or a threshold below 0, is refused; usual ones are there."""
    log, state = logs[0]
    usual = default_thresholds([log, host_log()], default())
    # Derived: 85 % of the example's 64 threads.
    assert usual == {"encode_cores": 0.5, "cpu_cores": 1.0, "host_cores": 54.4}
    for wrong in ({"frames_hz": 1.0}, {"encode_cores": -1.0}):
        with pytest.raises(InputError) as told:
            peaks_of([log], [state], wrong)
        assert told.value.field.startswith("thresholds")


# ----------------------------------------------------------------- demands, changes, comparison


def test_demands_are_found_and_shown():
    """The made-up host's demands lie in the table's intervals, and the residuals are thinned."""
    found, told = demands_of([host_log()], 0, None, 64.0)
    for row, true in zip(told["rows"], (0.1, 0.5), strict=True):
        # Derived: the log was made with these.
        assert row["low"] < true < row["high"]
    shown = evidence_shown.demands_shown(told, LIGHT)
    assert [row[0] for row in shown["table"]["rows"]] == [*found.names, "the host without sessions"]
    assert shown["figure"]["data"][0]["x"]
    json.dumps(told, allow_nan=False)
    x, y = thinned(np.arange(50_000.0), np.where(np.arange(50_000) == 777, 99.0, 0.5))
    assert len(x) <= MOST_POINTS
    assert y.max() == 99.0


def test_logs_that_cannot_answer_are_refused(logs):
    """A desktop's log has no host total, a log without counts no demands, and none lies beyond."""
    log, state = logs[0]
    bare = Readings(**{**vars(host_log()), "counts": {}, "columns": {"host_cores": np.ones(1200)}})
    for readings, at, cure in (
        ([log], 0, "mapped as the host's CPU"), ([bare], 0, "count the sessions"),
        ([log], 5, "one of the logs"),
    ):  # fmt: skip
        with pytest.raises(InputError, match=cure):
            demands_of(readings, at, None, None)
    with pytest.raises(InputError, match="sessions present"):
        compared_of([bare], [None], 0, default(), "software")
    with pytest.raises(InputError, match="threads, cores"):
        compared_of([host_log()], [None], 0, default(), "software", counted="dozens")
    assert evidence_results.arm_of(None) is None
    assert evidence_results.arm_of(state) is None
    assert evidence_results.arm_of(np.ones(5, dtype=int)) == "offloaded"


def test_comparison_is_kept_and_shown():
    """A made-up host is held against the model: verdict, quantiles, plot and table agree."""
    told = compared_of([host_log()], [None], 0, default(), "software")
    json.dumps(told, allow_nan=False)
    shown = evidence_shown.compared_shown(told, DARK)
    assert shown["verdict"] == told["verdict"]
    assert [row[0] for row in shown["table"]["rows"]] == ["p50", "p95", "p99"]
    line = shown["figure"]["data"][2]
    assert len(line["x"]) == len(told["levels"])
    header, rows = evidence_shown.compared_csv(told)
    assert len(rows) == len(told["levels"])
    at_95 = next(row for row in rows if row[0] == pytest.approx(95))
    assert at_95[header.index("difference 95 % low [cores]")] is not None


def test_changes_come_from_the_logs_and_mark_what_was_measured(effects):
    """Measured levels become costs with the log's name; of two to one number one is ticked."""
    role = next(at for at, each in enumerate(default().roles) if each.displays == 1)
    found = proposals_of(effects, default(), role)
    shown = evidence_shown.proposal_shown(found)
    path = "activities[full-screen video].software_ms_per_frame"
    change = next(each for each in found.changes if each.path == path)
    host = default().host
    speed = host.clock_ghz / default().reference_clock_ghz * host.relative_ipc
    # Derived: 0.6 cores over 24 frames a second, in ms of the reference core.
    assert change.low < 0.6 / 24 * 1000 * speed < change.high
    assert change.log == "b.csv"
    scenario = apply_changes(default(), found.changes)
    assert len(scenario.measured) == len(found.changes)
    twice = evidence_shown.proposal_shown(
        type(found)((*found.changes, *found.changes), found.notes)
    )
    ticked = [each["ticked"] for each in twice["changes"]]
    assert ticked == [True] * len(found.changes) + [False] * len(found.changes)
    assert all(each["ticked"] for each in shown["changes"])
    with pytest.raises(InputError, match="roles"):
        proposals_of(effects, default(), 99)
    assert proposals_of(None, default(), 0).changes == ()


# ------------------------------------------------------------------------------- the Host page


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
    evidence_results.work_out_effects(session, lambda share, what: None)
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
        ("peaks", {"scenario": scenario, "thresholds": {"cpu_cores": "x"}}, "cpu_cores"),
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
    evidence_results.work_out_effects(session, lambda share, what: None)
    question = {"scenario": dump(default()), "source": "effects", "role": 1}
    for accepted in (None, [], [999], ["0"], [True], [-1]):
        told = asked(client, "apply", **question, accepted=accepted)
        assert told["error"]["field"] == "accepted", accepted


def test_log_names_cannot_act_in_a_spreadsheet(visitor):
    """A log named like a formula is text in the saved tables."""
    client, _, session = visitor
    evidence_results.work_out_effects(session, lambda share, what: None)
    kept = session.result("effects")
    for row in kept["rows"]:
        row["log_name"] = "=1+1"
    session.keep("effects", kept)
    saved = rows_of(client.post("/evidence-data/csv/effects", json={}))
    assert saved[0]["log"] == "'=1+1"
