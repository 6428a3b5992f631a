"""What is in a log of measurements, and what had to be left out of it?

`look_at` shows a log without reading it all: its layout, its first rows, what each column seems
to be and which questions only its owner can answer. `read_log` reads it with those answers. No
row is dropped and no cell changed without a line in the report that gives the reason and the
row; what cannot be read is refused with its place and the cure.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, overload

import numpy as np
import numpy.typing as npt
import pandas as pd

from model.errors import MeasurementError
from model.evidence.columns import ColumnLook, proposal
from model.evidence.layout import Layout, lay_out
from model.evidence.log_text import Source, as_utf8, unpacked
from model.evidence.mapping import CPU_MEANINGS, CpuBase, Mapping, check_answers, state_of
from model.evidence.notation import number_in
from model.evidence.questions import Question, consequence
from model.evidence.record import (
    COLUMNS,
    Action,
    Finding,
    FloatArray,
    IntArray,
    ReadingReport,
    Readings,
)
from model.evidence.table import Rows, read_cells, rows_of, unclosed_quote
from model.evidence.times import (
    MOST_LOST_SHARE,
    Times,
    moment_of,
    put_in_order,
    read_numbers,
    read_words,
)

PREVIEW_ROWS = 20
_FULL_SHARE = 0.9995  # of what a processor can do: a reading there may have been cut off
_ROUNDING_SHARE = 1.005  # a reading may be rounded up to here
_CHANCE_SHARE = 0.02  # of rows where two readings of one second may contradict each other
_PART_SLACK_CORES = 0.02  # the encoder may seem to use so much more than the whole desktop
_ODD_CELLS: dict[str, tuple[Action, str]] = {  # by what `number_in` says
    "missing": ("emptied", "the cell is empty"),
    "not a number": ("emptied", "not a number"),
    "the other decimal sign": ("emptied", "the other decimal sign"),
    "not finite": ("emptied", "not finite"),
    "a percent sign": ("repaired", "a percent sign behind the number"),
    "grouped digits": ("repaired", "digits in groups of three"),
}


@dataclass(frozen=True)
class LogPreview:
    """A log before it is read.

    Parameters
    ----------
    name : str
        The log's name.
    layout : Layout
        Encoding, separator, decimal sign, header and units.
    rows_about : int
        Rows below the header, give or take blank ones. [rows]
    first_rows : tuple of rows of cells
        The first readings as written, at most `PREVIEW_ROWS`.
    columns : tuple of ColumnLook
        What each column seems to be, and why.
    proposed : Mapping
        The mapping proposed; what has to be asked is open in it.
    questions : tuple of Question
        What has to be answered.
    """

    name: str
    layout: Layout
    rows_about: int
    first_rows: tuple[tuple[str, ...], ...]
    columns: tuple[ColumnLook, ...]
    proposed: Mapping
    questions: tuple[Question, ...]


def look_at(
    source: Source,
    activities: Sequence[str] = (),
    encoding: str | None = None,
    desktop_vcpus: int | None = None,
    host_threads: int | None = None,
) -> LogPreview:
    """Return what a log seems to hold, and what must be asked before it is read.

    Parameters
    ----------
    source : path, bytes, Upload or file object
        The log, plain or gzip.
    activities : sequence of str
        Names of the scenario's activities, by which columns of counts are known.
    encoding : str or None
        The encoding where it is neither UTF-8 nor UTF-16.
    desktop_vcpus, host_threads : int or None
        For the examples beside the answers. [processors]

    Raises
    ------
    MeasurementError
        Where the log is no delimited text, or too large.
    """
    name, content = unpacked(source)
    found, text = as_utf8(name, content, encoding)
    layout, readings = lay_out(name, found, text)
    mapping, columns, questions = proposal(
        layout, readings, activities, desktop_vcpus, host_threads
    )
    if encoding is not None:
        mapping = mapping.model_copy(update={"encoding": encoding})
    rows = text.count(b"\n") + (not text.endswith(b"\n")) - (layout.first_row - 1)
    first = tuple(tuple(row) for row in readings[:PREVIEW_ROWS])
    return LogPreview(name, layout, rows, first, columns, mapping, questions)


@overload
def read_log(source: Source, mapping: Mapping) -> Readings: ...
@overload
def read_log(source: list[Any] | tuple[Any, ...], mapping: Mapping) -> list[Readings]: ...
def read_log(
    source: Source | list[Any] | tuple[Any, ...], mapping: Mapping
) -> Readings | list[Readings]:
    """Return the readings in a log, or in several logs alike.

    Parameters
    ----------
    source : path, bytes, Upload or file object, or a list of them
        The log, plain or gzip, at most 256 MB unpacked.
    mapping : Mapping
        Which column is what, and the answers to the questions.

    Returns
    -------
    Readings, or list of Readings
        A list comes back in the order of time; logs without a date follow, in the order given.

    Raises
    ------
    MeasurementError
        Where an answer is missing, logs overlap, or a log cannot be read: row, column and cure.

    Notes
    -----
    CPU is turned into cores by the answer to what it is a percentage of. Cells that are empty or
    no number are NaN; nothing is filled in between rows.
    """
    if isinstance(source, (list, tuple)):
        return _in_order([_read(each, mapping) for each in source])
    return _read(source, mapping)


def _in_order(logs: list[Readings]) -> list[Readings]:
    dated = [(moment_of(log.start), log) for log in logs if log.start is not None]
    zoned = {moment.tzinfo is not None for moment, _ in dated}
    if len(zoned) > 1:
        odd = next(log for moment, log in dated if moment.tzinfo is None)
        raise MeasurementError(odd.name, odd.start, "a time zone in every log or in none")
    dated.sort(key=lambda each: each[0])
    for (start, log), (next_start, following) in pairwise(dated):
        last_s = float(log.time_s[-1])
        if (next_start - start).total_seconds() <= last_s:
            both = f"{log.name} and {following.name}"
            cure = "logs that follow one another; read logs of different desktops one by one"
            raise MeasurementError(both, f"an overlap from {following.start}", cure)
    return [log for _, log in dated] + [log for log in logs if log.start is None]


def _read(source: Source, mapping: Mapping) -> Readings:
    name, content = unpacked(source)
    encoding, text = as_utf8(name, content, mapping.encoding)
    del content
    layout, _ = lay_out(name, encoding, text)
    check_answers(mapping, layout.names, name)
    decimal = _decimal_sign(mapping, layout)
    rows = rows_of(text, layout.separator)
    findings: list[Finding] = []
    keep = _whole_rows(name, text, rows, layout, findings)
    wanted = _wanted(mapping, layout)
    frame = _cells(name, text, rows, keep, layout, decimal, wanted)
    numbers = np.flatnonzero(keep).astype(np.int64) + 1
    rows_read = int(((rows.end > rows.start)[layout.first_row - 1 :]).sum())
    del text, rows, keep
    log = _Columns(name, layout, decimal, mapping.decimal is not None, frame, numbers, findings)
    times, column = _times(log, mapping)
    kept, time_s, found = put_in_order(name, times, numbers, mapping.clock_change, column)
    findings += found
    log.choose(kept)
    columns = _columns(log, mapping)
    counts = {activity: log.number(name_of) for activity, name_of in mapping.counts.items()}
    offload = None if mapping.offload is None else _states(log, mapping)
    activity = None if mapping.activity is None else log.words(mapping.activity)
    start = times.start(float(time_s[0]))
    report = ReadingReport(layout.in_words(decimal), rows_read, len(kept), tuple(findings))
    time_s = time_s - time_s[0]
    interval_s = float(np.median(np.diff(time_s)))
    return Readings(name, time_s, interval_s, start, columns, offload, activity, report, counts)


def _decimal_sign(mapping: Mapping, layout: Layout) -> str:
    decimal = mapping.decimal or layout.decimal
    if decimal is None:
        cure = 'an answer: "." or ","; the numbers of the log can be read both ways'
        raise MeasurementError("mapping.decimal", None, cure)
    if decimal == layout.separator:
        cure = "a sign that does not also separate the cells, or cells in quotes"
        raise MeasurementError("mapping.decimal", decimal, cure)
    return decimal


def _wanted(mapping: Mapping, layout: Layout) -> dict[int, str]:
    wanted: dict[int, str] = {}
    for column, (meaning, *_) in mapping.by_column.items():
        kind = "number"
        if meaning in ("offload", "activity"):
            kind = "words"
        elif meaning in ("time", "date"):
            written = mapping.time_format in ("iso", "day_first", "month_first", "clock")
            kind = "text" if written else "number"
        wanted[layout.names.index(column)] = kind
    return wanted


def _whole_rows(
    name: str, text: bytes, rows: Rows, layout: Layout, findings: list[Finding]
) -> npt.NDArray[np.bool_]:
    """Which rows are readings with as many cells as the header; the others are told."""
    width = len(layout.names)
    below = np.arange(len(rows.cells)) >= layout.first_row - 1
    filled = rows.end > rows.start
    keep: npt.NDArray[np.bool_] = below & filled & (rows.cells == width)
    odd = np.flatnonzero(below & filled & (rows.cells != width))
    groups: dict[tuple[Action, str], list[int]] = {}
    wrong: list[int] = []
    for at in odd.tolist():
        row, cells = text[rows.start[at] : rows.end[at]], int(rows.cells[at])
        if not row.strip():
            told: tuple[Action, str] = ("dropped", "blank but for spaces")
        elif cells == width + 1 and row.rstrip().endswith(layout.separator.encode()):
            told = ("repaired", "a separator too many at the end")
            keep[at] = True
        else:
            last = "; the last row seems to be cut short" if at == len(rows.cells) - 1 else ""
            counted = "1 cell" if cells == 1 else f"{cells} cells"
            told = ("dropped", f"{counted} where the header has {width}{last}")
            wrong.append(at)
        groups.setdefault(told, []).append(at + 1)
    if len(wrong) > MOST_LOST_SHARE * int((below & filled).sum()):
        cure = f"{width} cells in each row, as in the header; split the log where it changes"
        raise MeasurementError(name, f"{int(rows.cells[wrong[0]])} cells", cure, wrong[0] + 1)
    for (action, reason), numbers in groups.items():
        findings.append(Finding(action, reason, None, np.array(numbers, dtype=np.int64)))
    blank = np.flatnonzero(below & ~filled)
    if len(blank):
        findings.append(Finding("noted", "blank", None, (blank + 1).astype(np.int64)))
    if not keep.any():
        raise MeasurementError(name, "no readings", "rows of readings below the header")
    return keep


def _cells(
    name: str,
    text: bytes,
    rows: Rows,
    keep: npt.NDArray[np.bool_],
    layout: Layout,
    decimal: str,
    wanted: dict[int, str],
) -> pd.DataFrame:
    cure = "quotes that are closed in the cell where they open, doubled inside it"
    try:
        frame = read_cells(text, rows, keep, layout, decimal, wanted)
    except (pd.errors.ParserError, ValueError, OverflowError) as error:
        raise MeasurementError(name, str(error), cure, unclosed_quote(text)) from None
    if len(frame) != int(keep.sum()):
        raise MeasurementError(name, "rows that cannot be told apart", cure, unclosed_quote(text))
    return frame


class _Columns:
    """The cells of a log by column, with a note of all that was put right."""

    def __init__(
        self,
        name: str,
        layout: Layout,
        decimal: str,
        decimal_answered: bool,
        frame: pd.DataFrame,
        rows: IntArray,
        findings: list[Finding],
    ) -> None:
        self.name = name
        self.rows = rows
        self.findings = findings
        self._layout = layout
        self._decimal = decimal
        self._decimal_answered = decimal_answered
        self._frame = frame

    def choose(self, kept: IntArray) -> None:
        """Go on with some rows only, in this order."""
        if not np.array_equal(kept, np.arange(len(self._frame))):
            self._frame = self._frame.iloc[kept]
            self.rows = self.rows[kept]

    def cells(self, column: str) -> "pd.Series[str]":
        """The cells of one column as they were read."""
        return self._frame[str(self._layout.names.index(column))].rename(column)

    def words(self, column: str) -> tuple[str, ...]:
        """The words of a column, "" where a cell says that it is missing."""
        cells = self.cells(column).astype("category").cat
        names = np.array([str(word).strip() for word in cells.categories] + [""], dtype=object)
        return tuple(names[cells.codes.to_numpy()].tolist())

    def number(self, column: str, rows_go: bool = False) -> FloatArray:
        """The numbers of a column, NaN where there is none.

        Each reason is noted, unless the rows without a number will be dropped for it anyway.
        """
        cells = self.cells(column)
        if cells.dtype.kind in "iuf":
            values = cells.to_numpy(dtype=np.float64)
            odd = np.full(len(values), "", dtype=object)
            odd[np.isnan(values)] = "missing"
            odd[np.isinf(values)] = "not finite"
            values = np.where(np.isfinite(values), values, np.nan)
        else:
            values, odd = self._written(cells)
        found = Counter(odd.tolist())
        found.pop("", None)
        sure = len(values) - found["missing"]
        bad = {reason for reason in found if reason.startswith(("not", "the other"))}
        lost = sum(found[reason] for reason in bad)
        first = int(np.flatnonzero(np.isin(odd, list(bad)))[0]) if bad else 0
        if "the other decimal sign" in bad and not self._decimal_answered:
            cure = "an answer in mapping.decimal; this number has another decimal sign than others"
            self._refuse(cells, int(np.flatnonzero(odd == "the other decimal sign")[0]), cure)
        if lost > MOST_LOST_SHARE * max(1, sure):
            sign = "point" if self._decimal == "." else "comma"
            self._refuse(cells, first, f"a number with a decimal {sign}, or another column")
        for reason, (action, told) in _ODD_CELLS.items():
            if found[reason] and not (action == "emptied" and rows_go):
                rows = np.sort(self.rows[odd == reason])
                self.findings.append(Finding(action, told, column, rows))
        return values

    def _written(self, cells: "pd.Series[str]") -> tuple[FloatArray, npt.NDArray[np.object_]]:
        codes, different = pd.factorize(cells.astype(str).where(cells.notna(), ""))
        read = [number_in(str(cell), self._decimal) for cell in different]
        values = np.array([value for value, _ in read], dtype=np.float64)
        odd = np.array([reason for _, reason in read], dtype=object)
        return values[codes], odd[codes]

    def _refuse(self, cells: "pd.Series[str]", at: int, cure: str) -> None:
        raise MeasurementError(
            self.name, str(cells.iloc[at]), cure, int(self.rows[at]), str(cells.name)
        )


def _times(log: _Columns, mapping: Mapping) -> tuple[Times, str | None]:
    if mapping.time is None or mapping.time_format is None:
        step_s = mapping.step_s or 1.0
        reason = f"no times; rows are taken to be {step_s:g} s apart, so gaps cannot be seen"
        log.findings.append(Finding("noted", reason, None, log.rows))
        return Times(np.arange(len(log.rows), dtype=np.float64) * step_s, None, local=False), None
    if mapping.time_format in ("epoch_s", "epoch_ms", "elapsed_s", "elapsed_ms"):
        values = log.number(mapping.time, rows_go=True)
        return read_numbers(values, mapping.time_format), mapping.time
    cells = log.cells(mapping.time).fillna("")
    if mapping.date is not None:
        dates = log.cells(mapping.date).fillna("")
        cells = (dates.str.strip() + " " + cells.str.strip()).rename(mapping.time)
    return read_words(log.name, cells, log.rows, mapping.time_format), mapping.time


def _columns(log: _Columns, mapping: Mapping) -> dict[str, FloatArray]:
    columns: dict[str, FloatArray] = {}
    for meaning in COLUMNS:
        column = getattr(mapping, meaning)
        if column is None:
            continue
        values = log.number(column)
        values = _not_negative(log, column, values)
        if meaning in CPU_MEANINGS:
            base: CpuBase = getattr(mapping, CPU_MEANINGS[meaning])
            values = values * base.cores_per_unit
            _tell_contradictions(log, column, values, base)
        columns[meaning] = values
    if "encode_cores" in columns and "cpu_cores" in columns:
        whole = columns["cpu_cores"] * _ROUNDING_SHARE + _PART_SLACK_CORES
        with np.errstate(invalid="ignore"):
            more = columns["encode_cores"] > whole
        share = more.mean()
        reason = (
            f"in {_percent(share)} of the rows the encoder uses more CPU than the whole desktop"
        )
        if share > _CHANCE_SHARE:
            reason += ", which cannot be; one of the two was answered wrongly"
            _tell(log, "contradicts", reason, mapping.encode_cores, more)
        else:
            reason += "; the two may not be measured at the same moment"
            _tell(log, "noted", reason, mapping.encode_cores, more)
    return columns


def _not_negative(log: _Columns, column: str, values: FloatArray) -> FloatArray:
    with np.errstate(invalid="ignore"):
        below = values < 0
    if not below.any():
        return values
    _tell(log, "emptied", "below zero", column, below)
    return np.where(below, np.nan, values)


def _tell_contradictions(log: _Columns, column: str, cores: FloatArray, base: CpuBase) -> None:
    """Note readings that the answer about the percentage does not allow, and full ones."""
    most = base.most_cores if base.most_cores is not None else 1.0
    with np.errstate(invalid="ignore"):
        above = cores > most * _ROUNDING_SHARE
        full = (cores >= most * _FULL_SHARE) & ~above
    share = above.sum() / max(1, int(np.isfinite(cores).sum()))
    if base.of == "core" and base.processors is None:
        reason = (
            f"{_percent(share)} of the readings are above 100 % of one core: right only where "
            "several cores are added up, and then say how many"
        )
    else:
        counted = {"core": "core", "desktop": "vCPU", "host": "thread"}[base.of]
        reason = (
            f"{_percent(share)} of the readings are above 100 % of {base.processors} {counted}"
            f"{'' if base.processors == 1 else 's'}, which cannot be: "
            f"{consequence(base, 100 if base.unit == 'percent' else 1)}"
        )
    _tell(log, "contradicts", reason, column, above)
    _tell(log, "noted", "at the most there can be; the reading may be cut off", column, full)
    filled = cores[np.isfinite(cores)] / base.cores_per_unit
    if base.unit == "percent" and len(filled) > 1 and 0 < filled.max() <= 1.0:
        reason = "no reading is above 1 %: the log may give shares of one, not percentages"
        _tell(log, "contradicts", reason, column, np.isfinite(cores))


def _percent(share: float) -> str:
    return f"{100 * share:.2g} %" if share < 0.995 else "100 %"


def _tell(
    log: _Columns,
    action: Action,
    reason: str,
    column: str | None,
    mask: npt.NDArray[np.bool_],
) -> None:
    if mask.any():
        rows = np.sort(log.rows[mask])
        log.findings.append(Finding(action, reason, column, rows))


def _states(log: _Columns, mapping: Mapping) -> IntArray:
    column = mapping.offload or ""
    cells = log.cells(column).astype("category").cat
    words = [str(word) for word in cells.categories]
    states = np.array([state_of(word, mapping) for word in words] + [-1], dtype=np.int64)
    offload: IntArray = states[cells.codes.to_numpy()]
    unknown = offload < 0
    if unknown.all():
        cure = f"one of on_words ({', '.join(mapping.on_words)}) or off_words"
        first = words[0] if words else ""
        raise MeasurementError(log.name, first, cure, int(log.rows[0]), column)
    other = [word for word in words if word.strip() and state_of(word, mapping) < 0]
    reason = "neither on nor off" + (f' ("{other[0]}")' if other else "")
    _tell(log, "noted", reason, column, unknown)
    return offload
