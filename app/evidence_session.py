"""What is kept for one visitor who looks at logs, and in which files?

A log lies as it came beside the answers given for it, what was read, when offload was on, and
results. Only JSON and arrays without pickle are stored: nothing that runs.
"""

import re
import secrets
import time
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import IO, Any

import numpy as np

from app.evidence_files import json_in, tidy_name, whole_file, write_json
from app.evidence_packing import packed, unpacked
from app.evidence_records import Limits, Log, Spells, no_room, too_large
from model.errors import InputError, MeasurementError
from model.evidence.record import IntArray, Readings

_LOG_ID = re.compile(r"[0-9]{20}-[0-9a-f]{8}")
_RESULT = re.compile(r"[a-z][a-z0-9_-]{0,40}")
_PART_BYTES = 1024 * 1024


@dataclass(frozen=True)
class Session:
    """What is kept for one visitor. It can be handed to another process.

    Parameters
    ----------
    folder : Path
        Where it lies.
    limits : Limits
        How much there may be.
    """

    folder: Path
    limits: Limits

    # ------------------------------------------------------------------------------- logs

    def logs(self) -> list[Log]:
        """Return the logs in the order in which they came."""
        found = [json_in(path) for path in sorted(self.folder.glob("*.log.json"))]
        return [Log(**each) for each in found if each is not None]

    def log(self, log_id: str) -> Log:
        """Return one log.

        Parameters
        ----------
        log_id : str
            Its id.

        Raises
        ------
        InputError
            Where there is none of that id.
        """
        data = json_in(self._place(log_id, "log.json"))
        if data is None:
            raise InputError("log", log_id, "a log that is still here")
        return Log(**data)

    def add(self, name: str, content: IO[bytes], demo: bool = False) -> Log:
        """Store a log, a piece at a time.

        Parameters
        ----------
        name : str
            The name of the visitor's file.
        content : binary stream
            The file as it comes.
        demo : bool
            Whether it is one of the invented ones.

        Raises
        ------
        MeasurementError
            For an empty file, and where it, or all that is kept, would be too large.
        """
        name = tidy_name(name)
        if len(self.logs()) >= self.limits.logs:
            raise MeasurementError(name, "one log more", f"at most {self.limits.logs} logs")
        log_id = f"{time.time_ns():020d}-{secrets.token_hex(4)}"
        room = self.limits.session_bytes - self.size_bytes()
        size = 0
        with whole_file(self._place(log_id, "raw")) as file:
            while piece := content.read(_PART_BYTES):
                size += len(piece)
                if size > self.limits.file_bytes:
                    raise too_large(name, self.limits)
                if size > room:
                    raise MeasurementError(name, "one log more", no_room(self.limits))
                file.write(piece)
            if not size:
                raise MeasurementError(name, "an empty file", "a header and rows of readings")
        log = Log(log_id, name, size, demo)
        write_json(self._place(log_id, "log.json"), asdict(log))
        return log

    def path(self, log_id: str) -> Path:
        """Return where a log lies as it came.

        Parameters
        ----------
        log_id : str
            Its id.
        """
        self.log(log_id)
        return self._place(log_id, "raw")

    def drop(self, log_id: str) -> None:
        """Remove one log with all that came of it.

        Parameters
        ----------
        log_id : str
            Its id.
        """
        self.log(log_id)
        for path in self.folder.glob(f"{log_id}.*"):
            path.unlink(missing_ok=True)
        self.forget_results()

    def size_bytes(self) -> int:
        """Return how much is kept. [bytes]"""
        total = 0
        for path in self.folder.iterdir():
            try:
                total += path.stat().st_size
            except OSError:  # replaced or removed meanwhile
                continue
        return total

    # --------------------------------------------------------------- what became of each log

    def note(self, log_id: str, kind: str) -> Any:
        """Return what was kept about a log, None where nothing was.

        Parameters
        ----------
        log_id : str
            The log.
        kind : str
            "look" or "mapping".
        """
        return json_in(self._place(log_id, f"{_kind(kind)}.json"))

    def keep_note(self, log_id: str, kind: str, data: Any) -> None:
        """Keep something about a log, as JSON.

        Parameters
        ----------
        log_id : str
            The log.
        kind : str
            "look" or "mapping".
        data : object
            Plain JSON data.
        """
        self.log(log_id)
        write_json(self._place(log_id, f"{_kind(kind)}.json"), data)

    def keep_readings(self, log_id: str, readings: Readings) -> None:
        """Keep what was read of a log; what was confirmed or worked out before is forgotten.

        Parameters
        ----------
        log_id : str
            The log.
        readings : Readings
            What was read.

        Raises
        ------
        MeasurementError
            Where all that is kept would be too large.
        """
        self.log(log_id)
        self.forget_readings(log_id)
        arrays, told = packed(readings)
        size = sum(array.nbytes for array in arrays.values())
        if self.size_bytes() + size > self.limits.session_bytes:
            raise MeasurementError(readings.name, "one log more", no_room(self.limits))
        with whole_file(self._place(log_id, "npz")) as file:
            np.savez(file, allow_pickle=False, **arrays)
        write_json(self._place(log_id, "readings.json"), told)

    def forget_readings(self, log_id: str) -> None:
        """Forget what was read of a log, and what followed from it.

        Parameters
        ----------
        log_id : str
            The log.
        """
        for kind in ("readings.json", "npz", "spells.json"):
            self._place(log_id, kind).unlink(missing_ok=True)
        self.forget_results()

    def read_logs(self) -> list[Log]:
        """Return the logs that have been read, in order."""
        return [log for log in self.logs() if self._place(log.id, "readings.json").is_file()]

    def readings_of(self, log_id: str) -> Readings:
        """Return what was read of one log.

        Parameters
        ----------
        log_id : str
            The log.

        Raises
        ------
        InputError
            Where it has not been read.
        """
        told = json_in(self._place(log_id, "readings.json"))
        if told is None:
            raise InputError("log", log_id, "a log that has been read")
        with np.load(self._place(log_id, "npz"), allow_pickle=False) as arrays:
            return unpacked(told, dict(arrays))

    def column_of(self, log_id: str, column: str) -> tuple[np.ndarray, np.ndarray]:
        """Return the times and one column of a log, without bringing in the others.

        Parameters
        ----------
        log_id : str
            The log.
        column : str
            By meaning, as in `model.evidence.record.COLUMNS`.

        Returns
        -------
        array of shape (rows,)
            Time since the first reading. [s]
        array of shape (rows,)
            The readings, NaN where missing. [as measured]
        """
        self.log(log_id)
        try:
            with np.load(self._place(log_id, "npz"), allow_pickle=False) as arrays:
                return arrays["time_s"], arrays[f"column.{column}"]
        except (OSError, KeyError):
            raise InputError("column", column, "a column of a log that has been read") from None

    def readings(self) -> list[Readings]:
        """Return what was read of every log that has been read, in order."""
        return [self.readings_of(log.id) for log in self.read_logs()]

    def about_readings(self, log_id: str) -> dict[str, Any]:
        """Return what was read of a log but for the numbers.

        Parameters
        ----------
        log_id : str
            The log.

        Returns
        -------
        dict
            rows, interval_s, last_s, start, columns, and findings without their rows.
        """
        told: dict[str, Any] | None = json_in(self._place(log_id, "readings.json"))
        if told is None:
            raise InputError("log", log_id, "a log that has been read")
        return told

    def spells(self, log_id: str) -> Spells | None:
        """Return when offload was on in a log, None where it has not been read.

        Parameters
        ----------
        log_id : str
            The log.
        """
        data = json_in(self._place(log_id, "spells.json"))
        if data is None:
            return None
        listed = {name: tuple(data[name]) for name in ("rows", "states", "notes")}
        return Spells(**data | listed)

    def keep_spells(self, log_id: str, spells: Spells) -> None:
        """Keep when offload was on; results that came of other spells are forgotten.

        Parameters
        ----------
        log_id : str
            The log.
        spells : Spells
            When it was.
        """
        self.log(log_id)
        write_json(self._place(log_id, "spells.json"), asdict(spells))
        self.forget_results()

    def states(self) -> list[IntArray | None]:
        """Return the state of each reading of every log that has been read, in order.

        Returns
        -------
        list of array of shape (rows,) or None
            1 with card, 0 without, -1 not known; None until the visitor has confirmed it.
        """
        found: list[IntArray | None] = []
        for log in self.read_logs():
            spells = self.spells(log.id)
            if spells is None or not spells.confirmed:
                found.append(None)
            else:
                found.append(spells.state_of_rows(int(self.about_readings(log.id)["rows"])))
        return found

    # ---------------------------------------------------------------------------- results

    def result(self, name: str) -> Any:
        """Return a result that was kept, None where there is none.

        Parameters
        ----------
        name : str
            What it is called.
        """
        return json_in(self._result(name))

    def keep(self, name: str, data: Any) -> None:
        """Keep a result until logs or spells change.

        Parameters
        ----------
        name : str
            What it is called: small letters, digits, "-" and "_".
        data : object
            Plain JSON data.
        """
        write_json(self._result(name), data)

    def forget_results(self) -> None:
        """Forget every result."""
        for path in self.folder.glob("result.*.json"):
            path.unlink(missing_ok=True)

    def _result(self, name: str) -> Path:
        if not _RESULT.fullmatch(name):
            raise ValueError(f"{name!r} is no name of a result")
        return self.folder / f"result.{name}.json"

    def _place(self, log_id: str, kind: str) -> Path:
        if not isinstance(log_id, str) or not _LOG_ID.fullmatch(log_id):
            raise InputError("log", log_id, "a log that is still here")
        return self.folder / f"{log_id}.{kind}"


def _kind(kind: str) -> str:
    if kind not in ("look", "mapping"):
        raise ValueError(f"{kind!r} is nothing that is kept about a log")
    return kind
