"""Which scenario does each row of a grid mean?

The columns of a grid are paths of the scenario's inputs; each row is one scenario, which differs
from a given one in the cells of the row. `read_grid` reads the table, `Columns` finds the inputs
that its columns mean, and puts the cells of a row in their places.

A path is written as in the scenario's JSON, a role or an activity by its place or by its name:
`host.cores`, `roles[0].weight_pct`, `roles.berth planner.weight_pct`, `day.present_pct.09:00`. An
empty cell leaves the input as it is. Shares that belong together stay 100 %: those that a row
does not give share what is left, in the proportions that they had.
"""

import csv
import difflib
import json
import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from numbers import Integral, Real
from pathlib import Path
from typing import Any

from model.defaults import FIELDS
from model.errors import InputError
from model.scenario import Scenario, canonical, from_data
from model.sessions import Activity, Role

Cell = int | float | str | None
Place = tuple[str | int, ...]

MOST_ROWS = 1_000_000
SAME_CURVE = 2  # rank of a column that changes no curve; below it, card before host and people
_LONGEST_NUMBER = 40  # characters
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_ROUNDING_PCT = 1e-9


@dataclass(frozen=True)
class Grid:
    """A table of inputs as it was read.

    Parameters
    ----------
    name : str
        Its name, for errors.
    columns : tuple of str
        Header of each column.
    rows : tuple of tuple
        The cells of each row, None where a cell is empty.
    numbers : tuple of int
        Number of each row as the file counts: in CSV the header is row 1, in Parquet the first
        row of cells is.
    """

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    numbers: tuple[int, ...]


def read_grid(path: Path) -> Grid:
    """Return the grid in a file.

    Parameters
    ----------
    path : Path
        A file whose name ends in .csv (commas, decimal points, UTF-8) or .parquet.

    Raises
    ------
    InputError
        Where the file cannot be read, or a row has more or fewer cells than the header.
    """
    kind = path.suffix.lower()
    if kind not in (".csv", ".parquet"):
        raise InputError("grid", path.name, "a file whose name ends in .csv or .parquet")
    try:
        grid = _read_csv(path) if kind == ".csv" else _read_parquet(path)
    except InputError:
        raise
    except ImportError:
        cure = "CSV, or the extra that reads Parquet: pip install '.[parquet]'"
        raise InputError("grid", path.name, cure) from None
    except (OSError, ValueError, csv.Error) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        if isinstance(error, UnicodeDecodeError):
            reason = "it is not UTF-8 text"
        raise InputError("grid", path.name, f"a table that can be read ({reason})") from None
    if not 1 <= len(grid.rows) <= MOST_ROWS:
        expected = f"a table of 1 to {MOST_ROWS} rows"
        raise InputError("grid", f"a table of {len(grid.rows)} rows", expected)
    return grid


def _read_csv(path: Path) -> Grid:
    with path.open(encoding="utf-8-sig", newline="") as file:
        lines = enumerate(csv.reader(file, strict=True), start=1)
        header: list[str] = next((line for _, line in lines if line), [])
        rows, numbers = [], []
        for number, line in lines:
            if not line:
                continue
            if len(line) != len(header):
                expected = f"{len(header)} cells, as in the header"
                raise InputError(f"{path.name}, row {number}", f"{len(line)} cells", expected)
            rows.append(tuple(_plain(cell) for cell in line))
            numbers.append(number)
            if len(rows) > MOST_ROWS:
                break
    return Grid(path.name, tuple(name.strip() for name in header), tuple(rows), tuple(numbers))


def _read_parquet(path: Path) -> Grid:
    import pandas as pd

    table = pd.read_parquet(path)
    columns = [
        [_plain(cell) for cell in table.iloc[:, at].tolist()] for at in range(table.shape[1])
    ]
    rows = tuple(zip(*columns, strict=True))
    names = tuple(str(name).strip() for name in table.columns)
    return Grid(path.name, names, rows, tuple(range(1, len(rows) + 1)))


def _plain(cell: Any) -> Cell:
    """Return a cell as a plain number or text, None where it is empty."""
    if isinstance(cell, bool):
        return str(cell)  # no input is one, so it is refused where it stands
    if isinstance(cell, Integral):
        return int(cell)
    if isinstance(cell, Real) or type(cell).__name__ == "Decimal":
        value = float(cell)
        return None if math.isnan(value) else value
    text = "" if cell is None or type(cell).__name__ in ("NAType", "NaTType") else str(cell).strip()
    return text or None


