"""Do the commands print one JSON document each, and say in one line what is wrong?"""

import io
import json
import subprocess
import sys
from pathlib import Path

import pytest

from model.__main__ import main
from model.saturation import saturation_curve
from model.scenario import default, from_data, to_data
from model.targets import rated_load

REPOSITORY = Path(__file__).resolve().parents[2]
ARMS = ("software", "offloaded")
CURVE_ARRAYS = [
    "sessions",
    "cpu_mean_pct",
    "cpu_p95_pct",
    "cpu_p99_pct",
    "headroom_pct",
    "overload_probability",
    "wait_mean_pct",
    "wait_busy_pct",
    "frames_mean_pct",
    "frames_busy_pct",
    "stretch_mean",
    "slots_mean",
]


def small():
    """Return the default's data on a host of four cores, quick to answer for."""
    data = to_data(default())
    data["host"] |= {"cores": 4, "memory_gib": 256}
    return data


@pytest.fixture
def small_file(tmp_path):
    """A scenario file that is quick to answer for."""
    path = tmp_path / "small.json"
    path.write_text(json.dumps(small()), encoding="utf-8")
    return str(path)


def printed(capsys, *argv):
    """Run a command that succeeds and return its document."""
    status = main(list(argv))
    out, err = capsys.readouterr()
    assert (status, err) == (0, "")

    def refuse(constant):
        raise AssertionError(f"{constant} is no JSON")

    return json.loads(out, parse_constant=refuse)


def refused(capsys, *argv):
    """Run a command that is refused and return its one line."""
    try:
        status = main(list(argv))
    except SystemExit as stop:
        status = stop.code
    out, err = capsys.readouterr()
    assert (status, out) == (2, "")
    assert err.endswith("\n")
    assert err[:-1].isprintable()
    return err[:-1]


