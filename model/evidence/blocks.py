"""When was offload on, and into which blocks does that cut a log?

A spell is a stretch in which offload stays as it is. A block is a spell or an equal part of a
long one: two planned blocks of 60 s that follow each other without a switch are one spell of
120 s and are taken apart again, so that all blocks are about equally long.
"""

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from model.errors import InputError, check_above, check_at_least
from model.evidence.record import FloatArray, IntArray

BoolArray: TypeAlias = npt.NDArray[np.bool_]

LEAST_READINGS = 3  # in a block, or its level is not used
_LEAST_FILLED_SHARE = 0.25  # of the readings a block should have
_SHORTEST_SHARE = 0.45  # of the median spell; what is shorter is no planned block
_ABOUT = 0.15  # by how much of a block lengths may miss a whole number of blocks


@dataclass(frozen=True)
class Spell:
    """A stretch of a log in which offload stays on, or off.

    Parameters
    ----------
    first, last : int
        Its rows, counted from 0; `last` is the first row that no longer belongs to it. [-]
    on : bool
        Whether offload is on.
    begin_s, end_s : float
        When it begins and ends, from the log's first reading. [s]
    """

    first: int
    last: int
    on: bool
    begin_s: float
    end_s: float

    @property
    def duration_s(self) -> float:
        """How long the spell is. [s]"""
        return self.end_s - self.begin_s


@dataclass(frozen=True, eq=False)
class Blocks:
    """The blocks of a log, those without enough readings left out.

    Parameters
    ----------
    on : array of bool, shape (blocks,)
        Whether offload is on.
    begin_s, end_s : array of shape (blocks,)
        The part of each block that is used, from the log's first reading. [s]
    level : array of shape (blocks,)
        Mean reading. [as measured]
    readings : array of shape (blocks,)
        Readings behind each level. [rows]
    number : array of shape (blocks,)
        Which block of the log it is, those left out counted too. [-]
    block_of_row : array of shape (rows,)
        The block each row counts for, -1 where none. [-]
    block_s : float
        Length of a block, the dropped seconds included. [s]
    """

    on: BoolArray
    begin_s: FloatArray
    end_s: FloatArray
    level: FloatArray
    readings: FloatArray
    number: IntArray
    block_of_row: IntArray
    block_s: float


def spells_of(offload: IntArray, time_s: FloatArray) -> tuple[Spell, ...]:
    """Return the stretches in which offload stays as it is.

    Parameters
    ----------
    offload : array of shape (rows,)
        1 on, 0 off, -1 unknown. [-]
    time_s : array of shape (rows,), rising
        Time of each reading. [s]

    Returns
    -------
    tuple of Spell
        In order. Rows of unknown state belong to none; a spell ends where they begin.

    Raises
    ------
    InputError
        For states other than these, or times that do not fit.
    """
    offload, time_s = np.asarray(offload), np.asarray(time_s, dtype=float)
    if offload.ndim != 1 or not np.isin(offload, (-1, 0, 1)).all():
        raise InputError("offload", offload, "a row of 1 (on), 0 (off) and -1 (unknown)")
    if time_s.shape != offload.shape or not (np.diff(time_s) > 0).all():
        raise InputError("time_s", time_s, f"{len(offload)} rising times in s")
    if len(offload) == 0:
        return ()
    first = np.concatenate([[0], np.flatnonzero(np.diff(offload)) + 1])
    last = np.append(first[1:], len(offload))
    step_s = float(np.median(np.diff(time_s))) if len(time_s) > 1 else 0.0
    until_s = np.append(time_s, time_s[-1] + step_s)
    return tuple(
        Spell(int(a), int(b), bool(offload[a]), float(until_s[a]), float(until_s[b]))
        for a, b in zip(first.tolist(), last.tolist(), strict=True)
        if offload[a] >= 0
    )


