"""Does the Fleet page state what the model finds: sentences, tables, events, exports?"""

import csv
import io
import json
import math

import pytest

from app import fleet_events, fleet_question, words_fleet
from app.fleet_answers import map_answer, plan_answer
from app.fleet_events import sites_after_event
from app.fleet_exports import TABLES, export_text
from app.fleet_question import asked_of, most_display_work
from app.labels_fleet import ARM_LABEL, CHOICE, CHOICE_MORE, GENERAL, in_table, money, quantity_of
from app.theme import LIGHT
from app.words import CAUTION
from model.errors import InputError
from model.failures import FAILURES, failure
from model.fleet import plan_fleet
from model.fleet_inputs import FLEET_FIELDS, example, from_data, to_data
from model.fleet_url import example_for
from model.host_rating import question
from model.scenario import canonical, default, load
from model.scenario import from_data as scenario_from
from model.scenario import to_data as scenario_data
from tests.model.fleets import SCENARIO, fleet, rated, rating

RATED = rated(rating(10, 5.0), rating(20, 2.5))


def asked(inputs, scenario=SCENARIO, choice=None, role=None, event=None):
    """A question about a fleet."""
    return asked_of(scenario, inputs, choice, role, event)


@pytest.fixture
def quick(monkeypatch):
    """Ratings that are given, so that nothing is worked out."""
    monkeypatch.setattr(fleet_question, "_RATINGS", RATED)


def test_plan_states_the_cheapest_and_the_difference(quick):
    """The sentence names host, arm, cards and worth, the next one the cost of the other arm."""
    inputs = fleet()
    told = plan_answer(asked(inputs), LIGHT)
    found = plan_fleet(inputs, SCENARIO, RATED).choices[0].arms
    best, other = found["offloaded"].total, found["software"].total
    assert told["sentence"] == (
        "host: with cards it costs least, 6 hosts and 6 cards, "
        f"{money(best.present_value, 'currency units')} over 2 years."
    )
    more = money(other.present_value - best.present_value, "currency units")
    assert told["more"][0] == f"Without cards the same host needs 11 hosts and costs {more} more."
    assert told["role"] == most_display_work(SCENARIO) == "chart drafter"
    assert told["link"].endswith("*v~1")
    json.dumps(told, allow_nan=False)


def test_tables_hold_the_plans_numbers(quick):
    """All sites, each site, each year and the break-even prices are those of the model."""
    inputs = fleet()
    told = plan_answer(asked(inputs), LIGHT)
    found = plan_fleet(inputs, SCENARIO, RATED).choices[0].arms
    totals = [found["software"].total, found["offloaded"].total]
    rows = {row["label"]: row["cells"] for row in told["overall"]["rows"]}
    assert rows["Hosts"] == ["11", "6"]
    assert rows["of these spare"] == ["1", "1"]
    assert rows["Present value of all costs"] == [in_table(each.present_value) for each in totals]
    assert [arm["cheapest"] for arm in told["overall"]["groups"][0]["arms"]] == [False, True]
    # Derived: 100 sessions over 11 or 6 running hosts, whose use is 5 or 2.5 % a session.
    assert [row[5:9] for row in told["sites"]["rows"]] == [
        ["9.1", "45", "11", "10 + 1 + 0"], ["16.7", "42", "6", "5 + 1 + 0"],
    ]  # fmt: skip
    assert told["sites"]["rows"][0][4] == "CPU demand (p95) is too high"
    # Derived: 10 % growth makes 110 sessions, 11 and 6 hosts needed.
    assert [row[:3] for row in told["years"]["rows"]] == [["1", "100", "11"], ["2", "110", "12"]]
    assert told["break_even"]["rows"][0][1] == "99.95"
    assert float(told["break_even"]["rows"][1][1].replace(",", "")) > 99.95


def test_arm_that_carries_nobody_is_told():
    """Where not even one session is carried the page says at which site, and prices nothing."""
    inputs = fleet()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(fleet_question, "_RATINGS", rated(rating(0), rating(20, 2.5)))
        told = plan_answer(asked(inputs), LIGHT)
        assert told["more"][0] == "Without cards it does not carry every site."
        assert "quay: on host, without cards, not even one session" in told["told"][0]
        assert told["overall"]["rows"][0]["cells"] == ["not carried", "6"]
        event = sites_after_event(asked(inputs, event="card_lost"))
        assert event["rows"][0]["verdict"] == "not carried before either"
        patch.setattr(fleet_question, "_RATINGS", rated(rating(0), rating(0)))
        assert plan_answer(asked(inputs), LIGHT)["sentence"] == words_fleet.NO_ANSWER


