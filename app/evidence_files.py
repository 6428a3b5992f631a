"""How are a visitor's files named and written, so that nobody sees half of one?"""

import json
import os
import re
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

from model.errors import InputError

_LONGEST_NAME = 120
_UNSAFE = re.compile(r"[\x00-\x1f\x7f/\\]+")


def tidy_name(name: str) -> str:
    """Return the name of a visitor's file without folders and control characters.

    Parameters
    ----------
    name : str
        As the browser or the visitor gave it.
    """
    last = re.split(r"[/\\]", name.strip())[-1]
    shown = "".join(c for c in _UNSAFE.sub(" ", last) if c.isprintable()).strip()
    return shown[-_LONGEST_NAME:] or "log"


def write_json(path: Path, data: Any) -> None:
    """Write JSON so that whoever reads it meanwhile sees the whole of the old or of the new.

    Parameters
    ----------
    path : Path
        The file.
    data : object
        Plain JSON data.

    Raises
    ------
    InputError
        Where its folder has been removed meanwhile.
    """
    text = json.dumps(data, ensure_ascii=False, allow_nan=False)
    part = path.with_name(f"{path.name}.{secrets.token_hex(4)}.part")
    try:
        descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with open(descriptor, "w", encoding="utf-8") as file:
            file.write(text)
        os.replace(part, path)
    except FileNotFoundError:
        raise InputError("evidence", "gone", "data that has not been removed meanwhile") from None
    finally:
        part.unlink(missing_ok=True)


@contextmanager
def whole_file(path: Path) -> Iterator[IO[bytes]]:
    """Open a file to be written that gets its name only once all of it is there.

    Parameters
    ----------
    path : Path
        Its name; whoever reads it meanwhile sees the old one.
    """
    part = path.with_suffix(".part")
    try:
        with part.open("wb") as file:
            yield file
        os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)


def json_in(path: Path) -> Any:
    """Return what stands in a file of JSON, None where there is none that can be read.

    Parameters
    ----------
    path : Path
        The file.
    """
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
