"""Does a fleet have the hosts, the power and the cost that a person would reckon?"""

import json
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.errors import InputError
from model.fleet import hosts_over_sessions, plain, plan_fleet, site_mixes
from model.fleet_inputs import FLEET_FIELDS, Spare, example, from_data, to_data
from model.host_rating import HostRatings
from model.scenario import default
from model.scenario import from_data as scenario_from
from model.scenario import to_data as scenario_to
from model.targets import rated_load
from tests.model.fleets import SCENARIO, fleet, rated, rating

BY_HAND = rated(rating(40, 1.0), rating(60, 0.5))


def both(inputs, ratings=BY_HAND):
    """Return the plans of both arms of the first host choice."""
    return plan_fleet(inputs, SCENARIO, ratings).choices[0].arms


def money(*amounts):
    """Return amounts as exact numbers."""
    return tuple(Decimal(amount) for amount in amounts)


def test_example_worked_by_hand_without_cards(checked):
    """Two years of a site without cards cost to the cent what a pencil says."""
    costs = both(fleet())["software"].total
    # Derived: by hand. 100 sessions need ceil(100 / 40) = 3 hosts and 1 spare; 25 sessions on
    # each make 25 % of CPU, 100 + 0.25 * 200 = 150 W. Energy of year 1: 400 h * 600 W and
    # 600 h * 400 W, times 1.2, 576 kWh. Year 2: 110 sessions, 27.5 on each, 155 W, 585.6 kWh.
    assert (costs.hosts, costs.spare_hosts, costs.cards, costs.rack_units) == (4, 1, 0, 8)
    assert (costs.watts_idle, costs.watts_at_work, costs.watts_busy) == (400, 600, 1200)
    assert [year.sessions for year in costs.years] == [100, 110]
    assert [year.energy_kwh for year in costs.years] == list(money("576", "585.6"))
    assert [year.energy_cost for year in costs.years] == list(money("144.00", "146.40"))
    assert [year.upkeep for year in costs.years] == list(money("200.20", "200.20"))
    assert costs.purchase == Decimal("4000.40")
    assert costs.yearly_cost == Decimal("344.20")
    assert costs.paid == money("4000.40", "4344.60", "4691.20")
    # Derived: 4000.40 + 344.20 / 1.1 + 346.60 / 1.21 = 4000.40 + 312.9091 + 286.4463.
    assert costs.worth == money("4000.40", "4313.31", "4599.76")
    checked(
        "Fleet and cost", "hosts, energy of two years and present value of a site without cards",
        "by hand, to the cent", money("4", "576", "585.6", "4599.76"),
        [costs.hosts, *(year.energy_kwh for year in costs.years), costs.present_value],
        kind="derived",
    )  # fmt: skip
    # Derived: 4599.76 / (100 / 1.1 + 110 / 1.21) = 4599.76 / 181.8182 = 25.2987.
    assert costs.cost_per_session_year == Decimal("25.30")


def test_example_worked_by_hand_with_cards(checked):
    """The same site with cards, whose watts and prices count, agrees to the cent as well."""
    costs = both(fleet())["offloaded"].total
    # Derived: by hand. ceil(100 / 60) + 1 = 3 hosts; 33.33 sessions, 16.67 %, 153.3 W each.
    # Energy: (400 h * 459.9 W + 600 h * 360 W) * 1.2 = 479.952 kWh; year 2: 156.7 W each,
    # (400 * 470.1 + 600 * 360) * 1.2 / 1000 = 484.848 kWh.
    assert (costs.hosts, costs.cards) == (3, 3)
    assert costs.watts_at_work == Decimal("459.9")
    assert [year.energy_kwh for year in costs.years] == list(money("479.952", "484.848"))
    assert [year.energy_cost for year in costs.years] == list(money("119.99", "121.21"))
    assert costs.paid == money("3300.15", "3570.29", "3841.65")
    # Derived: 3300.15 + 270.14 / 1.1 + 271.36 / 1.21 = 3769.9963.
    assert costs.present_value == Decimal("3770.00")
    checked(
        "Fleet and cost", "hosts, energy of two years and present value of the site with cards",
        "by hand, to the cent", money("3", "479.952", "484.848", "3770.00"),
        [costs.hosts, *(year.energy_kwh for year in costs.years), costs.present_value],
        kind="derived",
    )  # fmt: skip


