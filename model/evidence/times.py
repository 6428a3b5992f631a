"""When was each reading taken?

`read_times` turns the cells of one or two columns into seconds; `put_in_order` then turns round a
log that has its newest row first, takes out rows whose time goes back or does not move on, and
asks about an hour that comes twice. Nothing here knows which time zone a log without one is in:
such a log is taken as it stands.
"""

import datetime as dt
import re
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from model.errors import MeasurementError
from model.evidence.mapping import ClockChange, TimeFormat
from model.evidence.notation import looks_like_time
from model.evidence.record import Finding, FloatArray, IntArray

MOST_LOST_SHARE = 0.2  # our choice: with more rows unusable, the mapping or the log is wrong
_DAY_S = 86_400.0
_HOUR_S = 3_600.0
_GAP_STEPS = 1.5  # a step longer than so many usual ones is a gap
_MOST_PATTERNS = 6  # notations in one column
_ZONE = re.compile(r"\d[T ]?\d\d:?\d\d.*(?:Z|z|UTC|[+-]\d\d(?::?\d\d)?)$", re.ASCII)
_WRITTEN = re.compile(
    r"(?P<a>\d{1,4})(?P<s>[-/. ])(?P<b>\d{1,2}|[A-Za-z]{3,9})(?P=s)(?P<c>\d{1,4})"
    r"(?:(?P<gap>[ T,]+)(?P<clock>\d{1,2}:.+))?",
    re.ASCII,
)
_CLOCK = re.compile(r"\d{1,2}:\d\d(?P<s>:\d\d(?P<f>[.,]\d{1,9})?)?(?P<p>\s*[AaPp][Mm])?", re.ASCII)
_PER_SECOND = {"epoch_s": 1.0, "epoch_ms": 1e3, "elapsed_s": 1.0, "elapsed_ms": 1e3}


@dataclass(frozen=True, eq=False)
class Times:
    """Times as they stand in a log.

    Parameters
    ----------
    seconds : array of shape (rows,)
        After the base; NaN where the cell could not be read. [s]
    base : Timestamp or None
        The moment of second 0; None where the log only has seconds or times of day.
    local : bool
        Whether the times are those of a clock on the wall, which may be put back.
    """

    seconds: FloatArray
    base: pd.Timestamp | None
    local: bool

    def start(self, first_s: float) -> str | None:
        """Return one moment as ISO 8601, None where no date is known."""
        if self.base is None:
            return None
        moment = self.base + pd.Timedelta(round(first_s * 1e9), unit="ns")
        return moment.isoformat().replace("+00:00", "Z")


def read_numbers(values: FloatArray, time_format: TimeFormat) -> Times:
    """Return times from a column of numbers.

    Parameters
    ----------
    values : array of shape (rows,)
        The column; NaN where a cell is no number. [`time_format`]
    time_format : str
        "epoch_s", "epoch_ms", "elapsed_s" or "elapsed_ms".
    """
    per_second = _PER_SECOND[time_format]
    if time_format.startswith("elapsed"):
        return Times(values / per_second, None, local=False)
    usable = values[np.isfinite(values)]
    # Moments after 1970, before the year 2262: what nanoseconds in 64 bits can hold.
    values = np.where((values >= 0) & (values < 9.2e9 * per_second), values, np.nan)
    usable = values[np.isfinite(values)]
    first = float(usable[0]) if len(usable) else 0.0
    base = pd.Timestamp(round(first * (1e9 / per_second)), unit="ns", tz="UTC")
    return Times((values - first) / per_second, base, local=False)


def read_words(
    name: str, cells: "pd.Series[str]", rows: IntArray, time_format: TimeFormat
) -> Times:
    """Return times from a column of words.

    Parameters
    ----------
    name : str
        The log's name, for errors.
    cells : Series of str
        The column. [-]
    rows : array of shape (rows,)
        The row of each cell in the log. [-]
    time_format : str
        "iso", "day_first", "month_first" or "clock".

    Raises
    ------
    MeasurementError
        Where dates are written in the other order than was answered, or some cells name a time
        zone and others do not.
    """
    cells = cells.str.strip()
    zoned = cells.str.contains(_ZONE) if time_format != "clock" else np.zeros(len(cells), bool)
    zoned = np.asarray(zoned, dtype=bool)
    if zoned.any() and not zoned.all():
        without = cells[~zoned]
        readable = without[[looks_like_time(cell) for cell in without]]
        if len(readable):
            cure = "a time zone in every row or in none"
            row = int(rows[cells.index.get_loc(readable.index[0])])
            raise MeasurementError(name, str(readable.iloc[0]), cure, row, str(cells.name))
    moments = _parsed(cells, time_format, bool(zoned.any()))
    swapped: dict[TimeFormat, TimeFormat] = {"day_first": "month_first", "month_first": "day_first"}
    unread = np.flatnonzero(moments.isna())
    if time_format in swapped and len(unread):
        other = _parsed(cells.iloc[unread], swapped[time_format], bool(zoned.any()))
        if other.notna().any():
            at = int(unread[int(np.flatnonzero(other.notna())[0])])
            cure = f'dates as answered in mapping.time_format, "{time_format}"; this one is not'
            odd = str(cells.iloc[at])
            raise MeasurementError(name, odd, cure, int(rows[at]), str(cells.name))
    plain = moments.dt.tz_localize(None) if zoned.any() else moments
    nanoseconds = plain.to_numpy().astype("datetime64[ns]").astype(np.int64)
    valid = moments.notna().to_numpy()
    first = int(nanoseconds[valid][0]) if valid.any() else 0
    if time_format == "clock":
        midnight = first - first % int(_DAY_S * 1e9)
        seconds = np.where(valid, (nanoseconds - midnight) / 1e9, np.nan)
        return Times(seconds, None, local=True)
    seconds = np.where(valid, (nanoseconds - first) / 1e9, np.nan)
    zone = "UTC" if zoned.any() else None
    return Times(seconds, pd.Timestamp(first, unit="ns", tz=zone), local=not zoned.any())


