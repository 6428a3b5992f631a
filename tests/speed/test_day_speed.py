"""How long does a working day take to draw?"""

from statistics import median
from time import perf_counter, process_time

import pytest

from model.day import simulate_day_both
from model.scenario import Scenario, default, from_data, to_data

pytestmark = pytest.mark.speed


def measure(scenario: Scenario, replicates: int, times: int) -> tuple[float, float]:
    """Return the median times of drawing both arms, by the clock and on the CPU. [ms]

    A first time is left out. The work runs on one thread, so that the time on the CPU is that by
    the clock on a computer with nothing else to do; it is the one compared with promises.
    """
    simulate_day_both(scenario, 1, replicates)
    by_clock, on_cpu = [], []
    for seed in range(times):
        begin, begin_cpu = perf_counter(), process_time()
        simulate_day_both(scenario, seed, replicates)
        by_clock.append((perf_counter() - begin) * 1e3)
        on_cpu.append((process_time() - begin_cpu) * 1e3)
    return median(by_clock), median(on_cpu)


def test_both_arms_of_twenty_days_take_150_ms():
    """The shipped example's day with 20 replicates follows a slider."""
    by_clock_ms, on_cpu_ms = measure(default(), 20, 15)
    print(f"both arms, 20 replicates: {by_clock_ms:.0f} ms, {on_cpu_ms:.0f} ms of it on the CPU")

    # Derived: the promise.
    assert on_cpu_ms <= 150


def test_cost_follows_the_changes_of_activity():
    """Eight times the sessions take at most about eight times as long."""
    few_ms, many_ms = (
        measure(from_data(to_data(default()) | {"sessions": sessions}), 4, 3)[1]
        for sessions in (1_000, 8_000)
    )
    print(f"on the CPU: 1,000 sessions {few_ms:.0f} ms, 8,000 sessions {many_ms:.0f} ms")

    # Derived: in proportion, with a quarter more for what neighbours on the computer add.
    assert many_ms / few_ms < 10
