"""Does `python -m model evidence` print one document, and ask in one line for what is open?"""

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from model.__main__ import main
from model.evidence.mapping import CpuBase
from model.evidence.on_off import offload_effect
from model.evidence.readings import look_at, read_log

REPOSITORY = Path(__file__).resolve().parents[2]
DEMO = REPOSITORY / "demo_data" / "measurements"
TRIAL = str(DEMO / "video_call.csv")
UNMARKED = str(DEMO / "switched_by_hand.csv")
ANSWERS = ("--map", "encode_base=core", "cpu_base=desktop:2")
QUICK = ("--resamples", "50")


def printed(capsys, *argv):
    """Run the command, which succeeds, and return its document."""
    status = main(["evidence", *argv])
    out, err = capsys.readouterr()
    assert (status, err) == (0, "")

    def refuse(constant):
        raise AssertionError(f"{constant} is no JSON")

    return json.loads(out, parse_constant=refuse)["logs"]


def refused(capsys, *argv):
    """Run the command, which refuses, and return its one line."""
    try:
        status = main(["evidence", *argv])
    except SystemExit as ended:
        status = ended.code
    out, err = capsys.readouterr()
    assert (status, out, err.count("\n")) == (2, "", 1)
    return err


def test_document_holds_what_a_trial_shows(capsys):
    """Rows left out, switches, effects and peaks of a log stand in one document."""
    (log,) = printed(capsys, TRIAL, *ANSWERS, *QUICK)

    assert (log["log"], log["rows_kept"], log["offload"]["origin"]) == (
        "video_call.csv",
        956,
        "log",
    )
    assert {(each["action"], each["count"]) for each in log["findings"]} == {
        ("noted", 1), ("emptied", 3),
    }  # fmt: skip
    assert set(log["effects"]) == {"encode_cores", "cpu_cores", "frames_hz"}
    assert set(log["peaks"]["encode_cores"]) == {"all", "on", "off"}
    assert log["demands"] is None


def test_effect_is_that_of_the_model(capsys):
    """The document gives what the model's own functions give for the same log."""
    (log,) = printed(capsys, TRIAL, *ANSWERS, *QUICK, "--drop", "8")

    mapping = look_at(Path(TRIAL)).proposed.model_copy(
        update={"encode_base": CpuBase(of="core"), "cpu_base": CpuBase(of="desktop", processors=2)}
    )
    readings = read_log(Path(TRIAL), mapping)
    # Derived: the same computation without the command.
    expected = offload_effect(
        readings.columns["encode_cores"], readings.offload, readings.interval_s, 8.0,
        time_s=readings.time_s, resamples=50,
    )  # fmt: skip
    found = log["effects"]["encode_cores"]["all"]
    assert found["difference"]["value"] == expected.difference.value
    assert found["ratio"]["interval"] == list(expected.ratio.interval)


def test_switches_found_count_only_once_they_are_accepted(capsys):
    """Where the log does not name its switches, no effect is printed before someone says so."""
    (found,) = printed(capsys, UNMARKED, *ANSWERS, *QUICK)
    (accepted,) = printed(capsys, UNMARKED, *ANSWERS, *QUICK, "--accept-found")

    assert found["offload"] | {"confirmed": True} == accepted["offload"]
    assert found["offload"]["confirmed"] is False
    assert found["effects"] is None
    assert accepted["effects"]["encode_cores"]["all"]["ratio"]["value"] < 0.5


def test_switches_can_be_given(capsys):
    """The owner's own list of switches goes before what is found."""
    (log,) = printed(
        capsys, UNMARKED, *ANSWERS, *QUICK, "--switches", "53, 105,163", "--first", "on"
    )

    assert log["offload"]["spells"] == [
        {"from_s": 0.0, "state": 1}, {"from_s": 53.0, "state": 0},
        {"from_s": 105.0, "state": 1}, {"from_s": 163.0, "state": 0},
    ]  # fmt: skip
    assert log["effects"] is not None


