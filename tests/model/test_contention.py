"""Does the closed station hold its promises: limits, invariants, and refusals?"""

import itertools
from math import exp, inf, lgamma, log, nan
from time import perf_counter
from typing import Any

import numpy as np
import pytest
import simpy
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import poisson_binom

from model.contention import MOST_SOURCES, StationResult, closed_station, poisson_binomial
from model.errors import InputError
from tests.checked import Recorder

FOUR_CORES = [0, 1, 2, 3, 4]


# ------------------------------------------------------------------------------- limiting cases


@pytest.mark.parametrize(("sources", "service_s", "think_s"), [([], [], []), ([0], [1], [2])])
def test_without_sources_the_host_is_idle(
    sources: list[int], service_s: list[float], think_s: list[float]
) -> None:
    """An empty host is never busy."""
    result = closed_station(sources, service_s, think_s, FOUR_CORES)

    # Derived: the empty state is the only one.
    assert result.queue_pmf.tolist() == [1]
    assert result.utilisation == 0
    assert result.mean_runnable == 0


def test_class_without_sources_gets_what_one_more_would_see() -> None:
    """A class of 0 sources has the response of one source added to the others."""
    asked = closed_station([5, 0], [0.4, 0.3], [1, 0.2], FOUR_CORES)
    added = closed_station([5, 1], [0.4, 0.3], [1, 0.2], FOUR_CORES)

    # Derived: an arriving source sees the others as if it were not there.
    assert asked.response_s[1] == pytest.approx(added.response_s[1], rel=1e-12)
    assert asked.throughput_hz[1] == pytest.approx(added.throughput_hz[1], rel=1e-12)


def test_one_source_has_the_cpu_to_itself() -> None:
    """Alone, a burst takes its work over the delivery to one source."""
    result = closed_station([1], [0.5], [2], [0, 1.25])

    # Derived: 0.5 / 1.25 s per burst, one burst each 2.4 s.
    assert result.response_s[0] == pytest.approx(0.4, rel=1e-14)
    assert result.throughput_hz[0] == pytest.approx(1 / 2.4, rel=1e-14)
    assert result.utilisation == pytest.approx(0.5 / 2.4 / 1.25, rel=1e-14)


def test_without_work_nothing_takes_time() -> None:
    """Bursts without work end at once and disturb nobody."""
    with_idlers = closed_station([3, 2], [0, 1], [4, 5], FOUR_CORES)
    without = closed_station([2], [1], [5], FOUR_CORES)

    # Derived: response 0, a burst per think time.
    assert with_idlers.response_s[0] == 0
    assert with_idlers.throughput_hz[0] == 0.25
    assert with_idlers.response_s[1] == pytest.approx(without.response_s[0], rel=1e-14)
    assert with_idlers.queue_pmf[:3] == pytest.approx(without.queue_pmf, rel=1e-14)
    assert not with_idlers.queue_pmf[3:].any()


def test_without_think_time_all_run_all_the_time() -> None:
    """Sources that never think share equally for ever."""
    result = closed_station([6, 2], [1, 3], [0, 0], FOUR_CORES)

    # Derived: 8 on 4 cores, so that each burst takes twice its work.
    assert result.response_s == pytest.approx([2, 6], rel=1e-14)
    assert result.queue_pmf.tolist() == [0] * 8 + [1]
    assert result.utilisation == pytest.approx(1, rel=1e-14)


def test_think_time_near_zero_tends_to_none() -> None:
    """A source that thinks hardly at all is one that never thinks."""
    hardly = closed_station([3, 9], [1, 0.5], [1e-20, 2], FOUR_CORES)
    never = closed_station([3, 9], [1, 0.5], [0, 2], FOUR_CORES)

    # Derived: the limit of ever shorter think times.
    assert hardly.response_s == pytest.approx(never.response_s, rel=1e-12)
    assert hardly.queue_pmf == pytest.approx(never.queue_pmf, rel=1e-12, abs=1e-15)


def test_a_core_for_each_source_means_no_contention() -> None:
    """With as many cores as sources, bursts take just their work."""
    result = closed_station([40, 25], [0.3, 2], [1, 0.5], range(66))

    # Derived: no one waits; independent sources. Independent: scipy's Poisson-binomial law.
    chances = np.repeat([0.3 / 1.3, 2 / 2.5], [40, 25])
    assert result.response_s == pytest.approx([0.3, 2], rel=1e-13)
    assert result.queue_pmf == pytest.approx(
        poisson_binom.pmf(np.arange(66), chances), rel=1e-9, abs=1e-16
    )


