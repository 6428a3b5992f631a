"""What is the situation that Crestline is asked about: host, people, day and targets?

A `Scenario` is checked once, when it is made, and never changes. `load` reads one from a file or
a text, `dump` writes it, `default` is the shipped example.
"""

import datetime as dt
import json
import re
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BeforeValidator,
    Field,
    ValidationInfo,
    field_validator,
    model_validator,
)

from model import defaults
from model.accelerator import Accelerator
from model.cpu import Host
from model.errors import InputError
from model.records import Record, check, number
from model.sessions import Activity, Name, Role

VERSION = 1
LARGEST_TEXT = 1_000_000  # characters; a full scenario has about 20,000
_SUM_TOLERANCE_PCT = 0.011  # three thirds written as 33.33 add up to 99.99


def _tuple(value: object) -> object:
    return tuple(value) if isinstance(value, list) else value


def _minutes(clock: str) -> int:
    try:
        time = dt.datetime.strptime(clock, "%H:%M")
    except ValueError:
        time = None
    if clock == "24:00":
        return 24 * 60
    if time is None or len(clock) != 5:
        raise InputError("", clock, 'a time of day as "07:30"')
    return time.hour * 60 + time.minute


PresentPoint = Annotated[tuple[str, Annotated[float, Field(ge=0, le=100)]], BeforeValidator(_tuple)]


class Day(Record):
    """When people come and go."""

    start: str = "07:00"
    end: str = "19:00"
    present_pct: Annotated[
        tuple[PresentPoint, ...], Field(min_length=2, max_length=200), BeforeValidator(_tuple)
    ]
    logon_core_s: float = number("day.logon_core_s")

    @model_validator(mode="after")
    def _times_rise(self) -> "Day":
        start, end = self._clock("start", self.start), self._clock("end", self.end)
        if not start < end:
            raise InputError("end", self.end, f"a time after the start, {self.start}")
        last = -1
        for index, (clock, _) in enumerate(self.present_pct):
            minute = self._clock(f"present_pct[{index}]", clock)
            if minute <= last:
                raise InputError(f"present_pct[{index}]", clock, "a time after the one before it")
            last = minute
        return self

    @staticmethod
    def _clock(field: str, clock: str) -> int:
        try:
            return _minutes(clock)
        except InputError as error:
            raise InputError(field, clock, error.expected) from None

    @property
    def start_s(self) -> int:
        """Start of the day after midnight. [s]"""
        return _minutes(self.start) * 60

    @property
    def length_s(self) -> int:
        """Length of the day. [s]"""
        return _minutes(self.end) * 60 - self.start_s

    @property
    def present_points(self) -> list[tuple[float, float]]:
        """The presence curve: time after the start [s], share present [-]."""
        return [
            (_minutes(clock) * 60.0 - self.start_s, share / 100)
            for clock, share in self.present_pct
        ]


class Targets(Record):
    """What a host must still hold to count as carrying its sessions."""

    max_cpu_p95_pct: float = number("targets.max_cpu_p95_pct")
    max_wait_pct: float = number("targets.max_wait_pct")
    min_frames_pct: float = number("targets.min_frames_pct")
    max_network_pct: float = number("targets.max_network_pct")


MEASURABLE = (  # numbers of an activity that a measurement can give, in their standing order
    "app_burst_ms",
    "app_bursts_per_s",
    "frame_rate_hz",
    "software_ms_per_frame",
    "offloaded_ms_per_frame",
    "network_mbps",
)
LONGEST_SOURCE = 120
_MEASURED_PATH = re.compile(rf"activities\[(.+)\]\.({'|'.join(MEASURABLE)})", re.ASCII)


def measured_path(activity: str, number_name: str) -> str:
    """Return the path under which a measured number of an activity is known.

    Parameters
    ----------
    activity : str
        The activity's name: marks follow it when the list of activities changes.
    number_name : str
        One of `MEASURABLE`.
    """
    return f"activities[{activity}].{number_name}"


def _checked_path(path: str) -> str:
    if _MEASURED_PATH.fullmatch(path) is None:
        named = ", ".join(MEASURABLE)
        raise InputError("", path, f'"activities[NAME].NUMBER" with one of {named}')
    return path


def _checked_source(source: str) -> str:
    if not source.strip() or not source.isprintable() or source != source.strip():
        raise InputError("", source, "printable text without blanks around it")
    return source


Measurable = Annotated[float, Field(ge=0, le=1e9)]


class Measured(Record):
    """Says of one number of a scenario that it was measured, how well, and in which log."""

    path: Annotated[str, Field(max_length=150), AfterValidator(_checked_path)]
    value: Measurable
    low: Measurable
    high: Measurable
    source: Annotated[
        str, Field(min_length=1, max_length=LONGEST_SOURCE), AfterValidator(_checked_source)
    ]

    @model_validator(mode="after")
    def _interval_holds_value(self) -> "Measured":
        if not self.low <= self.value:
            raise InputError("low", self.low, f"at most the value, {self.value:g}")
        if not self.high >= self.value:
            raise InputError("high", self.high, f"at least the value, {self.value:g}")
        return self

    @property
    def activity(self) -> str:
        """The activity whose number it is."""
        return self.path[len("activities[") : self.path.rindex("].")]

    @property
    def number_name(self) -> str:
        """Which of the activity's numbers, one of `MEASURABLE`."""
        return self.path[self.path.rindex("].") + 2 :]


