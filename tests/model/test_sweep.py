"""Is a swept row what the scenario alone gives, once each, whoever works it out and when?"""

import csv
import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from model.__main__ import main
from model.assess import Assessment, assess
from model.day import simulate_day_both
from model.errors import CrestlineError, InputError
from model.hosts import ARMS
from model.scenario import Scenario, default, from_data, to_data
from model.sweep import MOST_ROWS_PER_PIECE, ROWS_PER_PIECE, Options, SweepReport, sweep
from model.sweep_grid import Cell, Columns, Grid, read_grid

REPOSITORY = Path(__file__).resolve().parents[2]
NAMES = [role.name for role in default().roles]  # with weights of 35, 30, 15 and 20 %


def small() -> Scenario:
    """The example on a host of 4 cores, quick to answer for."""
    data = to_data(default())
    data["host"] |= {"cores": 4, "memory_gib": 256}
    data["sessions"] = 10
    return from_data(data)


def grid_of(text: str, tmp_path: Path) -> Grid:
    """The grid of a CSV text."""
    path = tmp_path / "grid.csv"
    path.write_text(text, encoding="utf-8")
    return read_grid(path)


def many(rows: int) -> str:
    """The text of a grid of so many rows that share no curve."""
    lines = [f"{2 + row % 2},{1 + row / 8},{1 + row % 7}" for row in range(rows)]
    return "\n".join(["host.cores,accelerator.share_pct,sessions", *lines]) + "\n"


def table(path: Path) -> list[dict[str, str]]:
    """The rows of a CSV table by column."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


# ---------------------------------------------------------------------------------- what rows mean


@pytest.mark.parametrize(
    ("column", "cell", "place", "value"),
    [
        ("host.cores", "16", ("host", "cores"), 16),
        ("host.cores", "16.0", ("host", "cores"), 16),
        ("host.smt_yield", ".3", ("host", "smt_yield"), 0.3),
        ("sessions", "7", ("sessions",), 7),
        ("name", "another", ("name",), "another"),
        ("roles[1].vcpus", "4", ("roles", 1, "vcpus"), 4),
        ("roles.chart drafter.display", "2560x1440", ("roles", 2, "display"), "2560x1440"),
        ("activities.video call.spans", "all", ("activities", 7, "spans"), "all"),
        ("activities[video call].dwell_s", "3e2", ("activities", 7, "dwell_s"), 300),
        ("day.present_pct.09:00", "80", ("day", "present_pct", 2, 1), 80),
        ("day.logon_core_s", "9", ("day", "logon_core_s"), 9),
        ("targets.max_wait_pct", "2", ("targets", "max_wait_pct"), 2),
    ],
)
def test_column_sets_the_input_that_it_names(
    column: str, cell: str, place: tuple[Any, ...], value: object
) -> None:
    """A cell changes the input of its column's path, and nothing else."""
    scenario, shown = Columns(small(), [column], "grid.csv").scenario((cell,), 2)
    expected = to_data(small())
    at = expected
    for step in place[:-1]:
        at = at[step]
    at[place[-1]] = value
    assert scenario == from_data(expected)
    assert shown == [value]


def test_empty_cell_leaves_the_input() -> None:
    """An empty cell means the value of the scenario, which the table then shows."""
    scenario, shown = Columns(small(), ["host.cores"], "grid.csv").scenario((None,), 2)
    assert scenario == small()
    assert shown == [4]


def weights(columns: list[str], *cells: Cell) -> list[float]:
    """The weights of all roles with some given."""
    scenario, _ = Columns(small(), columns, "grid.csv").scenario(cells, 2)
    return [role.weight_pct for role in scenario.roles]


def test_roles_that_are_not_given_share_what_is_left() -> None:
    """With weights given for some roles, the others keep their proportions in the rest."""
    # Derived: 80 % left for 30, 15 and 20 of 65; 40 % for 15 and 20 of 35.
    one = weights([f"roles.{NAMES[0]}.weight_pct"], "20")
    assert one == pytest.approx([20, 80 * 30 / 65, 80 * 15 / 65, 80 * 20 / 65])
    two = weights(["roles[0].weight_pct", "roles[1].weight_pct"], "45", "15")
    assert two == pytest.approx([45, 15, 40 * 15 / 35, 40 * 20 / 35])
    every = weights([f"roles[{index}].weight_pct" for index in range(4)], "40", "30", "20", "10")
    assert every == [40, 30, 20, 10]
    same = weights([f"roles.{NAMES[0]}.weight_pct"], "35")
    assert same == [35, 30, 15, 20]


