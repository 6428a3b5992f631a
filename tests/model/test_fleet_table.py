"""Does a pasted table of sessions open as it was meant, and is the wrong cell named?"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.errors import MeasurementError
from model.evidence.log_text import Upload
from model.fleet_table import read_table

ROLES = ["berth planner", "gatehouse clerk", "chart drafter"]
PASTED = "Site\tberth planner\tgatehouse clerk\nNorth quay\t280\t120\nLock island\t60\t160\n"
EXPECTED = {
    "North quay": {"berth planner": 280, "gatehouse clerk": 120},
    "Lock island": {"berth planner": 60, "gatehouse clerk": 160},
}


def sites(table):
    """Return the sessions of each site as plain mappings."""
    return {site.name: dict(site.sessions) for site in table.sites}


def refused(text, roles=ROLES):
    """Return the one line with which a table is refused."""
    with pytest.raises(MeasurementError) as caught:
        read_table(text, roles)
    return str(caught.value)


@pytest.mark.parametrize(
    "text",
    [
        PASTED,
        PASTED.replace("\t", ";"),
        PASTED.replace("\t", ","),
        PASTED.replace("\t", "|"),
        PASTED.replace("\n", "\r\n"),
        PASTED.replace("\n", "\r"),
        "sep=;\n" + PASTED.replace("\t", ";"),
        "\nSessions by site\n\n" + PASTED,
        PASTED.replace("berth planner", " Berth  PLANNER "),
        PASTED.replace("\t120\n", "\t120\t\t\n"),
        PASTED.replace("280", '"280"').replace("60", "60.0", 1),
        "site\trole\tsessions\nNorth quay\tberth planner\t280\nNorth quay\tgatehouse clerk\t120\n"
        "Lock island\tberth planner\t60\nLock island\tgatehouse clerk\t160",
    ],
)
def test_same_sessions_in_every_usual_form(text):
    """Whatever parts the cells, titles above and the long form give the same sites."""
    assert sites(read_table(text, ROLES)) == EXPECTED


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_file_opens_in_usual_encodings(encoding):
    """A CSV file is read whichever way a spreadsheet wrote its letters."""
    text = PASTED.replace("Lock island", "Schleuseninsel Süd")
    table = read_table(Upload("sites.csv", text.encode(encoding)), ROLES)

    assert list(sites(table)) == ["North quay", "Schleuseninsel Süd"]


def test_sums_are_left_out_and_noted():
    """A row and a column of sums are recognised, checked and not counted as people."""
    text = "\tberth planner\tgatehouse clerk\tTotal\nA\t1\t2\t3\nB\t10\t20\t30\nTotal\t11\t22\t33"
    table = read_table(text, ROLES)

    assert sites(table) == {
        "A": {"berth planner": 1, "gatehouse clerk": 2},
        "B": {"berth planner": 10, "gatehouse clerk": 20},
    }
    assert table.notes == (
        "Row 4 holds sums and was left out.",
        'Column "Total" holds sums and was left out.',
        "No column for chart drafter: no such sessions at any site.",
    )


def test_empty_cells_are_no_sessions_and_noted():
    """An empty cell and a dash stand for nobody; empty ones are counted aloud."""
    table = read_table("site;berth planner;chart drafter\nA;;-\nB;5;\n", ROLES)

    assert sites(table)["B"] == {"berth planner": 5, "chart drafter": 0}
    assert table.notes[0] == "2 empty cells were read as no session."


@pytest.mark.parametrize(
    ("cells", "numbers"),
    # Derived: read by a person who knows that there are no parts of a session.
    [
        (["1 250", "1'000"], [1250, 1000]),
        (["1,250", "1,000"], [1250, 1000]),  # 1.25 sessions do not exist: commas part thousands
        (["1.250", "2.000"], [1250, 2000]),
        (["12.0", "1.000"], [12, 1]),  # here the point is seen to be a decimal one
        (["12,00", "7"], [12, 7]),
    ],
)
def test_thousands_are_read_where_they_can_mean_one_thing_only(cells, numbers):
    """A point or comma is read as what the table's other cells show it to be."""
    text = "site\tberth planner\nA\t{}\nB\t{}\n".format(*cells)

    assert [site.total for site in read_table(text, ROLES).sites] == numbers


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (PASTED.replace("280", "abc"), 'table, row 2, column "berth planner" is \'abc\'; expected a'
         " whole number from 0 to 100000 sessions, or nothing."),
        (PASTED.replace("160", "-4"), 'table, row 3, column "gatehouse clerk" is \'-4\';'),
        (PASTED.replace("160", "1e3"), "'1e3'; expected a whole number"),
        (PASTED.replace("160", "100001"), "from 0 to 100000"),
        (PASTED.replace("160", "12.5"), "without decimals"),
        (PASTED.replace("160", "1.000"), "expected 1 or 1000: this can be read both ways"),
        (PASTED.replace("160", "1.250").replace("60", "7.5", 1), "without decimals"),
        (PASTED.replace("gatehouse clerk", "clerk"),
         "table, column \"clerk\" is 'clerk'; expected the name of one of the roles: berth pla"),
        (PASTED.replace("gatehouse clerk", "Berth Planner"), "expected each column once"),
        (PASTED.replace("Lock island", "north QUAY"), "row 3, column \"Site\" is 'north QUAY';"
         " expected each site once; row 2 has it too"),
        (PASTED.replace("Lock island", ""), "expected the name of a site"),
        (PASTED.replace("Lock island", "x" * 81), "expected the name of a site"),
        (PASTED.replace("\t160", "\t160\t9"), "row 3 is '4 cells'; expected 3 cells"),
        ("a,berth planner,chart drafter\nA,1,250,3\n", "1,250 in a table with commas"),
        ("site\tberth planner\nTotal\t3\nA\t0\nB\t5\nTotal\t9",
         "row 5, column \"berth planner\" is '9'; expected 8, the sum of what it stands for"),
        (PASTED.replace("clerk\n", "clerk\ttotal\n").replace("120\n", "120\t401\n"),
         "row 2, column \"total\" is '401'; expected 400"),
        (PASTED.replace("280", '"280'), "a closing quote in this row"),
        (PASTED.splitlines()[0], "expected a header"),
        ("North quay\t280\nLock island\t60", "expected a header"),
        ("", "expected a header"),
        ("site\tberth planner\nA\t0\n", "expected at least one session at one site"),
        ("site\trole\tsessions\nA\tcook\t3\n", "row 2, column \"role\" is 'cook'"),
        ("site\trole\tsessions\nA\tberth planner\t3\nA\tberth planner\t3\n",
         "row 3, column \"role\" is 'berth planner'; expected each role once at A"),
        ("site\tberth planner\n" + "".join(f"s{i}\t1\n" for i in range(101)), "at most 100 sites"),
        ("x" * 1_000_001, "expected at most 1000000 bytes"),
    ],
)  # fmt: skip
def test_wrong_cell_is_named_with_its_row_and_column(text, told):
    """What will not do is told as a spreadsheet counts, with the cure."""
    assert told in refused(text)


