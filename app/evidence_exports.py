"""How does a visitor take away what parts 2 and 3 of the Evidence page show? As PNG and CSV."""

import numpy as np
from flask import Response

from app import csv_text
from app.evidence_pictures import picture_of
from app.evidence_records import Spells
from app.evidence_session import Session
from app.evidence_switches import log_id_in, summary, view, window_of
from app.evidence_web import Told
from app.figures.log import STATE_LABEL
from app.pictures import PAPER
from app.words_evidence import COLUMN_WORDS
from model.errors import InputError

MOST_ROWS = 200_000  # our choice: what a spreadsheet opens without trouble


def picture(session: Session, asked: Told) -> Told:
    """Return what stands on the picture of a log.

    Parameters
    ----------
    session : Session
        The visitor's data.
    asked : dict
        See `app.evidence_switches.view`.
    """
    log = session.log(log_id_in(asked))
    shown = view(session, asked, PAPER)
    told = summary(session, log.id) or {}
    label, unit = COLUMN_WORDS[shown["column"]]
    sure = "confirmed" if told["confirmed"] else "not confirmed yet"
    switches = f"{told['switches']:,} switch{'' if told['switches'] == 1 else 'es'}"
    takeaway = (
        f"{told['rows_on']:,} readings with card, {told['rows_off']:,} without; {switches}, {sure}."
    )
    return picture_of(
        "log", f"{label[0].upper()}{label[1:]} and offload", shown["figure"], takeaway,
        [f"Log: {log.name}, from {shown['from_s']:,.6g} to {shown['to_s']:,.6g} s."],
        [
            {"label": f"{label} [{unit}]", "colour": PAPER.text, "mark": "solid"},
            {"label": STATE_LABEL[1], "colour": PAPER.offloaded_fill, "mark": "filled"},
            {"label": STATE_LABEL[0], "colour": PAPER.software_fill, "mark": "filled"},
            {"label": STATE_LABEL[-1], "colour": PAPER.faint, "mark": "filled"},
        ],
    )  # fmt: skip


def numbers(session: Session, asked: Told) -> Response:
    """Return every reading in view with its state, as CSV.

    Parameters
    ----------
    session : Session
        The visitor's data.
    asked : dict
        log, from_s and to_s; left out: the whole log.

    Raises
    ------
    InputError
        For more rows than a spreadsheet opens.
    """
    log = session.log(log_id_in(asked))
    readings = session.readings_of(log.id)
    begin_s, end_s = window_of(asked, float(readings.time_s[-1]), readings.interval_s)
    first = int(np.searchsorted(readings.time_s, begin_s))
    last = int(np.searchsorted(readings.time_s, end_s, side="right"))
    if last - first > MOST_ROWS:
        raise InputError("rows", last - first, f"at most {MOST_ROWS:,}; zoom in first")
    spells = session.spells(log.id) or Spells((0,), (-1,))
    state = spells.state_of_rows(readings.rows)[first:last].tolist()
    header = ["time since the first reading [s]"]
    header += [f"{COLUMN_WORDS[name][0]} [{COLUMN_WORDS[name][1]}]" for name in readings.columns]
    header += [f"offload ({'confirmed' if spells.confirmed else 'not confirmed'})"]
    columns = [readings.time_s, *readings.columns.values()]
    cells = [column[first:last].tolist() for column in columns]
    words = [STATE_LABEL[each] for each in state]
    rows: list[list[object]] = [list(row) for row in zip(*cells, words, strict=True)]
    return _as_csv("log", header, rows)


def findings(session: Session, log_id: str) -> Response:
    """Return every row that was dropped, repaired, noted or in doubt, as CSV.

    Parameters
    ----------
    session : Session
        The visitor's data.
    log_id : str
        The log.
    """
    readings = session.readings_of(session.log(log_id).id)
    header = ["log", "what was done", "reason", "column", "row"]
    rows: list[list[object]] = []
    for finding in readings.report.findings:
        told = [readings.name, finding.action, finding.reason, finding.column or "whole row"]
        if finding.action == "noted" and finding.count == readings.report.rows_read:
            rows.append([*told, "every row"])
            continue
        rows += [[*told, int(row)] for row in finding.rows.tolist()]
    return _as_csv("rows", header, rows)


def _as_csv(name: str, header: list[str], rows: list[list[object]]) -> Response:
    reply = Response(csv_text.csv_text(header, rows), content_type=csv_text.MEDIA_TYPE)
    reply.headers["Content-Disposition"] = f'attachment; filename="crestline-{name}.csv"'
    return reply
