"""Do the charts of a fleet show what was planned, and can their lines be told apart?"""

import json
from decimal import Decimal
from itertools import pairwise

import pytest

from app.figures.fleet_cost import cost_figure
from app.figures.fleet_hosts import Ended, end_labels, hosts_figure
from app.figures.fleet_map import Standing, map_figure
from app.theme import DARK, DASH, LIGHT
from app.words_fleet import cost_takeaway, crossing_year
from model.break_even import BreakEvenMap
from model.fleet import hosts_over_sessions, plan_fleet
from model.fleet_inputs import from_data, to_data
from tests.model.fleets import SCENARIO, fleet, rated, rating

RATED = rated(rating(10, 5.0), rating(20, 2.5))


def lines(figure):
    """The drawn lines of a figure, by name."""
    return {each["name"]: each for each in figure["data"] if each["mode"].startswith("lines")}


@pytest.mark.parametrize("theme", [LIGHT, DARK])
def test_hosts_are_steps_of_both_arms(theme):
    """Each arm is a stepped line with its dash, its colour and its name at its end."""
    inputs = fleet()
    found = plan_fleet(inputs, SCENARIO, RATED)
    steps = hosts_over_sessions(inputs, found.choices[0], 150, points=151)
    figure = hosts_figure([steps], [1], 100, theme)
    json.dumps(figure, allow_nan=False)
    drawn = lines(figure)
    assert list(drawn) == ["A with cards", "A without cards"]
    # Derived: 100 sessions over 10, or 20, a host, and one spare.
    assert drawn["A without cards"]["y"][100] == 11
    assert drawn["A with cards"]["y"][100] == 6
    assert drawn["A without cards"]["y"][101] == 12
    for arm, name in (("software", "A without cards"), ("offloaded", "A with cards")):
        assert drawn[name]["line"]["dash"] == DASH[arm]
        assert drawn[name]["line"]["color"] == theme.colour(arm)
        assert drawn[name]["line"]["shape"] == "vh"
    told = [label["text"] for label in figure["layout"]["annotations"]]
    assert told == ["A with cards", "A without cards", "now: 100"]


def test_host_without_cards_has_one_line():
    """A host choice without cards is drawn once and says so; one that carries none is left out."""
    inputs = fleet(choice={"accelerator": {"cards": 0}})
    found = plan_fleet(inputs, SCENARIO, RATED)
    steps = hosts_over_sessions(inputs, found.choices[0], 150)
    assert list(lines(hosts_figure([steps], [0], 100, LIGHT))) == ["A no cards"]
    assert list(lines(cost_figure(found, inputs, LIGHT))) == ["A no cards"]
    none = plan_fleet(fleet(), SCENARIO, rated(rating(0), rating(20)))
    assert list(lines(cost_figure(none, fleet(), LIGHT))) == ["A with cards"]


def test_labels_at_the_ends_never_meet():
    """Sixteen lines that end at the same height have names apart, within the chart."""
    ends = [Ended(f"line {at}", 50, "#000000") for at in range(16)]
    labels = end_labels(LIGHT, ends, 10, 100)
    heights = sorted(label["y"] for label in labels)
    gaps = [high - low for low, high in pairwise(heights)]
    assert min(gaps) > 6
    assert 0 <= heights[0] <= heights[-1] <= 100


def test_cost_is_the_present_value_and_its_crossing_is_marked():
    """Lines hold the worth of all payments; where cards are paid back a mark and words say so."""
    prices = {"card_price": 1100, "host_price": 1000, "yearly_cost_per_host": 500}
    inputs = fleet(growth_pct_per_year=0, choice=prices)
    found = plan_fleet(inputs, SCENARIO, RATED)
    choice = found.choices[0]
    figure = cost_figure(found, inputs, LIGHT)
    json.dumps(figure, allow_nan=False)
    for arm, name in (("software", "A without cards"), ("offloaded", "A with cards")):
        worth = [float(each) for each in choice.arms[arm].total.worth]
        assert lines(figure)[name]["y"] == worth
    # Derived: 6 x 2100 against 11 x 1000 at the start, dearer; 11 x 500 a year against 6 x 500.
    assert choice.arms["offloaded"].total.worth[0] > choice.arms["software"].total.worth[0]
    assert crossing_year(choice) == (1, "are paid back by the end of year 1")
    told = [label["text"] for label in figure["layout"]["annotations"]]
    assert "A: cards paid back" in told
    assert "are paid back by the end of year 1" in cost_takeaway(found, inputs)


@pytest.mark.parametrize(
    ("card_price", "expected"),
    [(0, "cost less from the start"), (100_000, "cost more all the time")],
)
def test_lines_that_never_cross_are_told(card_price, expected):
    """Without a crossing the chart has no mark, and the sentence says which arm is cheaper."""
    inputs = fleet(choice={"card_price": card_price})
    found = plan_fleet(inputs, SCENARIO, RATED)
    assert crossing_year(found.choices[0]) == (None, expected)
    names = [each["name"] for each in cost_figure(found, inputs, LIGHT)["data"]]
    assert names == ["A with cards", "A without cards"]


def break_even(*prices):
    """A map over three shares with these break-even prices."""
    return BreakEvenMap(
        "<b>role</b>", (0.0, 50.0, 100.0), (Decimal(0), Decimal(400)), ((None,) * 2,) * 3, prices
    )


def test_map_names_both_sides_and_where_the_fleet_stands():
    """Both sides, the line and the fleet's own place have words; markup in a role is text."""
    found = break_even(Decimal(100), Decimal(200), Decimal(300))
    figure = map_figure(found, (False,) * 3, Standing(25, 150), "money", LIGHT)
    json.dumps(figure, allow_nan=False)
    told = [label["text"] for label in figure["layout"]["annotations"]]
    assert told == ["<b>cards pay</b>", "<b>cards do not pay</b>", "break-even price", "now: 150"]
    pay, not_pay, line, now = figure["data"]
    assert (pay["y"], line["y"]) == ([100, 200, 300], [100, 200, 300])
    assert pay["fillcolor"] != not_pay["fillcolor"]
    assert (now["x"], now["y"]) == ([25], [150])
    assert "&lt;b&gt;role" in figure["layout"]["xaxis"]["title"]["text"]


def test_map_says_where_only_cards_carry_everyone():
    """Without a break-even price the line has a gap, its side is upright, and words say why."""
    found = break_even(Decimal(100), None, None)
    figure = map_figure(found, (False, True, True), Standing(0, 10), "money", DARK)
    json.dumps(figure, allow_nan=False)
    pay, _, line, _ = figure["data"]
    assert line["y"] == [100, None, None]
    assert pay["x"] == [0, 25, 25, 50, 100]
    assert pay["y"] == [100, 100, 400, 400, 400]
    told = [label["text"] for label in figure["layout"]["annotations"]]
    assert "only with cards<br>is everyone carried" in told
    none = map_figure(break_even(None, None, None), (False,) * 3, Standing(0, 10), "m", DARK)
    told = [label["text"] for label in none["layout"]["annotations"]]
    assert "no break-even price" in told
    assert "<b>cards pay</b>" not in told


def test_eight_choices_keep_sixteen_names():
    """Each host choice has a letter of its own on every chart."""
    data = to_data(fleet())
    data["choices"] = [data["choices"][0] | {"name": f"host {at}"} for at in range(8)]
    inputs = from_data(data)
    found = plan_fleet(inputs, SCENARIO, RATED)
    names = list(lines(cost_figure(found, inputs, LIGHT)))
    assert len(set(names)) == 16
    assert {name[0] for name in names} == set("ABCDEFGH")
