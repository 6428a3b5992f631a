"""Does the text of an event bring back the event, and does each event know its circumstance?"""

import inspect

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.events import CIRCUMSTANCE_OF, Event, from_text, to_text, usual_text
from model.errors import LinkError
from model.failures import CIRCUMSTANCES, FAILURES, failure, possible_failures
from model.scenario import Scenario, default, from_data, to_data

SCENARIO = default()
NAMES = [activity.name for activity in SCENARIO.activities]
EVENTS = st.one_of(
    st.sampled_from(list(FAILURES)).map(lambda key: Event(key, {})),
    st.integers(2, 10_000).map(lambda hosts: Event("host_lost", {"hosts": hosts})),
    st.integers(2, 16).map(lambda sockets: Event("socket_down", {"sockets": sockets})),
    st.integers(1_000, 14_400_000).map(
        lambda tenths_of_ms: Event("logon_rush", {"within_min": tenths_of_ms / 10_000})
    ),
    st.sampled_from(NAMES).map(lambda name: Event("everyone_on_a_call", {"activity": name})),
)


def with_host(**values: int) -> Scenario:
    """The example with some inputs of its host replaced."""
    data = to_data(SCENARIO)
    data["host"] |= values
    return from_data(data)


@given(EVENTS)
def test_text_brings_back_the_event(event: Event) -> None:
    """An event comes back from its text, its usual circumstance left unsaid."""
    usual = {name: quantity.value for name, quantity in CIRCUMSTANCES.items()}
    told = {name: at for name, at in event.circumstances.items() if usual.get(name) != at}

    assert from_text(to_text(event, SCENARIO), SCENARIO) == Event(event.key, told)


def test_texts_are_those_of_links_already_sent() -> None:
    """Links that were sent once keep their meaning."""
    # Derived: the forms that the module's own first paragraph gives.
    written = {
        "card_lost": Event("card_lost", {}),
        "host_lost~6": Event("host_lost", {"hosts": 6}),
        "socket_down~4": Event("socket_down", {"sockets": 4}),
        "logon_rush~5": Event("logon_rush", {"within_min": 5}),
        "everyone_on_a_call~3": Event("everyone_on_a_call", {"activity": NAMES[3]}),
    }
    for text, event in written.items():
        assert from_text(text, SCENARIO) == event
        assert to_text(event, SCENARIO) == text


def test_each_circumstance_is_one_that_the_model_takes() -> None:
    """Every event's circumstance is an argument of the model, and none of them is forgotten."""
    arguments = set(inspect.signature(failure).parameters) - {"scenario", "key"}

    assert set(CIRCUMSTANCE_OF) <= set(FAILURES)
    assert set(CIRCUMSTANCE_OF.values()) == arguments == {*CIRCUMSTANCES, "activity"}


@pytest.mark.parametrize(
    ("event", "named"),
    [
        (Event("card_lost", {"hosts": 4}), "if=card_lost is 'hosts'"),
        (Event("host_lost", {"sockets": 4}), "if=host_lost is 'sockets'"),
        (Event("host_lost", {"hosts": 1}), "if=host_lost is '1'"),
        (Event("everyone_on_a_call", {"activity": "zork"}), "is 'zork'"),
        (Event("flood", {}), "if is 'flood'"),
    ],
)
def test_event_that_no_link_can_hold_is_refused(event: Event, named: str) -> None:
    """A wrong event or circumstance is refused where the link is written, not where it is read."""
    with pytest.raises(LinkError, match=named):
        to_text(event, SCENARIO)


@pytest.mark.parametrize(
    ("cores", "text"),
    [(32, "socket_down"), (33, "socket_down~3"), (25, "socket_down~5"), (17, None), (1, None)],
)
def test_click_on_a_socket_takes_the_fewest_that_share_evenly(cores: int, text: str | None) -> None:
    """Where two sockets do not share the cores evenly, more do, or the event cannot happen."""
    # Derived: the smallest divisor of the cores from 2 to 16.
    assert usual_text("socket_down", with_host(cores=cores)) == text


def test_click_works_wherever_the_host_can_meet_the_event() -> None:
    """What a click puts into the link is an event that has an answer."""
    scenario = with_host(threads_per_core=1)
    for key in FAILURES:
        text = usual_text(key, scenario)
        assert (text is not None) == (key in possible_failures(scenario))
        if text is not None:
            event = from_text(text, scenario)
            assert failure(scenario, key, **event.circumstances).key == key
