"""What is each thing on the screen called, in which unit, with how many digits?

Titles of charts, texts of buttons and dialogs, labels and help of inputs, names of results. What
the page states in whole sentences about a scenario stands in `app.words`.
"""

from typing import Any

from model.defaults import COMMON_PRACTICE, INVENTED

OPEN_FILE = "Open a file"
OPEN_FILE_ABOUT = "Open a scenario file, or a picture that holds its scenario"
TITLES = {  # of the charts
    "headroom": "Headroom over sessions",
    "contention": "Frames and scheduler wait over sessions",
    "day": "The working day",
    "desktop": "One desktop, activity by activity",
}
ACTIONS = {  # of the buttons below the answer: label, what it does
    "pin": ("Pin", "Keep this result on every chart, in thin lines, to compare with"),
    "unpin": ("Unpin", "Take the pinned result away"),
    "play": ("Play the day", "Watch a simulated day, the card switched on and off at will"),
    "stage": ("Stage view", "One chart at a time in large type, for sharing the screen"),
    "pictures": ("All pictures", "Save every chart as PNG, in one zip file"),
    "assessment": ("All numbers", "Save the whole answer as a JSON file, for other programs"),
    "shelve": ("Save on the shelf", "Keep this scenario under a name"),
    "print": ("Print", "A proposal sheet that the browser can save as PDF"),
}
PLAY: dict[str, Any] = {  # around the played day; {} holds the number
    "without": "Without card",
    "with": "With card",
    "played": "Played",
    "only": "This host",
    "close": "Close",
    "play": "Play",
    "pause": "Pause",
    "card": "Card",
    "on": "ON",
    "off": "OFF",
    "card_on": "card on",
    "card_off": "card off",
    "switch_note": "The card now. Switching changes the played day from this second on.",
    "no_card": "This host has no card, so there is nothing to switch.",
    "no_share": "No session may use the card, so switching it would change nothing.",
    "demand_of": "of the CPU asked for",
    "present": "sessions present",
    "rows": {  # what, unit
        "demand": ("CPU demand", "%"),
        "kept": ("Delivered frames", "%"),
        "waiting": ("Work waiting", "core-s"),
        "slots": ("Display slots in use", "of {}"),
        "peak": ("Highest so far", "%"),
        "above": ("Above 100 % so far", "min:s"),
    },
    "fits": "All work fits",
    "drops": "{} % of frames dropped",
    "waits": "Applications wait",
    "window": (
        "CPU demand [% of CPU]. Thick: as played. Thin: dashed without card, solid with card."
    ),
    "strip": "The whole day as played, CPU demand [% of CPU]",
    "whole_day": "the whole day [% of CPU]",
    "full": "100 %: all of the CPU",
    "target": "target: {} %",
    "cut_off": "goes on up to {} %",
    "axis": "CPU demand [% of CPU]",
    "at": "Time of day",
    "speed": "Speed",
    "back_minute": "Back 1 min",
    "back_second": "Back 1 s",
    "on_second": "On 1 s",
    "on_minute": "On 1 min",
    "busiest": "To the busiest moment",
    "restart": "Start over",
    "keys": (
        "Space: play, pause. Arrows: 1 s, with Shift 1 min. Page keys: 15 min. Home, End: the "
        "ends. C: card on, off. Escape: close."
    ),
}
STAGE_BUTTONS = {  # label, what it does
    "back": ("Back", "The chart before this one (arrow left)"),
    "next": ("Next", "The next chart (arrow right)"),
    "sessions": ("Sessions", "Change the number of sessions (C)"),
    "look": ("Look", "Light, dark or as the system"),
    "leave": ("Leave", "Back to the page (Escape)"),
}
KEY_OF_CHARTS = ("offloaded", "software", "target", "pinned")
KEY_OF_BARS = ("encoding with card", "encoding without card", "application")
SHELF = {  # {time} is filled in by the browser, in the visitor's own time
    "title": "Saved scenarios",
    "about": "Everyone who uses this dashboard sees the same shelf. Every save is a revision that "
    "can be opened again.",
    "compare": "Compare side by side",
    "compare_hint": "Tick up to four scenarios in the list, then press Compare.",
    "chart": "Headroom over sessions, scenario by scenario",
    "changed_since": "It was changed at {time}, after you opened it; save yours as a copy, or "
    "open the newer one.",
    "deleted_since": "It was deleted at {time}, after you opened it; save yours as a copy.",
    "too_long": "{name} is kept, but it is too long for a link and cannot be opened from here. "
    "Export saves it as a file.",
    "unreachable": "The shelf cannot be reached just now (number {number}); all else works. Try "
    "again in a moment.",
    "failed": "Something went wrong on the shelf (number {number}); nothing was changed.",
    "json_only": "Expected application/json.",
}
VALUES: dict[str, tuple[str, str, int]] = {
    # name of the curve's column: label, unit, digits
    "headroom_pct": ("Headroom at busy moments", "% of CPU", 0),
    "cpu_p95_pct": ("CPU demand, p95", "% of CPU", 0),
    "cpu_p99_pct": ("CPU demand, p99", "% of CPU", 0),
    "wait_busy_pct": ("Scheduler wait, busy", "% of vCPU time", 1),
    "frames_busy_pct": ("Delivered frames, busy", "% of wanted", 0),
    "stretch_mean": ("Response slow-down, mean", "times", 2),
    "slots_mean": ("Display slots in use, mean", "slots", 0),
    "pixel_rate_mpx_s": ("Pixel rate on the card, mean", "Mpixel/s", 0),
    "network_busy_pct": ("Network, busy", "% of rate", 1),
    "memory_pct": ("Memory", "% of host", 0),
}
LABELS = {
    "sessions": "Sessions",
    "host.cores": "CPU cores",
    "host.threads_per_core": "Threads per core",
    "host.smt_yield": "Yield of a second thread",
    "host.clock_ghz": "Clock, all cores busy",
    "host.turbo_ratio": "Clock ratio, one core busy",
    "host.relative_ipc": "Work per clock, relative",
    "host.reserve_pct": "CPU kept for the hypervisor",
    "host.memory_gib": "Memory",
    "host.network_gbps": "Network rate",
    "host.gpu_memory_gib": "Graphics memory",
    "reference_clock_ghz": "Clock of the reference core",
    "accelerator.cards": "Accelerator cards",
    "accelerator.displays_per_card": "Display slots per card",
    "accelerator.megapixels_per_s_per_card": "Pixel rate per card",
    "accelerator.share_pct": "Accelerator share",
    "day.logon_core_s": "CPU work of one logon",
    "targets.max_cpu_p95_pct": "CPU demand, p95, at most",
    "targets.max_wait_pct": "Scheduler wait at most",
    "targets.min_frames_pct": "Delivered frames at least",
    "targets.max_network_pct": "Network use at most",
}
ACTIVITY_COLUMNS = {
    "software_ms_per_frame": "Encoding without card",
    "offloaded_ms_per_frame": "Encoding with card",
    "frame_rate_hz": "Frame rate",
    "dwell_s": "Lasts",
    "app_burst_ms": "Application burst",
    "app_bursts_per_s": "Bursts",
    "changed_pixels_pct": "Changed pixels",
    "network_mbps": "Network",
}
ROLE_COLUMNS = {
    "vcpus": "vCPUs",
    "displays": "Displays",
    "memory_gib": "Memory",
    "gpu_memory_gib": "Graphics memory",
}
DISPLAYS_IN_MOTION = "Displays in motion"
DISPLAY_SIZE = "Display size"
SESSIONS_PRESENT = "Sessions present"
SPANS = {"one": "one display", "all": "all displays"}
HABIT = "Habit: share of the role's time in each activity, in all 100 %"
PRESENT = "Share of the sessions present over the day"
TEXT_HELP = {  # of what is no number: meaning, range, provenance of the default
    "name": f"What it is called: 1 to 80 characters, each name once. Default: {INVENTED}.",
    "spans": "Whether the picture moves on one display of the desktop or on all. "
    f"Default: one display, {INVENTED}.",
    "display": "Width x height of each display of the desktop, each from 100 to 9999 pixels. "
    f"Default: 1920x1080, {COMMON_PRACTICE}.",
    "clock": f"When the simulated day begins and ends: 00:00 to 24:00. Default: {INVENTED}.",
    "point": "Time of day, 00:00 to 24:00, each once; between two points the share runs in a "
    f"straight line. Default: {INVENTED}.",
}
_ONE = {"sessions": "session", "cores": "core", "cards": "card", "threads": "thread",
        "displays": "display", "slots": "slot", "vCPUs": "vCPU"}  # fmt: skip


def unit_of(amount: float, unit: str) -> str:
    """Return a unit as it is read after an amount: 1 card, 2 cards.

    Parameters
    ----------
    amount : float
        The amount. [`unit`]
    unit : str
        The unit in the plural.
    """
    return _ONE.get(unit, unit) if amount == 1 else unit


def amount(number: float, unit: str) -> str:
    """Return a number with its unit.

    Parameters
    ----------
    number : float
        The number. [`unit`]
    unit : str
        The unit in the plural; "" or "-" for none.
    """
    return f"{number:.10g}" if unit in ("", "-") else f"{number:.10g} {unit_of(number, unit)}"


def value(name: str, amount: float) -> str:
    """Return a value of the curve with sensible digits.

    Parameters
    ----------
    name : str
        Column of the curve.
    amount : float
        The value, in the column's unit.
    """
    _, _, digits = VALUES[name]
    if not abs(amount) < float("inf"):
        return "none left" if amount < 0 else "beyond measure"
    return f"{round(amount, digits) + 0.0:,.{digits}f}"
