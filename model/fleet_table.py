"""Which sessions of which role work at which site, read from a pasted table or a CSV file?

Two forms are read: one row for each site with a column for each role, or one row for each site
and role with the columns site, role and sessions. Nothing is guessed: what could be read two ways
is refused with its row and column, rows being counted as a spreadsheet does.
"""

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass

from model.errors import MeasurementError
from model.evidence.log_text import Upload, as_utf8
from model.fleet_inputs import FLEET_FIELDS, MOST_SITES, Site
from model.sessions import LONGEST_NAME

LARGEST_TABLE_BYTES = 1_000_000
_SEPARATORS = ("\t", ";", "|", ",")  # in order of trust
_SUMS = {"total", "totals", "sum", "all", "all sites", "all roles"}
_NOTHING = {"", "-", "--", "0"}
_PLAIN = re.compile(r"[0-9]{1,9}")
_BLANKS = re.compile(r"[0-9]{1,3}(?:[ '\u00a0\u202f\u2019][0-9]{3})+")
_TWICE = re.compile(r"[0-9]{1,3}(?:([.,])[0-9]{3})(?:\1[0-9]{3})+")
_ONE_SIGN = re.compile(r"([0-9]{1,9})([.,])([0-9]{1,9})")
_MOST = int(FLEET_FIELDS["sites.sessions"].high)


@dataclass(frozen=True)
class FleetTable:
    """What a table of sessions says.

    Parameters
    ----------
    sites : tuple of Site
        In the order of the table.
    notes : tuple of str
        What was left out or taken for granted, a sentence each.
    """

    sites: tuple[Site, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _Cell:
    row: int
    column: str
    text: str


@dataclass(frozen=True)
class _Table:
    name: str
    header: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]  # the spreadsheet's row, and the cells

    def refuse(self, cell: _Cell, expected: str) -> MeasurementError:
        return MeasurementError(self.name, cell.text, expected, cell.row, cell.column)


def read_table(given: str | Upload, roles: Sequence[str], name: str = "table") -> FleetTable:
    """Return the sites in a table of sessions by site and role.

    Parameters
    ----------
    given : str or Upload
        The text as it was pasted, or a file: cells separated by tabs, semicolons, bars or commas.
    roles : sequence of str
        The scenario's roles; capitals and blanks of a header may differ from them.
    name : str
        What the text is called in errors; a file is called by its own name.

    Returns
    -------
    FleetTable
        An empty cell and a dash stand for no session. A row or column of sums is left out, and
        noted, where it agrees with the rest.

    Raises
    ------
    MeasurementError
        For the first cell, or row, that will not do: its row, its column and what would do.
    """
    name, text = _text_of(given, name)
    table = _laid_out(name, text)
    kinds = [_folded(title) for title in table.header]
    if sorted(kinds) == ["role", "sessions", "site"]:
        return _by_rows(table, roles, [kinds.index(kind) for kind in ("site", "role", "sessions")])
    return _by_columns(table, roles)


def _text_of(given: str | Upload, name: str) -> tuple[str, str]:
    content = given.encode("utf-8", "replace") if isinstance(given, str) else given.content
    name = name if isinstance(given, str) else (given.name or name)
    if len(content) > LARGEST_TABLE_BYTES:
        expected = f"at most {LARGEST_TABLE_BYTES} bytes: a row for each site"
        raise MeasurementError(name, f"{len(content)} bytes", expected)
    if content[:4] in (b"PK\x03\x04", b"\xd0\xcf\x11\xe0") or content[:2] == b"\x1f\x8b":
        expected = "delimited text; save the sheet as CSV, or copy and paste its cells"
        raise MeasurementError(name, "a spreadsheet file or an archive", expected)
    if isinstance(given, str):
        text = given.replace("\r\n", "\n").replace("\r", "\n")
    else:
        text = as_utf8(name, content)[1].decode("utf-8") if content else ""
    return name, text.removeprefix("\ufeff")