class Columns:
    """The inputs that the columns of a grid mean, in one scenario.

    Parameters
    ----------
    scenario : Scenario
        What the rows differ from; it says which roles and activities there are.
    names : iterable of str
        Headers of the columns.
    grid : str
        Name of the grid, for errors.

    Raises
    ------
    InputError
        For a header that is no path of an input, or two that mean the same input.
    """

    def __init__(self, scenario: Scenario, names: Iterable[str], grid: str) -> None:
        """Find every column's place among the inputs."""
        self.names = tuple(names)
        self._grid = grid
        self._text = canonical(scenario)
        known = _spellings(scenario)
        self._places: list[Place] = []
        for name in self.names:
            place = known.get(name)
            if place is None:
                raise InputError(f"{grid}, header", name, _expected(name, known))
            if place in self._places:
                first = self.names[self._places.index(place)]
                raise InputError(f"{grid}, header", name, f'one column only for what "{first}" is')
            self._places.append(place)

    def kind(self, column: int) -> type[int] | type[float] | type[str]:
        """Return what the cells of a column are: int, float or str.

        Parameters
        ----------
        column : int
            Its place in the grid, from 0. [-]
        """
        quantity = FIELDS.get(_template(self._places[column]))
        if quantity is None:
            return str
        return int if quantity.whole else float

    def rank(self, column: int) -> int:
        """Return how much must be computed anew where a column changes: the higher, the less.

        Parameters
        ----------
        column : int
            Its place in the grid, from 0. [-]
        """
        first = self._places[column][0]
        if first in ("sessions", "name"):
            return SAME_CURVE
        return 1 if first == "accelerator" else 0

    def scenario(self, cells: tuple[Cell, ...], number: int) -> tuple[Scenario, list[Cell]]:
        """Return the scenario that a row means, and the value that each column has in it.

        Parameters
        ----------
        cells : tuple
            The cells of the row.
        number : int
            Number of the row, for errors. [-]

        Raises
        ------
        InputError
            For the first input that will not do: grid, row and column, the cell and its range.
        """
        data: Any = json.loads(self._text)
        given: dict[Place, str] = {}  # to the column
        for name, place, cell in zip(self.names, self._places, cells, strict=True):
            if cell is None:
                continue
            at = data
            for step in place[:-1]:
                at = at[step]
            at[place[-1]] = self._value(name, place, cell, number)
            given[place] = name
        try:
            self._keep_totals(data, given, number)
            made = from_data(data)
        except InputError as error:
            raise self._at_row(error, number) from None
        shown = [_value_at(data, place) for place in self._places]
        return made, [
            float(value) if self.kind(at) is float and value is not None else value
            for at, value in enumerate(shown)
        ]

    def _value(self, name: str, place: Place, cell: Cell, number: int) -> Cell:
        """Return a cell as its input wants it: a number where that is one, else text."""
        quantity = FIELDS.get(_template(place))
        if quantity is None:
            return str(cell)
        value = _number(cell)
        if value is None:
            raise InputError(self._where(number, name), cell, quantity.expected)
        return int(value) if quantity.whole and value == value // 1 else value

    def _keep_totals(self, data: Any, given: dict[Place, str], number: int) -> None:
        """Let the shares of each total that a row does not give share what is left of 100 %."""
        weights: dict[Place, Any] = {
            ("roles", index, "weight_pct"): role for index, role in enumerate(data["roles"])
        }
        self._keep_total(weights, given, number)
        for index, role in enumerate(data["roles"]):
            habit = role["activity_pct"]
            shares: dict[Place, Any] = {
                ("roles", index, "activity_pct", name): habit for name in habit
            }
            self._keep_total(shares, given, number)

    def _keep_total(self, shares: dict[Place, Any], given: dict[Place, str], number: int) -> None:
        named = [place for place in shares if place in given]
        others = [place for place in shares if place not in given]
        if not named or not others:
            return
        total = sum(shares[place][place[-1]] for place in named)
        rest = sum(shares[place][place[-1]] for place in others)
        if not 0 <= total <= 100 + _ROUNDING_PCT:
            expected = "shares that leave 0 to 100 % for the other ones"
            raise InputError(_dotted(named[-1]), f"a total of {total:g}", expected)
        left = max(100 - total, 0.0)
        if rest == 0 and left > _ROUNDING_PCT:
            expected = "shares that add up to 100 %, the other ones being 0"
            raise InputError(_dotted(named[-1]), f"a total of {total:g}", expected)
        if abs(left - rest) > _ROUNDING_PCT:
            for place in others:
                shares[place][place[-1]] *= left / rest

    def _at_row(self, error: InputError, number: int) -> InputError:
        """Return an error of a scenario as one of a row, with the column where one is at fault."""
        for name, place in zip(self.names, self._places, strict=True):
            if _dotted(place) == error.field:
                return InputError(self._where(number, name), error.value, error.expected)
        where = f"{self._grid}, row {number}, {error.field}"
        return InputError(where, error.value, error.expected)

    def _where(self, number: int, name: str) -> str:
        return f'{self._grid}, row {number}, column "{name}"'

    def as_given(self, cells: tuple[Cell, ...]) -> list[Cell]:
        """Return the cells of a row that is refused, each as its column's kind or else None.

        Parameters
        ----------
        cells : tuple
            The cells of the row.
        """
        shown: list[Cell] = []
        for at, cell in enumerate(cells):
            kind, value = self.kind(at), _number(cell)
            if kind is str:
                shown.append(None if cell is None else str(cell))
            elif value is None or not math.isfinite(value) or abs(value) >= 2**53:
                shown.append(None)
            else:
                fits = kind is float or value % 1 == 0
                shown.append(kind(value) if fits else None)
        return shown


