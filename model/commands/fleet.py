"""What does the command about a fleet take and answer?"""

import argparse
from typing import Any

from model.commands.command import Command
from model.commands.given import json_in, scenario_in
from model.errors import InputError


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


def _fleet(arguments: argparse.Namespace) -> Any:
    from model import fleet_inputs
    from model.fleet_command import fleet_document, fleet_from

    if arguments.example:
        return fleet_inputs.to_data(fleet_inputs.example())
    if arguments.fleet is None:
        raise InputError("FLEET.json", None, "a file, or --example to print one")
    scenario = scenario_in(arguments.scenario)
    inputs, notes = fleet_from(json_in("fleet", arguments.fleet), arguments.sites, scenario)
    return fleet_document(inputs, scenario, arguments.role) | {"table_notes": notes}


FLEET = Command(
    "fleet",
    "print hosts, power and cost of all sites, with cards and without, and break-even prices",
    "python -m model fleet --example > fleet.json && python -m model fleet fleet.json",
    _add_fleet,
    _fleet,
)