class Scenario(Record):
    """All inputs together: one host, the people on it, their day and the targets.

    `measured` marks numbers that a log gave. A mark whose number has since been changed, or whose
    activity is gone, says nothing true any more and is left out when the scenario is made.
    """

    version: Literal[1] = 1
    name: Name
    sessions: int = number("sessions")
    host: Host = Field(default_factory=Host)
    reference_clock_ghz: float = number("reference_clock_ghz")
    accelerator: Accelerator = Field(default_factory=Accelerator)
    activities: Annotated[
        tuple[Activity, ...],
        Field(min_length=1, max_length=defaults.MOST_ACTIVITIES),
        BeforeValidator(_tuple),
    ]
    roles: Annotated[
        tuple[Role, ...],
        Field(min_length=1, max_length=defaults.MOST_ROLES),
        BeforeValidator(_tuple),
    ]
    day: Day
    targets: Targets = Field(default_factory=Targets)
    measured: Annotated[
        tuple[Measured, ...],
        Field(max_length=defaults.MOST_MEASURED),
        BeforeValidator(_tuple),
    ] = ()

    @field_validator("measured")
    @classmethod
    def _marks_still_true(
        cls, marks: tuple[Measured, ...], info: ValidationInfo
    ) -> tuple[Measured, ...]:
        activities: tuple[Activity, ...] = info.data.get("activities", ())
        by_path: dict[str, Measured] = {}
        for mark in marks:
            if by_path.setdefault(mark.path, mark) is not mark:
                raise InputError("", mark.path, "each number marked as measured once")
        true = []
        for activity in activities:
            for name in MEASURABLE:
                known = by_path.get(measured_path(activity.name, name))
                if known is not None and known.value == getattr(activity, name):
                    true.append(known)
        return tuple(true)

    @model_validator(mode="after")
    def _totals_and_names(self) -> "Scenario":
        names = _unique("activities", [activity.name for activity in self.activities])
        _unique("roles", [role.name for role in self.roles])
        _sums_to_100("roles.weight_pct", [role.weight_pct for role in self.roles])
        for index, role in enumerate(self.roles):
            field = f"roles[{index}].activity_pct"
            for name in role.activity_pct:
                if name not in names:
                    raise InputError(field, name, "the name of one of the activities")
            _sums_to_100(field, list(role.activity_pct.values()))
        return self


def load(path_or_text: str | Path) -> Scenario:
    """Return the scenario in a JSON file or a JSON text.

    Parameters
    ----------
    path_or_text : str or Path
        A path, or the JSON itself (a text that starts with a brace).

    Raises
    ------
    InputError
        Where the file cannot be read, the text is not JSON, or the first field will not do.
    """
    text = str(path_or_text)
    if not text.lstrip().startswith("{"):
        text = _read(Path(text))
    if len(text) > LARGEST_TEXT:
        raise InputError("scenario", f"{len(text)} characters", f"at most {LARGEST_TEXT}")
    try:
        data = json.loads(text)
    except (ValueError, RecursionError) as error:  # the latter: nested too deep
        place = f"line {error.lineno}" if isinstance(error, json.JSONDecodeError) else "its depth"
        raise InputError("scenario", text[:40], f"JSON; reading stopped at {place}") from None
    return from_data(data)


def from_data(data: object) -> Scenario:
    """Return the scenario in plain JSON data.

    Parameters
    ----------
    data : object
        What `json.loads` gives.

    Raises
    ------
    InputError
        For the first field that will not do: its dotted path, value and range.
    """
    if isinstance(data, dict) and data.get("version", VERSION) != VERSION:
        raise InputError("version", data["version"], f"{VERSION}, the version this release reads")
    return check(Scenario, data)


def to_data(scenario: Scenario) -> dict[str, Any]:
    """Return a scenario as plain JSON data, fields in their standing order.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    """
    data = scenario.model_dump(mode="json")
    for role in data["roles"]:  # equal scenarios give equal data, however a habit was written
        habit = role["activity_pct"]
        role["activity_pct"] = {
            activity.name: habit[activity.name]
            for activity in scenario.activities
            if activity.name in habit
        }
    if not data["measured"]:  # scenarios without measurements read and link as they always did
        del data["measured"]
    return data


def dump(scenario: Scenario) -> str:
    """Return a scenario as JSON text; equal scenarios give equal text.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    """
    return json.dumps(to_data(scenario), indent=1, ensure_ascii=False)


def canonical(scenario: Scenario) -> str:
    """Return a scenario as JSON text in one line, by which results are remembered.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    """
    return json.dumps(to_data(scenario), separators=(",", ":"))


def default() -> Scenario:
    """Return the shipped example, an invented harbour authority."""
    return from_data(defaults.harbour())


def _read(path: Path) -> str:
    try:
        if path.stat().st_size > 4 * LARGEST_TEXT:
            raise InputError("scenario", str(path), f"a file of at most {4 * LARGEST_TEXT} bytes")
        return path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is not UTF-8 text"
        expected = f"a JSON file that can be read ({reason})"
        raise InputError("scenario", str(path), expected) from None


def _unique(field: str, names: list[str]) -> set[str]:
    seen: set[str] = set()
    for index, name in enumerate(names):
        if name in seen:
            raise InputError(f"{field}[{index}].name", name, "a name that no other one has")
        seen.add(name)
    return seen


def _sums_to_100(field: str, shares_pct: list[float]) -> None:
    total = sum(shares_pct)
    if abs(total - 100) > _SUM_TOLERANCE_PCT:
        raise InputError(field, f"a total of {total:g}", "shares that add up to 100 %")