def test_capacity_stays_at_its_last_entry() -> None:
    """A curve that ends early goes on level."""
    short = closed_station([9], [1], [2], [0, 1, 2])
    full = closed_station([9], [1], [2], [0, 1] + [2] * 8)

    # Derived: the same curve written out.
    assert short.queue_pmf.tolist() == full.queue_pmf.tolist()
    assert short.response_s.tolist() == full.response_s.tolist()


def test_deep_overload_divides_the_host_evenly() -> None:
    """5 000 sources that hardly think get each a five-thousandth of 512 cores."""
    result = closed_station([5000], [1], [1e-9], range(513))

    # Derived: throughput is capacity over work, and the response is what that leaves.
    assert result.throughput_hz[0] == pytest.approx(512 / 5000, rel=1e-12)
    assert result.response_s[0] == pytest.approx(5000 / 512 - 1e-9, rel=1e-12)
    assert result.utilisation == pytest.approx(1, rel=1e-12)


def test_bursts_of_two_kinds_in_turn_are_one_source() -> None:
    """Splitting a class into two with the same means changes nothing."""
    whole = closed_station([12], [0.4], [1], FOUR_CORES)
    split = closed_station([5, 7], [0.4, 0.4], [1, 1], FOUR_CORES)

    # Derived: the classes are alike.
    assert split.response_s == pytest.approx([whole.response_s[0]] * 2, rel=1e-13)
    assert split.queue_pmf == pytest.approx(whole.queue_pmf, rel=1e-12)


def test_very_large_station_is_solved() -> None:
    """100 000 sources in 20 classes on 512 cores: flows balance to 12 digits."""
    sources = np.full(20, 5000)
    service_s = np.geomspace(0.001, 1, 20)
    think_s = np.geomspace(200, 3, 20)

    assert_flows_balance(sources, service_s, think_s, np.arange(513.0), rel=1e-12)


@pytest.mark.speed
def test_large_host_takes_a_fraction_of_a_second() -> None:
    """5 000 sources in 20 classes are solved in less than a quarter of a second."""
    service_s, think_s = np.geomspace(0.001, 1, 20), np.geomspace(20, 0.3, 20)
    start = perf_counter()
    closed_station([250] * 20, service_s, think_s, range(65))
    assert perf_counter() - start < 0.25


# ----------------------------------------------------------------------------------- invariants


def assert_flows_balance(
    sources: Any, service_s: Any, think_s: Any, capacity: Any, rel: float = 1e-10
) -> StationResult:
    """Check what holds for every station: shares sum to 1, work and sources are conserved."""
    sources, service_s, think_s = np.array(sources), np.array(service_s), np.array(think_s)
    result = closed_station(sources, service_s, think_s, capacity)
    total = int(sources.sum())
    mu = np.array([capacity[min(n, len(capacity) - 1)] for n in range(total + 1)])

    assert np.isfinite(result.response_s).all()
    assert (result.response_s >= 0).all()
    assert (result.throughput_hz > 0).all()
    assert (result.queue_pmf >= 0).all()
    # Derived: a law sums to 1; work done is work asked for; Little's law at both stations.
    assert result.queue_pmf.sum() == pytest.approx(1, rel=1e-12)
    work = sources @ (result.throughput_hz * service_s)
    assert result.queue_pmf @ mu == pytest.approx(work, rel=rel)
    assert result.delivered == pytest.approx(work, rel=rel)
    runnable = sources @ (result.throughput_hz * result.response_s)
    assert result.mean_runnable == pytest.approx(runnable, rel=rel)
    assert result.throughput_hz * (think_s + result.response_s) == pytest.approx(1, rel=1e-14)
    return result


@pytest.mark.parametrize("sources", [1, 2, 37, 1000, 5000])
@pytest.mark.parametrize("cores", [1, 4, 64, 512])
@pytest.mark.parametrize("ratio", [1e-9, 1e-4, 0.02, 1, 50, 1e9])
def test_flows_balance_at_every_load(sources: int, cores: int, ratio: float) -> None:
    """From one source to 5 000, from idle to overload, work done is work asked for."""
    result = assert_flows_balance([sources], [ratio], [1.0], np.arange(cores + 1.0))

    # Derived: the asymptotic bounds.
    bound = min(1 / (1 + ratio), cores / ratio / sources)
    assert result.throughput_hz[0] <= bound * (1 + 1e-12)
    assert result.response_s[0] >= max(ratio, sources * ratio / cores - 1) * (1 - 1e-12)


