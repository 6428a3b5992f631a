"""Which rows of a sweep are done already, should it be interrupted?

A journal lies beside the table that a sweep writes. Its first line says what is swept; every
further line holds one row that is done. It is opened by one sweep at a time, and a last line that
was cut off is dropped. Once the table is written, the journal is no longer needed.
"""

import json
import os
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import IO, Any

from model.errors import InputError

if sys.platform != "win32":
    import fcntl

Row = tuple[int, list[Any]]


class Journal:
    """The rows of one sweep that are done.

    Parameters
    ----------
    path : Path
        The journal's file; it is made where there is none.
    about : dict
        What is swept, as plain JSON data: rows are only kept for the same.

    Raises
    ------
    InputError
        Where the file belongs to another sweep, is in use by one, or cannot be written.
    """

    def __init__(self, path: Path, about: dict[str, Any]) -> None:
        """Open the journal, and find the rows in it."""
        self.path = path
        self._starts: dict[int, int] = {}  # of each row's line in the file
        try:
            self._file: IO[bytes] = path.open("a+b")
        except OSError as error:
            expected = f"a file that can be written ({error.strerror})"
            raise InputError("--out", str(path), expected) from None
        try:
            self._lock()
            self._find_rows(about)
        except BaseException:
            self._file.close()
            raise
        self.kept = len(self._starts)

    def _lock(self) -> None:
        if sys.platform == "win32":
            return
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            expected = "a journal that no other sweep writes; wait for its end, or change --out"
            raise InputError("--out", str(self.path), expected) from None

    def _find_rows(self, about: dict[str, Any]) -> None:
        title = json.dumps(about).encode() + b"\n"
        self._file.seek(0)
        first = self._file.readline()
        if not title.startswith(first):
            found = _line(first)
            other = [name for name in about if isinstance(found, dict)
                     and found.get(name) != about[name]]  # fmt: skip
            of = f" (this one is of another {', '.join(other)})" if other else ""
            expected = f"the journal of this sweep{of}; delete it to begin anew, or change --out"
            raise InputError("--out", str(self.path), expected)
        end = 0
        while first == title:
            end = self._file.tell()
            done = _line(self._file.readline())
            if not (isinstance(done, list) and len(done) == 2 and isinstance(done[0], int)):
                break
            self._starts.setdefault(done[0], end)
        self._file.truncate(end)
        if end == 0:  # new, or cut off in its first line
            self._append(title)

    def __contains__(self, index: int) -> bool:
        """Tell whether a row is done, by its place in the grid."""
        return index in self._starts

    def __len__(self) -> int:
        """Return how many rows are done."""
        return len(self._starts)

    def add(self, rows: Iterable[Row]) -> None:
        """Keep rows that are done; those that are known already are not kept twice.

        Parameters
        ----------
        rows : iterable of tuple
            Place in the grid, and the row's cells.
        """
        at = self._file.seek(0, os.SEEK_END)
        lines = []
        for index, cells in rows:
            if index not in self._starts:
                lines.append(json.dumps([index, cells], allow_nan=False).encode() + b"\n")
                self._starts[index] = at
                at += len(lines[-1])
        self._append(b"".join(lines))

    def _append(self, lines: bytes) -> None:
        self._file.write(lines)
        self._file.flush()
        os.fsync(self._file.fileno())

    def cells(self, index: int) -> list[Any]:
        """Return the cells of a row that is done.

        Parameters
        ----------
        index : int
            Its place in the grid. [-]
        """
        self._file.seek(self._starts[index])
        cells: list[Any] = json.loads(self._file.readline())[1]
        return cells

    def close(self, delete: bool = False) -> None:
        """Let go of the file.

        Parameters
        ----------
        delete : bool
            Whether it is no longer needed.
        """
        if delete:
            self.path.unlink(missing_ok=True)
        self._file.close()


def _line(line: bytes) -> Any:
    """Return what a whole line holds, None for one that was cut off."""
    if not line.endswith(b"\n"):
        return None
    try:
        return json.loads(line)
    except ValueError:
        return None