def _number(cell: Cell) -> int | float | None:
    """Return a cell as a number, None where it is none."""
    if isinstance(cell, str):
        if len(cell) > _LONGEST_NUMBER or not _NUMBER.fullmatch(cell):
            return None
        return int(cell) if cell.lstrip("+-").isdigit() else float(cell)
    return cell


def _spellings(scenario: Scenario) -> dict[str, Place | None]:
    """All paths by which an input may be called; None where a name could mean two."""
    plain: list[Place] = [("name",), ("day", "start"), ("day", "end")]
    plain += [
        tuple(path.split("."))
        for path in FIELDS
        if not path.startswith(("activities.", "roles.")) and path != "day.present_pct"
    ]
    known: dict[str, Place | None] = {_dotted(place): place for place in plain}
    named: list[tuple[str, Place]] = []
    for index, (clock, _) in enumerate(scenario.day.present_pct):
        place: Place = ("day", "present_pct", index, 1)
        known[_dotted(place)] = place
        named.append((f"day.present_pct.{clock}", place))
    activities = [activity.name for activity in scenario.activities]
    parts: tuple[tuple[str, list[str], Any], ...] = (
        ("activities", activities, Activity),
        ("roles", [role.name for role in scenario.roles], Role),
    )
    for group, names, kind in parts:
        for index, name in enumerate(names):
            fields = [each for each in kind.model_fields if each not in ("name", "activity_pct")]
            tails: list[tuple[str, Place]] = [(f".{field}", (field,)) for field in fields]
            if group == "roles":
                for activity in activities:
                    at = ("activity_pct", activity)
                    tails += [(f".activity_pct.{activity}", at), (f".activity_pct[{activity}]", at)]
            for tail, rest in tails:
                place = (group, index, *rest)
                known[f"{group}[{index}]{tail}"] = place
                named += [(f"{group}.{name}{tail}", place), (f"{group}[{name}]{tail}", place)]
    by_name: dict[str, Place | None] = {}
    for path, place in named:  # a name may itself hold dots and brackets
        by_name[path] = place if by_name.get(path, place) == place else None
    return by_name | known  # where a role is called "0", roles[0] is still the first one


def _expected(name: str, known: dict[str, Place | None]) -> str:
    if name in known:
        return "a path that means one input only; give the role's place, such as roles[0]"
    if ";" in name or "\t" in name:
        return "the path of one input; separate columns by commas"
    close = difflib.get_close_matches(name, known, n=1, cutoff=0.75)
    hint = f"; the closest is {close[0]}" if close else ""
    return f"the path of an input, such as host.cores or roles[0].weight_pct{hint}"


def _template(place: Place) -> str:
    """The path of `FIELDS` for a place: activities, 2, dwell_s stands at activities.dwell_s."""
    return ".".join([step for step in place if isinstance(step, str)][:2])


def _dotted(place: Place) -> str:
    path = ""
    for step in place:
        path += f"[{step}]" if isinstance(step, int) else f".{step}" if path else step
    return path


def _value_at(data: Any, place: Place) -> Cell:
    for step in place[:-1]:
        data = data[step]
    value: Cell = data.get(place[-1], 0.0) if isinstance(data, dict) else data[place[-1]]
    return value
