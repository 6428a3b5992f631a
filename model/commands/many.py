"""What do the commands that work out many scenarios take and answer?"""

import argparse
import os
import sys
from pathlib import Path
from typing import Any

from model.commands.command import Command, add_scenario, add_seed
from model.commands.given import MOST_REPLICATES, MOST_SEED, scenario_in, whole
from model.errors import InputError

_MOST_TOTAL = 100_000_000


def _add_uncertainty(parser: argparse.ArgumentParser) -> None:
    add_scenario(parser)
    parser.add_argument("--draws", default="500", help="how many scenarios to draw (default: 500)")
    add_seed(parser)
    parser.add_argument(
        "--processes", default="2", help="how many processes share the work (default: 2)"
    )
    parser.add_argument("--total", help="sessions of the whole fleet; with it hosts are counted")


def _uncertainty(arguments: argparse.Namespace) -> Any:
    from model.sensitivity import ranking
    from model.uncertainty import FEWEST_DRAWS, MOST_DRAWS, MOST_PROCESSES, propagate

    scenario = scenario_in(arguments.scenario)
    draws = whole("--draws", arguments.draws, FEWEST_DRAWS, MOST_DRAWS)
    seed = whole("--seed", arguments.seed, 0, MOST_SEED)
    processes = whole("--processes", arguments.processes, 1, MOST_PROCESSES)
    total = None
    if arguments.total is not None:
        total = whole("--total", arguments.total, 1, _MOST_TOTAL)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # of the processes: products are small
    told = _told if sys.stderr.isatty() else None
    found = propagate(scenario, draws, seed, processes, total_sessions=total, progress=told)
    assert found is not None  # nobody cancels it
    document: dict[str, Any] = {"draws": draws, "seed": seed, "sessions": found.sessions}
    for arm, answers in found.answers.items():
        document[arm] = {name: each.band for name, each in answers.items()}
        document[arm] |= {"limits": found.limits[arm], "curves": found.curves[arm]}
        document[arm]["carries_nobody"] = found.carries_nobody[arm]
        document[arm]["ranking"] = {name: ranking(found, name, arm) for name in answers}
    difference = found.differences.items()
    document["difference"] = {name: each.band for name, each in difference}
    document["difference"]["ranking"] = {name: ranking(found, name) for name, _ in difference}
    return document


def _told(done: int, total: int) -> None:
    print(f"\r{done} of {total}", end="" if done < total else "\n", file=sys.stderr, flush=True)


def _add_sweep(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "grid",
        metavar="GRID",
        help=".csv or .parquet; each column is an input by its path in the scenario, such as "
        "host.cores, accelerator.share_pct or roles.NAME.weight_pct; an empty cell leaves the "
        "input as it is; shares that a row does not give keep their total at 100 %%",
    )
    parser.add_argument(
        "--out",
        metavar="FILE",
        required=True,
        help=".csv or .parquet; a journal beside it lets the same command go on if interrupted",
    )
    parser.add_argument(
        "--scenario", metavar="SCENARIO.json", help="what rows differ from (default: the example)"
    )
    parser.add_argument("--processes", help="processes of this machine (default: one a core)")
    parser.add_argument(
        "--scheduler", metavar="ADDRESS", help="a Dask cluster that runs already: tcp://HOST:8786"
    )
    parser.add_argument(
        "--keep-going",
        action="store_true",
        help="write what is wrong with a row into a column instead of stopping",
    )
    parser.add_argument(
        "--replicates", default="0", help="days simulated for each row's crest (default: 0, none)"
    )
    add_seed(parser, "their")


def _sweep(arguments: argparse.Namespace) -> Any:
    from model.processes import MOST_PROCESSES
    from model.sweep import Options, sweep
    from model.sweep_grid import read_grid

    processes = None
    if arguments.processes is not None:
        if arguments.scheduler is not None:
            expected = "no such choice beside --scheduler"
            raise InputError("--processes", arguments.processes, expected)
        processes = whole("--processes", arguments.processes, 1, MOST_PROCESSES)
    options = Options(
        keep_going=arguments.keep_going,
        replicates=whole("--replicates", arguments.replicates, 0, MOST_REPLICATES),
        seed=whole("--seed", arguments.seed, 0, MOST_SEED),
    )
    scenario = scenario_in(arguments.scenario)
    grid, out = Path(arguments.grid), Path(arguments.out)
    if out.resolve() == grid.resolve():
        raise InputError("--out", arguments.out, "another file than the grid")
    tell = _tell_rows if sys.stderr.isatty() else lambda done, rows: None
    return sweep(read_grid(grid), scenario, out, processes, arguments.scheduler, options, tell)


def _tell_rows(done: int, rows: int) -> None:
    end = "\n" if done == rows else ""
    print(f"\r{done} of {rows} rows", end=end, file=sys.stderr, flush=True)


UNCERTAINTY = Command(
    "uncertainty",
    "print how sure the answers are, and which input moves them most, both arms",
    "python -m model uncertainty harbour.json --draws 500 --seed 1 --processes 2",
    _add_uncertainty,
    _uncertainty,
)
SWEEP = Command(
    "sweep",
    "rate every row of a table of scenarios, write a table, print how it went",
    "python -m model sweep grid.csv --out rated.csv",
    _add_sweep,
    _sweep,
)
