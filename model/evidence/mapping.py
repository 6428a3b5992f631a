"""Which column of a log is what, and which questions must its owner answer first?

`Mapping` holds the answers. `proposal` fills in what names and cells make plain, gives a reason
for each column, and leaves open what they cannot tell. The question that matters most is what a
percentage of CPU is a percentage of: `consequence` says what an answer means in plain words.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Literal, TypeAlias

import pandas as pd
from pydantic import BeforeValidator, Field, model_validator

from model.errors import InputError, MeasurementError
from model.evidence.record import COLUMNS
from model.evidence.table import MISSING_WORDS, Layout, looks_like_time, looks_numeric, number_in
from model.records import Record, check

TimeFormat: TypeAlias = Literal[
    "iso", "day_first", "month_first", "clock", "epoch_s", "epoch_ms", "elapsed_s", "elapsed_ms"
]
ClockChange: TypeAlias = Literal["second_hour_follows", "drop_second_hour"]
Meaning: TypeAlias = str  # a key of COLUMNS, or "time", "date", "offload", "activity"

TIME_FORMATS: dict[TimeFormat, str] = {
    "iso": "year first, as 2026-03-04 09:15:00",
    "day_first": "day first: 04/03/2026 is 4 March",
    "month_first": "month first: 04/03/2026 is 3 April",
    "clock": "time of day without a date, as 09:15:00",
    "epoch_s": "seconds since 1970",
    "epoch_ms": "milliseconds since 1970",
    "elapsed_s": "seconds since some start",
    "elapsed_ms": "milliseconds since some start",
}
ON_WORDS = ("1", "on", "true", "yes", "enabled", "offloaded", "with card", "card")
OFF_WORDS = ("0", "off", "false", "no", "disabled", "software", "without card", "no card")

CPU_MEANINGS = {
    "encode_cores": "encode_base",
    "cpu_cores": "cpu_base",
    "host_cores": "host_base",
}
MOST_PROCESSORS = 4096
_UNITS = {"percent": 100.0, "share": 1.0, "ms_per_s": 1000.0}  # of one whole


class CpuBase(Record):
    """What a CPU reading is a part of.

    A processor is what the log's own program counts: a vCPU on a desktop, a hardware thread (or a
    core, where the program counts cores) on a host.
    """

    of: Literal["core", "desktop", "host"]
    processors: Annotated[int, Field(ge=1, le=MOST_PROCESSORS)] | None = None
    unit: Literal["percent", "share", "ms_per_s"] = "percent"

    @model_validator(mode="after")
    def _counted(self) -> "CpuBase":
        if self.of != "core" and self.processors is None:
            counted = "vCPUs of the desktop" if self.of == "desktop" else "threads of the host"
            raise InputError("processors", None, f"how many {counted} there are")
        return self

    @property
    def cores_per_unit(self) -> float:
        """Cores that a reading of 1 stands for. [cores]"""
        whole = self.processors if self.of != "core" and self.processors else 1
        return whole / _UNITS[self.unit]

    @property
    def most_cores(self) -> float | None:
        """The most that a reading can stand for; None where that is not known. [cores]"""
        return None if self.processors is None else float(self.processors)


class Mapping(Record):
    """Which column is what, and the answers that reading needs.

    Columns go by the name in the header. What is None is not in the log or not answered; reading
    refuses where it needs the answer.
    """

    time: str | None = None
    date: str | None = None  # where date and time of day stand in two columns
    time_format: TimeFormat | None = None
    step_s: Annotated[float, Field(gt=0, le=86_400)] | None = None  # a log without times
    clock_change: ClockChange | None = None
    encode_cores: str | None = None
    cpu_cores: str | None = None
    frames_hz: str | None = None
    host_cores: str | None = None
    sessions: str | None = None
    encode_base: CpuBase | None = None
    cpu_base: CpuBase | None = None
    host_base: CpuBase | None = None
    offload: str | None = None
    on_words: Annotated[
        tuple[str, ...], BeforeValidator(lambda v: tuple(v) if isinstance(v, list) else v)
    ] = ON_WORDS
    off_words: Annotated[
        tuple[str, ...], BeforeValidator(lambda v: tuple(v) if isinstance(v, list) else v)
    ] = OFF_WORDS
    activity: str | None = None
    counts: dict[str, str] = Field(default_factory=dict)  # column by name of the activity
    decimal: Literal[".", ","] | None = None
    encoding: str | None = None

    @property
    def by_column(self) -> dict[str, list[str]]:
        """What each column mapped is taken for."""
        taken: dict[str, list[str]] = {}
        for meaning in ("time", "date", *COLUMNS, "offload", "activity"):
            column = getattr(self, meaning)
            if column is not None:
                taken.setdefault(column, []).append(meaning)
        for activity, column in self.counts.items():
            taken.setdefault(column, []).append(f"counts.{activity}")
        return taken


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


def mapping_from(data: object) -> Mapping:
    """Return a mapping from plain JSON data.

    Parameters
    ----------
    data : object
        Fields by name, as `Mapping.model_dump(mode="json")` gives them.

    Raises
    ------
    InputError
        For the first field that will not do.
    """
    return check(Mapping, data)


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
_PRECISION = 3  # significant digits of an example


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
    taken: dict[str, tuple[str, str]] = {}  # meaning and reason, by column
    counts = _counts(layout, holds, activities)
    for name, (activity, why) in counts.items():
        taken[name] = (f"counts.{activity}", why)
    ranked = sorted(
        (
            (-sign.weight, index, name, sign)
            for index, name in enumerate(layout.names)
            for sign in _SIGNS
            if holds[name] in sign.holds and re.search(sign.pattern, _plain(name))
        ),
        key=lambda each: each[:2],
    )
    found: dict[str, str] = {}
    for _, _, name, sign in ranked:
        if name in taken or sign.meaning in found:
            continue
        if sign.meaning in CPU_MEANINGS and not _may_be_cpu(name, layout):
            continue
        found[sign.meaning] = name
        word = re.search(sign.pattern, _plain(name))
        told = f'its name has "{word[0].strip()}"' if word and word[0].strip() else "it holds times"
        taken[name] = (sign.meaning, f"{told} and it holds {holds[name]}")
    if "date" in found and "time" not in found:
        found["time"] = found.pop("date")
        taken[found["time"]] = ("time", taken[found["time"]][1])
    if "date" in found and not _needs_date(cells[found["time"]]):
        taken.pop(found.pop("date"))
    looks = tuple(
        ColumnLook(
            name,
            layout.units[index],
            holds[name],
            *taken.get(name, (None, "no word in its name says what it is")),
        )
        for index, name in enumerate(layout.names)
    )
    questions: list[Question] = []
    decimal = layout.decimal
    if decimal is None:
        questions.append(_decimal_question(readings))
    answers: dict[str, object] = dict(found.items())
    answers["counts"] = {activity: name for name, (activity, _) in counts.items()}
    answers["decimal"] = decimal if layout.decimal_seen else None
    answers["time_format"] = _time_format(found, cells, holds, layout, questions)
    if "time" not in found:
        questions.append(
            Question(
                "time",
                "Which column holds the time? Without one, how many seconds lie between rows?",
                tuple(Choice(name, name, f"{name} is the time") for name in layout.names),
                None,
                "No column looks like a time; step_s can stand in for it.",
            )
        )
    for meaning, field in CPU_MEANINGS.items():
        if meaning in found:
            name = found[meaning]
            unit = layout.units[layout.names.index(name)]
            questions.append(
                _base_question(
                    meaning, field, name, unit, cells[name], decimal, desktop_vcpus, host_threads
                )
            )
    if "offload" in found:
        words = {word.lower() for word in map(_state_word, cells[found["offload"]])}
        words -= MISSING_WORDS
        if not words <= {*ON_WORDS, *OFF_WORDS}:
            answers["on_words"] = answers["off_words"] = ()
            questions.append(
                Question(
                    "on_words",
                    f'Which words in "{found["offload"]}" say that the card encodes?',
                    tuple(Choice((w,), w, f'"{w}" is with card') for w in sorted(words)),
                    None,
                    "The words are not among those that are known; off_words takes the others.",
                )
            )
    return mapping_from(answers), looks, tuple(questions)


def _plain(name: str) -> str:
    """A name in small letters with blanks for all that joins words."""
    apart = re.sub(r"(?<=[a-z][a-z])(?=[A-Z])", " ", name)
    return " ".join(re.sub(r"[^a-z0-9%/]+", " ", apart.lower()).split())


def _holds(cells: list[str]) -> str:
    filled = [cell for cell in cells if cell.lower() not in MISSING_WORDS]
    if not filled:
        return "nothing"
    if sum(map(looks_numeric, filled)) > len(filled) / 2:
        return "numbers"
    return "times" if sum(map(looks_like_time, filled)) > len(filled) / 2 else "words"


def _may_be_cpu(name: str, layout: Layout) -> bool:
    unit = layout.units[layout.names.index(name)].lower()
    return not re.search(
        r"bytes?|\bmib\b|\bmb\b|ghz|mhz|\bw\b|watt|°|steal|ncpu|count", unit + name
    )


def _needs_date(cells: list[str]) -> bool:
    return any(re.fullmatch(r"\d{1,2}:\d\d.*", cell) for cell in cells)


def _counts(
    layout: Layout, holds: dict[str, str], activities: Sequence[str]
) -> dict[str, tuple[str, str]]:
    """Columns whose name is that of an activity, alone or after "sessions in"."""
    found: dict[str, tuple[str, str]] = {}
    for name in layout.names:
        plain = re.sub(r"^(sessions |people |n |number )?(in |of |doing )?", "", _plain(name))
        for activity in activities:
            if holds[name] == "numbers" and plain == _plain(activity):
                found[name] = (activity, f'its name is that of the activity "{activity}"')
    return found


def _decimal_question(readings: Sequence[Sequence[str]]) -> Question:
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


def _time_format(
    found: dict[str, str],
    cells: dict[str, list[str]],
    holds: dict[str, str],
    layout: Layout,
    questions: list[Question],
) -> str | None:
    """The notation of the times, None (with a question) where it cannot be told."""
    if "time" not in found:
        return None
    name = found["time"]
    filled = [cell for cell in cells[found.get("date", name)] if cell]
    if holds[name] == "numbers":
        return _number_format(name, layout, filled, questions)
    dated = [
        match
        for match in (re.match(r"(\d{1,2})[-/. ](\d{1,2})[-/. ]\d{2,4}", cell) for cell in filled)
        if match
    ]
    if not dated:
        if all(re.match(r"\d{1,2}:\d\d", cell) for cell in filled):
            return "clock"
        named = any(re.match(r"\d{1,2}[-/. ][A-Za-z]{3}", cell) for cell in filled)
        return "day_first" if named else "iso"
    day_first = any(int(match[1]) > 12 for match in dated)
    month_first = any(int(match[2]) > 12 for match in dated)
    if day_first != month_first:
        return "day_first" if day_first else "month_first"
    example = dated[0][0]
    choices = []
    for answer, order in (("day_first", "%d %m"), ("month_first", "%m %d")):
        moment = pd.to_datetime(f"{dated[0][1]} {dated[0][2]} 2000", format=f"{order} %Y")
        told = f"{example} is {moment.day} {moment:%B}"
        choices.append(Choice(answer, answer.replace("_", " "), told))
    questions.append(
        Question(
            "time_format",
            f'Which comes first in "{found.get("date", name)}", the day or the month?',
            tuple(choices),
            None,
            "No date in the first rows settles it.",
        )
    )
    return None


def _number_format(
    name: str, layout: Layout, filled: list[str], questions: list[Question]
) -> str | None:
    values = [number_in(cell, layout.decimal or ".")[0] for cell in filled]
    values = [value for value in values if value == value]
    largest = max(map(abs, values), default=0.0)
    if 1e9 <= largest < 1e10:
        return "epoch_s"
    if 1e12 <= largest < 1e13:
        return "epoch_ms"
    named = f"{_plain(name)} {layout.units[layout.names.index(name)].lower().strip('[]()')}"
    if re.search(r"\b(ms|msec|milliseconds?)\b", named):
        return "elapsed_ms"
    if re.search(r"\b(s|sec|secs|seconds?)\b", named):
        return "elapsed_s"
    step = values[1] - values[0] if len(values) > 1 else 1.0
    questions.append(
        Question(
            "time_format",
            f'Are the times in "{name}" seconds or milliseconds?',
            (
                Choice("elapsed_s", "seconds", f"a reading every {step:g} s"),
                Choice("elapsed_ms", "milliseconds", f"a reading every {step / 1000:g} s"),
            ),
            None,
            "Neither its name nor its unit says so.",
        )
    )
    return None


def _base_question(
    meaning: str,
    field: str,
    name: str,
    unit: str,
    cells: list[str],
    decimal: str | None,
    desktop_vcpus: int | None,
    host_threads: int | None,
) -> Question:
    values = [number_in(cell, decimal or ".")[0] for cell in cells]
    values = sorted(value for value in values if value == value)
    example = float(f"{values[len(values) // 2]:.{_PRECISION}g}") if values else 3.0
    named = f"{_plain(name)} {unit.lower().strip('[]()')}".strip()
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
    return Question(
        field,
        f'What is "{name}" a percentage of: one core, the desktop\'s vCPUs or the host?'
        if as_unit == "percent"
        else f'What is "{name}" a part of: one core, the desktop\'s vCPUs or the host?',
        choices,
        suggested,
        because + " A wrong answer here makes every result wrong by the same factor.",
    )


def _state_word(cell: str) -> str:
    """A cell of the on/off column as it is compared: small letters, 1.0 as 1."""
    word = " ".join(cell.lower().split())
    return word.removesuffix(".0").removesuffix(",0")


def state_of(cell: str, mapping: Mapping) -> int:
    """Return 1 for a word that says on, 0 for off, -1 for any other.

    Parameters
    ----------
    cell : str
        A cell of the on/off column.
    mapping : Mapping
        Holds the words.
    """
    word = _state_word(cell)
    if word in {_state_word(each) for each in mapping.on_words}:
        return 1
    return 0 if word in {_state_word(each) for each in mapping.off_words} else -1


def check_answers(mapping: Mapping, names: Sequence[str], log: str) -> None:
    """Refuse a mapping that does not fit a log, or leaves open what reading needs.

    Parameters
    ----------
    mapping : Mapping
        The answers.
    names : sequence of str
        The log's columns.
    log : str
        The log's name, for errors.

    Raises
    ------
    MeasurementError
        For the first field that is open or wrong.
    """
    for column, meanings in mapping.by_column.items():
        field = f"mapping.{meanings[0]}"
        if column not in names:
            there = ", ".join(f'"{name}"' for name in names[:20])
            raise MeasurementError(field, column, f"a column of {log}, which has {there}")
        if len(meanings) > 1:
            cure = f"one meaning for a column; it is also taken for {meanings[1]}"
            raise MeasurementError(field, column, cure)
    if mapping.time is None and mapping.step_s is None:
        cure = "the column that holds the time, or step_s, the seconds between rows"
        raise MeasurementError("mapping.time", None, cure)
    if mapping.time is not None and mapping.step_s is not None:
        cure = "nothing where a column holds the time"
        raise MeasurementError("mapping.step_s", mapping.step_s, cure)
    if mapping.time is not None and mapping.time_format is None:
        cure = "an answer: " + "; ".join(f'"{key}" ({TIME_FORMATS[key]})' for key in TIME_FORMATS)
        raise MeasurementError("mapping.time_format", None, cure)
    if mapping.date is not None and mapping.time_format not in ("iso", "day_first", "month_first"):
        cure = '"iso", "day_first" or "month_first", since the date has a column of its own'
        raise MeasurementError("mapping.time_format", mapping.time_format, cure)
    for meaning, base in CPU_MEANINGS.items():
        column = getattr(mapping, meaning)
        if column is not None and getattr(mapping, base) is None:
            cure = (
                f'an answer: is "{column}" a percentage of one core, of the desktop\'s vCPUs '
                "(how many) or of the host (how many threads)"
            )
            raise MeasurementError(f"mapping.{base}", None, cure)
    if mapping.offload is not None:
        both = {*map(_state_word, mapping.on_words)} & {*map(_state_word, mapping.off_words)}
        if both:
            cure = "words that are not also among off_words"
            raise MeasurementError("mapping.on_words", sorted(both)[0], cure)
        if not mapping.on_words or not mapping.off_words:
            cure = f'the words in "{mapping.offload}" that say with card, and off_words the others'
            raise MeasurementError("mapping.on_words", list(mapping.on_words), cure)
    used = mapping.by_column
    if not set(COLUMNS) & {meaning for meanings in used.values() for meaning in meanings}:
        cure = f"at least one column of readings: {', '.join(COLUMNS)}"
        raise MeasurementError("mapping", "no readings", cure)
