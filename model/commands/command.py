"""What is a command: its name, its words of help, what it takes and what it answers?"""

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Command:
    """One command of `python -m model`.

    Parameters
    ----------
    name : str
        How it is called.
    does : str
        What it prints, in one phrase.
    example : str
        A call that works.
    add_arguments : callable
        add_arguments(parser) says what it takes.
    run : callable
        run(arguments) gives its document. It imports what it works with, so that no command waits
        for what another needs.
    """

    name: str
    does: str
    example: str
    add_arguments: Callable[[argparse.ArgumentParser], None]
    run: Callable[[argparse.Namespace], Any]


def add_scenario(parser: argparse.ArgumentParser) -> None:
    """Let a command take a scenario.

    Parameters
    ----------
    parser : ArgumentParser
        The command's.
    """
    parser.add_argument(
        "scenario", metavar="SCENARIO.json", help="a scenario, or - for standard input"
    )


def add_seed(parser: argparse.ArgumentParser, of: str = "the") -> None:
    """Let a command take where its random numbers start.

    Parameters
    ----------
    parser : ArgumentParser
        The command's.
    of : str
        Whose random numbers they are: "the" or "their".
    """
    parser.add_argument("--seed", default="1", help=f"start of {of} random numbers (default: 1)")
