"""Does an address bring back the scenario and the pin that it was made from, and nothing else?"""

import json

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from app import words
from app.answers import curve_answer
from app.pages.host import answer_to
from app.theme import LIGHT
from app.url_state import PageState, from_address, to_address
from app.workers import Workers
from model import fleet_url
from model.assess import assess
from model.errors import InputError, LinkError
from model.fleet_inputs import example as example_fleet
from model.scenario import Scenario, default, dump, from_data, to_data
from model.scenario_url import LONGEST_LINK, to_query
from tests.model.drawn import extreme_scenarios, scenarios

PINS = st.one_of(st.none(), st.just(default()), scenarios(), extreme_scenarios())


def night_shift() -> Scenario:
    """The example with a few inputs changed, one of them a text with signs that links escape."""
    data = to_data(default()) | {"name": "Pier 7 & quay, 50 %", "sessions": 140}
    data["host"]["cores"] = 48
    return from_data(data)


def long_scenario(letters: int = 78) -> Scenario:
    """A scenario with fifty activities whose names, with 78 letters, are too long for a link."""
    names = [f"{index:02}{'ö' * letters}" for index in range(50)]
    data = to_data(default())
    data["activities"] = [data["activities"][0] | {"name": name} for name in names]
    for role in data["roles"]:
        role["activity_pct"] = {names[0]: 100}
    return from_data(data)


@settings(max_examples=60)
@given(st.one_of(scenarios(), extreme_scenarios()), PINS)
@example(default(), None)
@example(default(), default())
def test_address_brings_back_scenario_and_pin(scenario, pinned):
    """Scenario and pin come back equal from their address, with or without its question mark."""
    pin = None if pinned is None else to_query(pinned)
    address = to_address(scenario, pin)

    assert address is not None
    assert address.isascii()
    assert from_address(address) == from_address(f"?{address}") == PageState(scenario, pin)


def test_address_brings_back_event_and_fleet():
    """An event and a fleet beside the scenario come back from its address, pinned or not."""
    fleet = fleet_url.to_text(example_fleet(), night_shift())
    for pin in (None, "n=90&v=1"):
        address = to_address(night_shift(), pin, "host_lost~6", fleet)

        assert address is not None
        assert from_address(address) == PageState(night_shift(), pin, "host_lost~6", fleet)


@pytest.mark.parametrize(
    ("beside", "named"),
    [("if=flood", "if is 'flood'"), ("if=host_lost~1", "if=host_lost is '1'"),
     ("if=card_lost~2", "if=card_lost is '2'"), ("if=everyone_on_a_call~99", "is '99'"),
     ("if=logon_rush~soon", "is 'soon'"), ("fleet=%7Bnothing", "fleet is"),
     ("if=card_lost&if=card_lost", "if is 'card_lost'")],
)  # fmt: skip
def test_wrong_event_or_fleet_is_named(beside, named):
    """What cannot be read beside the scenario is refused by name."""
    with pytest.raises(InputError, match=named):
        from_address(f"{beside}&v=1")


def test_example_alone_needs_no_address():
    """The example has the bare address; pinned beside itself it still tells its version."""
    assert to_address(default()) == ""
    assert to_address(default(), "") == "pin=&v=1"
    assert from_address("") == PageState(default())


@pytest.mark.parametrize("pin", [None, "", to_query(night_shift())])
def test_address_cut_short_anywhere_is_refused(pin):
    """No beginning of an address opens, so that none shows what was never meant."""
    address = to_address(night_shift(), pin)

    assert address is not None
    for length in range(1, len(address)):
        with pytest.raises(LinkError) as refused:
            from_address(address[:length])
        assert refused.value.step == "cut short", address[:length]


@pytest.mark.parametrize(
    ("pin", "step", "named"),
    [("n=90", "cut short", "v is None"), ("cores=0&v=1", "out of range", "host.cores is 0"),
     ("zork=3&v=1", "unknown field", "zork is '3'"), ("v=7", "unknown version", "v is '7'")],
)  # fmt: skip
def test_wrong_pin_is_named(pin, step, named):
    """A pin that cannot be read is refused by name, however good the scenario beside it."""
    address = to_address(night_shift(), pin)

    with pytest.raises(LinkError, match=named) as refused:
        from_address(str(address))
    assert refused.value.step == step


@pytest.mark.parametrize(("pin", "named"), [(None, "zork is '3'"), ("n=90&v=1", "zork is '3'")])
def test_wrong_scenario_is_named_beside_a_good_pin(pin, named):
    """A scenario that cannot be read is refused, with a pin as without one."""
    pinned = "" if pin is None else "pin=n%3D90%26v%3D1&"
    with pytest.raises(LinkError, match=named):
        from_address(f"{pinned}zork=3&v=1")


def test_scenario_too_long_has_no_address():
    """A scenario too long for a link has no address, pinned or not, in place of half of one."""
    assert to_address(long_scenario()) is None
    assert to_address(long_scenario(), to_query(default())) is None


def test_pin_that_makes_the_address_too_long_is_told():
    """Two scenarios too long to stand side by side have no address, each alone has one."""
    scenario = long_scenario(letters=44)

    assert to_address(scenario, to_query(scenario)) is None
    assert from_address(str(to_address(scenario))) == PageState(scenario)


def test_endless_address_is_refused_at_once():
    """An address longer than any that Crestline writes is refused without being read."""
    with pytest.raises(LinkError, match="characters"):
        from_address("pin=" + "x" * 4 * LONGEST_LINK)


@pytest.mark.parametrize("pin", [None, "n=90&v=1"])
def test_answer_without_address_says_so(pin):
    """The answer to a scenario too long for a link has no query, and says why in one sentence."""
    reply = answer_to(
        {"sequence": 3, "scenario": dump(long_scenario()), "theme": "light", "pin": pin},
        "curve", lambda key, compute: compute(), Workers(0),
    )  # fmt: skip
    answer = json.loads(reply["text"])

    assert answer["query"] is None
    assert answer["texts"]["link-note"] == words.TOO_LONG_FOR_A_LINK
    assert answer["texts"]["answer-sentence"] == words.answer_sentence(assess(long_scenario()))
    assert curve_answer(default(), LIGHT)["texts"]["link-note"] == ""