def test_flows_balance_for_twenty_classes() -> None:
    """5 000 sources of 20 kinds from a billionth to a billion: flows balance."""
    ratio = np.geomspace(1e-9, 1e9, 20)
    assert_flows_balance([250] * 20, ratio, np.ones(20), np.arange(65.0))


times = st.floats(1e-6, 1e6)
curves = st.lists(st.floats(1e-3, 1e3), min_size=1, max_size=12)
classes = st.lists(
    st.tuples(st.integers(0, 30), st.one_of(st.just(0.0), times), times), min_size=1, max_size=5
)


@settings(max_examples=150)
@given(classes, curves)
def test_flows_balance_for_any_station(
    some: list[tuple[int, float, float]], curve: list[float]
) -> None:
    """Whatever the classes and the capacity, even falling or leaping, flows balance."""
    sources, service_s, think_s = zip(*some, strict=True)
    assert_flows_balance(sources, service_s, think_s, [0.0, *curve])


@settings(max_examples=60)
@given(classes, curves, st.permutations(range(5)))
def test_order_of_classes_does_not_matter(
    some: list[tuple[int, float, float]], curve: list[float], order: list[int]
) -> None:
    """Shuffled classes get the same results, shuffled."""
    kept = [k for k in order if k < len(some)]
    sources, service_s, think_s = (np.array(part) for part in zip(*some, strict=True))
    plain = closed_station(sources, service_s, think_s, [0, *curve])
    shuffled = closed_station(sources[kept], service_s[kept], think_s[kept], [0, *curve])

    # Derived: classes have no order.
    assert shuffled.response_s == pytest.approx(plain.response_s[kept], rel=1e-10)


@settings(max_examples=60)
@given(classes, curves, st.integers(-40, 40))
def test_the_unit_of_time_does_not_matter(
    some: list[tuple[int, float, float]], curve: list[float], doublings: int
) -> None:
    """All times in another unit give all responses in that unit."""
    sources, service_s, think_s = (np.array(part) for part in zip(*some, strict=True))
    unit = 2.0**doublings
    plain = closed_station(sources, service_s, think_s, [0, *curve])
    scaled = closed_station(sources, service_s * unit, think_s * unit, [0, *curve])

    # Derived: capacity is work per time, so that the unit cancels.
    assert scaled.response_s == pytest.approx(plain.response_s * unit, rel=1e-10)


@settings(max_examples=60)
@given(
    st.lists(st.tuples(st.integers(1, 30), times, times), min_size=1, max_size=4),
    st.integers(1, 16),
    st.integers(0, 3),
)
def test_one_more_source_slows_everyone(
    some: list[tuple[int, float, float]], cores: int, which: int
) -> None:
    """On cores that add up, a further source of any class never shortens a response."""
    sources, service_s, think_s = zip(*some, strict=True)
    more = list(sources)
    more[which % len(more)] += 1
    before = closed_station(sources, service_s, think_s, range(cores + 1))
    after = closed_station(more, service_s, think_s, range(cores + 1))

    # Derived: what one runnable source gets falls as more are runnable.
    assert (after.response_s >= before.response_s * (1 - 1e-11)).all()


# ------------------------------------------------------------------------- the law without rivals


@settings(max_examples=80)
@given(st.lists(st.tuples(st.integers(0, 12), st.floats(0, 1)), min_size=1, max_size=5))
def test_poisson_binomial_agrees_with_scipy(trials: list[tuple[int, float]]) -> None:
    """The law of the number of successes is scipy's."""
    counts, chances = zip(*trials, strict=True)
    pmf = poisson_binomial(counts, chances)

    # Independent: scipy.stats.poisson_binom, which works with absolute errors.
    each = np.repeat(chances, counts)
    expected = poisson_binom.pmf(np.arange(len(each) + 1), each) if len(each) else [1.0]
    assert pmf == pytest.approx(np.asarray(expected), abs=1e-13)