def test_map_says_what_it_cannot_draw(quick):
    """Without cards, or with a single role, there is no map but a sentence."""
    without = fleet(choice={"accelerator": {"cards": 0}})
    told = map_answer(asked(without), LIGHT)
    assert told["figures"] == {}
    assert told["refused"] == "A host has no cards, so there is nothing to break even."
    data = scenario_data(default())
    data["roles"] = [data["roles"][3] | {"weight_pct": 100}]
    told = map_answer(asked(fleet(), scenario_from(data)), LIGHT)
    assert "a role with others beside it" in told["refused"]
    drawn = map_answer(asked(fleet()), LIGHT)
    assert drawn["takeaways"]["fleet-map"] == (
        "A host. At 99.95 currency units a card, cards pay without chart drafter as with chart "
        "drafter alone; now it has 0 %."
    )
    assert list(drawn["figures"]) == ["fleet-map"]


def test_view_that_no_longer_fits_is_put_right():
    """A host choice or role that is gone gives way to the cheapest and the busiest one."""
    inputs = example()
    assert asked(inputs, choice=7).choice == asked(inputs, choice="1").choice == -1
    assert asked(inputs, choice=1, role="training room").role == "training room"
    assert asked(inputs, role="nobody").role == "chart drafter"


@pytest.mark.parametrize("key", ["card_lost", "everyone_on_a_call", "smt_off"])
def test_event_states_what_the_model_finds_for_a_running_host(key):
    """Headroom and sessions of a site before and after are those of one of its running hosts."""
    inputs = example()
    found = sites_after_event(asked(inputs, event=key, choice=0))
    plan = plan_fleet(inputs, SCENARIO, fleet_question.shared_ratings())
    site = plan.choices[0].arms["offloaded"].sites[0]
    mix = fleet_events.site_mixes(inputs, SCENARIO)[0]
    text, _ = question(SCENARIO, mix, inputs.choices[0], "offloaded")
    sessions = -(-490 // site.costs.hosts)
    answer = failure(load(text).model_copy(update={"sessions": sessions}), key)
    row = found["rows"][1]
    assert (row["site"], row["arm"]) == ("North quay", "with cards")
    assert row["cells"][1] == f"{sessions} to {sessions}"
    before, after = (state["offloaded"].headroom_pct for state in (answer.before, answer.after))
    assert row["cells"][2] == f"{before:.0f} to {after:.0f}"
    assert row["holds"] == answer.after["offloaded"].holds
    assert len(found["rows"]) == 6


def test_one_spare_host_is_enough_for_one_lost_host():
    """With a spare host every site holds its targets after one is lost; without, not every one."""
    inputs = example()
    found = sites_after_event(asked(inputs, event="host_lost"))
    assert all(row["holds"] for row in found["rows"])
    assert found["sentence"].endswith("every site still holds its targets, with cards and without.")
    data = to_data(inputs)
    data["sites"] = [data["sites"][2]]  # whose people one host with a card can carry
    none = from_data(data | {"spare": {"hosts": 0}})
    lost = sites_after_event(asked(none, event="host_lost", choice=0))["rows"]
    assert [row["holds"] for row in lost] == [False, False]
    assert lost[1]["verdict"] == "no: its only running host is lost"


def test_fleets_at_the_brink_hold_after_a_lost_host():
    """A site whose sessions fill its needed hosts to the last one holds, rounded up once only."""
    found = plan_fleet(fleet(), SCENARIO).choices[0].arms["offloaded"].sites[0]
    load = found.rating.rated_load
    brink = fleet(sites=[{"name": "quay", "sessions": {"training room": 2 * load}}])
    # Derived: three hosts run; a third of the sessions, rounded up, times three halves is too much.
    third = math.ceil(2 * load / 3)
    assert math.ceil(third * 3 / 2) == load + 1
    row = sites_after_event(asked(brink, event="host_lost"))["rows"][1]
    assert row["cells"][1].endswith(f" to {load}")
    assert row["holds"]


def test_event_that_a_host_cannot_meet_is_refused_in_words():
    """A host without cards cannot lose one; the button is off and the link's event is told."""
    inputs = fleet(choice={"accelerator": {"cards": 0}})
    told = sites_after_event(asked(inputs, event="card_lost"))
    assert told["refused"].endswith("cannot happen to this host, this host has no card.")
    offered = fleet_events.possible_events(asked(inputs), 0)
    assert list(offered) == list(FAILURES)
    assert [key for key, each in offered.items() if each["reason"]] == ["card_lost"]
    assert sites_after_event(asked(inputs)) == {"event": None}


def test_only_the_largest_sites_are_asked_about(quick, monkeypatch):
    """With many sites an event is worked out for the largest ones, and the page says so."""
    monkeypatch.setattr(fleet_events, "MOST_EVENT_SITES", 1)
    sites = [{"name": f"s{at}", "sessions": {"training room": at}} for at in (0, 3, 9)]
    told = sites_after_event(asked(fleet(sites=sites), event="everyone_present"))
    assert {row["site"] for row in told["rows"]} == {"s9"}
    assert told["limited"] == "The 1 largest sites are shown; 1 are not."


def test_example_for_fewer_roles_says_what_is_left_out(quick):
    """Where the scenario has fewer roles the example leaves out its other sessions, and tells."""
    data = scenario_data(default())
    data["roles"] = [each | {"weight_pct": 50} for each in data["roles"][:2]]
    scenario = scenario_from(data)
    told = plan_answer(asked(example_for(scenario), scenario), LIGHT)
    assert words_fleet.ROLES_LEFT_OUT in told["notes"]
    assert words_fleet.ROLES_LEFT_OUT not in plan_answer(asked(example()), LIGHT)["notes"]


def rows_of(text):
    """The rows of CSV text by column."""
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def test_tables_are_exact_and_carry_the_caution(monkeypatch):
    """Amounts in a table are the model's to the cent; the first row holds caution and link."""
    monkeypatch.setattr(fleet_question, "_RATINGS", RATED)
    inputs = fleet(currency="=money", choice={"name": '=cmd|"x"'})
    total = plan_fleet(inputs, SCENARIO, RATED).choices[0].arms["offloaded"].total
    found = {
        what: rows_of(export_text(what, canonical(SCENARIO), to_data(inputs), -1,
                                  "chart drafter", None))
        for what in TABLES
    }  # fmt: skip
    for rows in found.values():
        assert rows[0]["note"] == CAUTION
        assert rows[0]["link"].startswith("/fleet?fleet=")
        assert rows[1]["note"] == ""
    whole = found["fleet-sites"][-1]
    assert (whole["site"], whole["arm"]) == ("all sites", "with cards")
    assert whole["host choice"] == '\'=cmd|"x"'
    assert whole["present value [=money]"] == str(float(total.present_value))
    last = found["fleet-cost"][-1]
    assert last['A =cmd|"x", with cards, present value [=money]'] == str(float(total.worth[-1]))
    assert found["fleet-hosts"][-1]["sessions of all sites"] == "150"
    assert len(found["fleet-map"]) == 11 * 21


def test_refusals_use_the_pages_names():
    """A wrong field is told by what the page calls it, with the name of its site or host."""
    data = to_data(example())
    cases = [
        (("growth_pct_per_year",), 200, "Growth of sessions is 200"),
        (("spare",), {"hosts": -1}, "Spare hosts at each site is -1"),
        (("choices", 0, "host_price"), None, "Host choice 1 (32 cores, one card), Price of a host"),
        (("choices", 1, "host", "cores"), 0, "Host choice 2 (64 cores, two cards), CPU cores is 0"),
        (("choices", 1, "name"), "32 cores, one card", "Host choice 2 (32 cores, one card), name"),
        (("sites", 0, "sessions", "chart drafter"), 1.5, "Site 1 (North quay), chart drafter is"),
        (("sites", 0, "name"), "", "Site 1, name is missing"),
        (("sites",), [], "Sites is"),
        (("currency",), "", "Currency is missing"),
    ]
    for path, value, expected in cases:
        wrong = json.loads(json.dumps(data))
        at = wrong
        for name in path[:-1]:
            at = at[name]
        at[path[-1]] = value
        with pytest.raises(InputError) as refused:
            from_data(wrong)
        told = words_fleet.refused(refused.value, wrong, SCENARIO)
        assert told["message"].startswith(expected), told


def test_every_field_has_a_label_and_its_help():
    """No number of a fleet or a host choice is missing on the page, each with its provenance."""
    shown = {f"choices.{path}" for path in CHOICE} | set(GENERAL) | {"sites.sessions"}
    assert set(FLEET_FIELDS) <= shown
    for path in (*GENERAL, *CHOICE, *CHOICE_MORE):
        assert quantity_of(path).provenance in words_fleet.help_of(path)
    assert "not a price" in words_fleet.help_of("host_price")
    assert ARM_LABEL["software"] == "without cards"
