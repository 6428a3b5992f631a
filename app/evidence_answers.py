"""At which addresses do the scripts of parts 1, 4 and 5 of the Evidence page ask?

    GET  /evidence-data/trial-words             labels and help of the forms
    POST /evidence-data/plan                    a trial's plan, its power curve and run sheet
    POST /evidence-data/effect                  start working out the effects, as a job
    POST /evidence-data/effect-shown            the effects as tables and a forest plot
    POST /evidence-data/peaks                   the peaks above thresholds
    POST /evidence-data/demands                 demands from a host's total
    POST /evidence-data/compare                 predicted against measured
    POST /evidence-data/changes                 what the measured costs would change
    POST /evidence-data/apply                   the scenario with the accepted changes
    POST /evidence-data/csv/<table>             one of the tables as CSV
    POST /evidence-data/picture/<chart>         what stands on a chart's picture
    POST /evidence-data/report                  the report of the trial

Each answers from the visitor's own session (`app.evidence_web`); no scenario, table or chart holds
what another visitor brought.
"""

import datetime as dt
from typing import Any, cast

from flask import Response

from app import (
    evidence_changes,
    evidence_effects,
    evidence_host,
    evidence_peaks,
    evidence_plan,
    evidence_shown,
    url_state,
)
from app import words_trial as words
from app.csv_text import MEDIA_TYPE, csv_text
from app.evidence_pictures import picture_of
from app.evidence_report import report_of
from app.evidence_session import Session
from app.evidence_web import BASE, Desk, body
from app.pictures import PAPER
from app.theme import LIGHT, THEMES, Figure, Theme
from app.words import CAUTION
from app.workers import Workers
from model.errors import InputError, check_above
from model.evidence.calibration import Proposal, apply_changes, changes_from_demands
from model.evidence.comparison import TOLERANCE_PCT
from model.evidence.demands import Demands
from model.evidence.trial import ORDERS
from model.scenario import Scenario, canonical, load, to_data

Told = dict[str, Any]


def register(desk: Desk, workers: Workers) -> None:
    """Bind the addresses.

    Parameters
    ----------
    desk : Desk
        Knows each visitor.
    workers : Workers
        Who works out what takes longer than a moment but needs no job.
    """

    def worked(task: Any) -> Any:
        return lambda session: workers.run_long(task, session, body())

    def started(session: Session) -> Told:
        asked = body()
        drop_s = _number(asked, "drop_s")
        block_s = _optional(asked, "block_s")
        return {
            "job": desk.jobs.run_job(
                session, evidence_effects.work_out_effects, drop_s=drop_s, block_s=block_s
            )
        }

    desk.bind(f"{BASE}/trial-words", "GET", lambda _: told_words(), without=told_words)
    desk.bind(
        f"{BASE}/plan", "POST", lambda session: plan(session, body()),
        without=lambda: plan(None, body()),
    )  # fmt: skip
    desk.bind(f"{BASE}/effect", "POST", started)
    desk.bind(f"{BASE}/effect-shown", "POST", lambda session: effect_shown(session, body()))
    for name, task in (
        ("peaks", peaks), ("demands", demands), ("compare", compared), ("changes", changes),
        ("apply", applied), ("report", report),
    ):  # fmt: skip
        desk.bind(f"{BASE}/{name}", "POST", worked(task))
    for name in ("effects", "peaks", "demands", "compared"):
        desk.bind(f"{BASE}/csv/{name}", "POST", _csv_of(name))
    desk.bind(
        f"{BASE}/csv/power", "POST", lambda session: power_csv(session, body()),
        without=lambda: power_csv(None, body()),
    )  # fmt: skip
    for name in ("forest", "quantiles", "residuals"):
        desk.bind(f"{BASE}/picture/{name}", "POST", _picture_of(name))
    desk.bind(
        f"{BASE}/picture/power", "POST", lambda session: power_picture(session, body()),
        without=lambda: power_picture(None, body()),
    )  # fmt: skip


# ------------------------------------------------------------------------------- the questions


def _theme(asked: Told) -> Theme:
    return THEMES.get(str(asked.get("theme")), LIGHT)


def _number(asked: Told, name: str) -> float:
    value = asked.get(name)
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) < 1e12:
        raise InputError(name, value, "a number")
    return float(value)


def _optional(asked: Told, name: str) -> float | None:
    return None if asked.get(name) is None else _number(asked, name)


def _place(asked: Told, name: str) -> int:
    value = asked.get(name)
    if isinstance(value, bool) or not isinstance(value, int):
        raise InputError(name, value, "a whole number")
    return value


