"""Which questions must the owner of a log answer before it is read?

The question that matters most is what a percentage of CPU is a percentage of: `consequence` says
what an answer means in plain words. Each function below it asks one question, or finds that the
cells answer it.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import pandas as pd

from model.evidence.mapping import CPU_MEANINGS, CpuBase, TimeFormat
from model.evidence.notation import looks_numeric, number_in

_PRECISION = 3  # significant digits of an example


@dataclass(frozen=True)
class Choice:
    """One answer to a question: the value, its words, and what would follow from it."""

    value: object
    label: str
    consequence: str


@dataclass(frozen=True)
class Question:
    """What only the log's owner can say.

    Parameters
    ----------
    field : str
        The field of `Mapping` that holds the answer.
    asks : str
        The question in words.
    choices : tuple of Choice
        The answers; `value` goes into the field. A base without `processors` needs its number.
    suggested : object
        The value of the likeliest choice, None where nothing speaks for one.
    because : str
        Why it is asked, or why that choice is likely.
    """

    field: str
    asks: str
    choices: tuple[Choice, ...]
    suggested: object
    because: str


def consequence(base: CpuBase, reading: float = 3.0) -> str:
    """Return what a reading stands for under an answer, in words.

    Parameters
    ----------
    base : CpuBase
        The answer.
    reading : float
        A reading as it stands in the log. [`base.unit`]

    Returns
    -------
    str
        "3 % of 2 vCPU = 6 % of one core".
    """
    written = {"percent": f"{reading:g} % of ", "share": f"{reading:g} of "}.get(
        base.unit, f"{reading:g} ms a second of "
    )
    cores = reading * base.cores_per_unit
    if base.of == "core":
        return f"{written}one core = {_digits(cores)} cores"
    counted = "vCPU" if base.of == "desktop" else "threads"
    if base.unit == "ms_per_s":
        counted += ", averaged"
    return f"{written}{base.processors} {counted} = {_digits(100 * cores)} % of one core"


def _digits(value: float) -> str:
    return f"{value:.4g}" if abs(value) < 1000 else f"{value:,.0f}"


def plain_name(name: str) -> str:
    """Return a column's name in small letters, with blanks for all that joins words.

    Parameters
    ----------
    name : str
        As it stands in the header.
    """
    apart = re.sub(r"(?<=[a-z][a-z])(?=[A-Z])", " ", name)
    return " ".join(re.sub(r"[^a-z0-9%/]+", " ", apart.lower()).split())


def decimal_question(readings: Sequence[Sequence[str]]) -> Question:
    """Return the question which sign stands before the decimals.

    Parameters
    ----------
    readings : sequence of rows of cells
        The first readings, for an example.
    """
    cells = [cell.strip() for row in readings for cell in row if looks_numeric(cell)]
    example = next((cell for cell in cells if "," in cell or "." in cell), "1,234")
    choices = []
    for sign, name in ((".", "a point"), (",", "a comma")):
        value, odd = number_in(example, sign)
        told = f"{example} is {value:.10g}" if value == value else f"{example} is {odd}"
        choices.append(Choice(sign, name, told))
    return Question(
        "decimal",
        "Which sign stands before the decimals?",
        tuple(choices),
        None,
        "The numbers can be read both ways.",
    )


def time_question(names: Sequence[str]) -> Question:
    """Return the question which column holds the time.

    Parameters
    ----------
    names : sequence of str
        The log's columns.
    """
    return Question(
        "time",
        "Which column holds the time? Without one, how many seconds lie between rows?",
        tuple(Choice(name, name, f"{name} is the time") for name in names),
        None,
        "No column looks like a time; step_s can stand in for it.",
    )


def time_format(
    name: str, unit: str, cells: Sequence[str], numbers: bool, decimal: str | None
) -> tuple[TimeFormat | None, Question | None]:
    """Return the notation of the times in a column, or the question that settles it.

    Parameters
    ----------
    name, unit : str
        Of the column, as they stand in the header and the units row.
    cells : sequence of str
        Its first cells.
    numbers : bool
        Whether they are numbers.
    decimal : str or None
        The decimal sign, None where it is open.
    """
    filled = [cell for cell in cells if cell]
    if numbers:
        return _number_format(name, unit, filled, decimal)
    return _written_format(name, filled)


def _written_format(name: str, filled: list[str]) -> tuple[TimeFormat | None, Question | None]:
    dated = [
        match
        for match in (re.match(r"(\d{1,2})[-/. ](\d{1,2})[-/. ]\d{2,4}", cell) for cell in filled)
        if match
    ]
    if not dated:
        if all(re.match(r"\d{1,2}:\d\d", cell) for cell in filled):
            return "clock", None
        named = any(re.match(r"\d{1,2}[-/. ][A-Za-z]{3}", cell) for cell in filled)
        return ("day_first" if named else "iso"), None
    day_first = any(int(match[1]) > 12 for match in dated)
    month_first = any(int(match[2]) > 12 for match in dated)
    if day_first != month_first:
        return ("day_first" if day_first else "month_first"), None
    example = dated[0][0]
    choices = []
    for answer, order in (("day_first", "%d %m"), ("month_first", "%m %d")):
        moment = pd.to_datetime(f"{dated[0][1]} {dated[0][2]} 2000", format=f"{order} %Y")
        told = f"{example} is {moment.day} {moment:%B}"
        choices.append(Choice(answer, answer.replace("_", " "), told))
    return None, Question(
        "time_format",
        f'Which comes first in "{name}", the day or the month?',
        tuple(choices),
        None,
        "No date in the first rows settles it.",
    )


def _number_format(
    name: str, unit: str, filled: list[str], decimal: str | None
) -> tuple[TimeFormat | None, Question | None]:
    values = _numbers(filled, decimal)
    largest = max(map(abs, values), default=0.0)
    if 1e9 <= largest < 1e10:
        return "epoch_s", None
    if 1e12 <= largest < 1e13:
        return "epoch_ms", None
    named = _name_and_unit(name, unit)
    if re.search(r"\b(ms|msec|milliseconds?)\b", named):
        return "elapsed_ms", None
    if re.search(r"\b(s|sec|secs|seconds?)\b", named):
        return "elapsed_s", None
    step = values[1] - values[0] if len(values) > 1 else 1.0
    return None, Question(
        "time_format",
        f'Are the times in "{name}" seconds or milliseconds?',
        (
            Choice("elapsed_s", "seconds", f"a reading every {step:g} s"),
            Choice("elapsed_ms", "milliseconds", f"a reading every {step / 1000:g} s"),
        ),
        None,
        "Neither its name nor its unit says so.",
    )


def _numbers(cells: Sequence[str], decimal: str | None) -> list[float]:
    """The numbers among some cells."""
    values = [number_in(cell, decimal or ".")[0] for cell in cells]
    return [value for value in values if value == value]


def _name_and_unit(name: str, unit: str) -> str:
    return f"{plain_name(name)} {unit.lower().strip('[]()')}".strip()


def base_question(
    meaning: str,
    name: str,
    unit: str,
    cells: Sequence[str],
    decimal: str | None,
    desktop_vcpus: int | None,
    host_threads: int | None,
) -> Question:
    """Return the question what the readings of a column of CPU are a part of.

    Parameters
    ----------
    meaning : str
        What the column is taken for, a key of `CPU_MEANINGS`.
    name, unit : str
        As they stand in the header and the units row.
    cells : sequence of str
        Its first cells, for an example.
    decimal : str or None
        The decimal sign, None where it is open.
    desktop_vcpus, host_threads : int or None
        For the examples in the answers. [processors]
    """
    values = sorted(_numbers(cells, decimal))
    example = float(f"{values[len(values) // 2]:.{_PRECISION}g}") if values else 3.0
    named = _name_and_unit(name, unit)
    as_unit: Literal["percent", "share", "ms_per_s"] = "percent"
    if re.search(r"\bms\b", named):
        as_unit = "ms_per_s"
    elif re.search(r"\bcores\b|share|fraction", named) and not re.search("%|pct|percent", named):
        as_unit = "share"
    bases = [
        (CpuBase(of="core", unit=as_unit), "one core", ""),
        (
            CpuBase(of="desktop", processors=desktop_vcpus or 2, unit=as_unit),
            "all vCPUs of the desktop",
            "" if desktop_vcpus else " if it has 2",
        ),
        (
            CpuBase(of="host", processors=host_threads or 64, unit=as_unit),
            "the whole host",
            "" if host_threads else " if it has 64",
        ),
    ]
    choices = tuple(
        Choice(
            {"of": base.of, "processors": None, "unit": base.unit}
            | ({"processors": base.processors} if base.of != "core" and not doubt else {}),
            label,
            consequence(base, example) + doubt,
        )
        for base, label, doubt in bases
    )
    suggested, because = None, "Nothing in its name or its unit says so."
    for pattern, index in (
        (r"(one|single|a|per|of) core\b|\bcores?$|core s", 0),
        (r"vcpu|desktop|session|guest|machine", 1),
        (r"\bhost\b|server", 2),
    ):
        word = re.search(pattern, named)
        if word:
            suggested, because = choices[index].value, f'Its name or unit says "{word[0]}".'
            break
    if meaning == "host_cores" and suggested is None:
        suggested, because = choices[2].value, "A host's CPU is usually given of the whole host."
    part = "a percentage" if as_unit == "percent" else "a part"
    return Question(
        CPU_MEANINGS[meaning],
        f'What is "{name}" {part} of: one core, the desktop\'s vCPUs or the host?',
        choices,
        suggested,
        because + " A wrong answer here makes every result wrong by the same factor.",
    )


def words_question(name: str, words: Sequence[str]) -> Question:
    """Return the question which words of the on/off column say that the card encodes.

    Parameters
    ----------
    name : str
        The column.
    words : sequence of str
        Those found in its first cells.
    """
    return Question(
        "on_words",
        f'Which words in "{name}" say that the card encodes?',
        tuple(Choice((word,), word, f'"{word}" is with card') for word in sorted(words)),
        None,
        "The words are not among those that are known; off_words takes the others.",
    )
