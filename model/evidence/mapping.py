"""Which column of a log is what, and what are its readings a part of?

`Mapping` holds the answers that reading needs; `check_answers` refuses those that do not fit a
log or leave something open. What columns seem to be is proposed in `columns`, and what only the
owner of a log can say is asked in `questions`.
"""

from collections.abc import Sequence
from typing import Annotated, Literal, TypeAlias

from pydantic import BeforeValidator, Field, model_validator

from model.errors import InputError, MeasurementError
from model.evidence.record import COLUMNS
from model.records import Record, check

TimeFormat: TypeAlias = Literal[
    "iso", "day_first", "month_first", "clock", "epoch_s", "epoch_ms", "elapsed_s", "elapsed_ms"
]
ClockChange: TypeAlias = Literal["second_hour_follows", "drop_second_hour"]

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


def state_of(cell: str, mapping: Mapping) -> int:
    """Return 1 for a word that says on, 0 for off, -1 for any other.

    Parameters
    ----------
    cell : str
        A cell of the on/off column.
    mapping : Mapping
        Holds the words.
    """
    word = state_word(cell)
    if word in {state_word(each) for each in mapping.on_words}:
        return 1
    return 0 if word in {state_word(each) for each in mapping.off_words} else -1


def state_word(cell: str) -> str:
    """Return a cell of the on/off column as it is compared: small letters, 1.0 as 1.

    Parameters
    ----------
    cell : str
        The cell's text.
    """
    word = " ".join(cell.lower().split())
    return word.removesuffix(".0").removesuffix(",0")


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
        both = {*map(state_word, mapping.on_words)} & {*map(state_word, mapping.off_words)}
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
