"""How do a trial's results look as tables, sentences and charts? One form for page, CSV and paper.

A table is a record of head and rows of text for the page; `csv_of` gives the same with numbers.
"""

from typing import Any

from app import words_trial as words
from app.figures.forest import Line, forest_figure
from app.figures.quantiles import quantiles_figure
from app.figures.residuals import residuals_figure
from app.labels import amount
from app.theme import Figure, Theme
from app.words import CAUTION
from model.evidence.calibration import Proposal

Told = dict[str, Any]
Table = tuple[list[str], list[list[object]]]
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


def peaks_shown(peaks: Told) -> Told:
    """Return the peaks as a table and what a reader must know.

    Parameters
    ----------
    peaks : dict
        From `app.evidence_peaks.peaks_of`.
    """
    return {
        "table": peak_table(peaks),
        "thresholds": [
            {"column": column, "label": words.COLUMNS[column][0], "value": value}
            for column, value in peaks["thresholds"].items()
        ],
        "warnings": [
            f"{row['log_name']}, {words.COLUMNS[row['column']][0]}, {words.STATES[row['state']]}: "
            f"{warning}"
            for row in peaks["rows"]
            for warning in row["warnings"]
        ],
    }


def peak_table(peaks: Told, in_short: bool = False) -> Told:
    """Return the peaks as a table: a log and column in each row, both states beside each other.

    Parameters
    ----------
    peaks : dict
        From `app.evidence_peaks.peaks_of`.
    in_short : bool
        Of an interval without an upper limit only the lower one is told: what to mind tells which
        these are.
    """
    head = ["Log", "Reading, threshold"]
    for label in ("p95", "p99", "Crest factor", "Time above [%]"):
        head += [f"{label}, without card", f"{label}, with card"]
    by_log: dict[tuple[object, ...], dict[str, Told]] = {}
    for row in peaks["rows"]:
        by_log.setdefault((row["log"], row["column"]), {})[row["state"]] = row
    rows = []
    for states in by_log.values():
        one = next(iter(states.values()))
        label, unit = words.COLUMNS[one["column"]]
        name = one["log_name"] + (" (whole log)" if "all" in states else "")
        cells = [name, f"{label}, above {amount(one['threshold'], unit)}"]
        pair = [states.get("off", states.get("all")), states.get("on")]
        for told in (
            lambda row: _quantile(row["p95"], in_short),
            lambda row: _quantile(row["p99"], in_short), _crest, _above,
        ):  # fmt: skip
            cells += ["" if row is None else told(row) for row in pair]
        rows.append(cells)
    return {"head": head, "rows": rows}


def _crest(row: Told) -> str:
    if row["crest_factor"] is None:
        return ""
    if row["crest_interval"] is None:
        return words.number(row["crest_factor"])
    low, high = row["crest_interval"]
    return words.estimate({"value": row["crest_factor"], "low": low, "high": high})


def _above(row: Told) -> str:
    low, high = row["above_interval"]
    share = row["above_share"]
    return words.estimate({"value": share, "low": low, "high": high}, 100)


def _quantile(found: Told, in_short: bool = False) -> str:
    if not found["bounded"]:
        return f"{words.number(found['value'])} (no interval)"
    value, low, high = found["value"], found["low"], found["high"]
    half = (high - low) / 2 if high is not None else value - low
    if high is None:
        open_end = "" if in_short else ", no upper limit"
        return f"{words.number(value, half)} (from {words.number(low, half)}{open_end})"
    return f"{words.number(value, half)} ({words.interval(low, high)})"


