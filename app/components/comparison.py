"""What stands in the table that puts up to four saved scenarios side by side?

Each row holds plain values: the page writes them with sensible digits, a file gets the numbers.
"""

from collections.abc import Callable
from dataclasses import dataclass

from app.csv_text import csv_text
from app.figures.compared import LETTERS, Compared
from app.theme import ARM_LABEL
from app.words import CAUTION, differences, sessions
from model.defaults import MOST_SESSIONS
from model.hosts import Arm
from model.targets import LIMITS

Cell = str | int | float
SHOWN: tuple[Arm, ...] = ("offloaded", "software")  # with the card first
NO_CARD = "no card"
NONE_CARRIED = "carries none"
MOST_NEEDED = 10_000_000  # sessions on all hosts together


@dataclass(frozen=True)
class ComparedRow:
    """One row of the table.

    Parameters
    ----------
    section : str
        Heading above it.
    label, unit : str
        What is compared, and in which unit; "" without one.
    cells : tuple
        One value for each scenario: a number, or words in its place.
    digits : int
        Shown after the decimal point. [-]
    """

    section: str
    label: str
    unit: str
    cells: tuple[Cell, ...]
    digits: int = 0


def comparison(compared: list[Compared], needed: int) -> list[ComparedRow]:
    """Return the rows: the inputs that differ, what the hosts carry, how many are needed.

    Parameters
    ----------
    compared : list of Compared
        The scenarios and their answers.
    needed : int
        Sessions to be carried by all hosts together. [sessions]
    """
    rows = [
        ComparedRow("Inputs that differ", label, "", cells)
        for label, cells in differing_inputs(compared)
    ]
    if not rows:
        rows.append(ComparedRow("Inputs that differ", "None", "", tuple("" for _ in compared)))

    def add(label: str, unit: str, of: Callable[[Compared, Arm], Cell], digits: int = 0) -> None:
        for arm in SHOWN:
            cells = tuple(
                NO_CARD
                if arm == "offloaded" and not each.found.scenario.accelerator.cards
                else of(each, arm)
                for each in compared
            )
            rows.append(ComparedRow(section, f"{label}, {ARM_LABEL[arm]}", unit, cells, digits))

    section = "What a host carries"
    add("Rated load", "sessions", lambda each, arm: each.found.rated[arm].rated_load)
    add("What limits it", "", _limit)
    section = "At each one's own number of sessions"
    asked = tuple(each.found.scenario.sessions for each in compared)
    rows.append(ComparedRow(section, "Sessions", "sessions", asked))
    add("Headroom", "% of CPU", lambda each, arm: each.found.now[arm]["headroom_pct"])
    add("Crest of the day", "% of CPU", lambda each, arm: each.day[arm].crest_pct)
    section = f"For {sessions(needed)} in all"

    def hosts(each: Compared, arm: Arm) -> Cell:
        rated = each.found.rated[arm].rated_load
        return -(-needed // rated) if rated else NONE_CARRIED

    add("Hosts needed, no spare", "hosts", hosts)
    return rows


def differing_inputs(compared: list[Compared]) -> list[tuple[str, tuple[str, ...]]]:
    """Return every input in which not all scenarios agree, with its value in each.

    Parameters
    ----------
    compared : list of Compared
        The scenarios; what they are called is no difference.
    """
    first = compared[0].found.scenario
    against = [
        {label: (own, others) for label, own, others in differences(first, each.found.scenario)}
        for each in compared
    ]
    labels = dict.fromkeys(label for found in against for label in found if label != "Name")
    rows = []
    for label in labels:
        own = next(found[label][0] for found in against if label in found)
        cells = (found[label][1] if label in found else own for found in against)
        rows.append((label, tuple(cells)))
    return rows


def shown(cell: Cell, digits: int) -> str:
    """Return a value as the page writes it.

    Parameters
    ----------
    cell : str, int or float
        The value.
    digits : int
        Shown after the decimal point. [-]
    """
    if isinstance(cell, str):
        return cell
    if isinstance(cell, float) and not abs(cell) < float("inf"):
        return "none left" if cell < 0 else "beyond measure"
    return f"{round(cell, digits) + 0.0:,.{digits}f}"


def comparison_csv(compared: list[Compared], rows: list[ComparedRow]) -> str:
    """Return the table as CSV, numbers as numbers, the caution in the last row.

    Parameters
    ----------
    compared : list of Compared
        The scenarios, for their names.
    rows : list of ComparedRow
        The rows.
    """
    header = ["section", "what", "unit"]
    header += [f"{letter} {each.name}" for letter, each in zip(LETTERS, compared, strict=False)]
    body: list[list[object]] = [
        [row.section, row.label, row.unit, *[_exact(cell) for cell in row.cells]] for row in rows
    ]
    body.append(["Note", CAUTION, "", *[None for _ in compared]])
    return csv_text(header, body)


def takeaway(compared: list[Compared], arm: Arm) -> str:
    """Return the rated loads of one arm in a sentence, the largest first.

    Parameters
    ----------
    compared : list of Compared
        The scenarios.
    arm : str
        "software" or "offloaded".
    """
    loads = [
        (each.found.rated[arm].rated_load, letter)
        for letter, each in zip(LETTERS, compared, strict=False)
    ]
    loads.sort(key=lambda load: (-load[0], load[1]))
    first, *others = [f"{letter} {rated}" for rated, letter in loads]
    told = ", ".join([f"{first} sessions", *others])
    return f"Rated load {ARM_LABEL[arm]}: {told}. Each mark stands at a rated load."


def _limit(each: Compared, arm: Arm) -> Cell:
    limit = each.found.rated[arm].limit
    return LIMITS[limit] if limit else f"nothing up to {MOST_SESSIONS:,} sessions"


def _exact(cell: Cell) -> object:
    return round(cell, 3) if isinstance(cell, float) else cell