def test_activities_that_are_not_given_share_what_is_left() -> None:
    """An activity new to a role takes its share from the others in their proportions."""
    column = "roles.gatehouse clerk.activity_pct.video call"
    scenario, _ = Columns(small(), [column], "grid.csv").scenario(("50",), 2)
    # Derived: the habit is halved to make room.
    halved = {name: pct / 2 for name, pct in small().roles[1].activity_pct.items()}
    assert scenario.roles[1].activity_pct == pytest.approx(halved | {"video call": 50})


WRONG = [
    ("host.cores\n0\n", 'grid.csv, row 2, column "host.cores" is 0; expected a whole number'),
    ("host.cores\n8\n\nmany\n", "row 4, column \"host.cores\" is 'many'; expected a whole"),
    ("host.cores\n2.5\n", 'row 2, column "host.cores" is 2.5; expected a whole'),
    ('host.smt_yield\n"0,25"\n', "row 2, column \"host.smt_yield\" is '0,25'; expected a number"),
    ("host.smt_yield\nnan\n", "row 2, column \"host.smt_yield\" is 'nan'"),
    ("roles[0].weight_pct\n120\n", 'row 2, column "roles[0].weight_pct" is'),
    (f"roles.{NAMES[1]}.vcpus\n0\n", 'row 2, column "roles.gatehouse clerk.vcpus" is 0'),
    ("roles[0].display\nwide\n", "row 2, column \"roles[0].display\" is 'wide'; expected width"),
    ("host.cores,sessions\n1,2\n3\n", "row 3 is '1 cells'; expected 2 cells, as in the header"),
    ("host.core\n1\n", "header is 'host.core'; expected the path of an input"),
    ("host.cores;sessions\n1;2\n", "separate columns by commas"),
    ("host.cores,host.cores\n1,2\n", "header is 'host.cores'; expected one column only"),
    ("roles[0].vcpus,roles.berth planner.vcpus\n1,2\n", "expected one column only"),
    ("version\n1\n", "header is 'version'; expected the path"),
    ("host.cores\n", "grid is 'a table of 0 rows'; expected a table of 1"),
    ("", "grid is 'a table of 0 rows'"),
]