def demands_shown(demands: Told, theme: Theme) -> Told:
    """Return a host's demands as a table, a sentence and the residual plot.

    Parameters
    ----------
    demands : dict
        From `app.evidence_host.demands_of`.
    theme : Theme
        The look.
    """
    base = demands["base"]
    given = " (as given)" if base["given"] else ""
    rows = [
        [row["activity"], f"{words.number(row['value'], (row['high'] - row['low']) / 2)}",
         words.interval(row["low"], row["high"])]
        for row in demands["rows"]
    ]  # fmt: skip
    base_row = [f"the host without sessions{given}", words.number(base["value"]),
                "" if base["given"] else words.interval(base["low"], base["high"])]  # fmt: skip
    return {
        "sentence": f"{demands['log_name']}: who does what explains "
        f"{100 * max(demands['r2'], 0):.1f} % of how the host's CPU varies (R2 "
        f"{demands['r2']:.3f}); condition number {demands['condition']:.0f}, "
        f"{demands['rows_used']:,} rows used, worth about "
        f"{max(demands['independent_rows'], 1):,.0f} independent ones.",
        "table": {
            "head": ["Activity", "CPU of one session [reference cores]", "95 % interval"],
            "rows": [*rows, base_row],
        },
        "warnings": demands["warnings"],
        "figure": residuals_figure(demands["fitted"], demands["left"], theme),
    }


def compared_shown(compared: Told, theme: Theme) -> Told:
    """Return a comparison as a verdict, a table and the QQ plot.

    Parameters
    ----------
    compared : dict
        From `app.evidence_host.compared_of`.
    theme : Theme
        The look.
    """
    rows = []
    for each in compared["quantiles"]:
        by = 100 / max(each["predicted_cores"], 1e-9)
        half = (each["high_cores"] - each["low_cores"]) / 2
        rows.append(
            [
                f"p{100 * each['level']:g}", words.number(each["predicted_cores"], half),
                words.number(each["measured_cores"], half),
                f"{words.number(each['difference_cores'], half)} "
                f"({words.interval(each['low_cores'], each['high_cores'])})",
                words.number(each["difference_cores"] * by, half * by),
            ]
        )  # fmt: skip
    return {
        "verdict": compared["verdict"],
        "sentence": compared["sentence"],
        "table": {
            "head": ["Percentile", "Predicted [cores]", "Measured [cores]",
                     "Difference [cores] (95 % interval)", "Difference [%]"],
            "rows": rows,
        },
        "lines": [
            f"Wasserstein distance {words.number(compared['distance_cores'])} cores; measured mean "
            f"less predicted {words.number(compared['mean_difference_cores'])} cores. Chance of a "
            f"distance as large where model and host agree: {100 * compared['chance']:.1f} %.",
            compared["level_note"],
        ],
        "warnings": compared["warnings"],
        "figure": quantiles_figure(compared, theme),
    }  # fmt: skip


def proposal_shown(proposal: Proposal) -> Told:
    """Return proposed changes, each to be ticked; of two to one number the first is ticked.

    Parameters
    ----------
    proposal : Proposal
        The changes.
    """
    seen: set[str] = set()
    changes = []
    for at, change in enumerate(proposal.changes):
        changes.append(
            {
                "id": at, "path": change.path, "sentence": change.sentence,
                "ticked": change.path not in seen,
            }
        )  # fmt: skip
        seen.add(change.path)
    return {"changes": changes, "notes": list(proposal.notes)}


# ---------------------------------------------------------------------------------------- CSV


def effect_csv(effects: Told) -> Table:
    """Return the effects as a table of numbers, checks beside them.

    Parameters
    ----------
    effects : dict
        From `app.evidence_effects.effects_of`.
    """
    ends = ("value", "low", "high")
    named = {"value": "", "low": " 95 % low", "high": " 95 % high"}
    parts = {"off": "without card", "on": "with card", "difference": "difference",
             "ratio": "with over without"}  # fmt: skip
    header = ["log", "activity", "reading", "unit"]
    header += [f"{label}{named[end]}" for label in parts.values() for end in ends]
    header += ["blocks", "blocks with card", "block [s]", "switches", "degrees of freedom",
               "drift terms", "independent readings"]  # fmt: skip
    header += [f"check {label}{named[end]}" for label, _ in words.CHECKS.values() for end in ends]
    header += ["warnings"]
    rows: list[list[object]] = []
    for row in [*effects["rows"], *effects["overall"].values()]:
        label, unit = words.COLUMNS[row["column"]]
        own = "log_name" in row
        cells: list[object] = [row["log_name"] if own else "all",
                               row["activity"] if own else row["title"], label, unit]  # fmt: skip
        cells += [row[part][end] for part in parts for end in ends]
        facts = ("blocks", "blocks_on", "block_s", "switches", "degrees", "drift_terms",
                 "effective_rows")  # fmt: skip
        cells += [row.get(fact) for fact in facts]
        found = {each["name"]: each for each in row.get("checks", ())}
        cells += [found[name][end] if name in found else None
                  for name in words.CHECKS for end in ends]  # fmt: skip
        rows.append([*cells, " ".join(row.get("warnings", ()))])
    return header, rows


