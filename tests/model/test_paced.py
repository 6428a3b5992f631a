"""Do paced sources obey what must hold for any of them, whatever the numbers?"""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import gamma

from model.errors import InputError
from model.paced import delivered_share, paced_station, pause_s, pooled_stations

CURVE = [0.0, 1.15, 2.2, 3.15, 4.0, 4.25, 4.5, 4.75, 5.0]  # 4 cores with two threads each
THREADS = 8


@given(
    response=st.floats(0.01, 5),
    phases=st.integers(1, 30),
)
def test_the_pause_is_a_partial_expectation(response: float, phases: int) -> None:
    """The mean pause is E[(T - R)+] for an Erlang response."""
    # Derived: the integral of the distribution function of R from 0 to T.
    law = gamma(phases, scale=response / phases)
    grid = np.linspace(0, 1, 4_001)
    expected = np.trapezoid(law.cdf(grid), grid)
    assert pause_s(1.0, response, phases) == pytest.approx(expected, abs=2e-4)


def test_pauses_at_the_limits() -> None:
    """The pause is the whole period without work, and nothing far beyond it."""
    # Derived: E[(T - R)+] at R = 0 and at R far above T; T - R for constant responses.
    assert pause_s(0.04, 0.0) == pytest.approx(0.04)
    assert pause_s(0.04, 4_000.0) == pytest.approx(0.0, abs=1e-6)
    assert pause_s(0.04, 0.01, None) == pytest.approx(0.03)
    assert pause_s(0.04, 0.05, None) == 0
    # Derived: exponential, T - R (1 - exp(-T / R)).
    assert pause_s(2.0, 1.0, 1) == pytest.approx(2 - (1 - math.exp(-2)))


@given(st.lists(st.floats(0, 50), min_size=2, max_size=20))
def test_more_load_delivers_less(loads: list[float]) -> None:
    """The delivered share falls with load, from 1 to at most one over the load."""
    load = np.sort(np.array(loads))
    share = delivered_share(load)
    assert (np.diff(share) <= 1e-9).all()
    assert (share <= np.minimum(1, 1 / np.maximum(load, 1e-9)) + 1e-9).all()
    assert delivered_share(0.0) == 1
    assert delivered_share(1e4) == pytest.approx(1e-4)  # Derived: always runnable


def test_one_source_alone_is_not_slowed() -> None:
    """A lone source runs at the rate of one busy core."""
    result = paced_station([1], [0.01], [0.04], CURVE)
    assert result.response_s[0] == pytest.approx(0.01 / 1.15)  # Derived: work over mu(1)


def test_an_overloaded_host_works_at_capacity() -> None:
    """Far beyond its capacity a host does all the work it can, and each source gets its part."""
    result = paced_station([120, 60], [0.02, 0.03], [0.04, 0.05], CURVE)
    work = float((np.array([120, 60]) * result.throughput_hz) @ np.array([0.02, 0.03]))
    # Derived: capacity; and a source that never pauses gets an equal part of it.
    assert work == pytest.approx(5.0, rel=1e-4)
    assert result.response_s == pytest.approx(np.array([0.02, 0.03]) * 180 / 5.0, rel=0.01)


DRAWN = st.lists(
    st.tuples(st.integers(1, 12), st.floats(0.001, 0.04), st.floats(0.02, 0.3)),
    min_size=1,
    max_size=4,
)


def _station(drawn: list[tuple[int, float, float]], curve: Any = CURVE) -> Any:
    number, service, period = zip(*drawn, strict=True)
    return paced_station(list(number), list(service), list(period), curve)


@given(DRAWN)
def test_the_rate_is_one_over_response_and_pause(drawn: list[tuple[int, float, float]]) -> None:
    """Each source's rate is one over its response and the pause that belongs to it."""
    result = _station(drawn)
    period = np.array([each[2] for each in drawn])
    pause = np.maximum(pause_s(period, result.response_s), 1e-9 * period)
    # Derived: the cycle of a source.
    assert result.throughput_hz * (result.response_s + pause) == pytest.approx(
        np.ones(len(drawn)), rel=1e-6
    )
    assert (result.throughput_hz <= 1 / period * (1 + 1e-9)).all()


