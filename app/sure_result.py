"""What is kept of all draws once they are worked out, and what of it do the charts show?

A result is plain data that goes to a file and comes back; numbers that are not finite are written
as text, for JSON has none.
"""

import json
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeAlias

from model.hosts import ARMS, Arm

SureResult: TypeAlias = dict[str, Any]
FILE = "result.json"


@dataclass(frozen=True)
class Bands:
    """Between which values 8 of 10 draws lie, over the number of sessions.

    Parameters
    ----------
    draws : int
        Number of draws.
    sessions : tuple of int
        Numbers of sessions. [sessions]
    ends : dict
        By arm and column of the curve: P10 and P90 at each number of sessions. [unit of the column]
    """

    draws: int
    sessions: tuple[int, ...]
    ends: dict[Arm, dict[str, tuple[tuple[float, ...], tuple[float, ...]]]]


def bands_in(result: SureResult) -> Bands:
    """Return what the charts show of a result.

    Parameters
    ----------
    result : dict
        The result.
    """
    ends: dict[Arm, dict[str, tuple[tuple[float, ...], tuple[float, ...]]]] = {
        arm: {
            name: (tuple(band["p10"]), tuple(band["p90"]))
            for name, band in result["curves"][arm].items()
        }
        for arm in ARMS
    }
    return Bands(result["draws"], tuple(result["sessions"]), ends)


def to_text(result: SureResult) -> str:
    """Return a result as JSON text.

    Parameters
    ----------
    result : dict
        The result.
    """
    return json.dumps(_written(result), allow_nan=False)


def from_text(text: str) -> SureResult:
    """Return a result as it was before it was written.

    Parameters
    ----------
    text : str
        What `to_text` wrote.
    """
    found: SureResult = _read(json.loads(text))
    return found


def read(folder: Path) -> SureResult | None:
    """Return the result in a folder; None where there is none that can be read.

    Parameters
    ----------
    folder : Path
        The folder.
    """
    try:
        return from_text((folder / FILE).read_text(encoding="utf-8"))
    except (OSError, ValueError, AttributeError):
        return None


_NOT_FINITE = {"+infinite": math.inf, "-infinite": -math.inf}


def _written(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _written(each) for name, each in value.items()}
    if isinstance(value, (list, tuple)):
        return [_written(each) for each in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None if math.isnan(value) else "+infinite" if value > 0 else "-infinite"
    return value


def _read(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _read(each) for name, each in value.items()}
    if isinstance(value, list):
        return [_read(each) for each in value]
    return _NOT_FINITE.get(value, value) if isinstance(value, str) else value
