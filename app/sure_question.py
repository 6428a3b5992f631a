"""What is asked about how sure an answer is, and when are two questions the same?

Two visitors who ask the same share one result: its key is a digest of all that it depends on.
"""

import hashlib
import json
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

import model
from app import words_sure
from model import fleet_url
from model.day import check_whole
from model.draws import spreads_of
from model.errors import InputError
from model.scenario import canonical, load
from model.uncertainty import DRAWS, FEWEST_DRAWS

MOST_DRAWS = 5_000  # from the page; the command line takes more
MOST_TOTAL = 10_000_000
SEED = 1


@dataclass(frozen=True)
class SureQuestion:
    """All that a result depends on.

    Parameters
    ----------
    scenario : str
        Canonical JSON text.
    draws : int
        Number of draws.
    spreads_pct : tuple of (str, float)
        Spread of every group of inputs. [%]
    total_sessions : int or None
        Sessions of the whole fleet; None where hosts are not asked for. [sessions]
    fleet : str or None
        The fleet whose prices count, as a link writes it; None where cost is not asked for.
    """

    scenario: str
    draws: int
    spreads_pct: tuple[tuple[str, float], ...]
    total_sessions: int | None = None
    fleet: str | None = None

    @property
    def key(self) -> str:
        """Name of the result: equal for equal questions to the same release."""
        parts = [
            _release(), self.scenario, self.draws, SEED, self.spreads_pct, self.total_sessions,
            self.fleet,
        ]  # fmt: skip
        return hashlib.sha256(json.dumps(parts).encode()).hexdigest()


@lru_cache(maxsize=1)
def _release() -> str:
    """A digest of the model's source: what an earlier release found is not shown as this one's."""
    digest = hashlib.sha256(np.__version__.encode())
    for path in sorted(Path(model.__file__).parent.glob("*.py")):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def question_of(asked: dict[str, Any]) -> tuple[SureQuestion, str]:
    """Return what the page asks, and what to tell beside the answer ("" for nothing).

    Parameters
    ----------
    asked : dict
        scenario as JSON text; draws, spreads_pct by group, total_sessions, and the fleet beside
        the scenario as the link writes it, each of which may be missing.

    Raises
    ------
    InputError
        Names what will not do. A fleet that does not fit the scenario is told instead.
    """
    text = asked.get("scenario")
    if not isinstance(text, str) or not text.lstrip().startswith("{"):  # never a path
        raise InputError("scenario", text, "a scenario as JSON text")
    scenario = load(text)
    draws = asked.get("draws", DRAWS)
    check_whole("draws", draws, FEWEST_DRAWS, MOST_DRAWS)
    given_pct = asked.get("spreads_pct") or {}
    if not isinstance(given_pct, dict):
        raise InputError("spreads_pct", given_pct, "spreads by group of inputs")
    spreads = spreads_of(given_pct)
    total = asked.get("total_sessions")
    if total is not None:
        check_whole("total_sessions", total, 1, MOST_TOTAL)
    fleet, note = None, ""
    given = asked.get("fleet")
    if isinstance(given, str) and given:
        try:
            inputs = fleet_url.from_text(given, scenario)
        except InputError as error:
            note = words_sure.fleet_left_out(error)
        else:
            people = sum(site.total for site in inputs.sites)
            if people:
                total, fleet = people, fleet_url.to_text(inputs, scenario)
    ordered = tuple(sorted(spreads.items()))
    return SureQuestion(canonical(scenario), draws, ordered, total, fleet), note