def test_cheapest_is_named():
    """The host choice and arm of the lowest present value are told."""
    assert plan_fleet(fleet(), SCENARIO, BY_HAND).cheapest == ("host", "offloaded")


@pytest.mark.parametrize(
    ("growth_pct", "hosts", "bought"),
    # Derived: by hand, 50 sessions a host and 1 spare, over 100, 150, 225 and 100, 50, 25.
    [(50, [3, 4, 6], [3, 1, 2]), (-50, [3, 2, 2], [3, 0, 0]), (0, [3, 3, 3], [3, 0, 0])],
)
def test_hosts_are_bought_in_the_year_that_needs_them(growth_pct, hosts, bought):
    """A growing fleet buys what it lacks; a shrinking one switches off and sells nothing."""
    inputs = fleet(growth_pct_per_year=growth_pct, horizon_years=3, discount_pct=0)
    costs = both(inputs, rated(rating(50), rating(50)))["software"].total

    assert [year.hosts for year in costs.years] == hosts
    assert [year.hosts_bought for year in costs.years] == bought
    assert [year.upkeep for year in costs.years] == [n * Decimal("50.05") for n in hosts]
    spent = sum(year.purchase + year.yearly_cost for year in costs.years)
    assert costs.paid[-1] == costs.present_value == spent


def test_purchase_of_a_later_year_is_discounted_by_the_years_before():
    """A host bought at the start of year 2 is worth its price one year on."""
    inputs = fleet(
        growth_pct_per_year=100,
        spare={"hosts": 0},
        energy_price_per_kwh=0,
        choice={"yearly_cost_per_host": 0, "host_price": 1000},
    )
    costs = both(inputs, rated(rating(100), rating(100)))["software"].total

    # Derived: 1000 now and 1000 / 1.1 a year later.
    assert costs.worth == money("1000.00", "1909.09", "1909.09")


@pytest.mark.parametrize(
    ("spare", "needed", "expected"),
    # Derived: by hand; a share is rounded up, and 10 % of 10 is 1, not a little more.
    [
        ({"hosts": 2}, 7, 2),
        ({"hosts": 0}, 7, 0),
        ({"share_pct": 10}, 10, 1),
        ({"share_pct": 10}, 11, 2),
        ({"share_pct": 0.1}, 1000, 1),
        ({"share_pct": 0}, 9, 0),
        ({"share_pct": 100}, 9, 9),
    ],
)
def test_spare_hosts_are_a_number_or_a_share(spare, needed, expected):
    """Spare hosts come as N+1, N+2 or as a share of those needed."""
    assert Spare.model_validate(spare).beside(needed) == expected


def test_drained_hosts_stand_idle_and_carry_nobody():
    """A host in maintenance draws idle power, and the others share its people."""
    (site,) = both(fleet(drain_hosts=2))["software"].sites

    assert (site.costs.hosts, site.costs.drained_hosts) == (6, 2)
    assert site.sessions_per_host == Fraction(100, 4)
    # Derived: 4 hosts at 150 W and 2 at 100 W.
    assert site.costs.watts_at_work == 800


def test_site_without_sessions_needs_nothing():
    """Where nobody works there is no host, and so no spare and no drained one."""
    sites = [{"name": "quay", "sessions": {"training room": 100}}, {"name": "no", "sessions": {}}]
    arms = both(fleet(sites=sites, drain_hosts=1))
    empty = arms["software"].sites[1]

    assert (empty.costs.hosts, empty.costs.present_value) == (0, 0)
    assert (empty.sessions_per_host, empty.costs.cost_per_session_year) == (None, None)
    assert arms["software"].total.hosts == arms["software"].sites[0].costs.hosts


