"""In which words are a trial's plan, its effects and what follows from them told?

Parts 1, 4 and 5 of the Evidence page, the report and the run sheet. Numbers get as many digits as
their intervals support.
"""

from math import floor, log10
from typing import Any

COLUMNS: dict[str, tuple[str, str]] = {  # label, unit
    "encode_cores": ("Encoder's CPU", "cores"),
    "cpu_cores": ("Desktop's CPU", "cores"),
    "host_cores": ("Host's CPU", "cores"),
    "frames_hz": ("Frames delivered", "frames/s"),
}
STATES = {"all": "whole log", "off": "without card", "on": "with card"}
CHECKS = {  # of `model.evidence.effect.Check`: name, what its units count
    "pairs": ("Neighbouring pairs", "pairs"),
    "quads": ("Fours (on-off-off-on)", "fours"),
    "hac": ("Single readings, HAC (Andrews lag)", "readings lag"),
    "bootstrap": ("Single readings, bootstrap (2,000)", "readings a piece, mean"),
}
TITLES = {
    "forest": "What the card changes",
    "power": "What the trial can tell",
    "quantiles": "Predicted against measured",
    "residuals": "What the counts leave unexplained",
}
ABOUT = {  # what stands above each part
    "plan": "How long must the trial be, and in which order is the card switched? A plan tells "
    "before anyone spends an hour on it how exact the answer will be.",
    "effect": "Offload on against off: neighbouring blocks are compared, a slow drift is taken "
    "out, and the 95 % intervals allow for readings that resemble each other.",
    "model": "Measured costs replace the defaults, one by one, as you accept them. The Host page "
    'then says "measured" and shows the range that the intervals leave.',
}
NOTHING_YET = {
    "effect": "Read a log (part 2) and confirm when offload was on (part 3): the effect then "
    "stands here.",
    "model": "Once a log is read, its measured costs and its comparison with the model stand here.",
}
PLAN_FIELDS: dict[str, tuple[str, str, str]] = {  # label, unit, help
    "activities": ("Activities", "", "Each is a part of the trial, one below the other."),
    "pilot": ("Noise from", "", "A log recorded in advance tells it best: ten minutes are enough."),
    "sd": ("Noise: standard deviation", "cores", "How far single readings stray."),
    "carry": (
        "Correlation of neighbouring readings",
        "-",
        "0: each reading is new. 0.9: deviations last some ten readings.",
    ),
    "interval_s": ("Time between readings", "s", "As the log will have it."),
    "goal": ("Wanted", "", "What decides how long the trial is."),
    "amount": ("How much", "", ""),
    "block_s": ("Length of a block", "s", "Empty: the length that makes the trial shortest."),
    "drop_s": ("Dropped at the start of a block", "s", "While the desktop settles."),
    "settle_s": ("Time before each activity", "s", "To start it and let it run in."),
    "order": ("Order", "", "Thue-Morse evens out bent drifts too, ABBA straight ones."),
    "seed": ("Seed", "-", "Decides by chance; the same seed gives the same plan."),
}
GOALS = {  # what is wanted: label, unit
    "smallest_effect": ("smallest effect not to be missed (80 % power)", "cores"),
    "half_width": ("half width of the 95 % interval", "cores"),
    "blocks": ("number of blocks for each activity", "blocks"),
}
BUTTONS = {  # label, what it does
    "plan": ("Plan the trial", "Work out length, order and power"),
    "run-sheet": ("Print the run sheet", "Order, times, checklist and cautions on paper"),
    "effect": ("Work out again", "With the numbers of seconds above"),
    "peaks": ("Count again", "With the thresholds above"),
    "report": ("Print the trial report", "Method, data, exclusions, results and cautions"),
    "changes": ("Show the changes", "What the measured costs would change in the scenario"),
    "apply": ("Use the ticked ones", "Writes them into the scenario and opens the Host page"),
    "demands": ("Estimate demands", "From the host's total and who did what"),
    "compare": ("Compare", "Hold the model's prediction against the host's log"),
    "cancel": ("Cancel", "Stop what is being worked out"),
    "csv": ("Numbers", "Save as CSV"),
    "picture": ("Picture", "Save as PNG"),
}
METHOD = (
    "One desktop repeats an activity while offload is switched on and off in blocks. The first "
    "{drop} s of each block are left out. The mean of each block is explained by offload and by a "
    "smooth drift with one term for every four blocks; the difference and its 95 % interval follow "
    "from what is left, with allowance for neighbouring readings that resemble each other. The "
    "ratio's interval is Fieller's. Other roads to the same difference stand beside it as a check: "
    "neighbouring pairs and fours of blocks, and single readings with a long-run variance (HAC) "
    "and with a bootstrap of whole stretches. Percentiles are read by the usual linear rule; their "
    "intervals count how many independent readings the exceedances are worth."
)
METHOD_IN_SHORT = (
    "Offload was switched on and off in blocks; the first {drop} s of each are left out. Means of "
    "blocks are compared after a smooth drift was taken out; intervals allow for neighbouring "
    "readings that resemble each other. Thin: checks on single readings."
)
CAUTIONS = (
    "The effect holds for this desktop, these activities, this display size and these settings; "
    "another host, client or protocol setting needs a trial of its own.",
    "Who knew which state was on, and in which order the blocks came, is for the reader to ask.",
    "Rows listed under exclusions were left out before anything was worked out.",
)


