"""What is a log once it has been read: which columns, in which units, and what was left out?

`Readings` is what every question about measurements starts from. CPU is in cores whatever the
log's own unit was, and a cell that was missing is NaN: nothing is filled in.
"""

from dataclasses import dataclass, field
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from model.errors import InputError

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]

COLUMNS = {
    "encode_cores": "CPU of the display encoder on one desktop [cores]",
    "cpu_cores": "CPU of the whole desktop [cores]",
    "frames_hz": "frames delivered in a second [1/s]",
    "host_cores": "CPU of the whole host [cores]",
    "sessions": "sessions present on the host [sessions]",
}

Action: TypeAlias = Literal["dropped", "emptied", "repaired", "noted", "contradicts"]
_ROWS_TOLD = 5  # row numbers named in a sentence; all of them are kept


@dataclass(frozen=True, eq=False)
class Finding:
    """One thing that was wrong with a log, or strange about it, and what was done.

    Parameters
    ----------
    action : str
        "dropped": the whole row is left out. "emptied": the cell counts as missing. "repaired":
        the value was put right. "noted": kept as it is. "contradicts": kept, but it does not fit
        the answer given in the mapping.
    reason : str
        Why, in a few words without a full stop.
    column : str or None
        The column's name in the log; None where the whole row is meant.
    rows : array
        Every row concerned, as a spreadsheet counts: the log's first row is 1. [-]
    """

    action: Action
    reason: str
    column: str | None
    rows: IntArray

    @property
    def count(self) -> int:
        """How many rows are concerned."""
        return len(self.rows)

    @property
    def sentence(self) -> str:
        """The finding in one line."""
        rows = ", ".join(str(row) for row in self.rows[:_ROWS_TOLD])
        more = f" and {self.count - _ROWS_TOLD:,} more" if self.count > _ROWS_TOLD else ""
        named = f' in column "{self.column}"' if self.column is not None else ""
        plural = "" if self.count == 1 else "s"
        subject = {
            "dropped": f"{self.count:,} row{plural} dropped",
            "emptied": f"{self.count:,} cell{plural} emptied{named}",
            "repaired": f"{self.count:,} row{plural} repaired{named}",
            "noted": f"{self.count:,} row{plural} noted{named}",
            "contradicts": f"{self.count:,} row{plural} in doubt{named}",
        }[self.action]
        where = f" (row{plural} {rows}{more})" if self.count else ""
        return f"{subject}: {self.reason}{where}."


@dataclass(frozen=True, eq=False)
class ReadingReport:
    """What became of the rows of a log.

    Parameters
    ----------
    layout : str
        How the text was read: encoding, separator, decimal sign, header.
    rows_read : int
        Rows below the header, blank ones not counted. [rows]
    rows_kept : int
        Rows in the readings. [rows]
    findings : tuple of Finding
        All that was dropped, emptied, repaired, noted or in doubt.
    """

    layout: str
    rows_read: int
    rows_kept: int
    findings: tuple[Finding, ...] = ()

    def rows(self, action: Action) -> int:
        """Count the rows or cells that one action befell; a row counts once for each reason."""
        return sum(finding.count for finding in self.findings if finding.action == action)

    @property
    def sentences(self) -> tuple[str, ...]:
        """The report in lines to be printed."""
        kept = f"{self.rows_kept:,} of {self.rows_read:,} rows kept; read as {self.layout}."
        return (kept, *(finding.sentence for finding in self.findings))


@dataclass(frozen=True, eq=False)
class Readings:
    """One log, checked, in regular columns.

    Parameters
    ----------
    name : str
        The log's name, without a folder.
    time_s : array of shape (rows,)
        Time since the first reading, strictly rising. [s]
    interval_s : float
        Median step of the times. [s]
    start : str or None
        The first reading as ISO 8601, None where the log only has seconds.
    columns : dict of str to array of shape (rows,)
        By meaning, see `COLUMNS`; NaN where a cell was missing.
    offload : array of shape (rows,) or None
        1 on, 0 off, -1 unknown; None where the log does not say.
    activity : tuple of str or None
        The activity's name in each row, "" where unknown; None where the log does not say.
    report : ReadingReport
        Rows read, dropped and repaired, each with its reason and number.
    counts : dict of str to array of shape (rows,)
        Sessions in each activity, by the activity's name. [sessions] Empty where the log does
        not say.
    """

    name: str
    time_s: FloatArray
    interval_s: float
    start: str | None
    columns: dict[str, FloatArray]
    offload: IntArray | None
    activity: tuple[str, ...] | None
    report: ReadingReport
    counts: dict[str, FloatArray] = field(default_factory=dict)

    @property
    def rows(self) -> int:
        """How many readings there are."""
        return len(self.time_s)


def checked_series(values: npt.ArrayLike) -> FloatArray:
    """Return readings as a series of numbers, NaN where one is missing.

    Parameters
    ----------
    values : array of shape (rows,)
        Readings of one column. [as measured]

    Raises
    ------
    InputError
        Where they are no series of numbers, or an empty one.
    """
    try:
        series = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError):
        raise InputError("values", type(values).__name__, "a series of numbers") from None
    if series.ndim != 1 or len(series) == 0:
        raise InputError("values", f"shape {series.shape}", "a series of at least one number")
    return series
