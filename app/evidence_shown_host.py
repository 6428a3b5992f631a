"""How do a host's log and the model beside each other look: demands, a comparison, the changes?

A table is a record of head and rows of text.
"""

from typing import Any

from app import words_trial as words
from app.figures.quantiles import quantiles_figure
from app.figures.residuals import residuals_figure
from app.theme import Theme
from model.evidence.calibration import Proposal

Told = dict[str, Any]


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
