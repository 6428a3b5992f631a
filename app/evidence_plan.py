"""How is a trial planned on the page: from which noise, how exactly, with which run sheet?"""

from typing import Any

import numpy as np

from app import words_trial as words
from app.evidence_session import Session
from app.figures.power import power_figure
from app.theme import Theme
from model.errors import InputError, MeasurementError
from model.evidence.noise import Noise, noise_of
from model.evidence.record import Readings
from model.evidence.trial import TrialPlan, plan_trial
from model.evidence.trial_exactness import ORDERS

Told = dict[str, Any]
MOST_NAMES = 40
LONGEST_NAME = 80


def planned(question: Told, session: Session | None) -> tuple[TrialPlan, str]:
    """Return the trial that a visitor asks for, and the unit of its effects.

    Parameters
    ----------
    question : dict
        activities (names), noise (sd [unit of the column], carry [-], interval_s [s], or log, its
        place among those read, and column), goal (one of `words_trial.GOALS`), amount,
        block_s [s] or None, drop_s [s], settle_s [s], order, seed.
    session : Session or None
        The visitor's logs; None where there are none.
    """
    names = question.get("activities")
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
        raise InputError("activities", names, "a list of names")
    if len(names) > MOST_NAMES or any(len(name) > LONGEST_NAME for name in names):
        expected = f"at most {MOST_NAMES} names of at most {LONGEST_NAME} characters"
        raise InputError("activities", f"{len(names)} names", expected)
    drop_s = _number(question, "drop_s")
    noise, column = _noise(question.get("noise"), session, drop_s)
    goal = question.get("goal")
    if goal not in words.GOALS:
        raise InputError("goal", goal, f"one of {', '.join(words.GOALS)}")
    order = question.get("order")
    if order not in ORDERS:
        raise InputError("order", order, f"one of {', '.join(ORDERS)}")
    amount: Any = _number(question, "amount")
    if goal == "blocks":
        amount = _whole("amount", amount)
    block_s = None if question.get("block_s") is None else _number(question, "block_s")
    plan = plan_trial(
        [name.strip() for name in names], noise, **{str(goal): amount}, block_s=block_s,
        drop_s=drop_s, settle_s=_number(question, "settle_s"), order=order,
        seed=_whole("seed", _number(question, "seed")),
    )  # fmt: skip
    return plan, words.COLUMNS[column][1]


def _number(question: Told, name: str) -> float:
    value = question.get(name)
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) < 1e9:
        raise InputError(name, value, "a number")
    return float(value)


def _whole(name: str, value: float) -> int:
    if value != round(value):
        raise InputError(name, value, "a whole number")
    return int(value)


def _noise(given: Any, session: Session | None, drop_s: float) -> tuple[Noise, str]:
    if not isinstance(given, dict):
        raise InputError("noise", given, "a guess, or a pilot log")
    column = given.get("column", "encode_cores")
    if column not in words.COLUMNS:
        raise InputError("column", column, f"one of {', '.join(words.COLUMNS)}")
    if given.get("log") is None:
        numbers = [_number(given, name) for name in ("sd", "carry", "interval_s")]
        return Noise(numbers[0], numbers[1], 1.0, numbers[2]), column
    logs = session.readings() if session is not None else []
    at = given["log"]
    if not isinstance(at, int) or isinstance(at, bool) or not 0 <= at < len(logs):
        raise InputError("log", at, "one of the logs that were read")
    assert session is not None
    log, state = logs[at], session.states()[at]
    if column not in log.columns:
        label = words.COLUMNS[column][0]
        raise MeasurementError(log.name, "no such column", f"a column mapped as {label}")
    values, origin = _one_activity(log, column)
    offload = log.offload if state is None else state
    return noise_of(values, offload, log.interval_s, drop_s, origin), column


def _one_activity(log: Readings, column: str) -> tuple[Any, str]:
    """Return the readings of the activity that fills most of a log: others are not its noise."""
    values = log.columns[column]
    if log.activity is None:
        return values, log.name
    names, counts = np.unique(np.array(log.activity, dtype=str), return_counts=True)
    if len(names) < 2:
        return values, log.name
    most = str(names[int(counts.argmax())])
    kept = np.array(log.activity, dtype=str) == most
    return np.where(kept, values, np.nan), f"{log.name} ({most or 'unnamed'})"


def told_of(plan: TrialPlan, unit: str, theme: Theme) -> Told:
    """Return a plan as the page and the run sheet show it.

    Parameters
    ----------
    plan : TrialPlan
        The plan.
    unit : str
        Unit of its effects.
    theme : Theme
        The look of the power curve.
    """
    noise = plan.noise
    half = words.number(plan.half_width)
    lines = [
        f"{len(plan.activities)} {'activity' if len(plan.activities) == 1 else 'activities'}, "
        f"each {plan.blocks} blocks of {plan.block_s:g} s, half of them with the card, after "
        f"{plan.settle_s:g} s to settle: {words.duration(plan.activity_s)} each, "
        f"{words.duration(plan.total_s)} in all.",
        f"Order: {plan.order}, seed {plan.seed}. The first {plan.drop_s:g} s of each block are "
        "dropped.",
        f"An effect of {words.number(plan.smallest_effect)} {unit} is found with "
        f"{100 * plan.power:.0f} % probability; the {100 * plan.confidence:.0f} % interval will "
        f"be about {half} {unit} to either side.",
        f"Assumed noise, from {noise.origin}: standard deviation {words.number(noise.sd)} {unit}, "
        f"correlation of neighbouring readings {noise.lag_1:.2f}, a reading every "
        f"{noise.interval_s:g} s.",
    ]
    rows = [
        [str(row.block), row.clock, row.activity, row.state,
         "switch" if row.switched else "leave", words.clock(row.count_from_s), ""]
        for row in plan.run_sheet
    ]  # fmt: skip
    return {
        "lines": lines,
        "answer": f"Plan {words.duration(plan.total_s)}: {plan.blocks} blocks of "
        f"{plan.block_s:g} s for each activity.",
        "order": [
            {"activity": name, "states": list(states)}
            for name, states in zip(plan.activities, plan.states, strict=True)
        ],
        "figure": power_figure(plan, unit, theme),
        "sheet": {
            "head": ["Block", "Starts", "Activity", "Offload", "Do", "Counts from",
                     "Actual time, remarks"],
            "rows": rows,
        },
        "checklist": list(plan.checklist),
        "cautions": list(plan.cautions),
    }  # fmt: skip


def table_of(plan: TrialPlan, unit: str) -> tuple[list[str], list[list[object]]]:
    """Return the power curve as a table: header and rows.

    Parameters
    ----------
    plan : TrialPlan
        The plan.
    unit : str
        Unit of its effects.
    """
    pairs = zip(plan.effects.tolist(), plan.powers.tolist(), strict=True)
    return (
        [f"true effect [{unit}]", "chance that it is found [%]"],
        [[effect, 100 * power] for effect, power in pairs],
    )
