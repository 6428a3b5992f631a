"""What does the command about logs of measurements take and answer?"""

import argparse
from typing import Any

from model.commands.command import Command, add_seed
from model.commands.given import MOST_SEED, real, scenario_in, times, whole
from model.errors import InputError

_MOST_RESAMPLES = 100_000


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
    add_seed(parser)


def _evidence(arguments: argparse.Namespace) -> Any:
    from model.evidence_command import Choices, evidence

    scenario = scenario_in(arguments.scenario)
    if arguments.switches is None and arguments.first is not None:
        raise InputError("--first", arguments.first, "no such choice without --switches")
    choices = Choices(
        drop_s=real("--drop", arguments.drop),
        block_s=None if arguments.block is None else real("--block", arguments.block),
        least_dwell_s=real("--dwell", arguments.dwell),
        switches_s=None if arguments.switches is None else times(arguments.switches),
        first_on=arguments.first == "on",
        accept_found=arguments.accept_found,
        above_cores=real("--above", arguments.above),
        resamples=whole("--resamples", arguments.resamples, 0, _MOST_RESAMPLES),
        seed=whole("--seed", arguments.seed, 0, MOST_SEED),
    )
    activities = [activity.name for activity in scenario.activities]
    return evidence(arguments.logs, arguments.map, activities, choices)


EVIDENCE = Command(
    "evidence",
    "print what logs of measurements say: rows left out, switches, effect of offload, peaks",
    "python -m model evidence trial.csv --map encode_base=core cpu_base=desktop:2",
    _add_evidence,
    _evidence,
)
