"""Does the command print a fleet's whole answer, and say in one line what is wrong?"""

import json
from decimal import Decimal

import pytest

from model.__main__ import main
from model.fleet_command import fleet_document, map_prices
from tests.model.fleets import SCENARIO, fleet, rated, rating


def printed(capsys, *argv):
    """Run a command that succeeds and return its document."""
    status = main(list(argv))
    out, err = capsys.readouterr()
    assert (status, err) == (0, "")
    return json.loads(out)


def refused(capsys, *argv):
    """Run a command that is refused and return its one line."""
    status = main(list(argv))
    out, err = capsys.readouterr()
    assert (status, out) == (2, "")
    return err.removesuffix("\n")


@pytest.fixture
def small_file(capsys, tmp_path):
    """A fleet file that is quick to answer for: the example's first choice with four cores."""
    data = printed(capsys, "fleet", "--example")
    data["choices"] = data["choices"][:1]
    data["choices"][0]["host"] |= {"cores": 4, "memory_gib": 256}
    data["sites"] = data["sites"][2:]
    path = tmp_path / "fleet.json"
    path.write_text(json.dumps(data), encoding="utf-8")
    return str(path)


def test_fleet_prints_plans_and_what_the_charts_need(capsys, small_file):
    """Both arms, the break-even price and hosts over sessions are in one document."""
    document = printed(capsys, "fleet", small_file)
    (choice,) = document["choices"]

    assert list(choice["arms"]) == ["software", "offloaded"]
    total = choice["arms"]["offloaded"]["total"]
    assert total["hosts"] == choice["arms"]["offloaded"]["sites"][0]["costs"]["hosts"] > 0
    assert len(total["paid"]) == len(total["worth"]) == 6
    assert choice["break_even_card_price"]["price"] > 0
    assert list(choice["break_even_card_price"]["sites"]) == ["Pilot school"]
    steps = choice["hosts_over_sessions"]
    assert len(steps["sessions"]) == len(steps["hosts"]["software"])
    assert steps["sessions"][-1] == 240
    assert document["notes"]
    assert "break_even_map" not in choice


def test_sites_can_come_from_a_table(capsys, small_file, tmp_path):
    """A table replaces the file's sites, and what was left out of it is told."""
    table = tmp_path / "sites.csv"
    table.write_text("site;training room;total\nA;70;70\n", encoding="utf-8")
    document = printed(capsys, "fleet", small_file, "--sites", str(table))

    assert document["choices"][0]["arms"]["software"]["total"]["sessions"] == 70
    assert document["table_notes"][0] == 'Column "total" holds sums and was left out.'


def test_map_and_share_are_worked_out_for_a_role():
    """With a role named, its break-even share and the map are part of the answer."""
    ratings = rated(rating(40), rating(60))
    document = fleet_document(fleet(), SCENARIO, "training room", ratings)
    (choice,) = document["choices"]

    assert choice["break_even_share"]["role"] == "training room"
    drawn = choice["break_even_map"]
    assert drawn["share_pct"] == list(range(0, 101, 10))
    assert [len(row) for row in drawn["saving"]] == [21] * 11
    json.dumps(document, allow_nan=False)


@pytest.mark.parametrize(
    ("break_even", "last"),
    # Derived: 20 steps of 1, 2 or 5 times a power of ten that reach twice the price.
    [(None, 100), ("-5", 100), ("376.54", 1000), ("12363.78", 40_000), ("50", 100), ("51", 200)],
)
def test_prices_of_the_map_are_tidy_and_hold_the_break_even_price(break_even, last):
    """The axis ends beyond the break-even price, at a tidy number."""
    prices = map_prices(None if break_even is None else Decimal(break_even))

    assert (prices[0], prices[-1], len(prices)) == (0, last, 21)


def test_what_is_wrong_is_said_in_one_line(capsys, small_file, tmp_path):
    """File, field and cell are named on standard error."""
    wrong = tmp_path / "wrong.json"
    wrong.write_text('{"sites": []}', encoding="utf-8")
    table = tmp_path / "sites.csv"
    table.write_text("site;training room\nA;many\n", encoding="utf-8")

    assert "--example" in refused(capsys, "fleet")
    assert "sites is '0 entries'" in refused(capsys, "fleet", str(wrong))
    assert "a file that can be read" in refused(capsys, "fleet", str(tmp_path / "none.json"))
    told = refused(capsys, "fleet", small_file, "--sites", str(table))
    assert "sites.csv, row 2, column \"training room\" is 'many'" in told
    gone = refused(capsys, "fleet", small_file, "--sites", str(tmp_path / "none.csv"))
    assert gone.startswith("python -m model: --sites is ")
