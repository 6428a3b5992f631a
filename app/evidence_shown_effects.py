"""How do the effects of a trial's logs look as sentences, tables and a forest plot?

A table is a record of head and rows of text, the same on the page, in the report and on paper.
"""

from typing import Any

from app import words_trial as words
from app.figures.forest import Line, forest_figure
from app.theme import Figure, Theme

Told = dict[str, Any]
_CHECKED = ("hac", "bootstrap")  # drawn beside the headline


def columns_of(effects: Told) -> list[str]:
    """Return the columns that effects were worked out for.

    Parameters
    ----------
    effects : dict
        From `app.evidence_effects.effects_of`.
    """
    there = {row["column"] for row in effects["rows"]}
    return [column for column in words.COLUMNS if column in there]


def effects_shown(effects: Told, column: str | None) -> Told:
    """Return the effects as sentences, and one column of them as tables.

    Parameters
    ----------
    effects : dict
        From `app.evidence_effects.effects_of`.
    column : str or None
        Which column the tables show; None where there is none.
    """
    rows = effects["rows"]
    return {
        "sentences": _sentences(effects),
        "columns": [
            {"name": name, "label": words.COLUMNS[name][0]} for name in columns_of(effects)
        ],
        "table": effect_table(effects, column),
        "checks": check_table(rows, column),
        "warnings": warnings_of(rows),
        "notes": effects["notes"],
    }


def _sentences(effects: Told) -> list[str]:
    """Return the answer: over all activities where there are several, else each effect."""
    overall = effects["overall"]
    if overall:
        return [words.effect_sentence(overall[column]) for column in overall]
    return [words.effect_sentence(row) for row in effects["rows"][:4]]


def effect_table(effects: Told, column: str | None) -> Told:
    """Return levels, differences and ratios of one column with their intervals.

    Parameters
    ----------
    effects : dict
        From `app.evidence_effects.effects_of`.
    column : str or None
        Which column; None gives an empty table.
    """
    unit = words.COLUMNS[column][1] if column else ""
    head = ["Activity", f"Without card [{unit}]", f"With card [{unit}]",
            f"Difference [{unit}] (95 % interval)", "With, in % of without (95 % interval)",
            "Blocks", "Independent readings"]  # fmt: skip
    rows = []
    for row in effects["rows"]:
        if row["column"] == column:
            blocks = f"{row['blocks']} ({row['blocks_on']} with)"
            rows.append([*_levels(row), blocks, f"{row['effective_rows']:,.0f}"])
    if column in effects["overall"]:
        rows.append([*_levels(effects["overall"][column]), "", ""])
    return {"head": head, "rows": rows}


def result_table(effects: Told) -> Told:
    """Return all columns side by side, an activity in each row, as the report shows them.

    Parameters
    ----------
    effects : dict
        From `app.evidence_effects.effects_of`.
    """
    columns = columns_of(effects)
    head = ["Activity"]
    for column in columns:
        label, unit = words.COLUMNS[column]
        head += [f"{label} [{unit}] without, with card", "Difference (95 % interval)"]
    by_part: dict[tuple[object, ...], dict[str, Told]] = {}
    for row in effects["rows"]:
        by_part.setdefault((row["log"], row["activity"]), {})[row["column"]] = row
    parts = [*by_part.values(), effects["overall"]] if effects["overall"] else by_part.values()
    rows = []
    for part in parts:
        titles = {row["title"] for row in part.values()}
        cells = [sorted(titles)[0]]
        for column in columns:
            if column not in part:
                cells += ["", ""]
                continue
            _, off, on, difference, _ = _levels(part[column])
            cells += [f"{off}, {on}", difference]
        rows.append(cells)
    return {"head": head, "rows": rows}


def _levels(row: Told) -> list[str]:
    halves = [
        (row[part]["high"] - row[part]["low"]) / 2 if row[part]["low"] is not None else None
        for part in ("off", "on")
    ]
    off, on = (
        "none" if row[part]["value"] is None else words.number(row[part]["value"], half)
        for part, half in zip(("off", "on"), halves, strict=True)
    )
    ratio = row["ratio"]
    share = "" if ratio["value"] is None else words.number(100 * ratio["value"])
    if ratio["low"] is not None:
        share = words.estimate(ratio, 100)
    return [row["title"], off, on, words.estimate(row["difference"]), share]


def check_table(rows: list[Told], column: str | None) -> Told:
    """Return the same differences of one column by other roads.

    Parameters
    ----------
    rows : list of dict
        Rows of effects.
    column : str or None
        Which column; None gives an empty table.
    """
    names = {name: label for name, (label, _) in words.CHECKS.items()}
    table = []
    for row in rows:
        if row["column"] != column:
            continue
        found = {each["name"]: each for each in row["checks"]}
        cells = [words.estimate(found[name]) if name in found else "" for name in names]
        table.append([row["title"], words.estimate(row["difference"]), *cells])
    unit = f" [{words.COLUMNS[column][1]}]" if column else ""
    return {"head": ["Activity", f"Blocks, the headline{unit}", *names.values()], "rows": table}


def warnings_of(rows: list[Told]) -> list[str]:
    """Return what a reader must know, each sentence with the effect it belongs to.

    Parameters
    ----------
    rows : list of dict
        Rows of effects.
    """
    return [
        f"{row['title']}, {words.COLUMNS[row['column']][0]}: {warning}"
        for row in rows
        for warning in row["warnings"]
    ]


def forest_of(effects: Told, column: str, as_share: bool, theme: Theme) -> Figure:
    """Return the forest plot of one column.

    Parameters
    ----------
    effects : dict
        From `app.evidence_effects.effects_of`.
    column : str
        Which column.
    as_share : bool
        Levels with the card in per cent of those without, instead of differences.
    theme : Theme
        The look.
    """
    rows = [row for row in effects["rows"] if row["column"] == column]
    if column in effects["overall"]:
        rows = [*rows, effects["overall"][column]]
    part, factor = ("ratio", 100.0) if as_share else ("difference", 1.0)
    lines = []
    for row in rows:
        found = row[part]
        value, low, high = (
            None if found[name] is None else found[name] * factor
            for name in ("value", "low", "high")
        )
        lines.append(Line(row["title"], value, low, high, () if as_share else _beside(row)))
    label, unit = words.COLUMNS[column]
    axis = (
        f"{label}, with card [% of without]"
        if as_share
        else f"{label}: with card less without [{unit}]"
    )
    return forest_figure(lines, axis, theme, 100.0 if as_share else 0.0)


def _beside(row: Told) -> tuple[tuple[str, float, float, float], ...]:
    return tuple(
        ({"hac": "check: HAC", "bootstrap": "check: bootstrap"}[each["name"]], each["value"],
         each["low"], each["high"])
        for each in row.get("checks", ())
        if each["name"] in _CHECKED and each["low"] is not None
    )  # fmt: skip
