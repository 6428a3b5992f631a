"""How do measured costs get into a scenario?

Every number of a scenario that a measurement would change is proposed for itself, with its
interval and in words; `apply_changes` makes those that were accepted and marks them as measured.
What a desktop's log asks for is in `calibration_desktop`, what a host's total tells in
`calibration_host`.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from math import floor, isfinite, log10

from model.defaults import FIELDS
from model.errors import InputError, MeasurementError, check_above
from model.scenario import (
    LONGEST_SOURCE,
    MEASURABLE,
    Measured,
    Scenario,
    from_data,
    measured_path,
    to_data,
)
from model.sessions import Activity

_DIGITS = 4  # our choice: more are not measured
_NAMES = {
    "app_burst_ms": "CPU of one burst of the application",
    "app_bursts_per_s": "bursts of the application",
    "frame_rate_hz": "frames that the picture wants",
    "software_ms_per_frame": "CPU to encode a frame without a card",
    "offloaded_ms_per_frame": "CPU left for a frame with a card",
    "network_mbps": "display stream",
}


@dataclass(frozen=True)
class Level:
    """A measured mean and its 95 % interval, in the unit of what was measured.

    Parameters
    ----------
    value : float
        The mean.
    low, high : float
        The interval.
    """

    value: float
    low: float
    high: float

    def __post_init__(self) -> None:
        if not all(isfinite(each) for each in (self.value, self.low, self.high)):
            raise InputError("level", self.value, "finite numbers")
        if not self.low <= self.value <= self.high:
            raise InputError("level", self.value, f"a value from {self.low:g} to {self.high:g}")

    def times(self, factor: float) -> "Level":
        """Return the level in another unit."""
        return Level(self.value * factor, self.low * factor, self.high * factor)


@dataclass(frozen=True)
class ScenarioChange:
    """One number of a scenario that a measurement would change.

    Parameters
    ----------
    path : str
        Which number, as `model.scenario.measured_path` writes it.
    before, after : float
        The scenario's number and the measured one. [the number's unit]
    low, high : float
        Interval of the measured one. [the number's unit]
    log : str
        Name of the log.
    sentence : str
        The change in words.
    """

    path: str
    before: float
    after: float
    low: float
    high: float
    log: str
    sentence: str


@dataclass(frozen=True)
class Proposal:
    """Changes to accept one by one, and what could not be used.

    Parameters
    ----------
    changes : tuple of ScenarioChange
        In the order of the scenario's activities.
    notes : tuple of str
        Why other numbers are not among them.
    """

    changes: tuple[ScenarioChange, ...]
    notes: tuple[str, ...]


def propose(
    found: dict[str, ScenarioChange],
    notes: list[str],
    activity: Activity,
    name: str,
    level: Level,
    log: str,
) -> None:
    """Add a change with sensible digits, or say why there is none.

    Parameters
    ----------
    found : dict of str to ScenarioChange
        Changes by their path; one is added.
    notes : list of str
        A sentence is added where the measured value is out of the number's range.
    activity : Activity
        The scenario's activity.
    name : str
        Which number of it.
    level : Level
        What was measured, in the number's unit.
    log : str
        Name of the log.
    """
    quantity = FIELDS[f"activities.{name}"]
    after = _rounded(level.value, level.value)
    before = float(getattr(activity, name))
    what = f"{activity.name}: {_NAMES[name]}"
    if not quantity.low <= after <= quantity.high:
        notes.append(f"{what} would be {after:g} {quantity.unit}; expected {quantity.expected}.")
        return
    low = min(_rounded(level.low, level.value), after)
    high = max(_rounded(level.high, level.value), after)
    source = _short(log)
    interval = f"{low:g} to {high:g}" if low < high else "without an interval"
    sentence = f"{what} from {before:g} to {after:g} {quantity.unit} ({interval}; {source})."
    path = measured_path(activity.name, name)
    found[path] = ScenarioChange(path, before, after, max(low, 0.0), high, source, sentence)


def _rounded(number: float, beside: float) -> float:
    """Round to four digits of the value beside it."""
    scale = abs(beside) if beside else abs(number)
    if scale == 0:
        return 0.0
    return round(number, _DIGITS - 1 - floor(log10(scale)))


def _short(log: str) -> str:
    """A log's name as a mark takes it: printable, in one line, not too long."""
    text = " ".join("".join(c if c.isprintable() else " " for c in log).split()) or "a log"
    return text if len(text) <= LONGEST_SOURCE else f"{text[: LONGEST_SOURCE - 3].rstrip()}..."


def proposal_of(
    found: dict[str, ScenarioChange], notes: Iterable[str], scenario: Scenario
) -> Proposal:
    """Return the changes in the order of the scenario's activities.

    Parameters
    ----------
    found : dict of str to ScenarioChange
        Changes by their path.
    notes : iterable of str
        Why other numbers are not among them.
    scenario : Scenario
        The scenario to be changed.
    """
    paths = [
        measured_path(activity.name, name)
        for activity in scenario.activities
        for name in MEASURABLE
    ]
    return Proposal(tuple(found[path] for path in paths if path in found), tuple(notes))


def apply_changes(scenario: Scenario, accepted: Iterable[ScenarioChange]) -> Scenario:
    """Return the scenario with the accepted changes made and marked as measured.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    accepted : iterable of ScenarioChange
        Changes; of two to the same number, the later one counts.

    Returns
    -------
    Scenario
        The same scenario where nothing was accepted. Marks of other numbers stay.

    Raises
    ------
    InputError
        For a change to an activity that the scenario does not have, or a value out of range.
    """
    data = to_data(scenario)
    activities = {activity["name"]: activity for activity in data["activities"]}
    marks = {mark["path"]: mark for mark in data.get("measured", ())}
    for change in accepted:
        mark = Measured(
            path=change.path, value=change.after, low=change.low, high=change.high,
            source=change.log,
        )  # fmt: skip
        if mark.activity not in activities:
            raise MeasurementError(change.log, mark.activity, "an activity of the scenario")
        activities[mark.activity][mark.number_name] = change.after
        marks[change.path] = mark.model_dump(mode="json")
    return from_data(data | {"measured": list(marks.values())})


def measured_bounds(scenario: Scenario) -> tuple[Scenario, Scenario]:
    """Return the scenario with all measured numbers at the low, and at the high ends.

    Parameters
    ----------
    scenario : Scenario
        The scenario.

    Returns
    -------
    tuple of Scenario
        Twice the same scenario where nothing is marked as measured.

    Notes
    -----
    More CPU for each frame or burst, and more of them, only ever asks more of a host, so results
    of the two enclose those of every scenario between. All numbers at the same end at once is
    rarer than one in twenty: a band made this way is on the safe side.
    """
    ends = []
    for end in ("low", "high"):
        data = to_data(scenario)
        activities = {activity["name"]: activity for activity in data["activities"]}
        for mark in scenario.measured:
            quantity = FIELDS[f"activities.{mark.number_name}"]
            value = min(max(getattr(mark, end), quantity.low), quantity.high)
            activities[mark.activity][mark.number_name] = value
        data.pop("measured", None)
        ends.append(from_data(data))
    return ends[0], ends[1]


def core_speed(scenario: Scenario, clock_ghz: float | None, relative_ipc: float | None) -> float:
    """Return the work of one second of a measured core. [reference-core s]

    Parameters
    ----------
    scenario : Scenario
        Gives the reference clock, and its host's clock and work per clock.
    clock_ghz : float, above 0, or None
        Clock that the cores held; None takes the scenario's host's. [GHz]
    relative_ipc : float, above 0, or None
        Work per clock over the reference core's; None takes the scenario's host's. [-]

    Raises
    ------
    InputError
        For a clock or a work per clock that is not above 0.
    """
    clock = scenario.host.clock_ghz if clock_ghz is None else clock_ghz
    ipc = scenario.host.relative_ipc if relative_ipc is None else relative_ipc
    check_above("clock_ghz", clock, 0, unit="GHz")
    check_above("relative_ipc", ipc, 0, unit="times")
    return clock / scenario.reference_clock_ghz * ipc


def activity_named(scenario: Scenario, name: str) -> Activity | None:
    """Return the scenario's activity of that name, or None.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    name : str
        Name of the activity.
    """
    return next((each for each in scenario.activities if each.name == name), None)
