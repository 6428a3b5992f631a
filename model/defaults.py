"""Which numbers stand where the user gave none, in which range, and where do they come from?

`FIELDS` holds one record for every number of a scenario; the checks, the help texts and the
written pages all read it. `harbour()` is the shipped example: a harbour authority that we made
up, with invented people's work. Costs in it follow facts of the trade, named beside each.
"""

from dataclasses import dataclass
from typing import Any

COMMON_PRACTICE = "common practice, no source"
INVENTED = "invented for the example"


@dataclass(frozen=True)
class Quantity:
    """One number of a scenario: its unit, its range, what it means and whence its default.

    Parameters
    ----------
    value : float or None
        The default where a scenario leaves the field out; None where it must be given.
    unit : str
        The unit, as shown.
    low, high : float
        The range accepted. [`unit`]
    meaning : str
        One sentence for the person who fills it in.
    provenance : str
        Where the default comes from.
    whole : bool
        Whether only whole numbers will do.
    """

    value: float | None
    unit: str
    low: float
    high: float
    meaning: str
    provenance: str
    whole: bool = False

    @property
    def expected(self) -> str:
        """The range in words, to be read after "expected"."""
        kind = "a whole number" if self.whole else "a number"
        return f"{kind} from {self.low:.10g} to {self.high:.10g} {self.unit}".rstrip()


MOST_SESSIONS = 100_000
MOST_CORES = 4_096
MOST_ROLES = 50
MOST_ACTIVITIES = 50
MOST_POINTS = 200  # of the presence curve
MOST_MEASURED = 400  # numbers of a scenario that are marked as measured
BURST_PHASES = 9
BURST_PHASES_PROVENANCE = (
    "our choice: work varies from frame to frame and burst to burst with a coefficient of "
    "variation of one third (an Erlang law of nine phases)"
)