def _laid_out(name: str, text: str) -> _Table:
    separator = _separator(text)
    rows: list[tuple[int, tuple[str, ...]]] = []
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    row = 1
    try:
        for record in reader:
            tidy = tuple(" ".join(cell.split()) for cell in record)
            if any(tidy) and not (row == 1 and tidy[0].startswith("sep=")):
                rows.append((row, tidy))
            row += 1
    except csv.Error as error:
        raise MeasurementError(name, str(error), "a closing quote in this row", row) from None
    while rows and sum(map(bool, rows[0][1])) < 2:  # a title above the table
        rows.pop(0)
    if len(rows) < 2:
        expected = "a header, as: site, then the names of roles; and a row for each site"
        raise MeasurementError(name, text[:40], expected)
    first, header = rows[0]
    width = max(index for index, cell in enumerate(header) if cell) + 1
    header = header[:width]
    if any(_PLAIN.fullmatch(cell) for cell in header):
        expected = "a header, as: site, then the names of roles"
        raise MeasurementError(name, ", ".join(header), expected, first)
    seen: dict[str, int] = {}
    for index, title in enumerate(header):
        if index and not title:
            raise MeasurementError(name, "", f"a name above column {index + 1}", first)
        if seen.setdefault(_folded(title), index) != index:
            raise MeasurementError(name, title, "each column once", first, title)
    body = []
    for row, cells in rows[1:]:
        if any(cells[width:]):
            expected = f"{width} cells as in the header; 1,250 in a table with commas needs quotes"
            raise MeasurementError(name, f"{len(cells)} cells", expected, row)
        body.append((row, (*cells[:width], *[""] * (width - len(cells)))))
    return _Table(name, header, tuple(body))


def _separator(text: str) -> str:
    for line in text.splitlines():
        if line.lower().startswith("sep=") and line[4:5] in _SEPARATORS:
            return line[4]
        for separator in _SEPARATORS:
            if separator in line:
                return separator
    return ","


def _by_columns(table: _Table, roles: Sequence[str]) -> FleetTable:
    names = _role_names(roles)
    columns: dict[int, str] = {}
    sums_at: int | None = None
    for index, title in enumerate(table.header[1:], 1):
        if _folded(title) in names:
            columns[index] = names[_folded(title)]
        elif _folded(title) in _SUMS and sums_at is None:
            sums_at = index
        else:
            raise MeasurementError(
                table.name,
                title,
                f"the name of one of the roles: {', '.join(roles)}",
                column=title,
            )
    if not columns:
        expected = f"a column for each role: {', '.join(roles)}"
        raise MeasurementError(table.name, ", ".join(table.header), expected)
    numbers = _Numbers(table, [*columns, *([sums_at] if sums_at is not None else [])])
    sites: list[Site] = []
    seen: dict[str, int] = {}
    notes: list[str] = []
    empty = 0
    for row, cells in table.rows:
        site = cells[0]
        found = {index: numbers.at(row, cells, index) for index in columns}
        if sums_at is not None:
            _check_sum(table, numbers, row, cells, sums_at, sum(found.values()))
        if _folded(site) in _SUMS and sites:
            for index, role in columns.items():
                of_role = sum(each.sessions[role] for each in sites)
                _check_sum(table, numbers, row, cells, index, of_role)
            notes.append(f"Row {row} holds sums and was left out.")
            continue
        empty += sum(not cells[index] for index in columns)
        _check_site(table, row, site, seen)
        sites.append(_site(site, {role: found[index] for index, role in columns.items()}))
    if sums_at is not None:
        notes.append(f'Column "{table.header[sums_at]}" holds sums and was left out.')
    if empty:
        plural = "s were" if empty > 1 else " was"
        notes.append(f"{empty} empty cell{plural} read as no session.")
    absent = [role for role in roles if role not in columns.values()]
    if absent:
        notes.append(f"No column for {', '.join(absent)}: no such sessions at any site.")
    return _whole(table, sites, [*numbers.notes, *notes])


def _by_rows(table: _Table, roles: Sequence[str], at: Sequence[int]) -> FleetTable:
    names = _role_names(roles)
    site_at, role_at, sessions_at = at
    numbers = _Numbers(table, [sessions_at])
    found: dict[str, dict[str, int]] = {}
    for row, cells in table.rows:
        site, role = cells[site_at], cells[role_at]
        if _folded(role) not in names:
            expected = f"the name of one of the roles: {', '.join(roles)}"
            raise table.refuse(_Cell(row, table.header[role_at], role), expected)
        if site not in found:
            _check_site(table, row, site, {}, table.header[site_at])
        of_site = found.setdefault(site, {})
        if names[_folded(role)] in of_site:
            expected = f"each role once at {site}"
            raise table.refuse(_Cell(row, table.header[role_at], role), expected)
        of_site[names[_folded(role)]] = numbers.at(row, cells, sessions_at)
    sites = [_site(site, of_site) for site, of_site in found.items()]
    return _whole(table, sites, numbers.notes)


