"""In which words does the page state an answer, a value, an error?"""

from model.assess import Assessment, WhatIf
from model.day import DayResult, crest_reduction_pct
from model.errors import InputError
from model.targets import LIMITS, RatedLoad

CAUTION = (
    "A planning estimate: validate it on your own hosts before buying. Switching offload on and "
    "off on purpose belongs in a trial, not in production. Local policy and the vendors' "
    "documentation come first."
)
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


def error_sentence(error: InputError) -> str:
    """Return an input error as the page shows it.

    Parameters
    ----------
    error : InputError
        The error.
    """
    return str(error)


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
