"""Fleets for tests: quick ones whose ratings are given, not worked out."""

from model.fleet_inputs import from_data
from model.host_rating import HostRating, HostRatings
from model.scenario import default, load

SCENARIO = default()


def fleet(**changes):
    """Return the fleet that the tests reckon by hand: one site of 100 sessions, one host choice."""
    choice = {
        "name": "host",
        "accelerator": {"cards": 1},
        "rack_units": 2,
        "idle_watts": 100,
        "busy_watts": 300,
        "card_watts": 20,
        "host_price": 1000.10,
        "card_price": 99.95,
        "yearly_cost_per_host": 50.05,
    } | changes.pop("choice", {})
    data = {
        "sites": [{"name": "quay", "sessions": {"training room": 100}}],
        "growth_pct_per_year": 10,
        "horizon_years": 2,
        "discount_pct": 10,
        "spare": {"hosts": 1},
        "choices": [choice],
        "energy_price_per_kwh": 0.25,
        "overhead_factor": 1.2,
        "hours_per_year": 1000,
        "working_hours_per_year": 400,
    }
    return from_data(data | changes)


def rating(rated_load, pct_per_session=0.0):
    """Return the rating of a host whose CPU use rises evenly."""
    use = tuple(pct_per_session * sessions for sessions in range(rated_load + 1))
    return HostRating(rated_load, "cpu", "CPU demand (p95) is too high", False, use)


def rated(software, offloaded):
    """Return ratings that are the same whatever the mix."""
    of_arm = {"software": software, "offloaded": offloaded}
    return HostRatings(lambda _rate, asked: [of_arm[arm] for _, arm in asked])


def rated_by_share(role, software, offloaded):
    """Return ratings that follow from the share of one role in per cent."""
    of_arm = {"software": software, "offloaded": offloaded}

    def work(_rate, asked):
        for text, arm in asked:
            weights = {each.name: each.weight_pct for each in load(text).roles}
            yield rating(of_arm[arm](weights[role]))

    return HostRatings(work)