@pytest.mark.parametrize(("text", "told"), WRONG)
def test_wrong_cell_is_named_by_row_and_column(
    text: str, told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What is wrong with a grid is told in one line, nothing is written, and the status is 2."""
    (tmp_path / "grid.csv").write_text(text, encoding="utf-8")
    out = tmp_path / "out.csv"
    assert main(["sweep", str(tmp_path / "grid.csv"), "--out", str(out)]) == 2
    line = capsys.readouterr().err
    assert told in line
    assert line.count("\n") == 1
    assert [path.name for path in tmp_path.iterdir()] == ["grid.csv"]


def test_all_of_the_shares_given_must_be_100() -> None:
    """Weights given for every role are taken as they are, and must add up."""
    with pytest.raises(InputError, match=r"grid\.csv, row 2, roles\.weight_pct is 'a total of 90'"):
        weights([f"roles[{index}].weight_pct" for index in range(4)], "40", "30", "10", "10")


def test_names_that_hold_dots_are_found() -> None:
    """A role may be called anything; a path that could mean two inputs is refused."""
    data = to_data(small())
    data["roles"][0]["name"], data["roles"][1]["name"] = "a.b [c]", "0"
    scenario = from_data(data)
    columns = Columns(scenario, ["roles.a.b [c].vcpus", "roles[0].displays"], "grid.csv")
    made, _ = columns.scenario(("8", "3"), 2)
    # Derived: the path roles[0] is the first role, though the second one is called "0".
    assert (made.roles[0].vcpus, made.roles[0].displays) == (8, 3)


def test_wrong_row_may_be_kept_as_an_error(tmp_path: Path) -> None:
    """Asked to keep going, a sweep writes what is wrong with a row beside the good ones."""
    grid = grid_of("host.cores,sessions\n4,5\nmany,6\n0,7\n", tmp_path)
    report = sweep(grid, small(), tmp_path / "out.csv", 0, options=Options(keep_going=True))
    rows = table(tmp_path / "out.csv")
    assert report.errors == 2
    assert [row["row"] for row in rows] == ["2", "3", "4"]
    assert [row["host.cores"] for row in rows] == ["4", "", "0"]
    assert [row["software.rated_load"] != "" for row in rows] == [True, False, False]
    assert rows[0]["error"] == ""
    assert "row 3, column \"host.cores\" is 'many'" in rows[1]["error"]


# ---------------------------------------------------------------------------------- what rows give


def test_rows_are_what_the_scenario_alone_gives(tmp_path: Path) -> None:
    """Each row of the table holds what its scenario is assessed to, to the last bit, in order."""
    text = "sessions,host.cores,accelerator.share_pct\n12,4,100\n3,8,30\n12,4,50\n30,6,\n"
    options = Options(replicates=2, seed=5)
    sweep(grid_of(text, tmp_path), small(), tmp_path / "out.csv", 0, options=options)
    rows = table(tmp_path / "out.csv")
    assert [row["row"] for row in rows] == ["2", "3", "4", "5"]
    for row, (sessions, cores, share) in zip(
        rows, [(12, 4, 100), (3, 8, 30), (12, 4, 50), (30, 6, 100)], strict=True
    ):
        data = to_data(small())
        data["sessions"] = sessions
        data["host"]["cores"], data["accelerator"]["share_pct"] = cores, share
        found = assess(from_data(data))
        day = simulate_day_both(from_data(data), 5, 2)
        assert float(row["accelerator.share_pct"]) == share
        assert int(row["gain_sessions"]) == found.gain_sessions
        for arm in ARMS:
            rated = found.rated[arm]
            assert int(row[f"{arm}.rated_load"]) == rated.rated_load
            assert row[f"{arm}.binding_limit"] == rated.binding_limit
            assert (row[f"{arm}.missed"] == "") == (sessions <= rated.rated_load)
            assert float(row[f"{arm}.headroom_pct"]) == found.now[arm]["headroom_pct"]
            assert float(row[f"{arm}.wait_busy_pct"]) == found.now[arm]["wait_busy_pct"]
            assert float(row[f"{arm}.crest_pct"]) == day[arm].crest_pct


def test_number_of_processes_does_not_show(tmp_path: Path) -> None:
    """One process, two, or none but this one write the same bytes."""
    grid = grid_of(many(2 * ROWS_PER_PIECE + 5), tmp_path)
    written = []
    for processes in (0, 1, 2):
        out = tmp_path / f"{processes}.csv"
        report = sweep(grid, small(), out, processes)
        assert (report.rows, report.kept, report.errors) == (len(grid.rows), 0, 0)
        written.append(out.read_bytes())
    assert written[0] == written[1] == written[2]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["0.csv", "1.csv", "2.csv",
                                                                "grid.csv"]  # fmt: skip


def test_rows_that_share_a_curve_are_handed_out_together(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rows that differ in their sessions only are rated together, wherever they stand."""
    seen: list[tuple[int, int]] = []

    def noted(scenario: Scenario) -> Assessment:
        seen.append((scenario.host.cores, scenario.sessions))
        return assess(scenario)

    monkeypatch.setattr("model.sweep.assess", noted)
    lines = [f"{sessions},{cores}" for sessions in range(1, 8) for cores in (2, 3, 4)]
    text = "\n".join(["sessions,host.cores", *lines])
    told: list[int] = []
    sweep(
        grid_of(text, tmp_path), small(), tmp_path / "out.csv", 0,
        progress=lambda done, rows: told.append(done),
    )  # fmt: skip
    assert [cores for cores, _ in seen] == 7 * [2] + 7 * [3] + 7 * [4]
    # Derived: two groups of seven are at most a piece of 16, the third is one of its own.
    assert told == [0, 14, 21]
    assert [row["sessions"] for row in table(tmp_path / "out.csv")] == [
        line.split(",")[0] for line in lines
    ]


def test_many_rows_with_one_curve_are_split(tmp_path: Path) -> None:
    """Rows that share a curve are not all kept from the other processes."""
    rows = 2 * MOST_ROWS_PER_PIECE + 2
    grid = grid_of("\n".join(["sessions", *map(str, range(1, rows + 1))]), tmp_path)
    told: list[int] = []
    report = sweep(
        grid, small(), tmp_path / "out.csv", 0, progress=lambda done, rows: told.append(done)
    )
    assert told == [0, MOST_ROWS_PER_PIECE, 2 * MOST_ROWS_PER_PIECE, rows]
    assert report.rows == rows
    assert [int(row["sessions"]) for row in table(tmp_path / "out.csv")] == [*range(1, rows + 1)]


def same(one, other):
    """Whether two cells are alike; older pandas read a number's text a last bit off."""
    if isinstance(one, float) and isinstance(other, float):
        return one == pytest.approx(other, rel=1e-15)
    return one == other


def test_parquet_holds_what_csv_holds(tmp_path: Path) -> None:
    """A grid in Parquet gives what the same grid in CSV gives, and so does the table."""
    text = "host.cores,accelerator.share_pct,roles[0].display\n4,20,\n,50.5,1280x1024\n"
    grid = grid_of(text, tmp_path)
    frame = pd.DataFrame(
        {
            "host.cores": [4.0, None],
            "accelerator.share_pct": [20, 50.5],
            "roles[0].display": [None, "1280x1024"],
        }
    )
    frame.to_parquet(tmp_path / "grid.parquet")
    other = read_grid(tmp_path / "grid.parquet")
    assert other.numbers == (1, 2)
    sweep(grid, small(), tmp_path / "out.csv", 0)
    sweep(other, small(), tmp_path / "out.parquet", 0)
    one = pd.read_csv(tmp_path / "out.csv").drop(columns="row")
    two = pd.read_parquet(tmp_path / "out.parquet").drop(columns="row")
    assert two["software.rated_load"].dtype == "Int64"
    assert list(one.columns) == list(two.columns)
    for name in one.columns:
        pairs = zip(one[name], two[name], strict=True)
        assert all(same(a, b) or (pd.isna(a) and b in ("", pd.NA)) for a, b in pairs), name


def test_command_prints_how_it_went(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The command writes the table and prints how many rows it holds."""
    (tmp_path / "small.json").write_text(json.dumps(to_data(small())), encoding="utf-8")
    grid = grid_of("sessions\n5\n9\n", tmp_path)
    argv = ["sweep", str(tmp_path / grid.name), "--scenario", str(tmp_path / "small.json")]
    assert main([*argv, "--out", str(tmp_path / "out.csv"), "--processes", "1"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert (document["rows"], document["kept"], document["errors"]) == (2, 0, 0)
    assert [row["at_sessions"] for row in table(tmp_path / "out.csv")] == ["5", "9"]


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--out", "out.txt"], "a file whose name ends in .csv or .parquet"),
        (["--out", "nowhere/out.csv"], "a file in a folder that exists"),
        (["--out", "grid.csv"], "another file than the grid"),
        (["--out", "out.csv", "--processes", "0"], "a whole number from 1"),
        (["--out", "out.csv", "--scheduler", "tcp://x:1", "--processes", "2"], "beside"),
    ],
)
def test_wrong_option_is_named(
    options: list[str],
    told: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """An option that will not do is told before anything is worked out."""
    monkeypatch.chdir(tmp_path)
    grid_of("sessions\n5\n", tmp_path)
    assert main(["sweep", "grid.csv", *options]) == 2
    assert told in capsys.readouterr().err


# ------------------------------------------------------------------------------------ interruption


def stop_after(pieces: int) -> Callable[[int, int], None]:
    """A progress that interrupts the sweep once so many pieces are done."""
    told = []

    def progress(done: int, rows: int) -> None:
        told.append(done)
        if len(told) > pieces:
            raise KeyboardInterrupt

    return progress


def test_interrupted_sweep_goes_on(tmp_path: Path) -> None:
    """After an interruption the rows that are done are kept, and the table is the same."""
    grid = grid_of(many(3 * ROWS_PER_PIECE), tmp_path)
    out = tmp_path / "out.csv"
    with pytest.raises(KeyboardInterrupt):
        sweep(grid, small(), out, 0, progress=stop_after(1))
    assert not out.exists()
    report = sweep(grid, small(), out, 0)
    assert report.kept == ROWS_PER_PIECE
    sweep(grid, small(), tmp_path / "whole.csv", 0)
    assert out.read_bytes() == (tmp_path / "whole.csv").read_bytes()
    assert not list(tmp_path.glob("*.journal"))


@pytest.mark.parametrize("cut", [1, 200])
def test_journal_that_was_cut_off_is_mended(cut: int, tmp_path: Path) -> None:
    """A journal whose last row was not written to its end loses that row only."""
    grid = grid_of(many(2 * ROWS_PER_PIECE), tmp_path)
    out = tmp_path / "out.csv"
    with pytest.raises(KeyboardInterrupt):
        sweep(grid, small(), out, 0, progress=stop_after(1))
    journal = tmp_path / "out.csv.journal"
    journal.write_bytes(journal.read_bytes()[:-cut])
    assert sweep(grid, small(), out, 0).kept == ROWS_PER_PIECE - 1
    sweep(grid, small(), tmp_path / "whole.csv", 0)
    assert out.read_bytes() == (tmp_path / "whole.csv").read_bytes()


def test_journal_of_another_sweep_is_left_alone(tmp_path: Path) -> None:
    """A sweep does not go on where another one ended, nor does it overwrite what it finds."""
    grid = grid_of(many(2 * ROWS_PER_PIECE), tmp_path)
    out = tmp_path / "out.csv"
    with pytest.raises(KeyboardInterrupt):
        sweep(grid, small(), out, 0, progress=stop_after(1))
    journal = tmp_path / "out.csv.journal"
    kept = journal.read_bytes()
    with pytest.raises(InputError, match="of another options"):
        sweep(grid, small(), out, 0, options=Options(replicates=1))
    with pytest.raises(InputError, match="of another scenario"):
        sweep(grid, default(), out, 0)
    assert journal.read_bytes() == kept
    journal.write_text("my notes\n", encoding="utf-8")
    with pytest.raises(InputError, match="the journal of this sweep; delete it"):
        sweep(grid, small(), out, 0)
    assert journal.read_text(encoding="utf-8") == "my notes\n"


@pytest.mark.skipif(sys.platform == "win32", reason="files are locked in another way there")
def test_two_sweeps_do_not_write_one_table(tmp_path: Path) -> None:
    """While one sweep writes a table, another one is refused."""
    grid = grid_of(many(ROWS_PER_PIECE), tmp_path)
    out = tmp_path / "out.csv"
    refused = []

    def meanwhile(done: int, rows: int) -> None:
        with pytest.raises(InputError, match="no other sweep writes") as error:
            sweep(grid, small(), out, 0)
        refused.append(error)

    sweep(grid, small(), out, 0, progress=meanwhile)
    assert len(refused) == 2


@pytest.mark.slow
def test_killed_sweep_goes_on(tmp_path: Path) -> None:
    """A sweep that is killed with its processes at work goes on with the same command."""
    (tmp_path / "small.json").write_text(json.dumps(to_data(small())), encoding="utf-8")
    grid = grid_of(many(12 * ROWS_PER_PIECE), tmp_path)
    out, journal = tmp_path / "out.csv", tmp_path / "out.csv.journal"
    command = [sys.executable, "-m", "model", "sweep", str(tmp_path / grid.name), "--out", str(out)]
    command += ["--scenario", str(tmp_path / "small.json"), "--processes", "1"]
    with subprocess.Popen(command, cwd=REPOSITORY) as running:
        deadline = time.monotonic() + 60
        while not (journal.exists() and journal.read_bytes().count(b"\n") > ROWS_PER_PIECE):
            assert running.poll() is None, "it ended before it could be killed"
            assert time.monotonic() < deadline
            time.sleep(0.01)
        running.kill()
    assert not out.exists()
    report = sweep(grid, small(), out, 1)
    assert ROWS_PER_PIECE <= report.kept < len(grid.rows)
    numbers = [int(row["row"]) for row in table(out)]
    assert numbers == list(range(2, len(grid.rows) + 2))


# ----------------------------------------------------------------------------------------- cluster


@pytest.fixture
def cluster() -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """A scheduler with two workers of their own: its address, and the workers' processes."""
    with closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    address = f"tcp://127.0.0.1:{port}"
    path = os.pathsep.join([str(REPOSITORY), os.environ.get("PYTHONPATH", "")])
    surroundings = os.environ | {"OPENBLAS_NUM_THREADS": "1", "PYTHONPATH": path}
    commands = [["scheduler", "--host", "127.0.0.1", "--port", str(port), "--no-dashboard"]]
    commands += 2 * [["worker", address, "--no-nanny", "--nthreads", "1", "--no-dashboard"]]
    started = [
        subprocess.Popen(
            [sys.executable, "-m", "dask", *command],
            cwd=REPOSITORY,
            env=surroundings,
            stderr=subprocess.DEVNULL,
        )
        for command in commands
    ]
    try:
        yield address, started[1:]
    finally:
        for each in started:
            each.kill()
            each.wait()


@pytest.mark.slow
def test_cluster_loses_no_row_with_a_worker(
    cluster: tuple[str, list[subprocess.Popen[bytes]]], tmp_path: Path
) -> None:
    """With one of two workers stopped midway, a cluster's table has every row once."""
    from distributed import Client

    address, workers = cluster
    with Client(address, timeout=60, set_as_default=False) as client:
        client.wait_for_workers(2, timeout=60)
    grid = grid_of(many(10 * ROWS_PER_PIECE), tmp_path)
    killed_at = []

    def progress(done: int, rows: int) -> None:
        if done >= 2 * ROWS_PER_PIECE and not killed_at:
            assert workers[0].poll() is None
            workers[0].send_signal(signal.SIGKILL)
            killed_at.append(done)

    report = sweep(grid, small(), tmp_path / "c.csv", scheduler=address, progress=progress)
    assert killed_at[0] < report.rows == len(grid.rows)
    assert workers[1].poll() is None
    sweep(grid, small(), tmp_path / "here.csv", 1)
    assert (tmp_path / "c.csv").read_bytes() == (tmp_path / "here.csv").read_bytes()


def test_scheduler_that_does_not_answer_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where no scheduler answers, the address is named and nothing is left behind."""
    monkeypatch.setattr("model.sweep_cluster._PATIENCE_S", 1)
    grid = grid_of("sessions\n5\n", tmp_path)
    with pytest.raises(InputError, match="the address of a Dask scheduler that answers"):
        sweep(grid, small(), tmp_path / "out.csv", scheduler="tcp://127.0.0.1:9")
    assert [path.name for path in tmp_path.iterdir()] == ["grid.csv"]


def test_processes_that_die_are_replaced(tmp_path: Path) -> None:
    """A process that is killed midway costs no row."""
    grid = grid_of(many(8 * ROWS_PER_PIECE), tmp_path)
    killed: list[int] = []

    def progress(done: int, rows: int) -> None:
        if done and not killed:
            killed.extend(_children())
            for process in killed:
                os.kill(process, signal.SIGKILL)

    report: SweepReport = sweep(grid, small(), tmp_path / "out.csv", 1, progress=progress)
    assert killed
    assert report.rows == len(table(tmp_path / "out.csv")) == len(grid.rows)


def _children() -> list[int]:
    import multiprocessing

    return [child.pid for child in multiprocessing.active_children() if child.pid]


def test_processes_that_die_again_and_again_are_told(tmp_path: Path) -> None:
    """Where every process dies, the sweep says so instead of trying for ever."""

    class Deadly(str):
        """A text that ends the process which unpacks it."""

        def __reduce__(self) -> tuple[Any, ...]:
            return os._exit, (1,)

    deadly = Grid("deadly", ("sessions",), ((Deadly("5"),),), (2,))
    with pytest.raises(CrestlineError, match="end early again and again"):
        sweep(deadly, small(), tmp_path / "out.csv", 1)
