"""What does each column of a log seem to be?

`proposal` fills in what names and cells make plain, gives a reason for each column, and leaves
open what they cannot tell; that becomes a question.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

from model.evidence.layout import Layout
from model.evidence.mapping import (
    CPU_MEANINGS,
    OFF_WORDS,
    ON_WORDS,
    Mapping,
    mapping_from,
    state_word,
)
from model.evidence.notation import MISSING_WORDS, looks_like_time, looks_numeric
from model.evidence.questions import (
    Question,
    base_question,
    decimal_question,
    plain_name,
    time_format,
    time_question,
    words_question,
)

Meaning: TypeAlias = str  # a key of COLUMNS, or "time", "date", "offload", "activity"


@dataclass(frozen=True)
class ColumnLook:
    """What a column seems to be.

    Parameters
    ----------
    name, unit : str
        From the header and the units row.
    holds : str
        "numbers", "times", "words" or "nothing".
    meaning : str or None
        What it is proposed to be, None where nothing is proposed.
    reason : str
        Why.
    """

    name: str
    unit: str
    holds: str
    meaning: str | None
    reason: str


@dataclass(frozen=True)
class _Sign:
    """A word in a column's name that speaks for a meaning."""

    meaning: Meaning
    pattern: str
    holds: tuple[str, ...]
    weight: int


_SIGNS = (
    _Sign("time", r"time ?stamp|date ?time|utc|^time$|^when$|^clock$|epoch", ("times",), 5),
    _Sign("time", r"time ?stamp|epoch|^time|^t( s| ms)?$|elapsed|seconds|^sec", ("numbers",), 4),
    _Sign("time", r"", ("times",), 1),
    _Sign("date", r"^(date|day)$", ("times",), 4),
    _Sign("encode_cores", r"encod", ("numbers",), 5),
    _Sign("host_cores", r"host.*(cpu|processor|core)|(cpu|processor).*host", ("numbers",), 6),
    _Sign("cpu_cores", r"(total|desktop|all|overall).*(cpu|processor)", ("numbers",), 5),
    _Sign("cpu_cores", r"(cpu|processor).*(total|desktop|all|overall)", ("numbers",), 5),
    _Sign("cpu_cores", r"cpu|processor", ("numbers",), 2),
    _Sign("frames_hz", r"\bfps\b|frames?( rate|( per| a|/) ?s)|framerate", ("numbers",), 5),
    _Sign("frames_hz", r"frame", ("numbers",), 2),
    _Sign("sessions", r"sessions?( present| count)?$|users?$|present", ("numbers",), 4),
    _Sign("offload", r"offload", ("numbers", "words"), 6),
    _Sign("offload", r"\bcard\b|accelerat|hardware", ("numbers", "words"), 3),
    _Sign("activity", r"activit|task|doing", ("words",), 5),
)


def proposal(
    layout: Layout,
    readings: Sequence[Sequence[str]],
    activities: Sequence[str] = (),
    desktop_vcpus: int | None = None,
    host_threads: int | None = None,
) -> tuple[Mapping, tuple[ColumnLook, ...], tuple[Question, ...]]:
    """Return what the columns seem to be, why, and what must be asked.

    Parameters
    ----------
    layout : Layout
        The log's layout.
    readings : sequence of rows of cells
        The first readings.
    activities : sequence of str
        Names of activities, by which columns of counts are known.
    desktop_vcpus, host_threads : int or None
        For the examples in the answers. [processors]

    Returns
    -------
    Mapping
        The proposal; what is asked is left open.
    tuple of ColumnLook
        One for each column.
    tuple of Question
        What has to be answered before reading.
    """
    cells = {
        name: [row[index].strip() for row in readings if index < len(row)]
        for index, name in enumerate(layout.names)
    }
    holds = {name: _holds(column) for name, column in cells.items()}
    counts = _counts(layout, holds, activities)
    found, reasons = _meanings(layout, cells, holds, counts)
    told = {name: (f"counts.{activity}", why) for name, (activity, why) in counts.items()}
    told |= {name: (meaning, reasons[meaning]) for meaning, name in found.items()}
    looks = tuple(
        ColumnLook(
            name,
            layout.units[index],
            holds[name],
            *told.get(name, (None, "no word in its name says what it is")),
        )
        for index, name in enumerate(layout.names)
    )
    answers: dict[str, object] = dict(found.items())
    answers["counts"] = {activity: name for name, (activity, _) in counts.items()}
    answers["decimal"] = layout.decimal if layout.decimal_seen else None
    questions = [decimal_question(readings)] if layout.decimal is None else []
    if "time" in found:
        name = found["time"]
        dated = found.get("date", name)
        unit, numbers = _unit(dated, layout), holds[name] == "numbers"
        answers["time_format"], asked = time_format(
            dated, unit, cells[dated], numbers, layout.decimal
        )
        questions += [asked] if asked is not None else []
    else:
        questions.append(time_question(layout.names))
    questions += [
        base_question(
            meaning, name, _unit(name, layout), cells[name], layout.decimal,
            desktop_vcpus, host_threads,
        )
        for meaning in CPU_MEANINGS
        if (name := found.get(meaning, ""))
    ]  # fmt: skip
    if "offload" in found:
        words = set(map(state_word, cells[found["offload"]])) - MISSING_WORDS
        if not words <= {*ON_WORDS, *OFF_WORDS}:
            answers["on_words"] = answers["off_words"] = ()
            questions.append(words_question(found["offload"], sorted(words)))
    return mapping_from(answers), looks, tuple(questions)


