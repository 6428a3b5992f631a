"""What does Crestline answer on the command line, without a page?

Each command prints one JSON document on standard output. Bad input ends with exit status 2 and
one line on standard error that says which field is wrong and why.
"""

import argparse
import dataclasses
import json
import math
import os
import re
import sys
from pathlib import Path
from typing import Any, NoReturn

import numpy as np

from model.defaults import BURST_PHASES, MOST_SESSIONS
from model.errors import CrestlineError, InputError, check_at_least

_LARGEST_BYTES = 4_000_000
_MOST_REPLICATES = 1_000
_MOST_RESAMPLES = 100_000
_MOST_TOTAL = 100_000_000
_MOST_SEED = 2**32 - 1
_LARGEST_NUMBER = 1e30

_CURVE_ARRAYS = (
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
)

_DESCRIPTION = """\
How many virtual desktops a host carries, with and without an encoding card.
Each command prints one JSON document. SCENARIO.json is a file as `default`
prints it; a single dash reads it from standard input. "software" stands for
display encoding on the host's CPU, "offloaded" for encoding on the card.
A planning estimate: validate on your own hosts before buying."""

_HELP = {
    "default": (
        "print the shipped example, an invented harbour authority",
        "python -m model default > harbour.json",
    ),
    "curve": (
        "print CPU demand, headroom, scheduler wait, frames and slots over sessions, both arms",
        "python -m model curve harbour.json --sessions 1:200",
    ),
    "rate": (
        "print the most sessions that meet every target, and what stops the next one, both arms",
        "python -m model rate harbour.json",
    ),
    "station": (
        "print response times, rates and queue of sources that share one CPU, exactly",
        """\
echo '{"sources": [4], "service_s": [0.01], "think_s": [0.09], "capacity": [0, 1]}' \\
      | python -m model station -""",
    ),
    "day": (
        "print the peaks of a simulated working day, both arms on the same random numbers",
        "python -m model day harbour.json --seed 1 --replicates 20",
    ),
    "uncertainty": (
        "print how sure the answers are, and which input moves them most, both arms",
        "python -m model uncertainty harbour.json --draws 500 --seed 1 --processes 2",
    ),
    "evidence": (
        "print what logs of measurements say: rows left out, switches, effect of offload, peaks",
        "python -m model evidence trial.csv --map encode_base=core cpu_base=desktop:2",
    ),
    "fleet": (
        "print hosts, power and cost of all sites, with cards and without, and break-even prices",
        "python -m model fleet --example > fleet.json && python -m model fleet fleet.json",
    ),
    "sweep": (
        "rate every row of a table of scenarios, write a table, print how it went",
        "python -m model sweep grid.csv --out rated.csv",
    ),
    "failure": (
        "print what one failure or rush does to a host, both arms, before and after",
        "python -m model failure harbour.json host_lost --hosts 4",
    ),
}


