"""In which words does the Host page say how sure its answers are?"""

import math

from app.refusals import refusal
from model.draws import GROUPS
from model.errors import InputError
from model.targets import LIMITS

TITLE = "How sure is this?"
RANKING_TITLE = "Which input moves the answer most"
ABOUT = (
    "Costs, mix, clock and SMT yield are never known exactly. Here the whole answer is worked out "
    "for many scenarios that could just as well be true, each input drawn around its value by the "
    "spread below, or as a log measured it. Nothing that the model leaves out is in these ranges."
)
BUTTONS = {  # label, what it does
    "start": ("Work out", "Draw the uncertain inputs and work out every draw"),
    "again": ("Work out again", "Work it out for the inputs shown now"),
    "cancel": ("Cancel", "Stop working it out"),
    "table": ("Numbers", "Save these ranges as CSV, for a spreadsheet"),
    "picture": ("Picture", f"Save this chart as PNG: {RANKING_TITLE}"),
    "ranking": ("Numbers", f"Save this chart's numbers as CSV: {RANKING_TITLE}"),
    "reset": ("Back to the defaults", "Set every spread back to its default"),
}
TEXTS = {
    "draws": "Draws",
    "total": "Sessions of the fleet",
    "total_help": "Empty: hosts are not counted.",
    "total_fleet": "As many as on the Fleet page, at its prices.",
    "spreads": "How far each input may be off",
    "spreads_about": "A spread of 20 % means: in one case of ten the input is more than 20 % above "
    "its value, in one of ten as far below. What a log measured keeps its own interval. Spreads "
    "are not part of the link.",
    "answer": "Answer",
    "earlier": "This was worked out for earlier inputs.",
    "cancelled": "Cancelled; nothing was changed.",
    "evidence": "Plan the trial and read its logs on the Evidence page",
    "unreachable": "The server does not answer; try again.",
    "gone": "This result is no longer kept; work it out again.",
}
ANSWERS = {  # name of the model: row of the table, its unit, digits
    "rated_load": ("Rated load", "sessions", 0),
    "headroom_pct": ("Headroom at {sessions}", "% of CPU", 0),
    "crest_pct": ("Crest of the day", "% of CPU", 0),
    "hosts": ("Hosts for {total}", "hosts", 0),
    "cost_per_year": ("Cost per year", "{currency}", 0),
    "gain_sessions": ("The card adds", "sessions", 0),
    "crest_reduction_pct": ("The card lowers the crest by", "%", 0),
    "hosts_saved": ("Hosts that the card saves", "hosts", 0),
    "saved_per_year": ("The card saves per year", "{currency}", 0),
}
HEAD = ("Answer", "", "P10", "P50", "P90", "As given")
HEAD_ABOUT = "P10: 1 draw in 10 lies at or below it. P50: half do. P90: 9 in 10 do."
ARM_WORDS = {"offloaded": "with the card", "software": "without the card"}
# What a trial's logs can tell; the rest is counted, timed or read elsewhere.
MEASURED_BY_TRIAL = ("software", "offloaded", "application", "picture")
_WHOLE_OF_DRAWS = "8 of 10"
_COST = (
    "Cost per year: purchase spread evenly over {years}, upkeep, and energy of the first year, at "
    'the prices of "{choice}" on the Fleet page, spare and drained hosts included, all sessions '
    "at one site."
)
_FLEET_LEFT_OUT = "Hosts and cost are left out, for the fleet does not fit this scenario: {why}"
_FIELDS = {"draws": TEXTS["draws"], "total_sessions": TEXTS["total"]}


def band_label(draws: int) -> str:
    """Return what the band of a chart is.

    Parameters
    ----------
    draws : int
        Number of draws.
    """
    return f"{_WHOLE_OF_DRAWS} draws ({draws:,} in all)"


def figure(name: str, value: float) -> str:
    """Return a value of an answer with sensible digits.

    Parameters
    ----------
    name : str
        Key of `ANSWERS`.
    value : float
        The value. [its unit]
    """
    if math.isfinite(value):
        return f"{round(value, ANSWERS[name][2]) + 0.0:,.{ANSWERS[name][2]}f}"
    if name in ("hosts", "cost_per_year"):
        return "no number is enough"
    if name in ("hosts_saved", "saved_per_year"):
        return "none is enough without" if value > 0 else "none is enough with it"
    return "none left" if value < 0 else "beyond measure"


def span(name: str, low: float, high: float, unit: str = "") -> str:
    """Return a range in words, one number where both ends read alike.

    Parameters
    ----------
    name : str
        Key of `ANSWERS`.
    low, high : float
        The ends. [unit of the answer]
    unit : str
        Written after a number.
    """
    one, other = figure(name, low), figure(name, high)
    told = f" {unit}" if unit else ""
    if one == other:
        return f"{one}{told}" if math.isfinite(low) else one
    if name in ("hosts", "cost_per_year") and math.isfinite(low) and not math.isfinite(high):
        return f"{one}{told} or more"
    if not math.isfinite(high):
        return f"{one}{told} and beyond"
    if not math.isfinite(low):
        return f"{one} to {other}{told}"
    return f"{one} to {other}{told}"


def share(of_draws: float) -> str:
    """Return a share of the draws in whole per cent, never 0 or 100 for what is not.

    Parameters
    ----------
    of_draws : float from 0 to 1
        The share. [-]
    """
    pct = of_draws * 100
    if 0 < pct < 1:
        return "less than 1 %"
    if 99 < pct < 100:
        return "more than 99 %"
    return f"{pct:.0f} %"


def nobody(of_draws: float, arm: str, limit: str, activity: str, card: bool = True) -> str:
    """Return that some draws carry nobody, and why; "" where all carry someone.

    Parameters
    ----------
    of_draws : float from 0 to 1
        Share of the draws in which not even one session meets the targets. [-]
    arm : str
        "software" or "offloaded".
    limit : str
        Key of `LIMITS` of what mostly fails.
    activity : str
        The activity whose display is encoded too slowly; "" where that is not the reason.
    card : bool
        Whether the host has a card.
    """
    if of_draws <= 0:
        return ""
    where = "" if not card else " with the card" if arm == "offloaded" else " without the card"
    if limit == "frames" and activity:
        why = (
            f"encoding then misses the frame target even for one desktop alone, most of all at "
            f"{activity}"
        )
    else:
        why = f"{LIMITS.get(limit, 'a target')} misses its target with the first one"
    return (
        f"In {share(of_draws)} of the draws not even one session meets the targets{where}, "
        f"because {why}."
    )


def cost_note(years: int, choice: str) -> str:
    """Return what the yearly cost is made of.

    Parameters
    ----------
    years : int, 1 or more
        Over which the purchase is spread. [years]
    choice : str
        Name of the host choice whose prices count.
    """
    return _COST.format(years=f"{years} years" if years > 1 else "one year", choice=choice)


def fleet_left_out(error: InputError) -> str:
    """Return that a fleet does not fit, and why.

    Parameters
    ----------
    error : InputError
        What does not fit.
    """
    return _FLEET_LEFT_OUT.format(why=refusal(error))


def refused(error: InputError) -> str:
    """Return what is wrong with a box of the section.

    Parameters
    ----------
    error : InputError
        The refusal.
    """
    name = error.field
    if name in _FIELDS:
        label = _FIELDS[name]
    elif name.startswith("spreads_pct.") and name.partition(".")[2] in GROUPS:
        group = GROUPS[name.partition(".")[2]].label
        label = f"Spread of {group}"
    else:
        return refusal(error)
    return refusal(InputError(label, error.value, error.expected))
