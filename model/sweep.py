"""What does Crestline answer for every row of a grid of scenarios?

`sweep` rates each row, both arms, in processes of this machine or on a Dask cluster, and writes
one table. Rows are handed out in small pieces, those that are alike together; each row that is
done goes into a journal, so that an interrupted sweep goes on where it was. A row's result depends
on nothing but the row, whoever works it out.
"""

import dataclasses
import hashlib
import json
import math
import re
import time
from collections.abc import Callable, Generator, Iterator
from contextlib import closing
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby
from pathlib import Path
from typing import Any

import numpy as np

from model.assess import Assessment, assess
from model.day import simulate_day_both
from model.errors import CrestlineError, InputError
from model.hosts import ARMS, Arm
from model.processes import MOST_PROCESSES, in_processes
from model.scenario import Scenario, canonical, load
from model.sweep_cluster import on_cluster
from model.sweep_grid import SAME_CURVE, Cell, Columns, Grid
from model.sweep_journal import Journal, Row
from model.sweep_table import check_out, write_table
from model.targets import limits_missed

ROWS_PER_PIECE = 16  # our choice: a second's work, so that little is lost and workers end together
MOST_ROWS_PER_PIECE = 64  # where they share a curve
_NOW = (
    "cpu_mean_pct",
    "cpu_p95_pct",
    "headroom_pct",
    "wait_busy_pct",
    "frames_busy_pct",
    "network_busy_pct",
    "memory_pct",
    "gpu_memory_pct",
)
_DAY = ("crest_pct", "minutes_above_100_pct")
_OTHER_RELEASE = (
    "A process that shares the work has another release of Crestline, or other files of it, than "
    "this one; install the same for all of them and begin anew."
)
_Answers = Generator[tuple[str, list[Row]], None, None]


@dataclass(frozen=True)
class Options:
    """How rows are worked out.

    Parameters
    ----------
    keep_going : bool
        Whether a row that will not do gets its error into a column, instead of ending the sweep.
    replicates : int, 0 to 1000
        Days simulated for each row, for the crest; none with 0. [days]
    seed : int, 0 or more
        Start of their random numbers. [-]
    """

    keep_going: bool = False
    replicates: int = 0
    seed: int = 1


@dataclass(frozen=True)
class SweepReport:
    """What a sweep did.

    Parameters
    ----------
    out : str
        The table's file.
    rows, kept, errors : int
        Rows in it; those that an earlier run had done; those that would not do.
    seconds : float
        Time that this run took. [s]
    rows_per_s : float
        Rows that this run worked out, by that time. [1/s]
    """

    out: str
    rows: int
    kept: int
    errors: int
    seconds: float
    rows_per_s: float


@dataclass(frozen=True)
class _Piece:
    """Some rows, with all that is needed to rate them anywhere."""

    scenario: str
    grid: str
    columns: tuple[str, ...]
    options: Options
    rows: tuple[tuple[int, int, tuple[Cell, ...]], ...]  # place, number in the file, cells


def sweep(
    grid: Grid,
    scenario: Scenario,
    out: Path,
    processes: int | None = None,
    scheduler: str | None = None,
    options: Options = Options(),
    progress: Callable[[int, int], None] = lambda done, rows: None,
) -> SweepReport:
    """Rate every row of a grid and write the table.

    Parameters
    ----------
    grid : Grid
        The grid.
    scenario : Scenario
        What its rows differ from.
    out : Path
        The table to write, .csv or .parquet; it appears once it is whole. Until then there is a
        journal beside it, and the same call goes on where the last one ended.
    processes : int, 0 to 256, or None
        Processes of this machine that share the work; 0 does it here, None has one for each
        core. [processes]
    scheduler : str or None
        Address of a Dask scheduler whose workers do it instead.
    options : Options
        How rows are worked out.
    progress : callable
        Told the rows that are done and all of them, at every piece; what it raises ends the
        sweep, which can go on later.

    Raises
    ------
    InputError
        For a column or a cell that will not do (unless errors are wanted as a column), a file
        that cannot be written, or the journal of another sweep.
    CrestlineError
        Where processes or the cluster fail again and again; what is done is kept.

    Notes
    -----
    Values are those of `model.assess.assess` to the last bit on processes of this machine, each
    of which adds up with one thread; another machine's libraries may round otherwise.
    """
    begun = time.perf_counter()
    check_out(out)
    if processes is not None and not 0 <= processes <= MOST_PROCESSES:
        expected = f"a whole number from 0 to {MOST_PROCESSES}"
        raise InputError("processes", processes, expected)
    columns = Columns(scenario, grid.columns, grid.name)
    if not options.keep_going:  # sooner now than after hours
        for cells, number in zip(grid.rows, grid.numbers, strict=True):
            columns.scenario(cells, number)
    journal = Journal(out.with_name(f"{out.name}.journal"), _about(grid, scenario, options))
    finished = False
    try:
        pieces = list(_pieces(grid, columns, scenario, options, journal))
        if scheduler is not None:
            answers: _Answers = on_cluster(rate_rows, pieces, scheduler)
        elif processes == 0:
            answers = (rate_rows(piece) for piece in pieces)
        else:
            answers = in_processes(rate_rows, pieces, processes)
        progress(len(journal), len(grid.rows))
        with closing(answers):
            for release, rows in answers if pieces else ():
                if release != fingerprint():
                    raise CrestlineError(_OTHER_RELEASE)
                journal.add(rows)
                progress(len(journal), len(grid.rows))
        lines = (journal.cells(index) for index in range(len(grid.rows)))
        errors = write_table(out, _header(columns, options), lines)
        finished = True
    finally:
        journal.close(delete=finished or not len(journal))
    took = time.perf_counter() - begun
    done = len(grid.rows) - journal.kept
    return SweepReport(str(out), len(grid.rows), journal.kept, errors, took, done / took)