def main(argv: list[str] | None = None) -> int:
    """Run one command and return its exit status: 0, 2 for bad input, 130 if interrupted.

    Parameters
    ----------
    argv : list of str, or None
        The arguments; None for those of the process.
    """
    arguments = _parser().parse_args(argv)
    try:
        document = arguments.run(arguments)
    except CrestlineError as error:
        print(f"python -m model: {_one_line(str(error))}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("python -m model: stopped", file=sys.stderr)
        return 130
    indent = 1 if arguments.command == "default" else None
    print(json.dumps(_plain(document), allow_nan=False, indent=indent))
    return 0


# ----------------------------------------------------------------------------------- commands


def _default(_arguments: argparse.Namespace) -> Any:
    from model.scenario import default, to_data

    return to_data(default())


def _curve(arguments: argparse.Namespace) -> Any:
    from model.hosts import ARMS
    from model.saturation import saturation_curve

    scenario = _scenario(arguments.scenario)
    sessions = _range(arguments.sessions)
    curves = {arm: saturation_curve(scenario, arm, sessions) for arm in ARMS}
    return {
        arm: {name: getattr(curve, name) for name in _CURVE_ARRAYS} for arm, curve in curves.items()
    }


def _rate(arguments: argparse.Namespace) -> Any:
    from model.hosts import ARMS
    from model.targets import rated_load

    scenario = _scenario(arguments.scenario)
    rated = {arm: rated_load(scenario, arm) for arm in ARMS}
    return {
        arm: {
            "rated_load": each.rated_load,
            "binding_limit": each.binding_limit,
            "row": each.row,
        }
        for arm, each in rated.items()
    }


def _station(arguments: argparse.Namespace) -> Any:
    from model.contention import closed_station
    from model.paced import paced_station

    data = _json("station", arguments.station)
    known = ("sources", "service_s", "think_s", "period_s", "burst_phases", "capacity")
    for name, value in data.items():
        if name not in known:
            raise InputError(name, value, f"one of the fields {', '.join(known)}")
    if ("think_s" in data) == ("period_s" in data):
        given = "both" if "think_s" in data else None
        raise InputError("think_s or period_s", given, "one of the two, a list of numbers")
    if "think_s" in data and "burst_phases" in data:
        raise InputError("burst_phases", data["burst_phases"], "no such field beside think_s")
    sources, service_s, capacity = (
        _numbers(name, data.get(name)) for name in ("sources", "service_s", "capacity")
    )
    if "think_s" in data:
        think_s = _numbers("think_s", data["think_s"])
        result = closed_station(sources, service_s, think_s, capacity)
    else:
        period_s = _numbers("period_s", data["period_s"])
        phases = data.get("burst_phases", BURST_PHASES)
        result = paced_station(sources, service_s, period_s, capacity, phases)
    return {
        name: getattr(result, name)
        for name in ("response_s", "throughput_hz", "queue_pmf", "utilisation")
    }


def _day(arguments: argparse.Namespace) -> Any:
    from model.day import simulate_day
    from model.hosts import ARMS

    scenario = _scenario(arguments.scenario)
    seed = _whole("--seed", arguments.seed, 0, _MOST_SEED)
    replicates = _whole("--replicates", arguments.replicates, 1, _MOST_REPLICATES)
    return {arm: simulate_day(scenario, arm, seed, replicates) for arm in ARMS}


def _uncertainty(arguments: argparse.Namespace) -> Any:
    from model.sensitivity import ranking
    from model.uncertainty import FEWEST_DRAWS, MOST_DRAWS, MOST_PROCESSES, propagate

    scenario = _scenario(arguments.scenario)
    draws = _whole("--draws", arguments.draws, FEWEST_DRAWS, MOST_DRAWS)
    seed = _whole("--seed", arguments.seed, 0, _MOST_SEED)
    processes = _whole("--processes", arguments.processes, 1, MOST_PROCESSES)
    total = None
    if arguments.total is not None:
        total = _whole("--total", arguments.total, 1, _MOST_TOTAL)
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


def _evidence(arguments: argparse.Namespace) -> Any:
    from model.evidence_command import Choices, evidence
    from model.scenario import default

    scenario = default() if arguments.scenario is None else _scenario(arguments.scenario)
    if arguments.switches is None and arguments.first is not None:
        raise InputError("--first", arguments.first, "no such choice without --switches")
    choices = Choices(
        drop_s=_real("--drop", arguments.drop),
        block_s=None if arguments.block is None else _real("--block", arguments.block),
        least_dwell_s=_real("--dwell", arguments.dwell),
        switches_s=None if arguments.switches is None else _times(arguments.switches),
        first_on=arguments.first == "on",
        accept_found=arguments.accept_found,
        above_cores=_real("--above", arguments.above),
        resamples=_whole("--resamples", arguments.resamples, 0, _MOST_RESAMPLES),
        seed=_whole("--seed", arguments.seed, 0, _MOST_SEED),
    )
    activities = [activity.name for activity in scenario.activities]
    return evidence(arguments.logs, arguments.map, activities, choices)


def _fleet(arguments: argparse.Namespace) -> Any:
    from model import fleet_inputs
    from model.fleet_command import fleet_document, fleet_from
    from model.scenario import default

    if arguments.example:
        return fleet_inputs.to_data(fleet_inputs.example())
    if arguments.fleet is None:
        raise InputError("FLEET.json", None, "a file, or --example to print one")
    scenario = default() if arguments.scenario is None else _scenario(arguments.scenario)
    inputs, notes = fleet_from(_json("fleet", arguments.fleet), arguments.sites, scenario)
    return fleet_document(inputs, scenario, arguments.role) | {"table_notes": notes}


def _sweep(arguments: argparse.Namespace) -> Any:
    from model.processes import MOST_PROCESSES
    from model.scenario import default
    from model.sweep import Options, sweep
    from model.sweep_grid import read_grid

    processes = None
    if arguments.processes is not None:
        if arguments.scheduler is not None:
            expected = "no such choice beside --scheduler"
            raise InputError("--processes", arguments.processes, expected)
        processes = _whole("--processes", arguments.processes, 1, MOST_PROCESSES)
    options = Options(
        keep_going=arguments.keep_going,
        replicates=_whole("--replicates", arguments.replicates, 0, _MOST_REPLICATES),
        seed=_whole("--seed", arguments.seed, 0, _MOST_SEED),
    )
    scenario = default() if arguments.scenario is None else _scenario(arguments.scenario)
    grid, out = Path(arguments.grid), Path(arguments.out)
    if out.resolve() == grid.resolve():
        raise InputError("--out", arguments.out, "another file than the grid")
    tell = _tell_rows if sys.stderr.isatty() else lambda done, rows: None
    return sweep(read_grid(grid), scenario, out, processes, arguments.scheduler, options, tell)


def _tell_rows(done: int, rows: int) -> None:
    end = "\n" if done == rows else ""
    print(f"\r{done} of {rows} rows", end=end, file=sys.stderr, flush=True)


def _failure(arguments: argparse.Namespace) -> Any:
    from model.failures import CIRCUMSTANCES, failure

    given = {
        name: text
        for name in ("hosts", "sockets", "within_min")
        if (text := getattr(arguments, name)) is not None
    }
    numbers: dict[str, Any] = {
        name: _whole(f"--{name}", text, 0, _MOST_SEED)
        if CIRCUMSTANCES[name].whole
        else _real("--within", text)
        for name, text in given.items()
    }
    scenario = _scenario(arguments.scenario)
    return failure(scenario, arguments.what, activity=arguments.activity, **numbers)


# -------------------------------------------------------------------------------------- input


class _Parser(argparse.ArgumentParser):
    """A parser that says what is wrong in one line."""

    def error(self, message: str) -> NoReturn:
        self.exit(2, f"python -m model: {_one_line(message)}\n")


def _parser() -> argparse.ArgumentParser:
    examples = "\n".join(f"  {example}" for _, example in _HELP.values())
    parser = _Parser(
        prog="python -m model",
        description=_DESCRIPTION,
        epilog=f"examples:\n{examples}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    runs = {
        "default": _default, "curve": _curve, "rate": _rate, "station": _station, "day": _day,
        "evidence": _evidence, "fleet": _fleet,
        "sweep": _sweep, "failure": _failure, "uncertainty": _uncertainty,
    }  # fmt: skip
    parsers = {}
    for name, (text, example) in _HELP.items():
        parsers[name] = commands.add_parser(
            name,
            help=text,
            description=f"{text[0].upper()}{text[1:]}.",
            epilog=f"example:\n  {example}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
            allow_abbrev=False,
        )
        parsers[name].set_defaults(run=runs[name])
    for name in ("curve", "rate", "day", "uncertainty"):
        parsers[name].add_argument(
            "scenario", metavar="SCENARIO.json", help="a scenario, or - for standard input"
        )
    parsers["station"].add_argument(
        "station",
        metavar="STATION.json",
        help="sources, service_s, capacity (first entry 0) and either think_s or period_s, each "
        "a list; with period_s also burst_phases, a whole number or null; - for standard input",
    )
    parsers["curve"].add_argument(
        "--sessions",
        metavar="FIRST:LAST",
        default="1:200",
        help="numbers of sessions, both included (default: 1:200)",
    )
    parsers["day"].add_argument(
        "--seed", default="1", help="start of the random numbers (default: 1)"
    )
    parsers["day"].add_argument(
        "--replicates", default="20", help="how many days to simulate (default: 20)"
    )
    parsers["uncertainty"].add_argument(
        "--draws", default="500", help="how many scenarios to draw (default: 500)"
    )
    parsers["uncertainty"].add_argument(
        "--seed", default="1", help="start of the random numbers (default: 1)"
    )
    parsers["uncertainty"].add_argument(
        "--processes", default="2", help="how many processes share the work (default: 2)"
    )
    parsers["uncertainty"].add_argument(
        "--total", help="sessions of the whole fleet; with it hosts are counted"
    )
    _add_evidence(parsers["evidence"])
    _add_fleet(parsers["fleet"])
    _add_sweep(parsers["sweep"])
    _add_failure(parsers["failure"])
    return parser


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
    parser.add_argument("--seed", default="1", help="start of their random numbers (default: 1)")


def _add_failure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "scenario", metavar="SCENARIO.json", help="a scenario, or - for standard input"
    )
    parser.add_argument(
        "what",
        metavar="WHAT",
        help="card_lost, host_lost, socket_down, smt_off, everyone_present, everyone_on_a_call or "
        "logon_rush",
    )
    parser.add_argument("--hosts", help="hosts that share the sessions of one (default: 4)")
    parser.add_argument("--sockets", help="sockets of the host (default: 2)")
    parser.add_argument("--activity", help="what everyone does on a call (default: the costliest)")
    parser.add_argument(
        "--within",
        dest="within_min",
        metavar="MINUTES",
        help="time within which all log on (default: 10)",
    )