def _parsed(
    cells: "pd.Series[str]", time_format: TimeFormat, zoned: bool
) -> "pd.Series[pd.Timestamp]":
    if time_format == "iso":
        # "iso" reads the ISO forms at once; other notations with the year first are left over.
        moments = pd.to_datetime(cells, format="ISO8601", errors="coerce", utc=zoned, cache=False)
    else:
        moments = pd.Series(pd.NaT, index=cells.index, dtype="datetime64[ns]")
        if zoned:
            moments = moments.dt.tz_localize("UTC")
    for _ in range(_MOST_PATTERNS):
        unread = cells[moments.isna() & (cells != "")]
        pattern = next(
            (
                found
                for found in (_pattern(cell, time_format) for cell in unread.iloc[:200])
                if found
            ),
            None,
        )
        if pattern is None:
            break
        more = pd.to_datetime(unread, format=pattern, errors="coerce", utc=zoned, cache=False)
        if not more.notna().any():
            break
        moments = moments.astype(more.dtype) if moments.isna().all() else moments
        moments.loc[more.index] = more.astype(moments.dtype)
    return moments


def _pattern(cell: str, time_format: TimeFormat) -> str | None:
    """The notation of one cell in the signs of strptime."""
    if time_format == "clock":
        return _clock_pattern(cell)
    found = _WRITTEN.fullmatch(cell)
    if found is None:
        return None
    mark = found["s"]
    named_month = "%B" if len(found["b"]) > 3 else "%b"
    year = "%Y" if len(found["c"]) == 4 else "%y"
    if len(found["a"]) == 4:
        parts = ["%Y", named_month if found["b"].isalpha() else "%m", "%d"]
    elif found["b"].isalpha():
        parts = ["%d", named_month, year]
    elif time_format == "day_first":
        parts = ["%d", "%m", year]
    elif time_format == "month_first":
        parts = ["%m", "%d", year]
    else:
        return None
    if len(found["a"]) == 4 and time_format != "iso":
        return None
    date = mark.join(parts)
    if found["clock"] is None:
        return date
    clock = _clock_pattern(found["clock"])
    return None if clock is None else date + found["gap"] + clock


def _clock_pattern(cell: str) -> str | None:
    found = _CLOCK.fullmatch(cell)
    if found is None:
        return None
    pattern = "%I:%M" if found["p"] else "%H:%M"
    if found["s"]:
        pattern += ":%S"
    if found["f"]:
        pattern += found["f"][0] + "%f"
    if found["p"]:
        pattern += found["p"][:-2] + "%p"
    return pattern


