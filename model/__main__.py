"""What does Crestline answer on the command line, without a page?

Each command prints one JSON document on standard output. Bad input ends with exit status 2 and
one line on standard error that says which field is wrong and why.
"""

import argparse
import dataclasses
import json
import math
import re
import sys
from pathlib import Path
from typing import Any, NoReturn

import numpy as np

from model.defaults import BURST_PHASES, MOST_SESSIONS
from model.errors import CrestlineError, InputError, check_at_least

_LARGEST_BYTES = 4_000_000
_MOST_REPLICATES = 1_000
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
}


def main(argv: list[str] | None = None) -> int:
    """Run one command and return its exit status: 0, or 2 for bad input.

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
    runs = {"default": _default, "curve": _curve, "rate": _rate, "station": _station, "day": _day}
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
    for name in ("curve", "rate", "day"):
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
    return parser


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