def _add_evidence(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("logs", metavar="LOG", nargs="+", help="delimited text, plain or gzip")
    parser.add_argument(
        "--map",
        metavar="FIELD=VALUE",
        nargs="+",
        action="extend",
        default=[],
        help="what the columns are, put over what is proposed: encode_cores=COLUMN, and what a "
        "percentage is of: encode_base=core, cpu_base=desktop:VCPUS, host_base=host:THREADS; or "
        "all of it as JSON or a JSON file",
    )
    parser.add_argument(
        "--scenario", metavar="SCENARIO.json", help="whose activities name columns of counts"
    )
    parser.add_argument(
        "--switches", metavar="S,S,...", help="when offload was switched, in s from the first row"
    )
    parser.add_argument(
        "--first", choices=("on", "off"), help="offload before the first of these (default: off)"
    )
    parser.add_argument(
        "--accept-found",
        action="store_true",
        help="take the switches that are found, where a log does not name its own, as confirmed",
    )
    parser.add_argument(
        "--dwell", default="10", help="shortest spell that is looked for, in s (default: 10)"
    )
    parser.add_argument(
        "--drop", default="5", help="left out at the start of each block, in s (default: 5)"
    )
    parser.add_argument("--block", help="length of a planned block, in s (default: as seen)")
    parser.add_argument(
        "--above", default="0.85", help="time is counted above so many cores (default: 0.85)"
    )
    parser.add_argument(
        "--resamples", default="2000", help="logs put together for the bootstrap (default: 2000)"
    )
    parser.add_argument("--seed", default="1", help="start of the random numbers (default: 1)")


def _add_fleet(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "fleet", metavar="FLEET.json", nargs="?", help="sites, host choices, growth and prices"
    )
    parser.add_argument(
        "--scenario", metavar="SCENARIO.json", help="who works there (default: the example)"
    )
    parser.add_argument(
        "--sites", metavar="TABLE.csv", help="sessions by site and role, instead of the file's"
    )
    parser.add_argument(
        "--role", help="also print from which share of this role on cards pay, and the map"
    )
    parser.add_argument("--example", action="store_true", help="print an invented fleet instead")


def _scenario(argument: str) -> Any:
    from model.scenario import from_data

    return from_data(_json("scenario", argument))


def _json(field: str, argument: str) -> dict[str, Any]:
    """Return the JSON record in a file or on standard input."""
    shown = "standard input" if argument == "-" else argument
    try:
        if argument == "-":
            content = sys.stdin.buffer.read(_LARGEST_BYTES + 1)
        else:
            with Path(argument).open("rb") as file:
                content = file.read(_LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise InputError(field, shown, f"a file that can be read ({reason})") from None
    if len(content) > _LARGEST_BYTES:
        raise InputError(field, shown, f"at most {_LARGEST_BYTES} bytes")
    try:
        data = json.loads(content.decode("utf-8-sig"))
    except json.JSONDecodeError as error:
        expected = f"JSON; reading stopped at line {error.lineno}, column {error.colno}"
        raise InputError(field, shown, expected) from None
    except RecursionError:
        raise InputError(field, shown, "JSON that is less deeply nested") from None
    except ValueError:  # no UTF-8, or a number of thousands of digits
        raise InputError(field, shown, "JSON in UTF-8 with numbers of common length") from None
    if not isinstance(data, dict):
        raise InputError(field, data, "a record with named fields")
    return data


def _range(text: str) -> Any:
    first, colon, last = text.partition(":")
    expected = f"FIRST:LAST, whole numbers from 1 to {MOST_SESSIONS}, the first not above the last"
    if not (colon and _is_whole(first) and _is_whole(last)):
        raise InputError("--sessions", text, expected)
    if not 1 <= int(first) <= int(last) <= MOST_SESSIONS:
        raise InputError("--sessions", text, expected)
    return np.arange(int(first), int(last) + 1)


def _whole(field: str, text: str, low: int, high: int) -> int:
    if not (_is_whole(text) and low <= int(text) <= high):
        raise InputError(field, text, f"a whole number from {low} to {high}")
    return int(text)


def _real(field: str, text: str) -> float:
    if not re.fullmatch(r"[0-9]{1,9}(\.[0-9]{0,9})?", text):
        raise InputError(field, text, "a number, 0 or more")
    return float(text)


def _times(text: str) -> tuple[float, ...]:
    return tuple(_real("--switches", each.strip()) for each in text.split(",") if each.strip())


def _is_whole(text: str) -> bool:
    return re.fullmatch("[0-9]{1,12}", text) is not None


def _numbers(field: str, given: object) -> list[float]:
    if not isinstance(given, list):
        raise InputError(field, given, "a list of numbers")
    for index, value in enumerate(given):
        check_at_least(f"{field}[{index}]", value, 0)
        if value > _LARGEST_NUMBER:
            raise InputError(f"{field}[{index}]", value, f"a number from 0 to {_LARGEST_NUMBER:g}")
    return [float(value) for value in given]


# ------------------------------------------------------------------------------------- output


def _plain(value: Any) -> Any:
    """Return a result as plain JSON data; null stands for what is undefined or infinite."""
    if dataclasses.is_dataclass(value):
        return {each.name: _plain(getattr(value, each.name)) for each in dataclasses.fields(value)}
    if isinstance(value, dict):
        return {str(name): _plain(each) for name, each in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(each) for each in value]
    if isinstance(value, (np.ndarray, np.generic)):
        return _plain(value.tolist())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def _one_line(text: str) -> str:
    return "".join(c if c.isprintable() else " " for c in text)


if __name__ == "__main__":
    sys.exit(main())