def _scenario(asked: Told) -> Scenario:
    text = asked.get("scenario")
    if not isinstance(text, str) or not text.lstrip().startswith("{"):
        raise InputError("scenario", text, "a scenario as JSON text")  # never a path
    return load(text)


def _arm(asked: Told) -> str:
    arm = asked.get("arm")
    if not isinstance(arm, str):
        raise InputError("arm", arm, '"software" or "offloaded"')
    return arm


def _effects(session: Session) -> Told:
    effects = session.result("effects")
    if effects is None:
        raise InputError("effect", "not worked out", "logs that were read and confirmed")
    return cast(Told, effects)


# --------------------------------------------------------------------------------- the answers


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
    return evidence_plan.told_of(found, unit, _theme(asked))


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
    columns = evidence_shown.columns_of(effects)
    column = asked.get("column") if asked.get("column") in columns else None
    if column is None and columns:
        column = columns[0]
    figure = None
    if column is not None:
        figure = evidence_shown.forest_of(effects, column, bool(asked.get("share")), _theme(asked))
    return told | {
        "effects": evidence_shown.effects_shown(effects, column), "column": column,
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
    thresholds = evidence_peaks.default_thresholds(readings, _scenario(asked))
    if given is not None:
        if not isinstance(given, dict):
            raise InputError("thresholds", given, "a number for each column")
        thresholds |= {
            name: _number({f"thresholds.{name}": value}, f"thresholds.{name}")
            for name, value in given.items()
        }
    effects = session.result("effects")
    drop_s = evidence_effects.DROP_S if effects is None else effects["drop_s"]
    found = evidence_peaks.peaks_of(readings, session.states(), thresholds, drop_s)
    session.keep("peaks", found)
    return evidence_shown.peaks_shown(found)


def demands(session: Session, asked: Told) -> Told:
    """Return what a host's total says of each activity.

    Parameters
    ----------
    session : Session
        The visitor's.
    asked : dict
        log, base_cores or None [cores], counted, scenario for the host, theme.
    """
    _, found = _demands(session, asked)
    session.keep("demands", found)
    return evidence_shown.demands_shown(found, _theme(asked))


def _demands(session: Session, asked: Told) -> tuple[Demands, Told]:
    """Demands by a log of a host that ran at the clock and the work per clock that were given."""
    scenario = _scenario(asked)
    speed = {name: _optional(asked, name) for name in ("clock_ghz", "relative_ipc")}
    given = {name: value for name, value in speed.items() if value is not None}
    for name, value in given.items():
        check_above(name, value, 0)
    measured = scenario.model_copy(update={"host": scenario.host.model_copy(update=given)})
    return evidence_host.demands_of(
        session.readings(), _place(asked, "log"), _optional(asked, "base_cores"), measured,
        str(asked.get("counted", "threads")),
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
    tolerance = _optional(asked, "tolerance_pct")
    found = evidence_host.compared_of(
        session.readings(), session.states(), _place(asked, "log"), _scenario(asked), _arm(asked),
        str(asked.get("counted", "threads")),
        TOLERANCE_PCT if tolerance is None else tolerance,
    )  # fmt: skip
    session.keep("compared", found)
    return evidence_shown.compared_shown(found, _theme(asked))


def changes(session: Session, asked: Told) -> Told:
    """Return the changes that a visitor's measurements ask of the scenario.

    Parameters
    ----------
    session : Session
        The visitor's.
    asked : dict
        scenario, source ("effects" or "demands"), role, clock_ghz and relative_ipc or None; for
        demands also log, arm, base_cores.
    """
    return evidence_shown.proposal_shown(_proposal(session, asked))


def _proposal(session: Session, asked: Told) -> Proposal:
    scenario = _scenario(asked)
    if asked.get("source") == "demands":
        found, told = _demands(session, asked)
        reference = scenario.reference_clock_ghz  # demands are work of reference cores
        return changes_from_demands(found, scenario, _arm(asked), told["log_name"], reference, 1.0)
    speed = _optional(asked, "clock_ghz"), _optional(asked, "relative_ipc")
    return evidence_changes.proposals_of(_effects(session), scenario, _place(asked, "role"), *speed)


def applied(session: Session, asked: Told) -> Told:
    """Return the scenario with the accepted changes made, as a link and as data.

    Parameters
    ----------
    session : Session
        The visitor's.
    asked : dict
        As for `changes`, and accepted: the numbers of the changes.

    Returns
    -------
    dict
        query, None where too long for a link; scenario as data; count of changes made.
    """
    found = _proposal(session, asked)
    accepted = asked.get("accepted")
    known = range(len(found.changes))
    if not isinstance(accepted, list) or not all(
        type(each) is int and each in known for each in accepted
    ):
        raise InputError("accepted", accepted, "the numbers of changes that were proposed")
    if not accepted:
        raise InputError("accepted", "none", "at least one change that is ticked")
    changed = apply_changes(_scenario(asked), [found.changes[each] for each in accepted])
    return {
        "query": url_state.to_address(changed),
        "scenario": to_data(changed),
        "canonical": canonical(changed),
        "count": len(accepted),
    }


def report(session: Session, asked: Told) -> Told:
    """Return the report of the visitor's trial.

    Parameters
    ----------
    session : Session
        The visitor's.
    asked : dict
        scenario, for the thresholds where no peaks were counted yet.
    """
    effects = _effects(session)
    if session.result("peaks") is None:
        peaks(session, {"scenario": asked.get("scenario")})
    return report_of(effects, session.result("peaks"), dt.date.today())


# ------------------------------------------------------------------------------ CSV, pictures


def _csv_of(name: str) -> Any:
    tables = {
        "effects": evidence_shown.effect_csv, "peaks": evidence_shown.peak_csv,
        "demands": evidence_shown.demand_csv, "compared": evidence_shown.compared_csv,
    }  # fmt: skip

    def answer(session: Session) -> Response:
        return as_csv(name, tables[name](_kept(session, name)))

    return answer


def _kept(session: Session, name: str) -> Told:
    found = session.result(name)
    if found is None:
        raise InputError(name, "not worked out", "a result on the page that is still here")
    return cast(Told, found)


def as_csv(name: str, table: evidence_shown.Table) -> Response:
    """Return a table as a CSV file; the caution stands in its first row.

    Parameters
    ----------
    name : str
        What the file is called after.
    table : tuple of list
        Header and rows.
    """
    response = Response(csv_text(*evidence_shown.with_note(table)), content_type=MEDIA_TYPE)
    file_name = f"crestline-estimate-trial-{name}.csv"
    response.headers["Content-Disposition"] = f'attachment; filename="{file_name}"'
    return response


def power_csv(session: Session | None, asked: Told) -> Response:
    """Return a plan's power curve as CSV.

    Parameters
    ----------
    session : Session or None
        The visitor's logs, for the noise.
    asked : dict
        See `app.evidence_plan.planned`.
    """
    return as_csv("power", evidence_plan.table_of(*evidence_plan.planned(asked, session)))


def _picture_of(chart: str) -> Any:
    def answer(session: Session) -> Told:
        asked = body()
        if chart == "forest":
            effects = _effects(session)
            column = asked.get("column")
            columns = evidence_shown.columns_of(effects)
            if column not in columns:
                raise InputError("column", column, f"one of {', '.join(columns)}")
            figure = evidence_shown.forest_of(effects, column, bool(asked.get("share")), PAPER)
            rows = [row for row in effects["rows"] if row["column"] == column]
            shown = [effects["overall"][column]] if column in effects["overall"] else rows[:3]
            lines = [words.effect_sentence(row) for row in shown]
            names = [log["name"] for log in effects["logs"]]
            lines_below = [words.METHOD_IN_SHORT.format(drop=f"{effects['drop_s']:g}")]
        elif chart == "quantiles":
            found = evidence_shown.compared_shown(_kept(session, "compared"), PAPER)
            figure, lines = found["figure"], [found["sentence"]]
            names, lines_below = [_kept(session, "compared")["log_name"]], found["lines"]
        else:
            kept = _kept(session, "demands")
            found = evidence_shown.demands_shown(kept, PAPER)
            figure, lines = found["figure"], [found["sentence"]]
            names, lines_below = [kept["log_name"]], found["warnings"]
        summary = [f"Logs: {', '.join(names)}.", *lines_below]
        return _trial_picture(chart, figure, " ".join(lines), summary)

    return answer


def power_picture(session: Session | None, asked: Told) -> Told:
    """Return what stands on the picture of a power curve.

    Parameters
    ----------
    session : Session or None
        The visitor's logs, for the noise.
    asked : dict
        See `app.evidence_plan.planned`.
    """
    found, unit = evidence_plan.planned(asked, session)
    told = evidence_plan.told_of(found, unit, PAPER)
    return _trial_picture("power", told["figure"], told["answer"], told["lines"])


def _trial_picture(chart: str, figure: Figure, takeaway: str, summary: list[str]) -> Told:
    return picture_of(f"trial-{chart}", words.TITLES[chart], figure, takeaway, summary)