def test_several_logs_and_a_host_are_read_at_once(capsys):
    """Answers serve all logs given; the log of a host gets its demands."""
    trial, host = printed(
        capsys, TRIAL, str(DEMO / "host_day.csv.gz"), *ANSWERS, "host_base=host:64", *QUICK
    )

    assert trial["demands"] is None
    assert host["effects"] is None
    demand = host["demands"]["activities"]["full-screen video"]
    assert demand["low_cores"] < demand["demand_cores"] < demand["high_cores"]


@pytest.mark.parametrize("how", ["text", "file"])
def test_answers_may_be_json(capsys, tmp_path, how):
    """A mapping as JSON, in the argument or in a file, says the same as single fields."""
    data = json.dumps(
        {"encode_base": {"of": "core"}, "cpu_base": {"of": "desktop", "processors": 2}}
    )
    path = tmp_path / "answers.json"
    path.write_text(data, encoding="utf-8")

    given = data if how == "text" else str(path)

    assert printed(capsys, TRIAL, "--map", given, *QUICK) == printed(
        capsys, TRIAL, *ANSWERS, *QUICK
    )


def test_column_that_is_answered_for_has_one_meaning(capsys, tmp_path):
    """An answer takes a column away from what was proposed for it."""
    path = tmp_path / "odd.csv"
    rows = "".join(f"{t},{30 + np.sin(t):.3f},{t % 2}\n" for t in range(60))
    path.write_text("elapsed s,cpu %,card\n" + rows, encoding="utf-8")

    answers = ("--map", "encode_cores=cpu %", "encode_base=core", "offload=card", *QUICK)
    (log,) = printed(capsys, str(path), *answers)

    assert log["mapping"] == {"elapsed s": "time", "cpu %": "encode_cores", "card": "offload"}


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ((), "LOG"),
        ((TRIAL,), "mapping.encode_base is None"),
        (("nowhere.csv",), "nowhere.csv"),
        ((TRIAL, "--map", "colour=red"), "--map is 'colour'"),
        ((TRIAL, "--map", "encode_base=cores"), "--map encode_base is 'cores'"),
        ((TRIAL, "--map", "encode_base=desktop"), "processors"),
        ((TRIAL, "--map", "encode_base=desktop:x"), "whole number behind the colon"),
        ((TRIAL, "--map", "encode_base=core::furlongs"), "encode_base.unit"),
        ((TRIAL, "--map", "{"), "JSON with the fields"),
        ((TRIAL, "--map", "nowhere.json"), "a file that can be read"),
        ((TRIAL, "--map", "step_s=x"), "--map step_s is 'x'"),
        ((TRIAL, *ANSWERS, "frames_hz=colour"), "mapping.frames_hz is 'colour'"),
        ((TRIAL, *ANSWERS, "--drop", "-1"), "--drop"),
        ((TRIAL, *ANSWERS, "--dwell", "0"), "--dwell is 0.0"),
        ((TRIAL, *ANSWERS, "--block", "0"), "--block is 0.0"),
        ((TRIAL, *ANSWERS, "--switches", "5000"), "--switches is 5000.0"),
        ((TRIAL, *ANSWERS, "--switches", "5,5"), "a row without another toggle"),
        ((TRIAL, *ANSWERS, "--first", "on"), "--first"),
        ((TRIAL, *ANSWERS, "--seed", "x"), "--seed"),
        ((TRIAL, *ANSWERS, "--scenario", "nowhere.json"), "scenario"),
    ],
)
def test_bad_input_ends_with_one_line_and_status_2(capsys, arguments, told):
    """What is open or wrong is named in one line, and nothing is printed as a result."""
    assert told in refused(capsys, *arguments)


def test_command_runs_as_a_program():
    """The command works as it is written in the README, in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-W", "error", "-m", "model", "evidence", TRIAL, *ANSWERS, *QUICK],
        cwd=REPOSITORY,
        capture_output=True,
        text=True,
        check=False,
    )

    assert (done.returncode, done.stderr) == (0, "")
    assert json.loads(done.stdout)["logs"][0]["log"] == "video_call.csv"