@given(DRAWN)
def test_splitting_a_class_changes_nothing(drawn: list[tuple[int, float, float]]) -> None:
    """The same sources in one class or two, in any order, have the same response."""
    number, service, period = drawn[0]
    split = [*drawn[1:], (number, service, period), (1, service, period)]
    whole = [(number + 1, service, period), *drawn[1:]]
    first = _station(whole).response_s
    second = _station(split).response_s
    assert second[-1] == pytest.approx(first[0], rel=1e-6)
    assert second[-2] == pytest.approx(first[0], rel=1e-6)
    assert second[: len(drawn) - 1] == pytest.approx(first[1:], rel=1e-6)


@given(DRAWN, st.floats(0.01, 100))
def test_the_unit_of_time_does_not_matter(
    drawn: list[tuple[int, float, float]], scale: float
) -> None:
    """With work and periods in another unit of time, responses are in that unit too."""
    scaled = [(number, service * scale, period * scale) for number, service, period in drawn]
    assert _station(scaled).response_s == pytest.approx(
        _station(drawn).response_s * scale, rel=1e-6
    )


@given(DRAWN)
def test_one_source_more_never_speeds_up_others(drawn: list[tuple[int, float, float]]) -> None:
    """One more source never shortens anybody's response."""
    number, service, period = drawn[0]
    more = [(number + 1, service, period), *drawn[1:]]
    assert (_station(more).response_s >= _station(drawn).response_s * (1 - 1e-7)).all()


@given(
    number=st.integers(1, 60),
    utilisation=st.floats(0.01, 0.95),
)
def test_a_single_class_pooled_is_the_station_itself(number: int, utilisation: float) -> None:
    """With one class, the fast form gives response and wait of the exact one."""
    apart = paced_station([number], [utilisation * 0.04], [0.04], CURVE)
    pooled = pooled_stations(
        np.array([[float(number)]]), np.array([utilisation]), np.array(CURVE), THREADS
    )
    # Derived: `paced_station`.
    assert pooled.response_per_work[0, 0] * utilisation * 0.04 == pytest.approx(
        apart.response_s[0], rel=2e-3
    )
    beyond = np.maximum(np.arange(len(apart.queue_pmf)) - THREADS, 0)
    waiting = float(apart.queue_pmf @ beyond)
    assert pooled.mean_waiting[0] == pytest.approx(waiting, rel=0.01, abs=1e-3)


def test_stations_do_not_touch_each_other() -> None:
    """A station's result is the same alone and among others, empty and overloaded ones too."""
    sources = np.array([[0.0, 0.0], [3.5, 1.25], [200.0, 80.0], [0.0, 6.0]])
    utilisation = np.array([0.3, 0.7])
    together = pooled_stations(sources, utilisation, np.array(CURVE), THREADS)
    for row in range(len(sources)):
        alone = pooled_stations(sources[[row]], utilisation, np.array(CURVE), THREADS)
        assert together.response_per_work[row] == pytest.approx(
            alone.response_per_work[0], rel=1e-4
        )
        assert together.mean_waiting[row] == pytest.approx(alone.mean_waiting[0], abs=1e-4)
    # Derived: a single burst has the rate of one busy core, and nobody waits.
    assert together.response_per_work[0] == pytest.approx(np.full(2, 1 / 1.15), rel=1e-6)
    assert together.mean_waiting[0] == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"period_s": [0.0]}, "period_s[0]"),
        ({"period_s": [math.nan]}, "period_s[0]"),
        ({"period_s": [0.1, 0.1]}, "period_s"),
        ({"service_s": [0.1, 0.1]}, "period_s"),
        ({"service_s": [-0.1]}, "service_s[0]"),
        ({"sources": [1.5]}, "sources[0]"),
        ({"burst_phases": 0}, "burst_phases"),
        ({"burst_phases": 101}, "burst_phases"),
        ({"burst_phases": True}, "burst_phases"),
    ],
)
def test_what_will_not_do_is_named(change: dict[str, Any], field: str) -> None:
    """A value that no source can have is refused by its name."""
    given_values: dict[str, Any] = {
        "sources": [1], "service_s": [0.01], "period_s": [0.04], "capacity": CURVE,
    }  # fmt: skip
    with pytest.raises(InputError) as refusal:
        paced_station(**given_values | change)
    assert refusal.value.field == field