def test_poisson_binomial_of_alike_trials_is_binomial() -> None:
    """2 000 alike trials in one class or many follow the binomial law, far out too."""
    one = poisson_binomial([2000], [0.3])
    many = poisson_binomial([500] * 4, [0.3] * 4)

    # Derived: the binomial law in logarithms, which lose some digits far out.
    n = np.arange(2001)
    choices = np.array([lgamma(2001) - lgamma(k + 1) - lgamma(2001 - k) for k in n])
    expected = np.exp(choices + n * log(0.3) + (2000 - n) * log(0.7))
    assert one == pytest.approx(expected, rel=1e-9, abs=1e-280)
    assert many == pytest.approx(one, rel=1e-11, abs=1e-280)


# ----------------------------------------------------------------------------------- simulation


@pytest.mark.parametrize("law_of_bursts", ["always the same", "exponential", "now short, now long"])
def test_simulated_hosts_agree(law_of_bursts: str, checked: Recorder) -> None:
    """Event by event, hosts spend their bursts' time as reckoned, however bursts are spread."""
    sources, service_s, think_s = [3, 2], [0.5, 1.5], [1.0, 2.0]
    capacity = [0, 1, 1.75, 2]
    result = closed_station(sources, service_s, think_s, capacity)

    runs = np.array(
        [
            simulated_response(sources, service_s, think_s, capacity, law_of_bursts, seed)
            for seed in range(12)
        ]
    )
    error = runs.std(axis=0, ddof=1) / np.sqrt(len(runs))
    # Independent: simpy, 12 seeds; within three standard errors.
    assert (np.abs(runs.mean(axis=0) - result.response_s) <= 3 * error).all()
    assert (error < 0.05 * result.response_s).all()
    checked(
        "Shared CPU", f"response of two classes, bursts {law_of_bursts}",
        "an event simulation with simpy, 12 seeds", runs.mean(axis=0), result.response_s,
        kind="independent", rel=0.15, allowed="three standard errors of the simulation",
    )  # fmt: skip


def simulated_response(
    sources: list[int],
    service_s: list[float],
    think_s: list[float],
    capacity: list[float],
    law_of_bursts: str,
    seed: int,
) -> np.ndarray:
    """Return the mean response per class over 1000 s of one simulated host. [s]"""
    draw = np.random.default_rng(seed)
    env = simpy.Environment()
    left: dict[int, float] = {}  # work left per runnable source
    ended: dict[int, simpy.Event] = {}
    times: list[list[float]] = [[] for _ in sources]
    last, wake = 0.0, env.event()

    def burst(mean: float) -> float:
        if law_of_bursts == "always the same":
            return mean
        if law_of_bursts == "exponential":
            return float(draw.exponential(mean))
        return mean * float(draw.choice([0.25, 4], p=[0.8, 0.2]))

    def speed() -> float:
        return capacity[min(len(left), len(capacity) - 1)] / max(len(left), 1)

    def settle() -> None:
        nonlocal last, wake
        done = (env.now - last) * speed()
        for source in left:
            left[source] -= done
        last = env.now

    def stirred() -> None:
        nonlocal wake
        old, wake = wake, env.event()
        old.succeed()

    def cpu() -> Any:
        while True:
            if left:
                first = min(left, key=lambda source: left[source])
                timeout = env.timeout(max(left[first], 0) / speed())
                fired = yield timeout | wake
                if timeout in fired and wake not in fired:
                    settle()
                    del left[first]
                    ended.pop(first).succeed()
            else:
                yield wake

    def user(source: int, kind: int) -> Any:
        while True:
            yield env.timeout(draw.exponential(think_s[kind]))
            settle()
            start = env.now
            left[source] = burst(service_s[kind])
            ended[source] = env.event()
            stirred()
            yield ended[source]
            if start > 30:
                times[kind].append(env.now - start)

    env.process(cpu())
    number = itertools.count()
    for kind, count in enumerate(sources):
        for _ in range(count):
            env.process(user(next(number), kind))
    env.run(1000)
    return np.array([np.mean(each) for each in times])


# ------------------------------------------------------------------------------------- refusals

GOOD: dict[str, Any] = {
    "sources": [3, 4, 5],
    "service_s": [1.0, 2.0, 3.0],
    "think_s": [2.0, 0.0, 1.0],
    "capacity": [0, 1, 2],
}

