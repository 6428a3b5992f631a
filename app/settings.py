"""Which settings does the administrator give by environment variable? Read only here."""

import os
from collections.abc import Mapping
from dataclasses import dataclass

from model.errors import InputError

MOST_REQUEST_BYTES = 1_000_000


@dataclass(frozen=True)
class Settings:
    """What the administrator may choose.

    Parameters
    ----------
    cache_entries : int
        Results kept in memory. [entries]
    threads : int
        Requests that the server works on at once. [threads]
    workers : int, 0 or more
        Processes that work out slow answers; 0 works them out in the server. [processes]
    """

    cache_entries: int = 200
    threads: int = 4
    workers: int = 2


def from_environment(environment: Mapping[str, str] = os.environ) -> Settings:
    """Return the settings that the environment asks for.

    Parameters
    ----------
    environment : mapping
        Names to values: CRESTLINE_CACHE_ENTRIES, CRESTLINE_THREADS,
        CRESTLINE_WORKERS.
    """
    return Settings(
        cache_entries=_whole(environment, "CRESTLINE_CACHE_ENTRIES", 200, 1, 100_000),
        threads=_whole(environment, "CRESTLINE_THREADS", 4, 1, 64),
        workers=_whole(environment, "CRESTLINE_WORKERS", 2, 0, 64),
    )


def _whole(environment: Mapping[str, str], name: str, default: int, low: int, high: int) -> int:
    given = environment.get(name, "").strip()
    if not given:
        return default
    if not (given.isascii() and given.isdigit() and low <= int(given) <= high):
        raise InputError(name, given, f"a whole number from {low} to {high}")
    return int(given)
