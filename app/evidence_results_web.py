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

from typing import Any

from app import evidence_effects
from app.evidence_answers import (
    compared,
    demands,
    effect_shown,
    peaks,
    plan,
    report,
    told_words,
)
from app.evidence_applying import applied, changes
from app.evidence_asked import asked_number, asked_number_or_none
from app.evidence_results_exports import csv_of, picture_of_result, power_csv, power_picture
from app.evidence_session import Session
from app.evidence_web import BASE, Desk, body
from app.workers import Workers

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
        drop_s = asked_number(asked, "drop_s")
        block_s = asked_number_or_none(asked, "block_s")
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
        desk.bind(f"{BASE}/csv/{name}", "POST", csv_of(name))
    desk.bind(
        f"{BASE}/csv/power", "POST", lambda session: power_csv(session, body()),
        without=lambda: power_csv(None, body()),
    )  # fmt: skip
    for name in ("forest", "quantiles", "residuals"):
        desk.bind(f"{BASE}/picture/{name}", "POST", picture_of_result(name))
    desk.bind(
        f"{BASE}/picture/power", "POST", lambda session: power_picture(session, body()),
        without=lambda: power_picture(None, body()),
    )  # fmt: skip
