"""What was Crestline checked against, and how far apart were the numbers?

`checked.json` beside this module is written by the tests themselves (`pytest -m checked
--write-checked app/checked.json`); an ordinary run of the tests fails where it no longer says what
they find. Nobody types it.
"""

import json
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

FILE = Path(__file__).with_name("checked.json")
_SMALL, _LARGE = 1e-4, 1e6


@dataclass(frozen=True)
class Check:
    """One comparison: of several numbers, the pair that differs most.

    Parameters
    ----------
    part, what : str
        Part of the model, and what was compared.
    kind, source : str
        "published", "independent", "derived" ..., and by whom.
    expected, ours : float
        Both numbers.
    numbers : int
        How many were compared.
    allowed : str
        How far they may lie apart, in words.
    """

    part: str
    what: str
    kind: str
    source: str
    expected: float
    ours: float
    numbers: int
    allowed: str

    @property
    def difference(self) -> str:
        """How far they lie apart: in per cent, or as a number where a number is allowed."""
        gap = self.ours - self.expected
        if gap == 0:
            return "none"
        if self.expected == 0 or _is_number(self.allowed):
            return f"{gap:+.2g}"
        pct = gap / abs(self.expected) * 100
        return f"{pct:+.2g} %" if abs(pct) >= 1e-7 else "below 1e-7 %"


@dataclass(frozen=True)
class Checks:
    """All comparisons of one run of the tests.

    Parameters
    ----------
    made : str
        When, as 2026-11-25.
    python : str
        On which release of Python.
    packages : dict of str to str
        Releases of the packages that took part.
    rows : tuple of Check
        The comparisons, part by part.
    """

    made: str
    python: str
    packages: dict[str, str]
    rows: tuple[Check, ...]

    @property
    def by_part(self) -> dict[str, list[Check]]:
        """The comparisons of each part of the model."""
        parts: dict[str, list[Check]] = {}
        for row in self.rows:
            parts.setdefault(row.part, []).append(row)
        return parts


@lru_cache(maxsize=1)
def checks() -> Checks:
    """Return what the last recorded run of the tests compared."""
    data = json.loads(FILE.read_text(encoding="utf-8"))
    names = Check.__dataclass_fields__
    rows = tuple(Check(**{name: row[name] for name in names}) for row in data["rows"])
    return Checks(data["made"], data["python"], data["packages"], rows)


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def shown(number: float) -> str:
    """Return a number with up to six digits.

    Parameters
    ----------
    number : float
        The number.
    """
    plain = number == 0 or _SMALL <= abs(number) < _LARGE
    return f"{number:.6g}" if plain else f"{number:.5e}"