def put_in_order(
    name: str,
    times: Times,
    row_numbers: IntArray,
    clock_change: ClockChange | None,
    column: str | None,
) -> tuple[IntArray, FloatArray, list[Finding]]:
    """Return which readings to keep, in order of time, and their times.

    Parameters
    ----------
    name : str
        The log's name, for errors.
    times : Times
        Times as read.
    row_numbers : array of shape (rows,)
        The row of each in the log. [-]
    clock_change : str or None
        What to do where a clock on the wall was put back by an hour.
    column : str or None
        The column of the times, for errors.

    Returns
    -------
    array of shape (kept,)
        Indices of the rows kept, in order. [-]
    array of shape (kept,)
        Their times, strictly rising, from the same base. [s]
    list of Finding
        What was dropped, repaired and noted.

    Raises
    ------
    MeasurementError
        Where too many rows cannot be used, or a question about the clock is open.
    """
    findings: list[Finding] = []
    seconds = times.seconds
    kept = np.flatnonzero(np.isfinite(seconds)).astype(np.int64)
    lost = np.flatnonzero(~np.isfinite(seconds))
    if len(lost):
        findings.append(Finding("dropped", "the time cannot be read", column, row_numbers[lost]))
        _refuse_if_many(name, len(lost), len(seconds), row_numbers[lost[0]], column, "be read")
    steps = np.diff(seconds[kept])
    if len(steps) > 2 and np.mean(steps < 0) > 0.9:
        kept = kept[::-1]
        reason = "the newest row came first; the log was turned round"
        findings.append(Finding("repaired", reason, column, np.sort(row_numbers[kept])))
    ordered = seconds[kept]
    if times.local:
        ordered = _clock_put_right(
            name, ordered, row_numbers[kept], times, clock_change, column, findings
        )
    spike, back, same = _out_of_order(ordered)
    for mask, reason in (
        (spike, "the time jumps ahead of the rows after it"),
        (back, "the time goes back"),
        (same, "the same time as the row before"),
    ):
        if mask.any():
            rows = row_numbers[kept[mask]]
            findings.append(Finding("dropped", reason, column, rows))
            if reason != "the time goes back" or clock_change != "drop_second_hour":
                cure = "rise from row to row; log one row for each moment"
                _refuse_if_many(name, int(mask.sum()), len(kept), rows[0], column, cure)
    good = ~(spike | back | same)
    kept, ordered = kept[good], ordered[good]
    if len(kept) < 2:
        raise MeasurementError(name, f"{len(kept)} usable rows", "two readings or more")
    steps = np.diff(ordered)
    usual = float(np.median(steps))
    gaps = np.flatnonzero(steps > _GAP_STEPS * usual)
    if len(gaps):
        missing = float((steps[gaps] - usual).sum())
        reason = f"a gap before it ({missing:,.6g} s missing in all); nothing is filled in"
        findings.append(Finding("noted", reason, column, row_numbers[kept[gaps + 1]]))
    return kept, ordered, findings


def _refuse_if_many(
    name: str, lost: int, total: int, row: int, column: str | None, what: str
) -> None:
    if lost > MOST_LOST_SHARE * total:
        cure = f"times that {what}"
        raise MeasurementError(name, f"{lost:,} of {total:,} times", cure, int(row), column)


def _clock_put_right(
    name: str,
    seconds: FloatArray,
    rows: IntArray,
    times: Times,
    clock_change: ClockChange | None,
    column: str | None,
    findings: list[Finding],
) -> FloatArray:
    steps = np.diff(seconds)
    usual = float(np.median(steps[steps > 0])) if (steps > 0).any() else 1.0
    if times.base is None:  # times of day only: midnight is no step back
        over = np.flatnonzero(steps < -_DAY_S / 2)
        if len(over):
            seconds = seconds.copy()
            for at in over:
                seconds[at + 1 :] += _DAY_S
            reason = "past midnight; a day was added from this row on"
            findings.append(Finding("repaired", reason, column, rows[over + 1]))
            steps = np.diff(seconds)
    slack = 2 * usual
    put_back = np.flatnonzero(np.abs(steps + _HOUR_S - usual) <= slack)
    put_back = put_back[steps[put_back] < -_HOUR_S / 2]
    if not len(put_back):
        return seconds
    row = int(rows[put_back[0] + 1])
    if clock_change is None:
        cure = (
            'an answer: "second_hour_follows" where the clock was put back and the readings went '
            f'on, or "drop_second_hour"; row {row} of {name} is an hour earlier than the row before'
        )
        raise MeasurementError("mapping.clock_change", None, cure)
    if clock_change == "second_hour_follows":
        seconds = seconds.copy()
        for at in put_back:
            seconds[at + 1 :] += _HOUR_S
        reason = "the clock was put back; an hour was added from this row on"
        findings.append(Finding("repaired", reason, column, rows[put_back + 1]))
    return seconds


def _out_of_order(
    seconds: FloatArray,
) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Which times jump ahead by themselves, which go back, and which repeat the one before."""
    spike = np.zeros(len(seconds), dtype=bool)
    if len(seconds) > 2:
        # Without the row the order is right, and without the row after it, it would not be.
        falls, far = np.diff(seconds) < 0, seconds[2:] <= seconds[:-2]
        spike[0] = falls[0] and far[0]
        spike[1:-2] = falls[1:-1] & far[1:] & (seconds[2:-1] > seconds[:-3])
    usable = np.where(spike, -np.inf, seconds)
    highest = np.concatenate([[-np.inf], np.maximum.accumulate(usable)[:-1]])
    back = ~spike & (seconds < highest)
    same = ~spike & (seconds == highest)
    return spike, back, same


def moment_of(start: str) -> dt.datetime:
    """Return the moment written by `Times.start`.

    Parameters
    ----------
    start : str
        ISO 8601, with "Z" where the zone is known.
    """
    moment: dt.datetime = pd.Timestamp(start).to_pydatetime(warn=False)
    return moment
