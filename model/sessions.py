"""What does one session ask for: of the CPU, of the card, of the network?

A role is a habit of activities; a session of a role is in one activity at a time. Here each
pair of role and activity is turned into two streams of CPU work, application and display
encoding, and the pixels that its displays in motion change.
"""

import re
from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator, Field

from model.errors import InputError
from model.records import FrozenMapping, Record, number

REFERENCE_PIXELS = 1920 * 1080  # encode costs are stated for one display of this size
LONGEST_NAME = 80
_DISPLAY = re.compile(r"([1-9]\d{2,3})x([1-9]\d{2,3})", re.ASCII)


def pixels(display: str) -> int:
    """Return the number of pixels of a display written as "1920x1080".

    Parameters
    ----------
    display : str
        Width and height. [pixels]

    Raises
    ------
    InputError
        Where the text is not two whole numbers from 100 to 9999 joined by "x".
    """
    match = _DISPLAY.fullmatch(display)
    if match is None:
        raise InputError(
            "display", display, 'width x height in pixels, each from 100 to 9999, as "1920x1080"'
        )
    return int(match[1]) * int(match[2])


def _checked_display(display: str) -> str:
    try:
        pixels(display)
    except InputError as error:
        raise InputError("", display, error.expected) from None
    return display


def _checked_name(name: str) -> str:
    if not name.strip() or not name.isprintable() or name != name.strip():
        raise InputError("", name, "printable text without blanks around it")
    return name


Name = Annotated[str, Field(max_length=LONGEST_NAME, min_length=1), AfterValidator(_checked_name)]
Pct = Annotated[float, Field(ge=0, le=100)]


class Activity(Record):
    """What a session does for a while, and what that costs."""

    name: Name
    dwell_s: float = number("activities.dwell_s")
    app_burst_ms: float = number("activities.app_burst_ms")
    app_bursts_per_s: float = number("activities.app_bursts_per_s")
    frame_rate_hz: float = number("activities.frame_rate_hz")
    changed_pixels_pct: float = number("activities.changed_pixels_pct")
    spans: Literal["one", "all"] = "one"
    software_ms_per_frame: float = number("activities.software_ms_per_frame")
    offloaded_ms_per_frame: float = number("activities.offloaded_ms_per_frame")
    network_mbps: float = number("activities.network_mbps")

    @property
    def app_cores(self) -> float:
        """Application work as a share of the reference core. [cores]"""
        return self.app_burst_ms * self.app_bursts_per_s / 1000


class Role(Record):
    """Who works on a desktop: its size and the habit of activities."""

    name: Name
    weight_pct: float = number("roles.weight_pct")
    vcpus: int = number("roles.vcpus")
    displays: int = number("roles.displays")
    display: Annotated[str, AfterValidator(_checked_display)] = "1920x1080"
    memory_gib: float = number("roles.memory_gib")
    gpu_memory_gib: float = number("roles.gpu_memory_gib")
    activity_pct: Annotated[
        dict[str, Pct],
        AfterValidator(FrozenMapping),
        BeforeValidator(lambda given: dict(given) if isinstance(given, FrozenMapping) else given),
    ]

    def displays_in_motion(self, activity: Activity) -> int:
        """Displays of this role that the activity moves; none where nothing is encoded."""
        if activity.frame_rate_hz == 0:
            return 0
        return self.displays if activity.spans == "all" else 1

    def pixel_rate_mpx_s(self, activity: Activity) -> float:
        """Changed pixels per second of one display in that activity. [Mpixel/s]"""
        changed = activity.changed_pixels_pct / 100
        return pixels(self.display) * changed * activity.frame_rate_hz / 1e6

    def encode_ms_per_frame(self, activity: Activity, on_card: int) -> float:
        """CPU work for one frame of all displays in motion, so many of them on the card.

        Displays beyond those in motion are not counted. [core-ms]
        """
        moving = self.displays_in_motion(activity)
        card = min(on_card, moving)
        per_frame = (
            card * activity.offloaded_ms_per_frame
            + (moving - card) * activity.software_ms_per_frame
        )
        return per_frame * pixels(self.display) / REFERENCE_PIXELS