def _meanings(
    layout: Layout,
    cells: dict[str, list[str]],
    holds: dict[str, str],
    counts: dict[str, tuple[str, str]],
) -> tuple[dict[Meaning, str], dict[Meaning, str]]:
    """The column of each meaning, and why: the strongest sign first, among equals the leftmost."""
    ranked = sorted(
        (
            (-sign.weight, index, name, sign)
            for index, name in enumerate(layout.names)
            for sign in _SIGNS
            if holds[name] in sign.holds and re.search(sign.pattern, plain_name(name))
        ),
        key=lambda each: each[:2],
    )
    found: dict[Meaning, str] = {}
    reasons: dict[Meaning, str] = {}
    for _, _, name, sign in ranked:
        if name in counts or name in found.values() or sign.meaning in found:
            continue
        if sign.meaning in CPU_MEANINGS and not _may_be_cpu(name, layout):
            continue
        found[sign.meaning] = name
        word = re.search(sign.pattern, plain_name(name))
        told = f'its name has "{word[0].strip()}"' if word and word[0].strip() else "it holds times"
        reasons[sign.meaning] = f"{told} and it holds {holds[name]}"
    if "date" in found and "time" not in found:
        found["time"], reasons["time"] = found.pop("date"), reasons.pop("date")
    if "date" in found and not _needs_date(cells[found["time"]]):
        found.pop("date")
    return found, reasons


def _holds(cells: list[str]) -> str:
    filled = [cell for cell in cells if cell.lower() not in MISSING_WORDS]
    if not filled:
        return "nothing"
    if sum(map(looks_numeric, filled)) > len(filled) / 2:
        return "numbers"
    return "times" if sum(map(looks_like_time, filled)) > len(filled) / 2 else "words"


def _may_be_cpu(name: str, layout: Layout) -> bool:
    other = r"bytes?|\bmib\b|\bmb\b|ghz|mhz|\bw\b|watt|°|steal|ncpu|count"
    return not re.search(other, _unit(name, layout).lower() + name)


def _unit(name: str, layout: Layout) -> str:
    return layout.units[layout.names.index(name)]


def _needs_date(cells: list[str]) -> bool:
    return any(re.fullmatch(r"\d{1,2}:\d\d.*", cell) for cell in cells)


def _counts(
    layout: Layout, holds: dict[str, str], activities: Sequence[str]
) -> dict[str, tuple[str, str]]:
    """Columns whose name is that of an activity, alone or after "sessions in"."""
    found: dict[str, tuple[str, str]] = {}
    for name in layout.names:
        plain = re.sub(r"^(sessions |people |n |number )?(in |of |doing )?", "", plain_name(name))
        for activity in activities:
            if holds[name] == "numbers" and plain == plain_name(activity):
                found[name] = (activity, f'its name is that of the activity "{activity}"')
    return found