def peak_csv(peaks: Told) -> Table:
    """Return the peaks as a table of numbers.

    Parameters
    ----------
    peaks : dict
        From `app.evidence_peaks.peaks_of`.
    """
    header = ["log", "reading", "offload", "mean [cores]"]
    for name in ("p50", "p95", "p99"):
        header += [f"{name} [cores]", f"{name} 95 % low [cores]", f"{name} 95 % high [cores]"]
    header += ["highest [cores]", "crest factor", "crest factor 95 % low",
               "crest factor 95 % high", "peak to mean", "threshold [cores]", "above [s]",
               "above [% of time]", "above 95 % low [% of time]", "above 95 % high [% of time]",
               "observed [s]", "lost [s]", "warnings"]  # fmt: skip
    rows: list[list[object]] = []
    for row in peaks["rows"]:
        cells: list[object] = [row["log_name"], words.COLUMNS[row["column"]][0],
                               words.STATES[row["state"]], row["mean"]]  # fmt: skip
        for name in ("p50", "p95", "p99"):
            cells += [row[name]["value"], row[name]["low"], row[name]["high"]]
        crest = row["crest_interval"] or (None, None)
        cells += [row["highest"], row["crest_factor"], *crest, row["peak_to_mean"],
                  row["threshold"], row["above_s"], 100 * row["above_share"],
                  *[100 * each for each in row["above_interval"]], row["observed_s"],
                  row["lost_s"], " ".join(row["warnings"])]  # fmt: skip
        rows.append(cells)
    return header, rows


def demand_csv(demands: Told) -> Table:
    """Return a host's demands as a table of numbers.

    Parameters
    ----------
    demands : dict
        From `app.evidence_host.demands_of`.
    """
    header = ["log", "activity", "CPU of one session [reference cores]",
              "95 % low [reference cores]", "95 % high [reference cores]", "R2",
              "condition number"]  # fmt: skip
    base = {"activity": "the host without sessions", **demands["base"]}
    rows: list[list[object]] = [
        [demands["log_name"], row["activity"], row["value"], row["low"], row["high"],
         demands["r2"], demands["condition"]]
        for row in [*demands["rows"], base]
    ]  # fmt: skip
    return header, rows


def compared_csv(compared: Told) -> Table:
    """Return predicted and measured quantiles as a table of numbers.

    Parameters
    ----------
    compared : dict
        From `app.evidence_host.compared_of`.
    """
    known = {each["level"]: each for each in compared["quantiles"]}
    header = ["quantile [%]", "predicted [cores]", "measured [cores]", "difference [cores]",
              "difference 95 % low [cores]", "difference 95 % high [cores]"]  # fmt: skip
    rows: list[list[object]] = []
    for level, predicted, measured in zip(
        compared["levels"], compared["predicted"], compared["measured"], strict=True
    ):
        each = known.get(round(level, 9), {})
        rows.append([100 * level, predicted, measured, measured - predicted,
                     each.get("low_cores"), each.get("high_cores")])  # fmt: skip
    return header, rows


def with_note(table: Table) -> Table:
    """Return a table whose first row carries the caution in a last column.

    Parameters
    ----------
    table : tuple of list
        Header and rows.
    """
    header, rows = table
    noted = [[*row, "" if at else CAUTION] for at, row in enumerate(rows)]
    return [*header, "note"], [list(row) for row in noted]
