"""What is known of a visitor's logs, and how many may there be?"""

from dataclasses import dataclass

import numpy as np

from model.errors import MeasurementError
from model.evidence.record import IntArray


@dataclass(frozen=True)
class Limits:
    """How much may be kept for visitors, and for how long.

    Parameters
    ----------
    file_bytes : int
        Of one log as it comes. [bytes]
    session_bytes : int
        Of all that is kept for one visitor. [bytes]
    age_s : float
        Since its last use, after which a visitor's data is removed. [s]
    sessions : int
        Visitors with data at the same time. [-]
    logs : int
        Logs of one visitor. [-]
    """

    file_bytes: int = 256 * 1024 * 1024
    session_bytes: int = 512 * 1024 * 1024
    age_s: float = 24 * 3600.0
    sessions: int = 50
    logs: int = 60


@dataclass(frozen=True)
class Log:
    """One log as it was handed over.

    Parameters
    ----------
    id : str
        By which the page and the store call it; the ids of later logs sort later.
    name : str
        The name of the visitor's file, without a folder.
    size_bytes : int
        As it came. [bytes]
    demo : bool
        Whether it is one of the invented ones.
    """

    id: str
    name: str
    size_bytes: int
    demo: bool = False


@dataclass(frozen=True)
class Spells:
    """When offload was on in one log.

    Parameters
    ----------
    rows : tuple of int
        The first reading of each spell, counted from 0; the first is 0. [-]
    states : tuple of int
        1 with card, 0 without, -1 where it is not known or the rows are not to be used.
    confirmed : bool
        Whether the visitor has said that it was so.
    origin : str
        Where the spells came from: "log", "found" or "none".
    edited : bool
        Whether the visitor has changed them.
    notes : tuple of str
        What the search had to say.
    column : str
        The column in which they were looked for, by meaning; "" where they were not.
    least_dwell_s : float
        The shortest spell that was looked for. [s]
    """

    rows: tuple[int, ...]
    states: tuple[int, ...]
    confirmed: bool = False
    origin: str = "none"
    edited: bool = False
    notes: tuple[str, ...] = ()
    column: str = ""
    least_dwell_s: float = 10.0

    def state_of_rows(self, rows: int) -> IntArray:
        """Return the state of each reading: 1 with card, 0 without, -1 not known or not used.

        Parameters
        ----------
        rows : int
            How many readings the log has. [rows]
        """
        lengths = np.diff(np.array([*self.rows, rows], dtype=np.int64))
        states: IntArray = np.repeat(np.array(self.states, dtype=np.int64), lengths.tolist())
        return states


def too_large(name: str, limits: Limits) -> MeasurementError:
    """Return what is wrong with a file that is too large.

    Parameters
    ----------
    name : str
        The file's name.
    limits : Limits
        How large it may be.
    """
    most = limits.file_bytes // 1024**2
    cure = f"at most {most} MB a file; split the log, log less often, or pack it with gzip"
    return MeasurementError(name, "larger", cure)


def no_room(limits: Limits) -> str:
    """Return what would do where all that is kept would be too large.

    Parameters
    ----------
    limits : Limits
        How large it may be.
    """
    return f"at most {limits.session_bytes // 1024**2} MB of logs and readings; remove some first"