def test_site_that_cannot_be_carried_is_told():
    """Where not even one session meets the targets there is a sentence instead of a number."""
    plan = plan_fleet(fleet(), SCENARIO, rated(rating(0), rating(60)))
    arms = plan.choices[0].arms

    assert arms["software"].total is None
    assert arms["software"].sites[0].costs is None
    assert arms["software"].told == (
        "quay: on host, without cards, not even one session meets the targets; "
        "CPU demand (p95) is too high.",
    )
    assert plan.cheapest == ("host", "offloaded")
    assert plan_fleet(fleet(), SCENARIO, rated(rating(0), rating(0))).cheapest is None


def test_host_without_cards_costs_the_same_on_both_arms():
    """A choice whose host holds no card is one plan under two names."""
    arms = both(fleet(choice={"accelerator": {"cards": 0}}), rated(rating(40), rating(40)))

    assert arms["software"].total == arms["offloaded"].total


def test_what_is_shown_for_all_sites_is_the_sum_of_the_sites():
    """Hosts, power and money of the sites add up to the total, to the cent."""
    sites = [
        {"name": f"s{n}", "sessions": {"training room": 31 * n, "berth planner": 7}}
        for n in range(1, 8)
    ]
    plan = both(fleet(sites=sites, horizon_years=7, discount_pct=3.7))["offloaded"]
    costs = [site.costs for site in plan.sites]

    for name in ("sessions", "hosts", "cards", "rack_units", "watts_at_work", "energy_kwh",
                 "purchase", "yearly_cost", "present_value"):  # fmt: skip
        assert getattr(plan.total, name) == sum(getattr(each, name) for each in costs)
    for year in range(7):
        assert plan.total.years[year].hosts == sum(each.years[year].hosts for each in costs)
        assert plan.total.years[year].year == year + 1
    assert plan.total.paid[-1] == sum(year.purchase + year.yearly_cost for year in plan.total.years)


@given(
    st.integers(0, 5_000), st.integers(1, 300), st.integers(0, 3), st.integers(0, 2),
    st.integers(-30, 40),
)  # fmt: skip
def test_running_hosts_hold_everyone_even_with_spares_gone(
    sessions, load, spare, drain, growth_pct
):
    """With as many hosts failed as there are spares, no host is above its rated load."""
    inputs = fleet(
        sites=[{"name": "quay", "sessions": {"training room": sessions, "berth planner": 1}}],
        spare={"hosts": spare}, drain_hosts=drain, growth_pct_per_year=growth_pct,
    )  # fmt: skip
    for year in both(inputs, rated(rating(load), rating(load)))["software"].total.years:
        left = year.hosts - spare - drain
        assert (left - 1) * load < year.sessions <= left * load


def test_growth_is_exact_and_rounded_up_to_whole_sessions():
    """A session that has begun to grow needs a desktop; ten per cent of 100 is 10, not 11."""
    inputs = fleet(growth_pct_per_year=10, horizon_years=4)

    # Derived: 100, 110, 121, 133.1.
    assert [inputs.sessions_in_year(100, year) for year in range(1, 5)] == [100, 110, 121, 134]
    assert inputs.sessions_in_year(0, 4) == 0


def test_rating_is_that_of_the_site_mix_on_the_chosen_host():
    """The rated load of a site is that of a scenario with the site's people and the host chosen."""
    data = scenario_to(default())
    small = {"cores": 4, "memory_gib": 256}
    sites = [{"name": "quay", "sessions": {"training room": 30, "gatehouse clerk": 10}}]
    inputs = fleet(sites=sites, choice={"host": small, "accelerator": {"displays_per_card": 9}})
    plan = plan_fleet(inputs, default()).choices[0]
    data["host"] |= small
    data["accelerator"] |= {"displays_per_card": 9}
    for role, weight in zip(data["roles"], (0, 25, 0, 75), strict=True):
        role["weight_pct"] = weight
    scenario = scenario_from(data)

    for arm in ("software", "offloaded"):
        # Derived: the door that the Host page uses.
        alone = rated_load(scenario, arm)
        found = plan.arms[arm].sites[0].rating
        assert found.rated_load == alone.rated_load > 0
        assert found.binding_limit == alone.binding_limit
        assert found.cpu_mean_pct[-1] == pytest.approx(alone.row["cpu_mean_pct"])
        assert len(found.cpu_mean_pct) == found.rated_load + 1


