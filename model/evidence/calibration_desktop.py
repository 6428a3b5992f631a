"""What does one activity cost, by what was measured on a desktop that was doing it?

`changes_from` turns the encoder's CPU, frames delivered and the desktop's CPU, without and with
offload, into the numbers of a scenario.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from model.evidence.calibration import (
    Level,
    Proposal,
    ScenarioChange,
    activity_named,
    core_speed,
    proposal_of,
    propose,
)
from model.scenario import Scenario
from model.sessions import REFERENCE_PIXELS, Role, pixels


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
    speed = core_speed(scenario, clock_ghz, relative_ipc)
    found: dict[str, ScenarioChange] = {}
    notes: list[str] = []
    for each in levels:
        activity = activity_named(scenario, each.activity)
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
            propose(found, notes, activity, name, per_frame, log)
        wanted = [each.frames_off_hz, each.frames_on_hz]
        delivered = [frames for frames in wanted if frames is not None]
        if delivered:
            best = max(delivered, key=lambda frames: frames.value)
            propose(found, notes, activity, "frame_rate_hz", best, log)
        app = _app_cores(each)
        if app is not None:
            if activity.app_bursts_per_s > 0:
                burst = app.times(1000 * speed / activity.app_bursts_per_s)
                propose(found, notes, activity, "app_burst_ms", burst, log)
            else:
                notes.append(
                    f"{activity.name}: the application's CPU was not used, since the scenario has "
                    "no bursts of it."
                )
    return proposal_of(found, notes, scenario)


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