def number(value: float, half_width: float | None = None) -> str:
    """Return a number with the digits that its interval supports.

    The half width gets two digits where it begins with 1 or 2, else one.

    Parameters
    ----------
    value : float
        The number. [any]
    half_width : float or None
        Half of its interval; None shows three digits of the number itself. [as the number]
    """
    size = abs(half_width) if half_width else abs(value) / 10
    if size == 0 or size != size:
        return f"{value:g}"
    place = floor(log10(size))
    leading = size / 10.0**place
    digits = 2 if not half_width or leading < 2.95 else 1
    decimals = min(max(digits - 1 - place, 0), 5)
    return f"{round(value, decimals) + 0.0:,.{decimals}f}"


def interval(low: float, high: float | None) -> str:
    """Return an interval in words, "no upper limit" where it has none.

    Parameters
    ----------
    low, high : float
        Both ends. [any] None as the upper one: it lies beyond the readings.
    """
    if high is None:
        return f"{number(low)}, no upper limit"
    half = (high - low) / 2
    return f"{number(low, half)} to {number(high, half)}"


def estimate(found: dict[str, Any], factor: float = 1.0) -> str:
    """Return an estimate as it stands in a table: value and interval.

    Parameters
    ----------
    found : dict
        value, low, high; None where the log says nothing.
    factor : float
        What both are multiplied by: 100 for per cent. [-]
    """
    if found["value"] is None:
        return "none"
    if found["low"] is None:
        return f"{number(found['value'] * factor)} (no interval)"
    low, high = found["low"] * factor, found["high"] * factor
    half = (high - low) / 2
    return f"{number(found['value'] * factor, half)} ({interval(low, high)})"


def activity(name: str) -> str:
    """Return an activity's name; "" stands for all of a log's rows.

    Parameters
    ----------
    name : str
        The name.
    """
    return name or "all rows"


def effect_sentence(row: dict[str, Any]) -> str:
    """Return one effect in words.

    Parameters
    ----------
    row : dict
        A row of the effects, see `app.evidence_effects.effects_of`.
    """
    label, unit = COLUMNS[row["column"]]
    change, off, on = row["difference"], row["off"], row["on"]
    who = f"{row['title']}, {label[0].lower()}{label[1:]}"
    if change["value"] is None:
        return f"{who}: not read both with and without the card."
    half = None if change["low"] is None else (change["high"] - change["low"]) / 2
    levels = (
        f"{who}: {number(on['value'], half)} {unit} with the card, "
        f"{number(off['value'], half)} without"
    )
    if change["low"] is None:
        return f"{levels}; the log supports no interval."
    if change["low"] <= 0 <= change["high"]:
        return (
            f"{levels}; a difference cannot be told from none (95 % interval of it "
            f"{interval(change['low'], change['high'])})."
        )
    way = "less" if change["value"] < 0 else "more"
    ends = sorted((abs(change["low"]), abs(change["high"])))
    share = row["ratio"]["value"]
    part = "" if share is None else f", {abs(100 * (share - 1)):.0f} %"
    return (
        f"{levels}. That is {number(abs(change['value']), half)} {unit}{part} {way} "
        f"(95 % interval {interval(*ends)})."
    )


def duration(seconds: float) -> str:
    """Return a time in hours and minutes.

    Parameters
    ----------
    seconds : float
        The time. [s]
    """
    minutes = round(seconds / 60)
    if minutes < 1:
        return f"{seconds:.0f} s"
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60} min"


def clock(seconds: float) -> str:
    """Return a time from the trial's begin as hours, minutes and seconds.

    Parameters
    ----------
    seconds : float
        The time. [s]
    """
    whole = round(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"
