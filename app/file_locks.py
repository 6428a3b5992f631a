"""How do several processes of one server agree who does something?

A lock is a file that one holder at a time has; the system frees it the moment its holder ends,
however it ends, so nothing that was killed keeps others waiting. Two holders in one process
exclude each other as well. The folder must lie on a disk of this machine.
"""

import os
import sys
from pathlib import Path


class FileLock:
    """A lock that is held. `release` frees it; so does the end of the process.

    Parameters
    ----------
    descriptor : int
        The open file.
    """

    def __init__(self, descriptor: int) -> None:
        """Take over an open file whose lock is held."""
        self._descriptor: int | None = descriptor

    def release(self) -> None:
        """Free the lock; a second call does nothing."""
        descriptor, self._descriptor = self._descriptor, None
        if descriptor is not None:
            os.close(descriptor)


def take(path: Path) -> FileLock | None:
    """Return the lock of a file, made if need be, or None while somebody else holds it.

    Parameters
    ----------
    path : Path
        The file; its folder is there.

    Raises
    ------
    OSError
        Where the file cannot be made.
    """
    descriptor = os.open(path, os.O_CREAT | os.O_RDWR, 0o600)
    if _lock(descriptor, alone=True):
        return FileLock(descriptor)
    os.close(descriptor)
    return None


def is_held(path: Path) -> bool:
    """Tell whether somebody holds the lock of a file; nothing is made where there is none.

    Parameters
    ----------
    path : Path
        The file.
    """
    try:
        descriptor = os.open(path, os.O_RDWR)
    except OSError:
        return False
    try:
        return not _lock(descriptor, alone=False)  # closing the file gives it back at once
    finally:
        os.close(descriptor)


if sys.platform == "win32":
    import msvcrt

    def _lock(descriptor: int, alone: bool) -> bool:
        try:
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

else:
    import fcntl

    def _lock(descriptor: int, alone: bool) -> bool:
        kind = fcntl.LOCK_EX if alone else fcntl.LOCK_SH  # those who only look do not meet
        try:
            fcntl.flock(descriptor, kind | fcntl.LOCK_NB)
        except OSError:
            return False
        return True