FIELDS: dict[str, Quantity] = {
    "sessions": Quantity(
        110,
        "sessions",
        1,
        MOST_SESSIONS,
        "How many people's desktops the host carries at once.",
        INVENTED,
        whole=True,
    ),
    "reference_clock_ghz": Quantity(
        3.0,
        "GHz",
        0.5,
        10,
        "Clock of the core on which the costs in core-milliseconds were measured.",
        "our choice: a round clock of present server cores",
    ),
    "host.cores": Quantity(
        32,
        "cores",
        1,
        MOST_CORES,
        "Physical CPU cores of the host, all sockets together.",
        INVENTED,
        whole=True,
    ),
    "host.threads_per_core": Quantity(
        2,
        "threads",
        1,
        2,
        "Hardware threads of one core: 2 with simultaneous multithreading (SMT), else 1.",
        COMMON_PRACTICE,
        whole=True,
    ),
    "host.smt_yield": Quantity(
        0.25,
        "of a core",
        0,
        1,
        "What the second thread of a busy core adds, as a share of the core.",
        COMMON_PRACTICE,
    ),
    "host.clock_ghz": Quantity(
        3.0,
        "GHz",
        0.5,
        10,
        "Clock that all cores hold when all are busy.",
        INVENTED,
    ),
    "host.turbo_ratio": Quantity(
        1.15,
        "times",
        1,
        2,
        "Clock of a single busy core over the clock of all cores busy.",
        INVENTED,
    ),
    "host.relative_ipc": Quantity(
        1.0,
        "times",
        0.1,
        10,
        "Work per clock of this host's core over that of the reference core.",
        "our choice: the same kind of core",
    ),
    "host.reserve_pct": Quantity(
        6,
        "%",
        0,
        90,
        "Share of the CPU kept for the hypervisor and its services.",
        COMMON_PRACTICE,
    ),
    "host.memory_gib": Quantity(
        1_024,
        "GiB",
        1,
        1_000_000,
        "Memory of the host that desktops may use.",
        INVENTED,
    ),
    "host.network_gbps": Quantity(
        10,
        "Gbit/s",
        0.01,
        10_000,
        "Network rate of the host for display streams.",
        INVENTED,
    ),
    "host.gpu_memory_gib": Quantity(
        0,
        "GiB",
        0,
        100_000,
        "Graphics memory of the host that desktops may use.",
        "our choice: none unless roles ask for it",
    ),
    "accelerator.cards": Quantity(
        1,
        "cards",
        0,
        16,
        "Accelerator cards in the host.",
        INVENTED,
        whole=True,
    ),
    "accelerator.displays_per_card": Quantity(
        100,
        "slots",
        1,
        10_000,
        "Display slots of one card: displays in motion that it encodes at once.",
        COMMON_PRACTICE,
        whole=True,
    ),
    "accelerator.megapixels_per_s_per_card": Quantity(
        6_000,
        "Mpixel/s",
        1,
        1_000_000,
        "Changed pixels per second that one card encodes.",
        "our choice: 100 displays of 1920x1080 at 28 frames/s",
    ),
    "accelerator.share_pct": Quantity(
        100,
        "%",
        0,
        100,
        "Share of the sessions that may use the card.",
        "our choice: everyone",
    ),
    "activities.dwell_s": Quantity(
        60,
        "s",
        1,
        86_400,
        "How long people stay with the activity before the next.",
        INVENTED,
    ),
    "activities.app_burst_ms": Quantity(
        10,
        "core-ms",
        0,
        10_000,
        "CPU work of one burst of the application, on the reference core.",
        INVENTED,
    ),
    "activities.app_bursts_per_s": Quantity(
        5,
        "1/s",
        0,
        1_000,
        "How often the application asks for the CPU.",
        INVENTED,
    ),
    "activities.frame_rate_hz": Quantity(
        0,
        "frames/s",
        0,
        240,
        "Frames per second that the picture wants; 0 means that nothing is encoded.",
        INVENTED,
    ),
    "activities.changed_pixels_pct": Quantity(
        100,
        "%",
        0,
        100,
        "Share of the display that changes from frame to frame.",
        INVENTED,
    ),
    "activities.software_ms_per_frame": Quantity(
        10,
        "core-ms",
        0,
        10_000,
        "CPU work to encode one frame of a 1920x1080 display without a card.",
        INVENTED,
    ),
    "activities.offloaded_ms_per_frame": Quantity(
        2,
        "core-ms",
        0,
        10_000,
        "CPU work left for one frame of a 1920x1080 display when a card encodes it.",
        INVENTED,
    ),
    "activities.network_mbps": Quantity(
        1,
        "Mbit/s",
        0,
        10_000,
        "Display stream for each display that the activity moves (one where none moves).",
        INVENTED,
    ),
    "roles.weight_pct": Quantity(
        None,
        "%",
        0,
        100,
        "Share of the sessions that belong to the role.",
        INVENTED,
    ),
    "roles.vcpus": Quantity(
        2,
        "vCPUs",
        1,
        128,
        "Virtual CPUs of the role's desktop.",
        COMMON_PRACTICE,
        whole=True,
    ),
    "roles.displays": Quantity(
        1,
        "displays",
        1,
        16,
        "Displays of the role's desktop.",
        INVENTED,
        whole=True,
    ),
    "roles.memory_gib": Quantity(4, "GiB", 0, 10_000, "Memory of the desktop.", INVENTED),
    "roles.gpu_memory_gib": Quantity(
        0,
        "GiB",
        0,
        1_000,
        "Graphics memory of the desktop.",
        "our choice: none",
    ),
    "roles.activity_pct": Quantity(
        None,
        "%",
        0,
        100,
        "Share of the role's time that the activity takes.",
        INVENTED,
    ),
    "day.present_pct": Quantity(
        None,
        "%",
        0,
        100,
        "Share of the sessions present at that time of day.",
        INVENTED,
    ),
    "day.logon_core_s": Quantity(
        25,
        "core-s",
        0,
        10_000,
        "CPU work of one logon, on the reference core.",
        INVENTED,
    ),
    "targets.max_cpu_p95_pct": Quantity(
        85,
        "% of CPU",
        1,
        100,
        "CPU demand that may be exceeded 5 % of the time at most.",
        COMMON_PRACTICE,
    ),
    "targets.max_wait_pct": Quantity(
        5,
        "% of vCPU time",
        0.01,
        100,
        "Scheduler wait at busy moments that people still accept.",
        COMMON_PRACTICE,
    ),
    "targets.min_frames_pct": Quantity(
        90,
        "% of frames wanted",
        1,
        100,
        "Frames that must still be delivered at busy moments.",
        "our choice: one frame in ten may be lost before motion looks broken",
    ),
    "targets.max_network_pct": Quantity(
        70,
        "% of the network rate",
        1,
        100,
        "Network use at busy moments that leaves room for bursts.",
        COMMON_PRACTICE,
    ),
}

_ABOUT_ONE_CORE = (
    "common practice, no source: encoding it on the CPU fills about one core of a 2 vCPU desktop"
)
ACTIVITY_PROVENANCE: dict[str, str] = {
    "idle": INVENTED,
    "typing and reading": INVENTED,
    "tables and forms": INVENTED,
    "scrolling documents": _ABOUT_ONE_CORE,
    "moving windows": "common practice, no source: encoding takes about 44 % of two vCPUs",
    "panning charts": INVENTED,
    "media player": "common practice, no source: encoding takes 26 to 30 % of two vCPUs",
    "video call": INVENTED,
    "full-screen video": _ABOUT_ONE_CORE,
}


