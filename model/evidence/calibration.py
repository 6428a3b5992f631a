"""How do measured costs get into a scenario?

`changes_from` turns what was measured on one desktop, activity by activity, into the numbers of a
scenario, and `changes_from_demands` does so with what a host's total tells. Each change is
proposed for itself; `apply_changes` makes those that were accepted and marks them as measured.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import floor, isfinite, log10

from model.defaults import FIELDS
from model.errors import InputError, MeasurementError, check_above
from model.evidence.demands import Demands
from model.hosts import check_arm
from model.scenario import (
    LONGEST_SOURCE,
    MEASURABLE,
    Measured,
    Scenario,
    from_data,
    measured_path,
    to_data,
)
from model.sessions import REFERENCE_PIXELS, Activity, Role, pixels

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


@dataclass(frozen=True)
class ActivityLevels:
    """What was measured on one desktop in one activity; None where it was not.

    Parameters
    ----------
    activity : str
        The activity's name in the scenario.
    encode_off_cores, encode_on_cores : Level or None
        The encoder's CPU without and with offload. [core s/s]
    frames_off_hz, frames_on_hz : Level or None
        Frames delivered on each display in motion. [1/s]
    desktop_off_cores, desktop_on_cores : Level or None
        CPU of the whole desktop, the encoder included. [core s/s]
    """

    activity: str
    encode_off_cores: Level | None = None
    encode_on_cores: Level | None = None
    frames_off_hz: Level | None = None
    frames_on_hz: Level | None = None
    desktop_off_cores: Level | None = None
    desktop_on_cores: Level | None = None


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


def changes_from(
    levels: Sequence[ActivityLevels],
    scenario: Scenario,
    role: Role,
    log: str,
    clock_ghz: float | None = None,
    relative_ipc: float | None = None,
) -> Proposal:
    """Return the changes that a desktop's log asks of a scenario.

    Parameters
    ----------
    levels : sequence of ActivityLevels
        What was measured, one entry for each activity.
    scenario : Scenario
        The scenario to be changed.
    role : Role
        The role whose desktop was measured: its displays and their size.
    log : str
        Name of the log.
    clock_ghz : float, above 0, or None
        Clock that the cores held while the log was taken; None takes the scenario's host's,
        which is too low where an otherwise idle host ran at turbo. [GHz]
    relative_ipc : float, above 0, or None
        Work per clock of that host's cores over the reference core's; None takes the scenario's
        host's. [-]

    Returns
    -------
    Proposal
        CPU per frame in each state of offload, frames wanted, and the application's CPU, as far
        as the levels allow.

    Raises
    ------
    InputError
        For a clock or a work per clock that is not above 0.

    Notes
    -----
    CPU per frame is the encoder's CPU over the frames that were delivered, of one display of
    1920x1080, in milliseconds of the reference core. Frames wanted are those delivered in the
    better state of offload. The application's CPU is the desktop's less the encoder's; its
    bursts per second stay as they are. Intervals of quotients and differences join those of
    their parts as if the parts were independent; readings of CPU and frames mostly rise together,
    which makes the true intervals narrower.
    """
    speed = _speed(scenario, clock_ghz, relative_ipc)
    found: dict[str, ScenarioChange] = {}
    notes: list[str] = []
    for each in levels:
        activity = _activity(scenario, each.activity)
        if activity is None:
            notes.append(f'The scenario has no activity "{each.activity}": it was left out.')
            continue
        if each.encode_off_cores is None and each.encode_on_cores is None:
            notes.append(
                f"{activity.name}: the log gives no level of the encoder's CPU with an interval, "
                "so no cost of a frame is proposed."
            )
        displays = role.displays if activity.spans == "all" else 1
        size = displays * pixels(role.display) / REFERENCE_PIXELS
        for name, cores, frames, state in (
            ("software_ms_per_frame", each.encode_off_cores, each.frames_off_hz, "without"),
            ("offloaded_ms_per_frame", each.encode_on_cores, each.frames_on_hz, "with"),
        ):
            if cores is None:
                continue
            if frames is None or frames.low <= 0:
                notes.append(
                    f"{activity.name}: no cost per frame {state} offload, since frames were not "
                    "counted or may have been none."
                )
                continue
            factor = 1000 * speed / size
            per_frame = _quotient(cores, frames, factor)
            _propose(found, notes, activity, name, per_frame, log)
        wanted = [each.frames_off_hz, each.frames_on_hz]
        delivered = [frames for frames in wanted if frames is not None]
        if delivered:
            best = max(delivered, key=lambda frames: frames.value)
            _propose(found, notes, activity, "frame_rate_hz", best, log)
        app = _app_cores(each)
        if app is not None:
            if activity.app_bursts_per_s > 0:
                burst = _scaled(app, 1000 * speed / activity.app_bursts_per_s)
                _propose(found, notes, activity, "app_burst_ms", burst, log)
            else:
                notes.append(
                    f"{activity.name}: the application's CPU was not used, since the scenario has "
                    "no bursts of it."
                )
    return Proposal(_in_order(found, scenario), tuple(notes))


def changes_from_demands(
    demands: Demands,
    scenario: Scenario,
    arm: str,
    log: str,
    clock_ghz: float | None = None,
    relative_ipc: float | None = None,
) -> Proposal:
    """Return the changes that demands found from a host's total ask of a scenario.

    Parameters
    ----------
    demands : Demands
        What one session asks of the host in each activity.
    scenario : Scenario
        The scenario to be changed.
    arm : str
        "software" or "offloaded": what was the case while the log was taken.
    log : str
        Name of the log.
    clock_ghz : float, above 0, or None
        Clock that the cores held; None takes the scenario's host's. [GHz]
    relative_ipc : float, above 0, or None
        Work per clock over the reference core's; None takes the scenario's host's. [-]

    Returns
    -------
    Proposal
        CPU per frame on the arm for activities with a picture in motion; CPU of a burst for the
        others.

    Raises
    ------
    InputError
        For an unknown arm, a clock or a work per clock that is not above 0.

    Notes
    -----
    A total does not tell application and encoder apart: the application's CPU is taken from the
    scenario as if it were known, and the rest is the encoder's. Displays are averaged over the
    roles as often as each is in the activity. Cores are taken at the speed they have with one
    thread each: on a host whose second threads are busy a thread does less, and demands estimated
    from busy threads come out too large. Demands estimated from work, as
    `model.evidence.prediction.work_done` makes it of busy threads, are right; they are in
    reference cores, hence to be given with the reference clock and a work per clock of 1.
    """
    checked = check_arm(arm)
    speed = _speed(scenario, clock_ghz, relative_ipc)
    found: dict[str, ScenarioChange] = {}
    notes: list[str] = []
    card = scenario.accelerator
    if checked == "offloaded" and (card.slots == 0 or card.share_pct < 100):
        notes.append(
            "Not every session may use the card in this scenario, so a host's total does not give "
            "the cost with a card."
        )
        return Proposal((), tuple(notes))
    name = "software_ms_per_frame" if checked == "software" else "offloaded_ms_per_frame"
    rows = zip(
        demands.names, demands.demand_cores.tolist(), demands.low_cores.tolist(),
        demands.high_cores.tolist(), strict=True,
    )  # fmt: skip
    for named, value, low, high in rows:
        activity = _activity(scenario, named)
        if activity is None:
            notes.append(f'The scenario has no activity "{named}": it was left out.')
            continue
        whole = _scaled(Level(value, low, high), speed)
        size = _mean_displays(scenario, activity)
        if activity.frame_rate_hz > 0 and size > 0:
            app = activity.app_cores
            if whole.value <= app:
                notes.append(
                    f"{named}: {whole.value:.3g} cores are less than the application alone takes "
                    f"in the scenario ({app:.3g}): lower its bursts first."
                )
                continue
            encode = Level(whole.value - app, max(whole.low - app, 0.0), whole.high - app)
            per_frame = _scaled(encode, 1000 / (activity.frame_rate_hz * size))
            _propose(found, notes, activity, name, per_frame, log)
        elif activity.app_bursts_per_s > 0:
            burst = _scaled(whole, 1000 / activity.app_bursts_per_s)
            _propose(found, notes, activity, "app_burst_ms", burst, log)
        else:
            notes.append(f"{named}: the scenario has neither frames nor bursts to put the CPU to.")
    return Proposal(_in_order(found, scenario), tuple(notes))


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


def _speed(scenario: Scenario, clock_ghz: float | None, relative_ipc: float | None) -> float:
    """Work of one second of a measured core. [reference-core s]"""
    clock = scenario.host.clock_ghz if clock_ghz is None else clock_ghz
    ipc = scenario.host.relative_ipc if relative_ipc is None else relative_ipc
    check_above("clock_ghz", clock, 0, unit="GHz")
    check_above("relative_ipc", ipc, 0, unit="times")
    return clock / scenario.reference_clock_ghz * ipc


def _activity(scenario: Scenario, name: str) -> Activity | None:
    return next((each for each in scenario.activities if each.name == name), None)


def _mean_displays(scenario: Scenario, activity: Activity) -> float:
    """Displays in motion of a session in the activity, as so many of 1920x1080."""
    weights = [
        role.weight_pct * role.activity_pct.get(activity.name, 0.0) for role in scenario.roles
    ]
    sizes = [
        role.displays_in_motion(activity) * pixels(role.display) / REFERENCE_PIXELS
        for role in scenario.roles
    ]
    total = sum(weights)
    if total == 0:
        return 0.0
    return sum(weight * size for weight, size in zip(weights, sizes, strict=True)) / total


def _scaled(level: Level, factor: float) -> Level:
    return Level(level.value * factor, level.low * factor, level.high * factor)


def _quotient(above: Level, below: Level, factor: float) -> Level:
    value = above.value / below.value
    if above.value == 0:
        return Level(0.0, 0.0, above.high / below.value * factor)
    down = ((above.value - above.low) / above.value, (below.high - below.value) / below.value)
    up = ((above.high - above.value) / above.value, (below.value - below.low) / below.value)
    low = value * (1 - (down[0] ** 2 + down[1] ** 2) ** 0.5)
    high = value * (1 + (up[0] ** 2 + up[1] ** 2) ** 0.5)
    return Level(value * factor, max(low, 0.0) * factor, high * factor)


def _app_cores(each: ActivityLevels) -> Level | None:
    """The desktop's CPU less the encoder's, in the state of offload that tells it better."""
    found = []
    for whole, encode in (
        (each.desktop_off_cores, each.encode_off_cores),
        (each.desktop_on_cores, each.encode_on_cores),
    ):
        if whole is None or encode is None or whole.value < encode.value:
            continue
        value = whole.value - encode.value
        down = ((whole.value - whole.low) ** 2 + (encode.high - encode.value) ** 2) ** 0.5
        up = ((whole.high - whole.value) ** 2 + (encode.value - encode.low) ** 2) ** 0.5
        found.append(Level(value, max(value - down, 0.0), value + up))
    return min(found, key=lambda level: level.high - level.low) if found else None


def _propose(
    found: dict[str, ScenarioChange],
    notes: list[str],
    activity: Activity,
    name: str,
    level: Level,
    log: str,
) -> None:
    """Add a change with sensible digits, or say why there is none."""
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


def _in_order(found: dict[str, ScenarioChange], scenario: Scenario) -> tuple[ScenarioChange, ...]:
    paths = [
        measured_path(activity.name, name)
        for activity in scenario.activities
        for name in MEASURABLE
    ]
    return tuple(found[path] for path in paths if path in found)