BAD = [
    # argument, its value, the field named
    ("sources", [3, 4, 2.5], "sources[2]"),
    ("sources", [3, -1, 2], "sources[1]"),
    ("sources", [nan, 1, 2], "sources[0]"),
    ("sources", [3, inf, 2], "sources[1]"),
    ("sources", [3, "4", 2], "sources[1]"),
    ("sources", [3, True, 2], "sources[1]"),
    ("sources", [3, None, 2], "sources[1]"),
    ("sources", [3, [4], 2], "sources[1]"),
    ("sources", [3, 4, MOST_SOURCES + 1], "sources[2]"),
    ("sources", [3, 10**400, 2], "sources[1]"),
    ("sources", [MOST_SOURCES, 1, 0], "sources"),
    ("sources", 3, "sources"),
    ("sources", "345", "sources"),
    ("sources", np.ones((3, 1)), "sources"),
    ("sources", np.array([True, False, True]), "sources[0]"),
    ("service_s", [1, 2, nan], "service_s[2]"),
    ("service_s", [1, 2, inf], "service_s[2]"),
    ("service_s", [1, -2, 3], "service_s[1]"),
    ("service_s", [1, 0, 3], "think_s[1]"),
    ("service_s", [1, 1e-31, 3], "service_s[1]"),
    ("service_s", [1, 2], "service_s"),
    ("service_s", [1, 2, 3, 4], "service_s"),
    ("service_s", np.array([1, 2, 3j]), "service_s[0]"),
    ("think_s", [1, 2, nan], "think_s[2]"),
    ("think_s", [-inf, 2, 1], "think_s[0]"),
    ("think_s", [-1e-9, 2, 1], "think_s[0]"),
    ("think_s", [1, 2, 1e31], "think_s[2]"),
    ("think_s", [], "think_s"),
    ("capacity", [0, 1, 0], "capacity[2]"),
    ("capacity", [0, 1, nan], "capacity[2]"),
    ("capacity", [0, -1], "capacity[1]"),
    ("capacity", [0, inf], "capacity[1]"),
    ("capacity", [1, 2], "capacity[0]"),
    ("capacity", [nan, 2], "capacity[0]"),
    ("capacity", [0], "capacity"),
    ("capacity", [], "capacity"),
    ("capacity", None, "capacity"),
]


@pytest.mark.parametrize(
    ("argument", "value", "field"), BAD, ids=[f"{a}={str(v)[:24]}" for a, v, _ in BAD]
)
def test_wrong_input_is_refused_by_name(argument: str, value: Any, field: str) -> None:
    """A wrong value is refused, and the message names the field it stands in."""
    with pytest.raises(InputError) as refusal:
        closed_station(**{**GOOD, argument: value})

    assert refusal.value.field == field
    assert str(refusal.value).startswith(f"{field} is ")


@pytest.mark.parametrize(
    ("counts", "chances", "field"),
    [
        ([2.5], [0.5], "counts[0]"),
        ([2, -1], [0.5, 0.5], "counts[1]"),
        ([2], [1.5], "chances[0]"),
        ([2, 3], [0.5, nan], "chances[1]"),
        ([2, 3], [0.5], "chances"),
    ],
)
def test_wrong_chance_is_refused_by_name(
    counts: list[float], chances: list[float], field: str
) -> None:
    """A chance that is none is refused by the place it stands in."""
    with pytest.raises(InputError) as refusal:
        poisson_binomial(counts, chances)

    assert refusal.value.field == field


def test_results_and_inputs_cannot_be_changed_by_mistake() -> None:
    """A result is frozen to its arrays, and the caller's arrays stay as they were."""
    sources, service_s = np.array([3, 2]), np.array([1.0, 2.0])
    result = closed_station(sources, service_s, [1.0, 0.0], FOUR_CORES)

    with pytest.raises(ValueError, match="read-only"):
        result.response_s[0] = 7
    assert sources.tolist() == [3, 2]
    assert service_s.tolist() == [1, 2]


def test_an_empty_law_is_certain() -> None:
    """Without trials there are no successes, for sure."""
    assert poisson_binomial([], []).tolist() == [1]
    # Derived: certain and impossible trials.
    assert poisson_binomial([2, 3], [1, 0]).tolist() == [0, 0, 1, 0, 0, 0]
    assert poisson_binomial([1], [exp(-500)])[1] == pytest.approx(exp(-500), rel=1e-11)