def _whole(table: _Table, sites: Sequence[Site], notes: Sequence[str]) -> FleetTable:
    if len(sites) > MOST_SITES:
        raise MeasurementError(table.name, f"{len(sites)} sites", f"at most {MOST_SITES} sites")
    if not any(site.total for site in sites):
        raise MeasurementError(table.name, "no session at all", "at least one session at one site")
    return FleetTable(tuple(sites), tuple(notes))


def _site(name: str, sessions: dict[str, int]) -> Site:
    return Site(name=name, sessions=sessions)


def _check_site(table: _Table, row: int, site: str, seen: dict[str, int], column: str = "") -> None:
    cell = _Cell(row, column or table.header[0] or "site", site)
    if not site or len(site) > LONGEST_NAME or not site.isprintable():
        raise table.refuse(cell, f"the name of a site, at most {LONGEST_NAME} characters")
    if seen.setdefault(_folded(site), row) != row:
        raise table.refuse(cell, f"each site once; row {seen[_folded(site)]} has it too")


def _check_sum(
    table: _Table, numbers: "_Numbers", row: int, cells: Sequence[str], index: int, expected: int
) -> None:
    if numbers.at(row, cells, index) != expected:
        cell = _Cell(row, table.header[index], cells[index])
        raise table.refuse(cell, f"{expected}, the sum of what it stands for, or no such cell")


class _Numbers:
    """Reads the cells of some columns, once it is known what points and commas mean in them."""

    def __init__(self, table: _Table, columns: Sequence[int]) -> None:
        self._table = table
        self._groups: set[str] = set()  # signs that part thousands
        self._points: set[str] = set()  # signs that part whole numbers from decimals
        for _, cells in table.rows:
            for index in columns:
                twice = _TWICE.fullmatch(cells[index])
                once = _ONE_SIGN.fullmatch(cells[index])
                if twice:
                    self._groups.add(twice[1])
                elif once and len(once[3]) == 3 and once[3] != "000" and once[1][0] != "0":
                    self._groups.add(once[2])  # sessions are whole, so 1.250 is not 1 and a quarter
                elif once and len(once[3]) != 3:
                    self._points.add(once[2])
        parted = sorted(self._groups)
        words = {",": "Commas", ".": "Points"}
        self.notes = [f"{words[sign]} were read as parting thousands." for sign in parted]

    def at(self, row: int, cells: Sequence[str], index: int) -> int:
        """Return the whole number in a cell. [sessions]"""
        text = cells[index]
        cell = _Cell(row, self._table.header[index], text)
        number = 0 if text in _NOTHING else self._number(cell)
        if number > _MOST:
            raise self._table.refuse(cell, f"a whole number from 0 to {_MOST} sessions")
        return number

    def _number(self, cell: _Cell) -> int:
        text = cell.text
        if _PLAIN.fullmatch(text):
            return int(text)
        if _BLANKS.fullmatch(text) or _TWICE.fullmatch(text):
            return int(re.sub(r"[^0-9]", "", text))
        once = _ONE_SIGN.fullmatch(text)
        if once is None:
            expected = f"a whole number from 0 to {_MOST} sessions, or nothing"
            raise self._table.refuse(cell, expected)
        sign = once[2]
        groups, point = sign in self._groups, sign in self._points
        if groups and not point and len(once[3]) == 3 and len(once[1]) <= 3:
            return int(once[1] + once[3])
        if not groups and (point or len(once[3]) != 3) and not once[3].strip("0"):
            return int(once[1])
        if once[3] == "000":
            expected = f"{once[1]} or {once[1]}000: this can be read both ways"
            raise self._table.refuse(cell, expected)
        raise self._table.refuse(cell, "a whole number of sessions, without decimals")


def _role_names(roles: Sequence[str]) -> dict[str, str]:
    return {_folded(role): role for role in roles}


def _folded(text: str) -> str:
    return " ".join(text.split()).casefold()
