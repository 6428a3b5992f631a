"""Where does each row of a text begin, and what stands in the columns that are wanted?

`rows_of` finds each row and counts its cells; `read_cells` reads the columns wanted in the rows
that are kept.
"""

import io
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from model.evidence.layout import Layout
from model.evidence.record import IntArray

_CHUNK_BYTES = 8 * 1024 * 1024


@dataclass(frozen=True, eq=False)
class Rows:
    """Where each row of a text begins and ends, and how many cells it has. [bytes, bytes, cells]"""

    start: IntArray
    end: IntArray
    cells: IntArray


def rows_of(text: bytes, separator: str) -> Rows:
    """Return where the rows of a text are and how many cells each has.

    Parameters
    ----------
    text : bytes
        The log as UTF-8 with plain line ends.
    separator : str
        The character between cells.

    Notes
    -----
    A separator or a line end counts only outside quotes. Goes through the text in parts, so that
    a long log needs little more room than its rows.
    """
    content = np.frombuffer(text, dtype=np.uint8)
    quoted = b'"' in text
    inside = np.uint8(0)
    separators = 0
    ends, cells = [], []
    for begin in range(0, len(content), _CHUNK_BYTES):
        part = content[begin : begin + _CHUNK_BYTES]
        line_end, cut = part == ord("\n"), part == ord(separator)
        if quoted:
            within = np.bitwise_xor.accumulate((part == ord('"')).view(np.uint8)) ^ inside
            inside = within[-1]
            line_end &= within == 0
            cut &= within == 0
        at, cuts = np.flatnonzero(line_end), np.flatnonzero(cut)
        ends.append(at + begin)
        cells.append(np.searchsorted(cuts, at) + separators)
        separators += len(cuts)
    end = np.concatenate(ends) if ends else np.zeros(0, dtype=np.int64)
    before = np.concatenate(cells) if cells else np.zeros(0, dtype=np.int64)
    if len(text) and (not len(end) or end[-1] != len(text) - 1):
        end, before = np.append(end, len(text)), np.append(before, separators)
    start = np.concatenate([[0], end[:-1] + 1]) if len(end) else end
    return Rows(
        start.astype(np.int64),
        end.astype(np.int64),
        np.diff(before, prepend=0).astype(np.int64) + 1,
    )


def unclosed_quote(text: bytes) -> int | None:
    """Return the first row with a quote that is not closed there, or None.

    Parameters
    ----------
    text : bytes
        The log as UTF-8.
    """
    if text.count(b'"') % 2 == 0:
        return None
    for row, line in enumerate(text.split(b"\n"), start=1):
        if line.count(b'"') % 2:
            return row
    return None


def read_cells(
    text: bytes,
    rows: Rows,
    keep: npt.NDArray[np.bool_],
    layout: Layout,
    decimal: str,
    wanted: dict[int, str],
) -> pd.DataFrame:
    """Return the cells of some columns in some rows.

    Parameters
    ----------
    text : bytes
        The log as UTF-8.
    rows : Rows
        Its rows.
    keep : array of bool, shape (rows,)
        The rows to read. [-]
    layout : Layout
        Its layout.
    decimal : str
        The decimal sign.
    wanted : dict of int to str
        What each column holds, by its index: "number", "words" (few different ones) or "text".
        [-]

    Returns
    -------
    DataFrame
        By index as text. A column of numbers is of a numeric kind only if every cell was a number
        or empty.
    """
    width = max(int(rows.cells[keep].max(initial=1)), max(wanted) + 1)
    kinds = {"words": "category", "text": "str"}
    frame: pd.DataFrame = pd.read_csv(
        io.BytesIO(_kept(text, rows, keep)),
        sep=layout.separator,
        decimal=decimal,
        header=None,
        names=[str(index) for index in range(width)],
        usecols=[str(index) for index in sorted(wanted)],
        dtype={str(index): kinds[kind] for index, kind in wanted.items() if kind in kinds},
        keep_default_na=False,
        na_values={str(index): [""] for index, kind in wanted.items() if kind == "number"},
        skip_blank_lines=False,
        skipinitialspace=True,
        low_memory=False,
        encoding="utf-8",
        index_col=False,
    )
    return frame


def _kept(text: bytes, rows: Rows, keep: npt.NDArray[np.bool_]) -> bytes:
    """The bytes of the rows kept; neighbours are taken in one piece."""
    chosen = np.flatnonzero(keep)
    if not len(chosen):
        return b""
    breaks = np.flatnonzero(np.diff(chosen) > 1)
    first = chosen[np.concatenate([[0], breaks + 1])]
    last = chosen[np.concatenate([breaks, [len(chosen) - 1]])]
    pieces = [
        text[begin : end + 1]
        for begin, end in zip(rows.start[first].tolist(), rows.end[last].tolist(), strict=True)
    ]
    return b"".join(pieces)
