"""What do the commands about one host take and answer?"""

import argparse
from typing import Any

from model.commands.command import Command, add_scenario, add_seed
from model.commands.given import (
    MOST_REPLICATES,
    MOST_SEED,
    json_in,
    numbers,
    real,
    scenario_in,
    sessions_in,
    whole,
)
from model.defaults import BURST_PHASES
from model.errors import InputError

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


def _add_nothing(parser: argparse.ArgumentParser) -> None:
    """A command that takes nothing."""


def _default(_arguments: argparse.Namespace) -> Any:
    from model.scenario import default, to_data

    return to_data(default())


def _add_curve(parser: argparse.ArgumentParser) -> None:
    add_scenario(parser)
    parser.add_argument(
        "--sessions",
        metavar="FIRST:LAST",
        default="1:200",
        help="numbers of sessions, both included (default: 1:200)",
    )


def _curve(arguments: argparse.Namespace) -> Any:
    from model.hosts import ARMS
    from model.saturation import saturation_curve

    scenario = scenario_in(arguments.scenario)
    sessions = sessions_in(arguments.sessions)
    curves = {arm: saturation_curve(scenario, arm, sessions) for arm in ARMS}
    return {
        arm: {name: getattr(curve, name) for name in _CURVE_ARRAYS} for arm, curve in curves.items()
    }


def _rate(arguments: argparse.Namespace) -> Any:
    from model.hosts import ARMS
    from model.targets import rated_load

    scenario = scenario_in(arguments.scenario)
    rated = {arm: rated_load(scenario, arm) for arm in ARMS}
    return {
        arm: {
            "rated_load": each.rated_load,
            "binding_limit": each.binding_limit,
            "row": each.row,
        }
        for arm, each in rated.items()
    }


def _add_station(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "station",
        metavar="STATION.json",
        help="sources, service_s, capacity (first entry 0) and either think_s or period_s, each "
        "a list; with period_s also burst_phases, a whole number or null; - for standard input",
    )


def _station(arguments: argparse.Namespace) -> Any:
    from model.contention import closed_station
    from model.paced import paced_station

    data = json_in("station", arguments.station)
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
        numbers(name, data.get(name)) for name in ("sources", "service_s", "capacity")
    )
    if "think_s" in data:
        think_s = numbers("think_s", data["think_s"])
        result = closed_station(sources, service_s, think_s, capacity)
    else:
        period_s = numbers("period_s", data["period_s"])
        phases = data.get("burst_phases", BURST_PHASES)
        result = paced_station(sources, service_s, period_s, capacity, phases)
    return {
        name: getattr(result, name)
        for name in ("response_s", "throughput_hz", "queue_pmf", "utilisation")
    }


def _add_day(parser: argparse.ArgumentParser) -> None:
    add_scenario(parser)
    add_seed(parser)
    parser.add_argument(
        "--replicates", default="20", help="how many days to simulate (default: 20)"
    )


def _day(arguments: argparse.Namespace) -> Any:
    from model.day import simulate_day
    from model.hosts import ARMS

    scenario = scenario_in(arguments.scenario)
    seed = whole("--seed", arguments.seed, 0, MOST_SEED)
    replicates = whole("--replicates", arguments.replicates, 1, MOST_REPLICATES)
    return {arm: simulate_day(scenario, arm, seed, replicates) for arm in ARMS}


def _add_failure(parser: argparse.ArgumentParser) -> None:
    add_scenario(parser)
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


def _failure(arguments: argparse.Namespace) -> Any:
    from model.failures import CIRCUMSTANCES, failure

    given = {
        name: text
        for name in ("hosts", "sockets", "within_min")
        if (text := getattr(arguments, name)) is not None
    }
    numbers: dict[str, Any] = {
        name: whole(f"--{name}", text, 0, MOST_SEED)
        if CIRCUMSTANCES[name].whole
        else real("--within", text)
        for name, text in given.items()
    }
    scenario = scenario_in(arguments.scenario)
    return failure(scenario, arguments.what, activity=arguments.activity, **numbers)


DEFAULT = Command(
    "default",
    "print the shipped example, an invented harbour authority",
    "python -m model default > harbour.json",
    _add_nothing,
    _default,
)
CURVE = Command(
    "curve",
    "print CPU demand, headroom, scheduler wait, frames and slots over sessions, both arms",
    "python -m model curve harbour.json --sessions 1:200",
    _add_curve,
    _curve,
)
RATE = Command(
    "rate",
    "print the most sessions that meet every target, and what stops the next one, both arms",
    "python -m model rate harbour.json",
    add_scenario,
    _rate,
)
STATION = Command(
    "station",
    "print response times, rates and queue of sources that share one CPU, exactly",
    """\
echo '{"sources": [4], "service_s": [0.01], "think_s": [0.09], "capacity": [0, 1]}' \\
      | python -m model station -""",
    _add_station,
    _station,
)
DAY = Command(
    "day",
    "print the peaks of a simulated working day, both arms on the same random numbers",
    "python -m model day harbour.json --seed 1 --replicates 20",
    _add_day,
    _day,
)
FAILURE = Command(
    "failure",
    "print what one failure or rush does to a host, both arms, before and after",
    "python -m model failure harbour.json host_lost --hosts 4",
    _add_failure,
    _failure,
)
