"""Does the host's capacity curve hold what is known of turbo and of two threads on a core?"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.cpu import Host, capacity_curve, core_rate
from model.errors import InputError
from tests.model.drawn import hosts

PLAIN = {
    "clock_ghz": 3.0,
    "turbo_ratio": 1,
    "smt_yield": 0,
    "threads_per_core": 1,
    "relative_ipc": 1,
    "reserve_pct": 0,
}


def host(**changes):
    """Return a host of plain cores at the reference clock with some values replaced."""
    return Host.model_validate(PLAIN | {"cores": 4} | changes)


# Derived: by hand from the reference clock 3 GHz, core by core.
BY_HAND = [
    # changes to four plain cores, bursts, work per second
    ({}, [0, 1, 2, 3, 4, 5, 100], [0, 1, 2, 3, 4, 4, 4]),
    ({"clock_ghz": 1.5}, [1, 4, 9], [0.5, 2, 2]),
    ({"relative_ipc": 1.2}, [1, 4], [1.2, 4.8]),
    ({"reserve_pct": 25}, [1, 4], [0.75, 3]),
    # The clock falls from 1.3 by 0.1 with each further core.
    ({"turbo_ratio": 1.3}, [1, 2, 3, 4, 5], [1.3, 2.4, 3.3, 4, 4]),
    # The last core of a host with turbo 2 adds nothing: 2 * 2, 3 * 5/3 ...
    ({"turbo_ratio": 2, "cores": 2}, [1, 2, 3], [2, 2, 2]),
    # Four more threads at a quarter of a core each.
    ({"threads_per_core": 2, "smt_yield": 0.25}, [4, 5, 6, 8, 9], [4, 4.25, 4.5, 5, 5]),
    ({"threads_per_core": 2, "smt_yield": 1}, [4, 8, 9], [4, 8, 8]),
    # A single core runs at its base clock.
    ({"cores": 1, "turbo_ratio": 1.5}, [0, 1, 2], [0, 1, 1]),
    # Half of the way from one whole number to the next.
    ({"turbo_ratio": 1.3}, [0.5, 1.5, 4.5], [0.65, 1.85, 4]),
]


@pytest.mark.parametrize(("changes", "bursts", "work"), BY_HAND)
def test_capacity_equals_values_found_by_hand(changes, bursts, work, checked):
    """Clock, turbo, SMT and reserve give what a person finds with pencil and paper."""
    found = capacity_curve(host(**changes), 3.0, bursts)
    told = ", ".join(f"{name} {value:g}" for name, value in changes.items()) or "no change"
    what = f"four plain cores of 3 GHz with {told.replace('_', ' ')}"
    checked("Capacity of the host", what, "core by core", work, found, kind="derived", rel=1e-14)


def test_default_kind_of_host_by_hand(checked):
    """32 cores at 2.8 GHz with SMT deliver 35.1 cores of 3 GHz when every thread is busy."""
    harbour_host = Host.model_validate({"cores": 32, "clock_ghz": 2.8})

    # Derived: 2.8 / 3 * 0.94 = 0.877333; alone with turbo 1.15; 32 cores; 32 * 1.25.
    assert core_rate(harbour_host, 3.0) == pytest.approx(0.8773333333333333, rel=1e-14)
    curve = capacity_curve(harbour_host, 3.0, [1, 32, 64, 1000])
    assert curve == pytest.approx([1.0089333333, 28.0746666667, 35.0933333333, 35.0933333333])
    checked(
        "Capacity of the host", "32 cores at 2.8 GHz with 1, 32 and 64 runnable bursts",
        "2.8 / 3 * 0.94, times 1.15, 32 and 32 * 1.25", [1.0089333333, 28.0746666667,
        35.0933333333], curve[:3], kind="derived", rel=1e-9,
    )  # fmt: skip


@given(hosts(), st.floats(0.5, 10))
def test_more_bursts_never_get_less_done(drawn, clock):
    """For every host that is allowed, the curve never falls."""
    curve = capacity_curve(drawn, clock, np.arange(drawn.threads + 3))

    assert curve[0] == 0
    assert (np.diff(curve) >= -1e-12 * curve[-1]).all()
    assert curve[-1] == curve[-2] == curve[-3]


@given(hosts(most_cores=63), st.integers(0, 140))
def test_one_core_more_never_gets_less_done(drawn, bursts):
    """At the same number of runnable bursts, one core more never does less work."""
    larger = drawn.model_copy(update={"cores": drawn.cores + 1})
    less, more = (capacity_curve(each, 3.0, bursts) for each in (drawn, larger))
    assert more >= less * (1 - 1e-12)


@given(hosts())
def test_second_threads_that_yield_nothing_leave_the_cores_only(drawn):
    """With a yield of 0, two threads a core deliver what one thread a core does."""
    without_yield = drawn.model_copy(update={"smt_yield": 0.0, "threads_per_core": 2})
    single = drawn.model_copy(update={"threads_per_core": 1})
    bursts = np.arange(2 * drawn.cores + 2)

    assert capacity_curve(without_yield, 3.0, bursts) == pytest.approx(
        capacity_curve(single, 3.0, bursts), rel=1e-14
    )


@given(hosts())
def test_second_threads_that_yield_all_are_cores(drawn):
    """With a yield of 1 and no turbo, a thread is as good as a core."""
    threads = drawn.model_copy(update={"smt_yield": 1.0, "threads_per_core": 2, "turbo_ratio": 1.0})
    cores = threads.model_copy(update={"threads_per_core": 1, "cores": 2 * threads.cores})
    bursts = np.arange(2 * drawn.cores + 2)

    assert capacity_curve(threads, 3.0, bursts) == pytest.approx(
        capacity_curve(cores, 3.0, bursts), rel=1e-14
    )


@given(hosts(), st.floats(0.5, 10))
def test_full_host_is_worth_its_cores_at_the_base_clock(drawn, clock):
    """With all threads busy, turbo is gone: cores, and the yield of their second threads."""
    # Derived: no turbo in it at all.
    expected = core_rate(drawn, clock) * drawn.cores
    expected *= 1 + drawn.smt_yield * (drawn.threads_per_core - 1)

    assert capacity_curve(drawn, clock, drawn.threads) == pytest.approx(expected, rel=1e-12)


def test_shape_of_the_bursts_is_kept():
    """A number gives a number, a table a table, nothing gives nothing."""
    assert np.ndim(capacity_curve(host(), 3.0, 2)) == 0
    assert capacity_curve(host(), 3.0, [[1, 2], [3, 4]]).tolist() == [[1, 2], [3, 4]]
    assert capacity_curve(host(), 3.0, []).shape == (0,)


@pytest.mark.parametrize("clock", [0, -1, math.nan, math.inf, True, "3"])
def test_reference_clock_has_to_be_above_0(clock):
    """A reference clock that is no clock is refused by name."""
    with pytest.raises(InputError, match="reference_clock_ghz"):
        capacity_curve(host(), clock, [1])


@pytest.mark.parametrize("bursts", [[-1], [1, math.nan], [math.inf], -0.5])
def test_bursts_have_to_be_numbers_of_0_or_more(bursts):
    """Negative or undefined bursts are refused by name."""
    with pytest.raises(InputError, match="bursts"):
        capacity_curve(host(), 3.0, bursts)
