"""What does the Evidence page show of a trial: plan, effects, peaks, a host's log, report?

Each answer is made from the visitor's own session; no scenario or table holds what another visitor
brought. `app.evidence_results_web` says at which addresses they are asked for.
"""

import datetime as dt
from typing import Any

from app import (
    evidence_effects,
    evidence_host,
    evidence_peaks,
    evidence_plan,
    evidence_shown_effects,
    evidence_shown_host,
    evidence_shown_peaks,
)
from app import words_trial as words
from app.evidence_asked import (
    asked_arm,
    asked_number,
    asked_number_or_none,
    asked_place,
    asked_scenario,
    asked_theme,
    effects_there,
)
from app.evidence_report import report_of
from app.evidence_session import Session
from app.words import CAUTION
from model.errors import InputError, check_above
from model.evidence.comparison import TOLERANCE_PCT
from model.evidence.demands import Demands
from model.evidence.trial_exactness import ORDERS

Told = dict[str, Any]


def told_words() -> Told:
    """Return the labels and the help of the forms."""
    return {
        "about": words.ABOUT, "nothing": words.NOTHING_YET, "titles": words.TITLES,
        "plan": words.PLAN_FIELDS, "goals": words.GOALS, "orders": ORDERS,
        "buttons": words.BUTTONS, "columns": words.COLUMNS, "caution": CAUTION,
    }  # fmt: skip


def plan(session: Session | None, asked: Told) -> Told:
    """Return a trial's plan as the page shows it.

    Parameters
    ----------
    session : Session or None
        The visitor's logs, for the noise.
    asked : dict
        See `app.evidence_plan.planned`.
    """
    found, unit = evidence_plan.planned(asked, session)
    return evidence_plan.told_of(found, unit, asked_theme(asked))


def effect_shown(session: Session, asked: Told) -> Told:
    """Return the effects, or None while there are none, and what the page can offer.

    Parameters
    ----------
    session : Session
        The visitor's.
    asked : dict
        column of the forest plot or None, share, theme.
    """
    logs = session.read_logs()
    about = [session.about_readings(log.id) for log in logs]
    states = session.states()
    host = [
        {
            "log": at, "name": each["name"], "counts": bool(each["counts"]),
            "sessions": bool(each["counts"]) or "sessions" in each["columns"],
            "arm": evidence_host.arm_of(state),
        }
        for at, (each, state) in enumerate(zip(about, states, strict=True))
        if "host_cores" in each["columns"]
    ]  # fmt: skip
    told: Told = {
        "logs": [
            {"log": at, "name": each["name"], "columns": each["columns"]}
            for at, each in enumerate(about)
        ],
        "confirmed": sum(state is not None for state in states),
        "host_logs": host,
        "effects": None,
    }
    effects = session.result("effects")
    if effects is None:
        return told
    columns = evidence_shown_effects.columns_of(effects)
    column = asked.get("column") if asked.get("column") in columns else None
    if column is None and columns:
        column = columns[0]
    figure = None
    if column is not None:
        figure = evidence_shown_effects.forest_of(
            effects, column, bool(asked.get("share")), asked_theme(asked)
        )
    return told | {
        "effects": evidence_shown_effects.effects_shown(effects, column), "column": column,
        "figure": figure,
        "drop_s": effects["drop_s"], "block_s": effects["block_s"],
    }  # fmt: skip


def peaks(session: Session, asked: Told) -> Told:
    """Return the peaks of a visitor's logs.

    Parameters
    ----------
    session : Session
        The visitor's.
    asked : dict
        scenario, for the host's threads; thresholds by column [cores] or None for the usual ones.
    """
    readings = session.readings()
    given = asked.get("thresholds")
    thresholds = evidence_peaks.default_thresholds(readings, asked_scenario(asked))
    if given is not None:
        if not isinstance(given, dict):
            raise InputError("thresholds", given, "a number for each column")
        thresholds |= {
            name: asked_number({f"thresholds.{name}": value}, f"thresholds.{name}")
            for name, value in given.items()
        }
    effects = session.result("effects")
    drop_s = evidence_effects.DROP_S if effects is None else effects["drop_s"]
    found = evidence_peaks.peaks_of(readings, session.states(), thresholds, drop_s)
    session.keep("peaks", found)
    return evidence_shown_peaks.peaks_shown(found)


def demands(session: Session, asked: Told) -> Told:
    """Return what a host's total says of each activity.

    Parameters
    ----------
    session : Session
        The visitor's.
    asked : dict
        log, base_cores or None [cores], counted, scenario for the host, theme.
    """
    _, found = demands_by(session, asked)
    session.keep("demands", found)
    return evidence_shown_host.demands_shown(found, asked_theme(asked))


def demands_by(session: Session, asked: Told) -> tuple[Demands, Told]:
    """Return demands by a log of a host that ran at the clock and work per clock that were given.

    Parameters
    ----------
    session : Session
        The visitor's.
    asked : dict
        log, base_cores or None [cores], counted, scenario for the host, clock_ghz [GHz] and
        relative_ipc [-], each None for the scenario's.
    """
    scenario = asked_scenario(asked)
    speed = {name: asked_number_or_none(asked, name) for name in ("clock_ghz", "relative_ipc")}
    given = {name: value for name, value in speed.items() if value is not None}
    for name, value in given.items():
        check_above(name, value, 0)
    measured = scenario.model_copy(update={"host": scenario.host.model_copy(update=given)})
    return evidence_host.demands_of(
        session.readings(), asked_place(asked, "log"), asked_number_or_none(asked, "base_cores"),
        measured, str(asked.get("counted", "threads")),
    )  # fmt: skip


def compared(session: Session, asked: Told) -> Told:
    """Return the model's prediction beside a host's log.

    Parameters
    ----------
    session : Session
        The visitor's.
    asked : dict
        log, scenario, arm, counted, tolerance_pct or None [%], theme.
    """
    tolerance = asked_number_or_none(asked, "tolerance_pct")
    found = evidence_host.compared_of(
        session.readings(), session.states(), asked_place(asked, "log"), asked_scenario(asked),
        asked_arm(asked), str(asked.get("counted", "threads")),
        TOLERANCE_PCT if tolerance is None else tolerance,
    )  # fmt: skip
    session.keep("compared", found)
    return evidence_shown_host.compared_shown(found, asked_theme(asked))


def report(session: Session, asked: Told) -> Told:
    """Return the report of the visitor's trial.

    Parameters
    ----------
    session : Session
        The visitor's.
    asked : dict
        scenario, for the thresholds where no peaks were counted yet.
    """
    effects = effects_there(session)
    if session.result("peaks") is None:
        peaks(session, {"scenario": asked.get("scenario")})
    return report_of(effects, session.result("peaks"), dt.date.today())
