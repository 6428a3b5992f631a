"""What does Crestline answer on the command line, without a page?

Each command prints one JSON document on standard output. Bad input ends with exit status 2 and
one line on standard error that says which field is wrong and why.
"""

import argparse
import json
import sys
from typing import NoReturn

from model.commands import evidence, fleet, host, many
from model.errors import CrestlineError
from model.plain_data import plain_data

_COMMANDS = (  # in the order in which the help tells them
    host.DEFAULT,
    host.CURVE,
    host.RATE,
    host.STATION,
    host.DAY,
    many.UNCERTAINTY,
    evidence.EVIDENCE,
    fleet.FLEET,
    many.SWEEP,
    host.FAILURE,
)

_DESCRIPTION = """\
How many virtual desktops a host carries, with and without an encoding card.
Each command prints one JSON document. SCENARIO.json is a file as `default`
prints it; a single dash reads it from standard input. "software" stands for
display encoding on the host's CPU, "offloaded" for encoding on the card.
A planning estimate: validate on your own hosts before buying."""


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
    print(json.dumps(plain_data(document), allow_nan=False, indent=indent))
    return 0


class _Parser(argparse.ArgumentParser):
    """A parser that says what is wrong in one line."""

    def error(self, message: str) -> NoReturn:
        self.exit(2, f"python -m model: {_one_line(message)}\n")


def _parser() -> argparse.ArgumentParser:
    examples = "\n".join(f"  {command.example}" for command in _COMMANDS)
    parser = _Parser(
        prog="python -m model",
        description=_DESCRIPTION,
        epilog=f"examples:\n{examples}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for command in _COMMANDS:
        added = commands.add_parser(
            command.name,
            help=command.does,
            description=f"{command.does[0].upper()}{command.does[1:]}.",
            epilog=f"example:\n  {command.example}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
            allow_abbrev=False,
        )
        command.add_arguments(added)
        added.set_defaults(run=command.run)
    return parser


def _one_line(text: str) -> str:
    return "".join(c if c.isprintable() else " " for c in text)


if __name__ == "__main__":
    sys.exit(main())
