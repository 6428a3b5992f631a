"""How are readings kept in a file and brought back, without anything that runs when it is read?

Numbers go into numpy arrays, which are written without pickle; names, words and what was left out
go into plain JSON data.
"""

from typing import Any

import numpy as np

from model.evidence.record import Finding, IntArray, ReadingReport, Readings

MOST_RANGES = 200  # runs of rows that the page tells of one finding


def packed(readings: Readings) -> tuple[dict[str, np.ndarray], dict[str, Any]]:
    """Return the arrays of what was read, and the rest as plain JSON data.

    Parameters
    ----------
    readings : Readings
        What was read.
    """
    arrays: dict[str, np.ndarray] = {"time_s": readings.time_s}
    arrays |= {f"column.{name}": values for name, values in readings.columns.items()}
    counts = list(readings.counts)
    arrays |= {f"count.{i}": readings.counts[name] for i, name in enumerate(counts)}
    if readings.offload is not None:
        arrays["offload"] = readings.offload.astype(np.int8)
    activities: list[str] | None = None
    if readings.activity is not None:
        activities = list(dict.fromkeys(readings.activity))
        code = {name: at for at, name in enumerate(activities)}
        codes = np.fromiter((code[name] for name in readings.activity), np.int32, readings.rows)
        arrays["activity"] = codes
    for at, finding in enumerate(readings.report.findings):
        arrays[f"finding.{at}"] = finding.rows
    told = {
        "name": readings.name,
        "rows": readings.rows,
        "interval_s": readings.interval_s,
        "last_s": float(readings.time_s[-1]),
        "start": readings.start,
        "columns": list(readings.columns),
        "counts": counts,
        "activities": activities,
        "offload": readings.offload is not None,
        "layout": readings.report.layout,
        "rows_read": readings.report.rows_read,
        "rows_kept": readings.report.rows_kept,
        "findings": [
            {
                "action": each.action, "reason": each.reason, "column": each.column,
                "count": each.count, "sentence": each.sentence, "rows": ranges(each.rows),
            }
            for each in readings.report.findings
        ],
    }  # fmt: skip
    return arrays, told


def unpacked(told: dict[str, Any], arrays: dict[str, np.ndarray]) -> Readings:
    """Return what was read, from what `packed` made of it.

    Parameters
    ----------
    told : dict
        The plain data.
    arrays : dict
        The arrays.
    """
    findings = tuple(
        Finding(each["action"], each["reason"], each["column"], arrays[f"finding.{at}"])
        for at, each in enumerate(told["findings"])
    )
    activity = None
    if told["activities"] is not None:
        names = np.array(told["activities"], dtype=object)
        activity = tuple(names[arrays["activity"]].tolist())
    return Readings(
        name=told["name"],
        time_s=arrays["time_s"],
        interval_s=told["interval_s"],
        start=told["start"],
        columns={name: arrays[f"column.{name}"] for name in told["columns"]},
        offload=arrays["offload"].astype(np.int64) if told["offload"] else None,
        activity=activity,
        report=ReadingReport(told["layout"], told["rows_read"], told["rows_kept"], findings),
        counts={name: arrays[f"count.{i}"] for i, name in enumerate(told["counts"])},
    )


def ranges(rows: IntArray, most: int = MOST_RANGES) -> str:
    """Return row numbers with runs drawn together: "3 to 7, 12".

    Parameters
    ----------
    rows : array of shape (rows,), rising
        Row numbers. [-]
    most : int
        Runs that are told; of the others only how many they are. [-]
    """
    starts = np.flatnonzero(np.diff(rows, prepend=-10) != 1)
    ends = np.append(starts[1:], len(rows)) - 1
    runs = [
        f"{rows[a]}" if a == b else f"{rows[a]} to {rows[b]}"
        for a, b in zip(starts[:most].tolist(), ends[:most].tolist(), strict=True)
    ]
    left = len(starts) - len(runs)
    return ", ".join(runs) + (f" and {left:,} more runs" if left else "")