@pytest.mark.parametrize("start", [b"PK\x03\x04", b"\xd0\xcf\x11\xe0", b"\x1f\x8b"])
def test_spreadsheet_file_is_told_apart(start):
    """A file of the spreadsheet itself is refused with what to save instead."""
    assert "save the sheet as CSV" in refused(Upload("sites.xlsx", start + b"\0" * 50))


def test_empty_file_is_told():
    """A file without a byte in it is refused by its own name."""
    assert refused(Upload("sites.csv", b"")).startswith("sites.csv is ''; expected a header")


@given(
    st.lists(st.tuples(st.integers(0, 99_999), st.integers(1, 99_999)), min_size=1, max_size=9),
    st.sampled_from(["\t", ";", "|"]),
    st.sampled_from(["{}", "{:,}"]),
)
def test_table_that_was_written_is_read_back(rows, separator, form):
    """Any table of whole numbers opens with these numbers, or says why it can be read two ways."""
    lines = [separator.join(["site", *ROLES[:2]])]
    lines += [
        separator.join([f"s{i}", *(form.format(n) for n in row)]) for i, row in enumerate(rows)
    ]
    numbers = [number for row in rows for number in row]
    parted = form != "{}" and any(number >= 1000 and number % 1000 for number in numbers)
    if form != "{}" and not parted and any(number >= 1000 for number in numbers):
        assert "read both ways" in refused("\n".join(lines))  # 1,000 and nothing that settles it
        return
    table = read_table("\n".join(lines), ROLES)
    assert [tuple(site.sessions.values()) for site in table.sites] == rows
