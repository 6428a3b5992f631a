"""What stands in the report of a trial: method, data, exclusions, results, cautions?

The browser sets it on paper (assets/evidence-results.js); two pages hold a trial of the usual
size.
"""

import datetime as dt
from dataclasses import replace
from typing import Any

from app import words_trial as words
from app.evidence_shown_effects import (
    check_table,
    columns_of,
    forest_of,
    result_table,
    warnings_of,
)
from app.evidence_shown_peaks import peak_table
from app.labels import amount
from app.theme import LIGHT, Theme
from app.words import CAUTION

Told = dict[str, Any]
_MOST_EXCLUSIONS = 40
_MOST_WARNINGS = 30
_ON_PAPER: Theme = replace(LIGHT, font_px=11)  # as large as the text around it
_PEAK_COLUMNS = ("cpu_cores", "host_cores", "encode_cores")


def report_of(effects: Told, peaks: Told | None, day: dt.date) -> Told:
    """Return the report of a trial.

    Parameters
    ----------
    effects : dict
        From `app.evidence_effects.effects_of`.
    peaks : dict or None
        From `app.evidence_peaks.peaks_of`.
    day : date
        The date that the report bears.

    Returns
    -------
    dict
        title, date, answer (sentences), and sections: each a title with paragraphs, a list, a
        table (head, rows; in_line where no cell is broken, even where all columns but the first
        are as wide) or a figure.
    """
    columns = columns_of(effects)
    main = columns[0] if columns else None
    sections: list[Told] = [
        {"title": "Method", "paragraphs": [words.METHOD.format(drop=f"{effects['drop_s']:g}")]},
        {"title": "Data", "table": _data(effects)},
    ]
    if main is not None:
        sections.append(
            {
                "title": f"{words.TITLES['forest']}: {words.COLUMNS[main][0]}",
                "figure": forest_of(effects, main, False, _ON_PAPER),
                "lines": _lines(effects, main),
            }
        )
    sections.append({"title": "Exclusions", "list": exclusions_of(effects)})
    sections.append(
        {"title": "Results", "table": result_table(effects), "new_page": True, "in_line": True}
    )
    counted: list[Told] = []
    if peaks is not None and peaks["rows"]:
        there = {row["column"] for row in peaks["rows"]}
        column = next(each for each in _PEAK_COLUMNS if each in there)
        counted = [row for row in peaks["rows"] if row["column"] == column]
        label, unit = words.COLUMNS[column]
        title = f"Peaks: {label} [{unit}], threshold {amount(counted[0]['threshold'], unit)}"
        table = peak_table(peaks | {"rows": counted}, in_short=True)
        sections.append({"title": title, "table": _without_column(table, 1), "even": True})
    if main is not None:
        title = f"The same difference by other roads: {words.COLUMNS[main][0]}"
        table = _without_column(check_table(effects["rows"], main), 1)
        sections.append({"title": title, "table": table, "in_line": True})
    warnings = warnings_of(effects["rows"]) + _minded_of(counted)
    if len(warnings) > _MOST_WARNINGS:
        left = len(warnings) - _MOST_WARNINGS
        warnings = [*warnings[:_MOST_WARNINGS], f"And {left} more, in the saved numbers."]
    if warnings:
        sections.append({"title": "What to mind", "list": warnings})
    sections.append({"title": "Cautions", "list": [*words.CAUTIONS, CAUTION]})
    names = [log["name"] for log in effects["logs"]]
    overall = effects["overall"]
    rows = [overall[column] for column in overall] or effects["rows"][:3]
    return {
        "title": "Trial of display offload",
        "about": f"Logs: {', '.join(names)}.",
        "date": f"{day.day} {day:%B} {day.year}",
        "answer": [words.effect_sentence(row) for row in rows],
        "sections": sections,
    }


def _without_column(table: Told, at: int) -> Told:
    """Return a table without a column that stands elsewhere on the paper."""
    head, rows = table["head"], table["rows"]
    return {
        "head": [*head[:at], *head[at + 1 :]],
        "rows": [[*row[:at], *row[at + 1 :]] for row in rows],
    }


def _minded_of(rows: list[Told]) -> list[str]:
    """Return what to mind about peaks, in one sentence for all the logs that it concerns."""
    found: dict[str, list[tuple[str, str]]] = {}
    for row in rows:
        who = f"{row['log_name']} ({words.STATES[row['state']]})"
        for warning in row["warnings"]:
            found.setdefault(warning.partition(":")[0], []).append((who, warning))
    return [
        f"{each[0][0]}: {each[0][1]}"
        if len(each) == 1
        else f"{what}: {', '.join(who for who, _ in each)}."
        for what, each in found.items()
    ]


def _lines(effects: Told, column: str) -> int:
    """Return how many lines the forest plot has, for its height."""
    rows = [row for row in effects["rows"] if row["column"] == column]
    return len(rows) + int(column in effects["overall"])


def _data(effects: Told) -> Told:
    rows = []
    for log in effects["logs"]:
        used = [row for row in effects["rows"] if row["log"] == effects["logs"].index(log)]
        blocks = max((row["blocks"] for row in used), default=0)
        block_s = max((row["block_s"] for row in used), default=0.0)
        switches = "not confirmed" if log["switches"] is None else str(log["switches"])
        start = (log["start"] or "not known").replace("T", " ")[:16]
        rows.append(
            [
                log["name"], start, words.duration(log["seconds"]), f"{log['rows']:,}",
                f"{log['interval_s']:g}", switches,
                f"{blocks} of about {block_s:.0f} s" if blocks else "none",
            ]
        )  # fmt: skip
    head = ["Log", "Start", "Length", "Readings", "Every [s]", "Switches", "Blocks used"]
    return {"head": head, "rows": rows}


def exclusions_of(effects: Told) -> list[str]:
    """Return all that was left out before anything was worked out, in sentences.

    Parameters
    ----------
    effects : dict
        From `app.evidence_effects.effects_of`.
    """
    told = []
    for log in effects["logs"]:
        found = log["exclusions"][1:]
        if log["unknown_rows"]:
            found = [*found, f"{log['unknown_rows']:,} rows whose state of offload is not known."]
        told += [f"{log['name']}: {each}" for each in found]
    told += effects["notes"]
    told.append(f"The first {effects['drop_s']:g} s of every block.")
    if len(told) > _MOST_EXCLUSIONS:
        left = len(told) - _MOST_EXCLUSIONS
        told = [*told[:_MOST_EXCLUSIONS], f"And {left} more, listed in part 2 of the page."]
    return told
