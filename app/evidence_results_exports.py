"""How does a visitor take away what parts 1, 4 and 5 of the Evidence page show? As PNG and CSV."""

from collections.abc import Callable
from typing import Any

from flask import Response

from app import evidence_csv, evidence_plan, evidence_shown_effects, evidence_shown_host
from app import words_trial as words
from app.csv_text import MEDIA_TYPE, csv_text
from app.evidence_asked import effects_there, result_there
from app.evidence_pictures import picture_of
from app.evidence_session import Session
from app.evidence_web import body
from app.pictures import PAPER
from app.theme import Figure
from model.errors import InputError

Told = dict[str, Any]


def csv_of(name: str) -> Callable[[Session], Response]:
    """Return what answers a visitor with a result as CSV.

    Parameters
    ----------
    name : str
        effects, peaks, demands or compared.
    """
    tables = {
        "effects": evidence_csv.effect_csv, "peaks": evidence_csv.peak_csv,
        "demands": evidence_csv.demand_csv, "compared": evidence_csv.compared_csv,
    }  # fmt: skip

    def answer(session: Session) -> Response:
        return as_csv(name, tables[name](result_there(session, name)))

    return answer


def as_csv(name: str, table: evidence_csv.Table) -> Response:
    """Return a table as a CSV file; the caution stands in its first row.

    Parameters
    ----------
    name : str
        What the file is called after.
    table : tuple of list
        Header and rows.
    """
    response = Response(csv_text(*evidence_csv.with_note(table)), content_type=MEDIA_TYPE)
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


def picture_of_result(chart: str) -> Callable[[Session], Told]:
    """Return what answers a visitor with what stands on a chart's picture.

    Parameters
    ----------
    chart : str
        forest, quantiles or residuals.
    """

    def answer(session: Session) -> Told:
        asked = body()
        if chart == "forest":
            effects = effects_there(session)
            column = asked.get("column")
            columns = evidence_shown_effects.columns_of(effects)
            if column not in columns:
                raise InputError("column", column, f"one of {', '.join(columns)}")
            figure = evidence_shown_effects.forest_of(
                effects, column, bool(asked.get("share")), PAPER
            )
            rows = [row for row in effects["rows"] if row["column"] == column]
            shown = [effects["overall"][column]] if column in effects["overall"] else rows[:3]
            lines = [words.effect_sentence(row) for row in shown]
            names = [log["name"] for log in effects["logs"]]
            lines_below = [words.METHOD_IN_SHORT.format(drop=f"{effects['drop_s']:g}")]
        elif chart == "quantiles":
            found = evidence_shown_host.compared_shown(result_there(session, "compared"), PAPER)
            figure, lines = found["figure"], [found["sentence"]]
            names, lines_below = [result_there(session, "compared")["log_name"]], found["lines"]
        else:
            kept = result_there(session, "demands")
            found = evidence_shown_host.demands_shown(kept, PAPER)
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