# ------------------------------------------------------------------------------------ one row


def rate_rows(piece: _Piece) -> tuple[str, list[Row]]:
    """Return the release that answers, and the place and cells of each row of a piece.

    Parameters
    ----------
    piece : _Piece
        The rows.
    """
    columns = _columns(piece.scenario, piece.columns, piece.grid)
    options = piece.options
    rows: list[Row] = []
    for place, number, cells in piece.rows:
        error = ""
        try:
            scenario, shown = columns.scenario(cells, number)
            values = _values(scenario, options)
        except InputError as refused:
            if not options.keep_going:
                raise
            shown, error = columns.as_given(cells), str(refused)
            values = [None] * len(_result_columns(options))
        rows.append((place, [number, *shown, *values, *([error] if options.keep_going else [])]))
    return fingerprint(), rows


@lru_cache(maxsize=2)
def _columns(scenario: str, names: tuple[str, ...], grid: str) -> Columns:
    return Columns(load(scenario), names, grid)


def _values(scenario: Scenario, options: Options) -> list[Any]:
    found = assess(scenario)
    values: list[Any] = [scenario.sessions]
    for arm in ARMS:
        rated = found.rated[arm]
        values += [rated.rated_load, rated.limit, rated.binding_limit, _missed(found, arm)]
        values += [found.now[arm][name] for name in _NOW]
    values += [found.gain_sessions, found.gain_pct]
    if options.replicates:
        day = simulate_day_both(scenario, options.seed, options.replicates)
        values += [getattr(day[arm], name) for arm in ARMS for name in _DAY]
    return [
        None if isinstance(value, float) and not math.isfinite(value) else value for value in values
    ]


def _missed(found: Assessment, arm: Arm) -> str:
    at = found.curves[arm].sessions == found.scenario.sessions
    limits = limits_missed(found.scenario, found.curves[arm])
    return " ".join(name for name, missed in limits.items() if missed[at].any())


def _result_columns(options: Options) -> dict[str, type]:
    columns: dict[str, type] = {"at_sessions": int}
    for arm in ARMS:
        columns |= {f"{arm}.rated_load": int}
        columns |= {f"{arm}.{name}": str for name in ("limit", "binding_limit", "missed")}
        columns |= {f"{arm}.{name}": float for name in _NOW}
    columns |= {"gain_sessions": int, "gain_pct": float}
    if options.replicates:
        columns |= {f"{arm}.{name}": float for arm in ARMS for name in _DAY}
    return columns


def _header(columns: Columns, options: Options) -> list[tuple[str, type]]:
    """Name and kind of each column of the table; a grid may have one that results have too."""
    header: list[tuple[str, type]] = [("row", int)]
    header += [(name, columns.kind(at)) for at, name in enumerate(columns.names)]
    header += list(_result_columns(options).items())
    return header + ([("error", str)] if options.keep_going else [])


# ------------------------------------------------------------------------------ sharing the work


def _pieces(
    grid: Grid, columns: Columns, scenario: Scenario, options: Options, journal: Journal
) -> Iterator[_Piece]:
    """The rows that are left, those in one piece that share a curve, and like pieces in a row."""
    text = canonical(scenario)
    order = sorted(range(len(grid.columns)), key=columns.rank)
    curve = [at for at in order if columns.rank(at) < SAME_CURVE]

    def likeness(index: int) -> list[str]:
        return [repr(grid.rows[index][at]) for at in order]

    def piece(some: list[int]) -> _Piece:
        rows = tuple((index, grid.numbers[index], grid.rows[index]) for index in some)
        return _Piece(text, grid.name, grid.columns, options, rows)

    left = sorted((index for index in range(len(grid.rows)) if index not in journal), key=likeness)
    waiting: list[int] = []
    for _, alike in groupby(left, key=lambda index: [repr(grid.rows[index][at]) for at in curve]):
        group = list(alike)
        if waiting and len(waiting) + len(group) > ROWS_PER_PIECE:
            yield piece(waiting)
            waiting = []
        waiting += group
        while len(waiting) > MOST_ROWS_PER_PIECE:
            yield piece(waiting[:MOST_ROWS_PER_PIECE])
            waiting = waiting[MOST_ROWS_PER_PIECE:]
    if waiting:
        yield piece(waiting)


# ----------------------------------------------------------------------------------- the files


@lru_cache(maxsize=1)
def fingerprint() -> str:
    """Return a digest of what a row's result depends on: our source that is used, and numpy."""
    folder = Path(__file__).parent
    sources: dict[str, bytes] = {}
    left = ["sweep"]
    while left:
        name = left.pop()
        if name not in sources:
            sources[name] = (folder / f"{name}.py").read_bytes()
            text = sources[name].decode()
            left += re.findall(r"^from model\.(\w+) import", text, re.MULTILINE)
            left += re.findall(r"^from model import (\w+)$", text, re.MULTILINE)
    digest = hashlib.sha256(np.__version__.encode())
    for name in sorted(sources):
        digest.update(sources[name])
    return digest.hexdigest()


def _about(grid: Grid, scenario: Scenario, options: Options) -> dict[str, Any]:
    """What rows of a journal depend on."""
    table = hashlib.sha256(json.dumps([grid.columns, grid.numbers]).encode())
    for cells in grid.rows:
        table.update(json.dumps(cells).encode())
    return {
        "grid": table.hexdigest(),
        "scenario": hashlib.sha256(canonical(scenario).encode()).hexdigest(),
        "options": dataclasses.asdict(options),
        "release": fingerprint(),
    }
