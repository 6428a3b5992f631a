"""How is a visitor of the Evidence page told that something will not do? By the labels seen there.

Numbers of the scenario are called as on the Host page (`app.refusals`), boxes of the Evidence page
by their own labels. The field's name in the code goes along, so that a script can mark the box.
"""

from typing import Any

from app.refusals import refusal
from app.words_evidence import MEANINGS
from app.words_trial import COLUMNS, GOALS, PLAN_FIELDS
from model.errors import InputError, MeasurementError

_ANSWERS = {  # of the form under a log, part 2; a record of answers is also checked by itself
    "clock_change": "The clock on the wall",
    "cpu_base": "What the desktop's CPU is a percentage of",
    "decimal": "Sign before the decimals",
    "encode_base": "What the encoder's CPU is a percentage of",
    "encoding": "Encoding",
    "host_base": "What the host's CPU is a percentage of",
    "off_words": "Words for without card",
    "on_words": "Words for with card",
    "step_s": "Seconds between rows",
    "time_format": "How the time is written",
}
_COLUMNS = {name: f"The column of {told.partition(',')[0]}" for name, told in MEANINGS.items()}
_NAMES = (
    {name: label for name, (label, _, _) in PLAN_FIELDS.items()}
    | {name: label[0].upper() + label[1:] for name, (label, _) in GOALS.items()}
    | {f"mapping.{name}": label for name, label in (_ANSWERS | _COLUMNS).items()}
    | {f"thresholds.{name}": f"Threshold, {label}" for name, (label, _) in COLUMNS.items()}
    | {
        "accepted": "What is ticked",
        "action": "What to do with the switch",
        "arm": "Taken with or without card",
        "at_s": "The time of the switch",
        "base_cores": "CPU of the host without sessions",
        "bases": "The answers",
        "clock_ghz": "Clock held while measured",
        "column": "The reading shown",
        "compared": "The comparison",
        "counted": "A core of the log",
        "counts": "Counts of sessions",
        "demands": "The demand of one session",
        "effect": "The effect",
        "effects": "The effect",
        "evidence": "Your visit",
        "from_s": "The beginning of what is shown",
        "groups": "The logs",
        "host_cores": "The host's CPU",
        "least_dwell_s": "The least length of a spell",
        "log": "The log",
        "logs": "The logs",
        "mapping": "What the columns are",
        "noise": PLAN_FIELDS["pilot"][0],
        "peaks": "The peaks",
        "reading": "The reading",
        "relative_ipc": "Work per clock, relative",
        "request": "What was sent",
        "role": "The role of the desktop measured",
        "row": "The switch",
        "rows": "Readings",
        "sessions_present": "Sessions present",
        "state": "The state of the spell",
        "thresholds": "The thresholds",
        "to_s": "The time of the switch",
        "tolerance_pct": "Allowed difference",
    }
)


def told_error(error: InputError) -> dict[str, Any]:
    """Return a refusal as the page is told of it.

    Parameters
    ----------
    error : InputError
        What was refused.

    Returns
    -------
    dict
        field, by its name in the code or the log's name; message, by the label seen; row and
        column of a log, None where no single one is at fault.
    """
    told: dict[str, Any] = {"field": error.field, "message": evidence_refusal(error)}
    if isinstance(error, MeasurementError):
        return told | {"field": error.log, "row": error.row, "column": error.column}
    return told | {"row": None, "column": None}


def evidence_refusal(error: InputError) -> str:
    """Return what is wrong with a value, and what would do, in the words of the Evidence page.

    Parameters
    ----------
    error : InputError
        What was refused.
    """
    begins = error.log if isinstance(error, MeasurementError) else error.field
    name = _name(begins)
    if name is None:
        return refusal(error)
    rest = error.field.removeprefix(begins)  # row and column of a log
    return refusal(InputError(f"{name}{rest}", error.value, error.expected))


def _name(field: str) -> str | None:
    """Return what the Evidence page calls a field; None for one that it does not know."""
    if field in _NAMES:
        return _NAMES[field]
    if field.startswith("mapping.counts."):
        return f"The column of sessions in {field.removeprefix('mapping.counts.')}"
    parent = field.rpartition(".")[0]  # of "mapping.encode_base.processors"
    if parent in _NAMES and parent != "mapping":
        return _NAMES[parent]
    return _ANSWERS.get(field.partition(".")[0])
