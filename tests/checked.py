"""How do tests record what they compared with numbers that others made?

A test that asks for the fixture `checked` calls it for each comparison; the call asserts it too, so
nothing is recorded that does not hold. `pytest -m checked --write-checked app/checked.json` writes
the table that the Method page shows. Every other run holds the record against that file.
"""

import json
import platform
from dataclasses import asdict, dataclass
from datetime import date
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

FILE = Path(__file__).resolve().parents[1] / "app" / "checked.json"
HOW = "pytest -m checked --write-checked app/checked.json"
_WRITE = f"write it with {HOW}"
PACKAGES = ("numpy", "pandas", "scipy", "simpy", "statsmodels", "arch")
PARTS = (
    "Pictures and pixels",
    "Capacity of the host",
    "Shared CPU",
    "Paced work",
    "Demand",
    "Card",
    "Curve over sessions",
    "Day",
    "When something fails",
    "Fleet and cost",
    "Evidence",
    "Uncertainty",
)
KINDS = (
    "published",
    "published, second-hand",
    "published, from memory",
    "independent",
    "derived",
)
_STORED = 9  # digits
# How far the stored number may stray from the one found here: other machines round differently.
_ROUNDING, _NEAR_0 = 1e-6, 1e-9


@dataclass(frozen=True)
class Row:
    """One comparison, as it is stored; see `app.method_checked.Check`."""

    part: str
    what: str
    kind: str
    source: str
    expected: float
    ours: float
    numbers: int
    allowed: str
    test: str


class Recorder:
    """What one test compares."""

    def __init__(self, test: str, stored: list[dict[str, Any]] | None) -> None:
        """Take the test's name, and the stored rows unless they are about to be written anew."""
        self.test = test
        self.rows: list[Row] = []
        self._stored = stored

    def __call__(
        self,
        part: str,
        what: str,
        source: str,
        expected: Any,
        ours: Any,
        *,
        kind: str,
        rel: float = 0.0,
        abs: float = 0.0,
        allowed: str | None = None,
    ) -> None:
        """Compare, fail unless all numbers agree, and record the pair that differs most.

        `rel` and `abs` are those of `pytest.approx`; `allowed` says in words what they stand for.
        """
        assert part in PARTS, part
        assert kind in KINDS, kind
        wanted, found = (np.asarray(each, dtype=float).ravel() for each in (expected, ours))
        assert wanted.size == found.size > 0, f"{what}: {wanted.size} and {found.size} numbers"
        gap, limit = np.abs(found - wanted), np.maximum(rel * np.abs(wanted), abs)
        assert (gap <= limit).all(), f"{what}: {found[gap > limit]}, not {wanted[gap > limit]}"
        size = limit if limit.any() else np.abs(wanted)
        worst = int(np.argmax(gap / np.where(size == 0, 1.0, size)))
        row = Row(
            part, what, kind, source, _stored(wanted[worst]), _stored(found[worst]),
            int(wanted.size), allowed or _in_words(rel, abs), self.test,
        )  # fmt: skip
        assert what not in {each.what for each in self.rows}, f"{what} is recorded twice"
        self.rows.append(row)
        if self._stored is not None:
            self._hold_against_the_file(
                row, list(zip(wanted.tolist(), found.tolist(), strict=True))
            )

    def _hold_against_the_file(self, row: Row, pairs: list[tuple[float, float]]) -> None:
        """Fail unless the file's row is this one; its pair may be any of those compared.

        Where all agree to rounding, the one that differs most is another on another machine.
        """
        here = [each for each in self._stored or [] if each["what"] == row.what]
        assert here, f"app/checked.json lacks {row.what!r} of {row.test}; write it with {HOW}"
        old = here[0]
        for name, value in asdict(row).items():
            same = name in ("expected", "ours") or old[name] == value
            assert same, f"app/checked.json has {name} {old[name]!r}, not {value!r}; {_WRITE}"
        said = "app/checked.json has {} {!r}, not {!r}; " + _WRITE
        among = [found for wanted, found in pairs if _alike(old["expected"], wanted)]
        assert among, said.format("expected", old["expected"], row.expected)
        same = any(_alike(old["ours"], found) for found in among)
        assert same, said.format("ours", old["ours"], row.ours)

    def finish(self) -> None:
        """Fail if the file holds a row of this test that it no longer records."""
        kept = {each["what"] for each in self._stored or []}
        gone = sorted(kept - {row.what for row in self.rows})
        assert not gone, f"{self.test} no longer records {gone}; write the file with {HOW}"


def stored_rows(test: str, file: Path = FILE) -> list[dict[str, Any]]:
    """Return the rows of one test that the file holds."""
    if not file.is_file():
        return []
    rows = json.loads(file.read_text(encoding="utf-8"))["rows"]
    return [row for row in rows if row["test"] == test]


def write(file: Path, rows: list[Row]) -> None:
    """Write all rows, part by part, with the releases they were found on."""
    rows = sorted(rows, key=lambda row: PARTS.index(row.part))
    data = {
        "made": date.today().isoformat(),
        "python": platform.python_version(),
        "packages": {name: version(name) for name in PACKAGES},
        "rows": [asdict(row) for row in rows],
    }
    file.write_text(json.dumps(data, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def _alike(one: float, other: float) -> bool:
    return abs(one - other) <= max(_ROUNDING * max(abs(one), abs(other)), _NEAR_0)


def _stored(number: Any) -> float:
    return float(f"{float(number):.{_STORED}g}")


def _in_words(rel: float, abs_: float) -> str:
    if not rel and not abs_:
        return "none"
    parts = [f"{rel * 100:.2g} %"] if rel else []
    parts += [f"{abs_:.2g}"] if abs_ else []
    return " or ".join(parts)
