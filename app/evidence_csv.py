"""Which numbers of a trial's results stand in a CSV file? All of them, unrounded."""

from typing import Any

from app import words_trial as words
from app.words import CAUTION

Told = dict[str, Any]
Table = tuple[list[str], list[list[object]]]


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