def cut_blocks(
    values: FloatArray,
    time_s: FloatArray,
    spells: tuple[Spell, ...],
    drop_s: float,
    block_s: float | None = None,
) -> Blocks:
    """Return the blocks of a log with their mean readings.

    Parameters
    ----------
    values : array of shape (rows,)
        Readings, NaN where one is missing. [as measured]
    time_s : array of shape (rows,), rising
        Time of each reading. [s]
    spells : tuple of Spell
        From `spells_of`.
    drop_s : float, 0 or more
        Left out at the beginning of every block. [s]
    block_s : float or None
        The planned length of a block; None reads it off the spells. [s]

    Returns
    -------
    Blocks
        Those with at least three readings and a quarter of what they should have.

    Raises
    ------
    InputError
        For the first argument outside its range.
    """
    values = np.asarray(values, dtype=float)
    check_at_least("drop_s", drop_s, 0, unit="s")
    if block_s is not None:
        check_above("block_s", block_s, 0, unit="s")
    unit_s = _length_of_a_block(spells) if block_s is None else float(block_s)
    edges = [
        (edge[i], edge[i + 1], spell.on)
        for spell in spells
        if spell.duration_s >= unit_s / 2
        for edge in [_equal_parts(spell, unit_s)]
        for i in range(len(edge) - 1)
    ]
    begin_s = np.array([begin for begin, _, _ in edges]) + drop_s
    end_s = np.array([end for _, end, _ in edges])
    on = np.array([state for _, _, state in edges], dtype=bool)

    step_s = float(np.median(np.diff(time_s))) if len(time_s) > 1 else 1.0
    first = np.searchsorted(time_s, begin_s - 1e-6 * step_s)
    last = np.maximum(np.searchsorted(time_s, end_s - 1e-6 * step_s), first)
    present = np.isfinite(values)
    centre = float(values[present].mean()) if present.any() else 0.0
    sums = np.concatenate([[0.0], np.cumsum(np.where(present, values - centre, 0.0))])
    counts = np.concatenate([[0], np.cumsum(present)])
    readings = (counts[last] - counts[first]).astype(float)
    enough = np.maximum(LEAST_READINGS, _LEAST_FILLED_SHARE * (end_s - begin_s) / step_s)
    kept = np.flatnonzero(readings >= enough)
    block_of_row = np.full(len(values), -1)
    for block, number in enumerate(kept.tolist()):
        block_of_row[first[number] : last[number]] = block
    block_of_row[~present] = -1
    level = centre + (sums[last] - sums[first])[kept] / readings[kept]
    return Blocks(
        on[kept], begin_s[kept], end_s[kept], level, readings[kept], kept, block_of_row, unit_s
    )


def _length_of_a_block(spells: tuple[Spell, ...]) -> float:
    """Return the length of which the spells are about whole multiples. [s]

    The log may begin and end in the middle of a spell, so that the first and the last one count
    only where they agree with each other, as the half spells around a row of ABBA do.
    """
    durations_s = np.array([spell.duration_s for spell in spells])
    inner_s = durations_s[1:-1] if len(durations_s) > 2 else durations_s
    if len(inner_s) == 0:
        return 0.0
    unit_s = float(inner_s[inner_s >= _SHORTEST_SHARE * np.median(inner_s)].min())
    end_s = float(durations_s[[0, -1]].mean())
    alike = bool(np.ptp(durations_s[[0, -1]]) <= _ABOUT * end_s)
    parts = inner_s / end_s if end_s > 0 else inner_s
    if alike and 0.4 * unit_s <= end_s < unit_s and np.abs(parts - parts.round()).max() <= _ABOUT:
        return end_s
    return unit_s


def _equal_parts(spell: Spell, unit_s: float) -> list[float]:
    """Return the times that cut a spell into parts of about a block's length. [s]"""
    parts = max(round(spell.duration_s / unit_s), 1) if unit_s > 0 else 1
    if parts == 1:  # as most are, and there may be a hundred thousand
        return [spell.begin_s, spell.end_s]
    edges: list[float] = np.linspace(spell.begin_s, spell.end_s, parts + 1).tolist()
    return edges
