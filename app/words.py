"""In which words does the page state an answer, a value, an error?"""

from typing import Any

from model.assess import Assessment, WhatIf
from model.day import DayResult, crest_reduction_pct
from model.defaults import COMMON_PRACTICE, FIELDS, INVENTED
from model.hosts import Arm
from model.scenario import Scenario, to_data
from model.targets import LIMITS, RatedLoad

CAUTION = (
    "A planning estimate: validate it on your own hosts before buying. Switching offload on and "
    "off on purpose belongs in a trial, not in production. Local policy and the vendors' "
    "documentation come first."
)
TOO_LONG_FOR_A_LINK = (
    "This scenario is too long for a link, so the address does not hold it: save it on the shelf."
)
OPEN_FILE = "Open a picture or scenario file"
REOPEN = {  # what stands above the link of a picture, by how the link is written
    "link": "To open this scenario, drop the picture on a Crestline page or follow this link:",
    "query": "To open this scenario, drop the picture on a Crestline page or end its address with:",
    "inside": "To open this scenario, drop the picture on a Crestline page; the link is inside.",
}
NO_LINK_IN_PICTURE = "This scenario is too long for a link, so this picture does not hold it."
TITLES = {  # of the charts
    "headroom": "Headroom over sessions",
    "contention": "Frames and scheduler wait over sessions",
    "day": "The working day",
    "desktop": "One desktop, activity by activity",
}
ACTIONS = {  # of the buttons below the answer: label, what it does
    "pin": ("Pin", "Keep this result as a ghost on every chart, to compare with"),
    "unpin": ("Unpin", "Take the pinned result away"),
    "play": ("Play the day", "Watch a simulated day, the card switched on and off at will"),
    "stage": ("Stage view", "One chart at a time in large type, for sharing the screen"),
    "pictures": ("All pictures", "Save every chart as PNG, in one zip file"),
    "assessment": ("All numbers", "Save the whole answer as JSON"),
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
    "no_card": "This host has no card: the day has one course.",
    "no_share": "No session may use the card: the day has one course.",
    "demand_of": "of the CPU asked for",
    "present": "sessions present",
    "rows": {  # what, unit
        "demand": ("CPU demand", "%"),
        "kept": ("Frames kept", "%"),
        "waiting": ("Work waiting", "core·s"),
        "slots": ("Slots in use", "of {}"),
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
    "caution": (
        "One simulated day in steps of one second: an estimate, not a forecast of any one day. "
        "Frames kept are those for which there is room. Work waiting is that of applications, in "
        "seconds of a reference core; they come first, so it is the same with and without card. "
    )
    + CAUTION,
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
CAUTION_IN_SHORT = "A planning estimate: validate it on your own hosts."
UNFINISHED = (
    "The page was still working, or an input was out of range, when this was printed: the sheet "
    "shows the last complete result."
)
METHOD = (
    "Each session goes from activity to activity, and each activity asks the CPU for application "
    "work and, frame by frame, for encoding its display, by the CPU or by the card. Headroom is "
    "all of the CPU less the 95th percentile of demand; waits and delivered frames at busy moments "
    "come from a queueing model of the shared CPU. The rated load is the most sessions at which "
    "every target and resource still holds. The working day is simulated second by second, and "
    "its crest is the 99th percentile of demand over one second. Left out are NUMA, storage, "
    "memory bandwidth, the client's side and a protocol that adapts to load."
)
SHELF = {  # {time} is filled in by the browser, in the visitor's own time
    "title": "Saved scenarios",
    "about": "Everyone who uses this dashboard sees the same shelf. Every save is a revision that "
    "can be opened again.",
    "compare": "Compare side by side",
    "compare_hint": "Tick up to four scenarios in the list, then press Compare.",
    "chart": "Headroom over sessions, scenario by scenario",
    "changed_since": "It was changed at {time} since you opened it; save as a copy, or open the "
    "newer one.",
    "deleted_since": "It was deleted at {time} since you opened it; save as a copy.",
    "too_long": "a scenario that fits into a link; this one is kept but too long to be opened",
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
    "frames_busy_pct": ("Frames delivered, busy", "% of wanted", 0),
    "stretch_mean": ("Response stretch, mean", "times", 2),
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
    "accelerator.cards": "Cards",
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
    "dwell_s": "Dwell",
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

SPANS = {"one": "one display", "all": "all displays"}
TEXT_HELP = {  # of what is no number: meaning, range, provenance of the default
    "name": f"What it is called: 1 to 80 characters, each name once. Default: {INVENTED}.",
    "spans": "Whether the activity moves one display of the desktop or all of them. "
    f"Default: one display, {INVENTED}.",
    "display": "Width x height of each display of the desktop, each from 100 to 9999 pixels. "
    f"Default: 1920x1080, {COMMON_PRACTICE}.",
    "clock": f"When the simulated day begins and ends: 00:00 to 24:00. Default: {INVENTED}.",
    "point": "Time of day, 00:00 to 24:00; each point once, sorted by itself. In between, the "
    f"share runs straight from point to point. Default: {INVENTED}.",
}
HABIT = "Habit: share of the role's time in each activity, in all 100 %"
PRESENT = "Share of the sessions present over the day"
_ONE = {"sessions": "session", "cores": "core", "cards": "card", "threads": "thread",
        "displays": "display", "vCPUs": "vCPU"}  # fmt: skip


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


def answer_sentence(assessment: Assessment) -> str:
    """Return the answer in one sentence: both rated loads and the gain.

    Parameters
    ----------
    assessment : Assessment
        Both arms.
    """
    without = assessment.rated["software"].rated_load
    carried = assessment.rated["offloaded"].rated_load
    if assessment.scenario.accelerator.cards == 0:
        return f"This host has no card and carries {sessions(without)}."
    gain = assessment.gain_sessions
    if gain == 0:
        return f"This host carries {sessions(carried)}, with the card or without: it adds none."
    more = f"{abs(gain)} {'more' if gain > 0 else 'fewer'}"
    if assessment.gain_pct is not None:
        more += f" ({assessment.gain_pct:+.0f} %)"
    return f"With the card this host carries {sessions(carried)}, {without} without: {more}."


def limit_sentence(rated: RatedLoad) -> str:
    """Return what stops the next session on one arm.

    Parameters
    ----------
    rated : RatedLoad
        The rated load.
    """
    arm = "With the card" if rated.arm == "offloaded" else "Without a card"
    if not rated.limit:
        return f"{arm}: {rated.binding_limit}."
    slots = " The display slots are all taken." if rated.slots_full else ""
    if rated.rated_load == 0:
        if rated.limit == "frames":
            return (
                f"{arm} not even one session meets the targets: encoding cannot reach the frame "
                f"target even alone, {rated.binding_limit}."
            )
        return f"{arm} not even one session meets the targets: {rated.binding_limit}."
    return (
        f"{arm} the limit is {LIMITS[rated.limit]}: at {sessions(rated.rated_load + 1)} "
        f"{rated.binding_limit}.{slots}"
    )


def what_if_sentence(change: WhatIf, before: Assessment) -> str:
    """Return one change to the host and what it does, in words.

    Parameters
    ----------
    change : WhatIf
        The change.
    before : Assessment
        The answer without it.
    """
    parts = []
    for arm, words in (("offloaded", "with the card"), ("software", "without")):
        after = change.rated[arm]  # type: ignore[index]
        step = after - before.rated[arm].rated_load  # type: ignore[index]
        parts.append(f"{after} {words} ({step:+d})" if step else f"{after} {words} (as before)")
    return f"{change.change[0].upper()}{change.change[1:]}: {', '.join(parts)}"


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
    if amount != amount or amount in (float("inf"), float("-inf")):
        return "none left"
    return f"{round(amount, digits) + 0.0:,.{digits}f}"


def summary_lines(scenario: Scenario) -> list[str]:
    """Return a scenario in a few lines: host and cards, mix, targets.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    """
    host, card, targets = scenario.host, scenario.accelerator, scenario.targets
    threads = "thread" if host.threads_per_core == 1 else "threads"
    cores = "core" if host.cores == 1 else "cores"
    parts = [
        f"{sessions(scenario.sessions)} on a host with {host.cores} {cores} at "
        f"{host.clock_ghz:g} GHz, {host.threads_per_core} {threads} per core, "
        f"{host.memory_gib:,g} GiB of memory and {host.network_gbps:g} Gbit/s of network."
    ]
    if card.cards:
        each = "" if card.cards == 1 else " each"
        parts.append(
            f"{card.cards} {'card' if card.cards == 1 else 'cards'} with "
            f"{card.displays_per_card} display slots and "
            f"{card.megapixels_per_s_per_card:,.0f} Mpixel/s{each}, for {card.share_pct:g} % of "
            "the sessions."
        )
    else:
        parts.append("No card.")
    mix = [f"{role.name} {role.weight_pct:g} %" for role in scenario.roles if role.weight_pct]
    return [
        " ".join(parts),
        f"Mix: {', '.join(mix)}.",
        f"Targets: CPU demand p95 at most {targets.max_cpu_p95_pct:g} %, scheduler wait at most "
        f"{targets.max_wait_pct:g} %, delivered frames at least {targets.min_frames_pct:g} %, "
        f"network at most {targets.max_network_pct:g} %.",
    ]


def pin_sentence(pinned: Scenario, present: Scenario) -> str:
    """Return what is pinned, by what differs from the present scenario.

    Parameters
    ----------
    pinned, present : Scenario
        The pinned scenario and the one shown.
    """
    differing = differences(pinned, present)
    if not differing:
        return "Pinned: the same as shown. Move a slider to compare."
    told = "; ".join(f"{name} {before} (now {now})" for name, before, now in differing[:MOST_TOLD])
    more = len(differing) - MOST_TOLD
    return f"Pinned: {told}{f'; and {more} more' if more > 0 else ''}."


MOST_TOLD = 4  # differences written out


def differences(before: Scenario, now: Scenario) -> list[tuple[str, str, str]]:
    """Return which inputs differ between two scenarios, each with both values as text.

    Parameters
    ----------
    before, now : Scenario
        The two.
    """
    one, other = (_flat(to_data(scenario)) for scenario in (before, now))
    keys = list(one) + [key for key in other if key not in one]
    return [
        (key, one.get(key, "none"), other.get(key, "none"))
        for key in keys
        if one.get(key) != other.get(key)
    ]


def _flat(data: dict[str, Any]) -> dict[str, str]:
    """All inputs of a scenario by a name that a reader understands, with their units."""
    found: dict[str, str] = {"name": data["name"]}
    for path, label in LABELS.items():
        at: Any = data
        for name in path.split("."):
            at = at[name]
        unit = FIELDS[path].unit
        found[label] = amount(at, "" if unit in label.lower() else unit)
    for activity in data["activities"]:
        for name, label in ACTIVITY_COLUMNS.items():
            unit = FIELDS[f"activities.{name}"].unit
            found[f"{activity['name']}: {label}"] = amount(activity[name], unit)
        found[f"{activity['name']}: displays"] = activity["spans"]
    for role in data["roles"]:
        found[role["name"]] = amount(role["weight_pct"], "%")
        for name, label in ROLE_COLUMNS.items():
            found[f"{role['name']}: {label}"] = amount(role[name], FIELDS[f"roles.{name}"].unit)
        found[f"{role['name']}: display"] = role["display"]
        habit = ", ".join(f"{name} {share:g} %" for name, share in role["activity_pct"].items())
        found[f"{role['name']}: habit"] = habit
    day = data["day"]
    found["Day"] = f"{day['start']} to {day['end']}"
    found["Presence"] = ", ".join(f"{clock} {share:g} %" for clock, share in day["present_pct"])
    return found


def change_sentence(before: Assessment, now: Assessment) -> str:
    """Return how the rated loads differ from those pinned.

    Parameters
    ----------
    before, now : Assessment
        The pinned answer and the present one.
    """
    arms = [("software", "without")] if not now.scenario.accelerator.cards else [
        ("offloaded", "with the card"), ("software", "without")]  # fmt: skip
    if before.scenario.accelerator.cards and not now.scenario.accelerator.cards:
        step = now.rated["software"].rated_load - before.rated["offloaded"].rated_load
        return f"Against the pin: {_signed(step)} without any card"
    parts = [
        f"{_signed(now.rated[arm].rated_load - before.rated[arm].rated_load)} {told}"  # type: ignore[index]
        for arm, told in arms
    ]
    return f"Against the pin: {', '.join(parts)}"


def _signed(step: int) -> str:
    return f"{step:+d} session" if abs(step) == 1 else f"{step:+d} sessions"


def crest_change(before: dict[Arm, DayResult], now: dict[Arm, DayResult]) -> str:
    """Return by how much the crest of the day differs from the pinned one.

    Parameters
    ----------
    before, now : dict
        The pinned day and the present one, by arm.
    """
    parts = []
    for arm, told in (("offloaded", "with the card"), ("software", "without")):
        was, is_now = before[arm].crest_pct, now[arm].crest_pct  # type: ignore[index]
        if was > 0:
            parts.append(f"{(is_now / was - 1) * 100:+.0f} % {told}")
    return f"crest {', '.join(parts)}" if parts else ""


def crest_sentence(without: DayResult, carried: DayResult) -> str:
    """Return what the card does to the crest of the day.

    Parameters
    ----------
    without, carried : DayResult
        The day without and with the card.
    """
    over = f"{without.minutes_above_100_pct:.0f} and {carried.minutes_above_100_pct:.0f} minutes"
    cut = crest_reduction_pct(without, carried)
    if abs(cut) < 0.5:
        return (
            f"The crest (p99 of 1 s demand) is {_percent(carried.crest_pct)} of the CPU, with the "
            f"card or without; above 100 % for {carried.minutes_above_100_pct:.0f} minutes."
        )
    change = "falls" if cut > 0 else "rises"
    return (
        f"The crest (p99 of 1 s demand) {change} from {_percent(without.crest_pct)} to "
        f"{_percent(carried.crest_pct)} of the CPU with the card; above 100 % for {over}."
    )


def _percent(amount: float) -> str:
    return f"{amount:.0f} %" if amount < 1000 else "more than 1,000 %"


def sessions(count: int) -> str:
    """Return a number of sessions in words.

    Parameters
    ----------
    count : int
        The number. [sessions]
    """
    return f"{count} session" if count == 1 else f"{count} sessions"


def play_about(scenario: Scenario) -> str:
    """Return whose day is played.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    """
    day = scenario.day
    return f"{scenario.name}: {sessions(scenario.sessions)}, {day.start} to {day.end}"
