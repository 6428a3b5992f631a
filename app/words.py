"""In which sentences does the page state an answer, a difference, a caution?"""

from typing import Any

from app.labels import (
    ACTIVITY_COLUMNS,
    DISPLAY_SIZE,
    DISPLAYS_IN_MOTION,
    LABELS,
    ROLE_COLUMNS,
    SESSIONS_PRESENT,
    amount,
)
from model.assess import Assessment, WhatIf
from model.day import DayResult, crest_reduction_pct
from model.defaults import FIELDS
from model.hosts import Arm
from model.scenario import Scenario, to_data
from model.targets import LIMITS, RatedLoad

CAUTION = (
    "A planning estimate: validate it on your own hosts before buying. Switching offload on and "
    "off on purpose belongs in a trial, not in production. Local policy and the vendors' "
    "documentation come first."
)
CAUTION_IN_SHORT = "A planning estimate: validate it on your own hosts."
PLAY_CAUTION = (  # around the played day
    "One simulated day in steps of one second: an estimate, not a forecast of any one day. "
    "Delivered frames are those for which there is room. Work waiting is that of applications, "
    "in seconds of a reference core; they come first, so it is the same with and without card. "
    f"{CAUTION}"
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
UNFINISHED = (
    "The page was still working, or an input was out of range, when this was printed: the sheet "
    "shows the last complete result."
)
TOO_LONG_FOR_A_LINK = (
    "This scenario is too long for a link, so the address does not hold it: save it on the shelf."
)
NO_LINK_IN_PICTURE = "This scenario is too long for a link, so this picture does not hold it."
REOPEN = {  # what stands above the link of a picture, by how the link is written
    "link": "To open this scenario, drop the picture on a Crestline page or follow this link:",
    "query": "To open this scenario, drop the picture on a Crestline page or end its address with:",
    "inside": "To open this scenario, drop the picture on a Crestline page; the link is inside.",
}


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


def summary_lines(scenario: Scenario) -> list[str]:
    """Return a scenario in a few lines: host and cards, mix, targets.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    """
    host, card = scenario.host, scenario.accelerator
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
        f"Targets: {', '.join(_target(scenario, path) for path in LABELS if _TARGET in path)}.",
    ]


_TARGET = "targets."


def _target(scenario: Scenario, path: str) -> str:
    """A target by its label and its number: "scheduler wait at most 5 %"."""
    label, unit = LABELS[path].replace(",", ""), FIELDS[path].unit.partition(" ")[0]
    small = label if label[:2].isupper() else label[0].lower() + label[1:]
    return f"{small} {getattr(scenario.targets, path.removeprefix(_TARGET)):g} {unit}"


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
    found: dict[str, str] = {"Name": data["name"]}
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
        found[f"{activity['name']}: {DISPLAYS_IN_MOTION}"] = activity["spans"]
    for role in data["roles"]:
        found[f"{role['name']}: Share of the sessions"] = amount(role["weight_pct"], "%")
        for name, label in ROLE_COLUMNS.items():
            found[f"{role['name']}: {label}"] = amount(role[name], FIELDS[f"roles.{name}"].unit)
        found[f"{role['name']}: {DISPLAY_SIZE}"] = role["display"]
        habit = ", ".join(f"{name} {share:g} %" for name, share in role["activity_pct"].items())
        found[f"{role['name']}: Habit"] = habit
    day = data["day"]
    found["Hours of the day"] = f"{day['start']} to {day['end']}"
    found[SESSIONS_PRESENT] = ", ".join(
        f"{clock} {share:g} %" for clock, share in day["present_pct"]
    )
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


def crest_sentence(without: DayResult, carried: DayResult, card: bool) -> str:
    """Return what the card does to the crest of the day.

    Parameters
    ----------
    without, carried : DayResult
        The day without and with the card.
    card : bool
        Whether the host has a card.
    """
    crest = "The crest (p99 of 1 s demand)"
    if not card:
        above = _minutes(without)
        return f"{crest} is {_percent(without.crest_pct)} of the CPU; above 100 % for {above}."
    cut = crest_reduction_pct(without, carried)
    if abs(cut) < 0.5:
        return (
            f"{crest} is {_percent(carried.crest_pct)} of the CPU, with the card or without; "
            f"above 100 % for {_minutes(carried)}."
        )
    return (
        f"{crest} {'falls' if cut > 0 else 'rises'} from {_percent(without.crest_pct)} to "
        f"{_percent(carried.crest_pct)} of the CPU with the card; above 100 % for "
        f"{_minutes(carried)} with it, {without.minutes_above_100_pct:.0f} without."
    )


def _minutes(day: DayResult) -> str:
    told = f"{day.minutes_above_100_pct:.0f}"
    return f"{told} minute" if told == "1" else f"{told} minutes"


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
