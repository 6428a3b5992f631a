"""How do the peaks of a trial's logs look as a table? On the page and in the report."""

from typing import Any

from app import words_trial as words
from app.labels import amount

Told = dict[str, Any]


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