def _activity(
    name: str,
    dwell_s: float,
    app: tuple[float, float],
    frames: tuple[float, float],
    encode_ms: tuple[float, float],
    network_mbps: float,
    spans: str = "one",
) -> dict[str, Any]:
    return {
        "name": name, "dwell_s": dwell_s,
        "app_burst_ms": app[0], "app_bursts_per_s": app[1],
        "frame_rate_hz": frames[0], "changed_pixels_pct": frames[1], "spans": spans,
        "software_ms_per_frame": encode_ms[0], "offloaded_ms_per_frame": encode_ms[1],
        "network_mbps": network_mbps,
    }  # fmt: skip


def harbour() -> dict[str, Any]:
    """Return the shipped example as plain JSON data: an invented harbour authority."""
    return {
        "version": 1,
        "name": "Harbour authority, one host",
        "sessions": 110,
        "host": {
            "cores": 32, "threads_per_core": 2, "smt_yield": 0.25, "clock_ghz": 3.0,
            "turbo_ratio": 1.15, "relative_ipc": 1.0, "reserve_pct": 6, "memory_gib": 1024,
            "network_gbps": 10, "gpu_memory_gib": 0,
        },
        "reference_clock_ghz": 3.0,
        "accelerator": {
            "cards": 1, "displays_per_card": 100, "megapixels_per_s_per_card": 6000,
            "share_pct": 100,
        },
        "activities": [
            _activity("idle", 120, (4, 2), (0, 0), (0, 0), 0.05),
            _activity("typing and reading", 90, (12, 5), (5, 4), (6, 1.2), 0.3),
            _activity("tables and forms", 60, (30, 3), (6, 12), (10, 1.5), 0.6),
            _activity("scrolling documents", 20, (9, 15), (30, 85), (31, 2.6), 9),
            _activity("moving windows", 10, (6, 15), (30, 55), (28, 2.4), 6),
            _activity("panning charts", 40, (16, 15), (20, 70), (30, 2.7), 8),
            _activity("media player", 180, (4, 24), (25, 35), (22, 2.2), 5),
            _activity("video call", 600, (7, 25), (25, 30), (21, 2.3), 4),
            _activity("full-screen video", 180, (8, 24), (24, 100), (38, 2.5), 12),
        ],
        "roles": [
            {
                "name": "berth planner", "weight_pct": 35, "vcpus": 2, "displays": 2,
                "display": "1920x1080", "memory_gib": 5, "gpu_memory_gib": 0,
                "activity_pct": {
                    "idle": 12, "typing and reading": 30, "tables and forms": 28,
                    "scrolling documents": 8, "moving windows": 3, "panning charts": 8,
                    "video call": 8, "media player": 2, "full-screen video": 1,
                },
            },
            {
                "name": "gatehouse clerk", "weight_pct": 30, "vcpus": 2, "displays": 1,
                "display": "1920x1080", "memory_gib": 4, "gpu_memory_gib": 0,
                "activity_pct": {
                    "idle": 25, "typing and reading": 40, "tables and forms": 22,
                    "scrolling documents": 5, "moving windows": 2, "media player": 6,
                },
            },
            {
                "name": "chart drafter", "weight_pct": 15, "vcpus": 4, "displays": 2,
                "display": "1920x1200", "memory_gib": 8, "gpu_memory_gib": 0,
                "activity_pct": {
                    "idle": 10, "typing and reading": 25, "tables and forms": 15,
                    "scrolling documents": 10, "moving windows": 5, "panning charts": 30,
                    "video call": 5,
                },
            },
            {
                "name": "training room", "weight_pct": 20, "vcpus": 2, "displays": 1,
                "display": "1920x1080", "memory_gib": 4, "gpu_memory_gib": 0,
                "activity_pct": {
                    "idle": 15, "typing and reading": 30, "tables and forms": 15,
                    "scrolling documents": 10, "media player": 10, "full-screen video": 20,
                },
            },
        ],
        "day": {
            "start": "07:00", "end": "19:00",
            "present_pct": [
                ["07:00", 5], ["08:00", 60], ["09:00", 95], ["11:30", 100], ["12:30", 70],
                ["13:30", 95], ["16:00", 95], ["17:30", 40], ["19:00", 5],
            ],
            "logon_core_s": 25,
        },
        "targets": {
            "max_cpu_p95_pct": 85, "max_wait_pct": 5, "min_frames_pct": 90, "max_network_pct": 70,
        },
    }  # fmt: skip