def run(*argv, text=None):
    """Run the command as a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "model", *argv],
        cwd=REPOSITORY,
        input=text,
        capture_output=True,
        encoding="utf-8",
    )


def station(**fields):
    """Return the text of a station of four sources on one core with fields replaced."""
    plain = {"sources": [4], "service_s": [0.01], "think_s": [0.09], "capacity": [0, 1]}
    return json.dumps({name: value for name, value in (plain | fields).items() if value != "none"})


@pytest.fixture
def given_in(monkeypatch):
    """Put text on standard input."""

    def put(text):
        content = text if isinstance(text, bytes) else text.encode()
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(content)))

    return put


# ---------------------------------------------------------------------------------- documents


def test_default_prints_the_default_scenario(capsys):
    """`default` prints a scenario that opens as the default one."""
    assert from_data(printed(capsys, "default")) == default()


def test_curve_prints_both_arms(capsys, small_file):
    """`curve` prints the named arrays of both arms, one entry for each number of sessions."""
    document = printed(capsys, "curve", small_file, "--sessions", "3:12")

    assert list(document) == list(ARMS)
    scenario = from_data(small())
    for arm in ARMS:
        assert list(document[arm]) == CURVE_ARRAYS
        assert document[arm]["sessions"] == list(range(3, 13))
        curve = saturation_curve(scenario, arm, list(range(3, 13)))
        for name in CURVE_ARRAYS:
            assert document[arm][name] == getattr(curve, name).tolist()


def test_curve_goes_to_200_sessions_unasked(capsys, small_file):
    """`curve` alone prints 1 to 200 sessions."""
    document = printed(capsys, "curve", small_file)

    assert document["software"]["sessions"] == list(range(1, 201))


def test_rate_prints_both_arms(capsys, small_file):
    """`rate` prints rated load, binding limit and the row of the curve there."""
    document = printed(capsys, "rate", small_file)

    for arm in ARMS:
        rated = rated_load(from_data(small()), arm)
        assert document[arm] == {
            "rated_load": rated.rated_load,
            "binding_limit": rated.binding_limit,
            "row": rated.row,
        }
        assert document[arm]["row"]["sessions"] == rated.rated_load


def test_what_is_infinite_is_printed_as_null(capsys, given_in):
    """A host without the graphics memory its roles ask for prints null, not Infinity."""
    data = small()
    data["roles"][0]["gpu_memory_gib"] = 1
    given_in(json.dumps(data))

    row = printed(capsys, "rate", "-")["software"]["row"]
    assert row["gpu_memory_pct"] is None


def test_station_prints_the_exact_station(capsys, given_in):
    """`station` prints response, rate, queue and utilisation of the machine repair model."""
    given_in(station())
    document = printed(capsys, "station", "-")

    # Derived: P(n) is proportional to 4! / (4 - n)! / 9**n.
    weights = [1, 4 / 9, 12 / 81, 24 / 729, 24 / 6561]
    pmf = [weight / sum(weights) for weight in weights]
    assert document["queue_pmf"] == pytest.approx(pmf, rel=1e-12)
    assert document["utilisation"] == pytest.approx(1 - pmf[0], rel=1e-12)
    # Derived: each source completes a quarter of the work; response from the cycle's length.
    assert document["throughput_hz"] == pytest.approx([(1 - pmf[0]) / 0.01 / 4], rel=1e-12)
    cycle_s = 1 / document["throughput_hz"][0]
    assert document["response_s"] == pytest.approx([cycle_s - 0.09], rel=1e-9)
    assert list(document) == ["response_s", "throughput_hz", "queue_pmf", "utilisation"]


def test_station_takes_periods(capsys, given_in):
    """With periods in place of think times, sources that fit keep their period."""
    given_in(station(think_s="none", period_s=[0.1], capacity=[0, 1, 2, 3, 4]))
    document = printed(capsys, "station", "-")

    # Derived: each of four sources has a core of its own, so a burst takes its 10 ms.
    assert document["response_s"] == pytest.approx([0.01], rel=1e-9)
    assert document["throughput_hz"] == pytest.approx([10], rel=1e-3)


def test_station_takes_constant_bursts(capsys, given_in):
    """Without phases a source that is done in time keeps its period exactly."""
    given_in(station(think_s="none", period_s=[0.1], burst_phases=None))
    document = printed(capsys, "station", "-")

    assert document["throughput_hz"] == pytest.approx([10], rel=1e-6)


def test_station_without_sources_is_idle(capsys, given_in):
    """No source, no queue."""
    given_in(station(sources=[], service_s=[], think_s=[]))

    assert printed(capsys, "station", "-") == {
        "response_s": [],
        "throughput_hz": [],
        "queue_pmf": [1.0],
        "utilisation": 0.0,
    }


def test_day_prints_both_arms(capsys, given_in):
    """`day` prints the same day for the same seed, both arms."""
    data = small() | {"sessions": 6}
    data["day"] |= {"start": "07:00", "end": "07:20", "present_pct": [["07:00", 50], ["07:20", 90]]}
    documents = []
    for _ in range(2):
        given_in(json.dumps(data))
        documents.append(printed(capsys, "day", "-", "--seed", "3", "--replicates", "2"))

    assert list(documents[0]) == list(ARMS)
    assert documents[0] == documents[1]
    assert documents[0]["software"].keys() == documents[0]["offloaded"].keys()


def test_process_pipes_into_another():
    """What `default` prints is what the other commands read from standard input."""
    first = run("default")
    assert (first.returncode, first.stderr) == (0, "")

    second = run("curve", "-", "--sessions", "1:2", text=first.stdout)
    assert (second.returncode, second.stderr) == (0, "")
    assert json.loads(second.stdout)["software"]["sessions"] == [1, 2]


def test_file_may_begin_with_a_byte_order_mark(capsys, given_in):
    """A file as some editors write it is read as well."""
    given_in(b"\xef\xbb\xbf" + station().encode())

    assert printed(capsys, "station", "-")["utilisation"] > 0


# ----------------------------------------------------------------------------------- refusals

WRONG_ARGUMENTS = [
    ([], "COMMAND"),
    (["sail"], "'sail'"),
    (["curve"], "SCENARIO.json"),
    (["station"], "STATION.json"),
    (["default", "more"], "more"),
    (["rate", "a.json", "--session\n", "5"], "--session"),
    (["curve", "a.json", "--sess", "1:2"], "--sess"),
    (["day", "a.json", "--seed"], "--seed"),
]


@pytest.mark.parametrize(("argv", "told"), WRONG_ARGUMENTS)
def test_wrong_arguments_give_one_line(capsys, argv, told):
    """What cannot be understood on the command line is told in one line."""
    assert told in refused(capsys, *argv)


WRONG_OPTIONS = [
    (["curve", "--sessions", text], "--sessions", "whole numbers from 1 to 100000")
    for text in ("", "5", "5:", ":5", "0:5", "5:1", "1:100001", "-1:5", "a:b", "1:2:3", "1.5:2")
]
WRONG_OPTIONS += [
    (["day", "--seed", text], "--seed", "from 0 to 4294967295")
    for text in ("one", "1.5", "4294967296")
]
WRONG_OPTIONS += [
    (["day", "--replicates", text], "--replicates", "from 1 to 1000")
    for text in ("0", "1001", "many", "9" * 99)
]


@pytest.mark.parametrize(("argv", "field", "expected"), WRONG_OPTIONS)
def test_wrong_option_is_named(capsys, small_file, argv, field, expected):
    """An option out of range names itself, its value and the range."""
    line = refused(capsys, argv[0], small_file, f"{argv[1]}={argv[2]}")

    assert f"{field} is " in line
    assert expected in line


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "reading stopped at line 1"),
        ("{", "reading stopped at line 1"),
        ("[]", "a record with named fields"),
        ("7", "a record with named fields"),
        (b"\xff\xfe{", "UTF-8"),
        ("[" * 100_000, "less deeply nested"),
        ('{"sessions": ' + "9" * 5000 + "}", "common length"),
        (" " * 4_000_001, "at most 4000000 bytes"),
        ('{"version": 3}', "version is 3"),
        ('{"version": 1}', "name is None"),
    ],
    ids=range(10),
)
@pytest.mark.parametrize("command", ["curve", "rate", "day"])
def test_unreadable_scenario_is_refused(capsys, given_in, command, text, told):
    """What is no scenario is refused in one line, whatever it is."""
    given_in(text)

    assert told in refused(capsys, command, "-")


def test_file_that_cannot_be_read_is_named(capsys, tmp_path):
    """A missing file, a folder and an impossible name are told by name."""
    for path in (str(tmp_path / "missing.json"), str(tmp_path), "a\0b"):
        line = refused(capsys, "rate", path)
        assert "scenario is " in line
        assert "a file that can be read" in line


WRONG_STATIONS = [
    # fields replaced, the field named
    ({"sources": "none"}, "sources is None"),
    ({"service_s": "none"}, "service_s is None"),
    ({"capacity": "none"}, "capacity is None"),
    ({"think_s": "none"}, "think_s or period_s is None"),
    ({"period_s": [1]}, "think_s or period_s is 'both'"),
    ({"burst_phases": 4}, "burst_phases is 4"),
    ({"think_s": "none", "period_s": [1], "burst_phases": 0}, "burst_phases is 0"),
    ({"think_s": "none", "period_s": [1], "burst_phases": "4"}, "burst_phases is '4'"),
    ({"think_s": "none", "period_s": [0]}, "period_s[0] is 0"),
    ({"think_s": "none", "period_s": [1, 1]}, "period_s is '2 entries'"),
    ({"stations": 1}, "stations is 1"),
    ({"sources": 4}, "sources is 4"),
    ({"sources": "4"}, "sources is '4'"),
    ({"sources": [1.5]}, "sources[0] is 1.5"),
    ({"sources": [-1]}, "sources[0] is -1"),
    ({"sources": [True]}, "sources[0] is True"),
    ({"sources": ["4"]}, "sources[0] is '4'"),
    ({"sources": [10**400]}, "sources[0] is 1000"),
    ({"sources": [10**7]}, "sources[0] is 10000000"),
    ({"service_s": [-1]}, "service_s[0] is -1"),
    ({"service_s": [float("nan")]}, "service_s[0] is nan"),
    ({"service_s": [float("inf")]}, "service_s[0] is inf"),
    ({"service_s": [1, 1]}, "service_s is "),
    ({"service_s": [0], "think_s": [0]}, "think_s[0] is 0"),
    ({"think_s": [[1]]}, "think_s[0] is [1]"),
    ({"capacity": []}, "capacity is []"),
    ({"capacity": [1, 1]}, "capacity[0] is 1"),
    ({"capacity": [0, 0]}, "capacity[1] is 0"),
]


@pytest.mark.parametrize(
    ("fields", "told"), WRONG_STATIONS, ids=[told for _, told in WRONG_STATIONS]
)
def test_wrong_station_is_named_by_field(capsys, given_in, fields, told):
    """Each field of a station that will not do is named with its value."""
    given_in(station(**fields))
    line = refused(capsys, "station", "-")

    assert told in line
    assert "; expected " in line


def test_bad_input_ends_the_process_with_status_2():
    """The process itself ends with status 2, nothing printed and one line of error."""
    data = small()
    data["host"]["cores"] = 4_097
    done = run("rate", "-", text=json.dumps(data))

    assert (done.returncode, done.stdout) == (2, "")
    expected = "host.cores is 4097; expected a whole number from 1 to 4096 cores."
    assert done.stderr == f"python -m model: {expected}\n"


# --------------------------------------------------------------------------------------- help


def test_help_describes_each_command_with_an_example(capsys):
    """The help lists every command, and an example for each."""
    with pytest.raises(SystemExit) as stop:
        main(["--help"])
    out, err = capsys.readouterr()

    assert (stop.value.code, err) == (0, "")
    for command in ("default", "curve", "rate", "station", "day"):
        assert f"\n    {command} " in out
        assert f"python -m model {command}" in out
    assert "validate on your own hosts" in out


@pytest.mark.parametrize("command", ["default", "curve", "rate", "station", "day"])
def test_each_command_has_its_own_help(capsys, command):
    """Each command explains itself with an example."""
    with pytest.raises(SystemExit) as stop:
        main([command, "--help"])

    assert stop.value.code == 0
    assert f"example:\n  {'echo' if command == 'station' else f'python -m model {command}'}" in (
        capsys.readouterr().out
    )