def test_equal_mixes_are_rated_once():
    """Sites with the same mix, and another price, ask for no new rating."""
    asked = []

    def work(_rate, questions):
        asked.extend(questions)
        return [rating(50) for _ in questions]

    sites = [
        {"name": "a", "sessions": {"training room": 30, "berth planner": 60}},
        {"name": "b", "sessions": {"training room": 1, "berth planner": 2}},
    ]
    ratings = HostRatings(work)
    plan_fleet(fleet(sites=sites), SCENARIO, ratings)
    plan_fleet(fleet(sites=sites, choice={"host_price": 5}), SCENARIO, ratings)

    assert len(asked) == 2
    assert {arm for _, arm in asked} == {"software", "offloaded"}

    plan_fleet(fleet(sites=sites, choice={"accelerator": {"cards": 2}}), SCENARIO, ratings)
    assert [arm for _, arm in asked[2:]] == ["offloaded"]  # without cards nothing has changed


def test_utilisation_lies_on_the_curve_and_never_above_100():
    """Between whole sessions CPU use is a straight line; power stops at busy."""
    of = rating(4, 50.0)

    assert of.utilisation_pct(0) == 0
    assert of.utilisation_pct(1.5) == 75
    assert of.utilisation_pct(3) == 100


def test_mix_of_a_site_is_its_share_of_roles():
    """Shares follow from sessions; an empty site has the scenario's."""
    sites = [{"name": "a", "sessions": {"training room": 1, "chart drafter": 2}},
             {"name": "b", "sessions": {}}]  # fmt: skip
    mixes = site_mixes(fleet(sites=sites), SCENARIO)

    assert mixes[0] == (0, 0, Fraction(2, 3), Fraction(1, 3))
    assert [float(share * 100) for share in mixes[1]] == [35, 30, 15, 20]


def test_hosts_rise_in_steps_and_pass_through_the_plan():
    """The chart of hosts over sessions never falls and holds the planned fleet."""
    inputs = fleet(
        sites=[
            {"name": "a", "sessions": {"training room": 70}},
            {"name": "b", "sessions": {"training room": 130}},
        ]
    )
    plan = plan_fleet(inputs, SCENARIO, BY_HAND).choices[0]
    steps = hosts_over_sessions(inputs, plan, 400, points=401)

    for arm, hosts in steps.hosts.items():
        assert list(hosts) == sorted(hosts)
        assert hosts[0] == 0
        assert hosts[steps.sessions.index(200)] == plan.arms[arm].total.hosts
    assert steps.sessions == tuple(range(401))


def test_steps_of_an_arm_that_cannot_carry_a_site_are_none():
    """There is no line for an arm without a plan, and wrong axes are refused."""
    plan = plan_fleet(fleet(), SCENARIO, rated(rating(0), rating(60))).choices[0]

    assert hosts_over_sessions(fleet(), plan, 10).hosts["software"] is None
    for most, points, field in ((0, 9, "most_sessions"), (9, 1, "points")):
        with pytest.raises(InputError, match=field):
            hosts_over_sessions(fleet(), plan, most, points)


def test_result_is_plain_json_with_its_cents():
    """The plan as JSON keeps every cent and leaves the curve out."""
    plan = plan_fleet(fleet(), SCENARIO, BY_HAND)
    read = json.loads(json.dumps(plain(plan), allow_nan=False))
    total = read["choices"][0]["arms"]["software"]["total"]

    assert total["present_value"] == 4599.76
    assert total["paid"] == [4000.4, 4344.6, 4691.2]
    assert "cpu_mean_pct" not in json.dumps(read)


def test_example_is_read_back_as_it_was_written():
    """The shipped fleet survives JSON to the last digit."""
    data = json.loads(json.dumps(to_data(example())))

    assert from_data(data) == example()


def test_every_number_of_a_fleet_says_where_it_comes_from():
    """Each default is in its range, and a price says that it is none."""
    for path, quantity in FLEET_FIELDS.items():
        assert quantity.provenance
        if quantity.value is not None:
            assert quantity.low <= quantity.value <= quantity.high
        if "price" in path or "cost" in path:
            assert quantity.provenance == "placeholder, not a price"


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"horizon_years": 16}, "horizon_years is 16; expected a whole number from 1 to 15 years"),
        ({"horizon_years": 2.5}, "horizon_years is 2.5; expected a whole number from 1 to 15"),
        ({"growth_pct_per_year": -51}, "growth_pct_per_year is -51; expected a number from -50"),
        ({"discount_pct": float("nan")}, "discount_pct is nan; expected a number from 0 to 50"),
        ({"spare": {}}, 'spare is \'empty\'; expected either "hosts" or "share_pct"'),
        ({"spare": {"hosts": 1, "share_pct": 5}}, "spare is 'both'; expected either"),
        ({"spare": {"hosts": -1}}, "spare.hosts is -1; expected a whole number from 0 to 1000"),
        ({"drain_hosts": True}, "drain_hosts is True; expected a whole number"),
        ({"choice": {"host_price": -1}},
         "choices[0].host_price is -1.0; expected a number from 0 to 1000000000 of the currency"),
        ({"choice": {"host_price": 1.234}}, "choices[0].host_price is 1.234; expected a number wi"),
        ({"choice": {"card_price": "cheap"}}, "choices[0].card_price is 'cheap'; expected"),
        ({"choice": {"host": {"cores": 0}}}, "choices[0].host.cores is 0; expected a whole number "
         "from 1 to 4096 cores"),
        ({"choice": {"busy_watts": 99}}, "choices[0].busy_watts is 99.0; expected at least idle_w"),
        ({"choice": {"colour": "red"}}, "choices[0].colour is 'red'; expected no such field"),
        ({"choices": []}, "choices is '0 entries'; expected at least 1 in the list"),
        ({"choices": [{"name": "a"}, {"name": "a"}]}, "choices[1].name is 'a'; expected a name"),
        ({"sites": [{"name": "a", "sessions": {"x": 1.5}}]}, "sites[0].sessions.x is 1.5; expected"
         " a whole number from 0 to 100000 sessions"),
        ({"sites": [{"name": "a", "sessions": {}}]}, "sites is 'no session at all'; expected at"),
        ({"sites": [{"name": "a"}]}, "sites[0].sessions is None; expected a value; the field is"),
        ({"growth_pct_per_year": 100, "horizon_years": 15, "sites": [{"name": "a", "sessions":
         {"x": 100_000}}]}, "growth_pct_per_year is 100.0; expected at most 10000000 sessions"),
        ({"working_hours_per_year": 1001}, "working_hours_per_year is 1001.0; expected at most ho"),
        ({"energy_price_per_kwh": 0.1234567}, "energy_price_per_kwh is 0.1234567; expected a numb"),
        ({"currency": " "}, "currency is ' '; expected printable text"),
        ({"version": 2}, "version is 2; expected 1, the version this release reads"),
        ({"years": 5}, "years is 5; expected no such field"),
    ],
)  # fmt: skip
def test_wrong_input_is_told_with_field_value_and_range(changes, told):
    """Whatever will not do is named in one line."""
    with pytest.raises(InputError) as caught:
        fleet(**changes)

    assert str(caught.value).startswith(told)


@pytest.mark.parametrize("data", [None, 3, [], "fleet"])
def test_what_is_no_fleet_is_told(data):
    """Anything but a record is refused as a fleet."""
    with pytest.raises(InputError, match=r"^fleet is .*expected a record with named fields"):
        from_data(data)


def test_unknown_role_is_told():
    """A site with people that the scenario does not know is refused."""
    inputs = fleet(sites=[{"name": "quay", "sessions": {"cook": 3}}])
    with pytest.raises(InputError, match=r"^sites\[0\].sessions is 'cook'; expected the name of"):
        plan_fleet(inputs, SCENARIO, BY_HAND)


def test_fleet_cannot_be_changed():
    """A checked fleet stays as it was checked."""
    with pytest.raises(TypeError, match="cannot be changed"):
        fleet().sites[0].sessions["training room"] = 0
    with pytest.raises(InputError, match="choice is 'other'; expected one of host"):
        fleet().choice("other")
