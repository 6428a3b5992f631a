"""Do paced sources on a shared CPU fare as an event simulation of every burst says?

Hosts are drawn with a fixed seed: 2 to 32 cores, with and without a second thread and turbo, 2 to
6 classes of sources, offered load 0.3 to 2.0 of capacity.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pytest
from scipy.integrate import quad
from scipy.stats import gamma

from model.defaults import BURST_PHASES
from model.paced import delivered_share, paced_station, pooled_stations
from tests.checked import Recorder
from tests.model.event_simulation import JITTER_SHARE, StationRun, simulate_station

FloatArray = npt.NDArray[np.float64]

HOSTS = 32
SIMULATION = "an event simulation of every burst, tests/model/event_simulation.py"
HOSTS_NEAR_CAPACITY = 12
EVENTS_PER_HOST = 600_000


@dataclass(frozen=True, eq=False)
class DrawnHost:
    """Sources and a capacity curve, with the offered load they amount to."""

    sources: npt.NDArray[np.int64]
    service_s: FloatArray
    period_s: FloatArray
    capacity: FloatArray
    threads: int

    @property
    def load(self) -> float:
        """Work offered over the most the host does. [-]"""
        work = self.sources @ (self.service_s / self.period_s)
        return float(work / self.capacity[-1])


def drawn_host(seed: int, load: float) -> DrawnHost:
    """Draw a host and scale the work of its sources so that they offer the load."""
    rng = np.random.default_rng([seed, 77])
    cores = int(rng.choice([2, 3, 4, 6, 8, 12, 16, 24, 32]))
    per_core = int(rng.integers(1, 3))
    smt_yield, turbo = rng.uniform(0.1, 0.5), rng.uniform(1.0, 1.5)
    busy = np.minimum(np.arange(1, cores * per_core + 1), cores)
    clock = turbo - (turbo - 1) * (busy - 1) / (cores - 1)
    worth = busy + smt_yield * (np.arange(1, cores * per_core + 1) - busy)
    capacity = np.concatenate([[0.0], rng.uniform(0.7, 1.3) * clock * worth])
    classes = int(rng.integers(2, 7))
    period = 1 / rng.choice([2.0, 4.0, 10.0, 15.0, 24.0, 25.0, 30.0, 60.0], classes)
    service = period * rng.uniform(0.03, 0.8, classes)
    shares = rng.dirichlet(np.full(classes, 2.0))
    wanted = load * capacity[-1] * shares / (service / period)
    sources = np.maximum(np.round(wanted), 1).astype(np.int64)
    service = service * load * capacity[-1] / float(sources @ (service / period))
    return DrawnHost(sources, service, period, capacity, cores * per_core)


def hosts_of_all_loads() -> list[DrawnHost]:
    """Draw hosts with loads spread over 0.3 to 2.0."""
    return [drawn_host(seed, load) for seed, load in enumerate(np.linspace(0.3, 2.0, HOSTS))]


def hosts_near_capacity() -> list[DrawnHost]:
    """Draw hosts with loads close about 1, where the number runnable swings most."""
    loads = np.linspace(0.96, 1.1, HOSTS_NEAR_CAPACITY)
    return [drawn_host(1_000 + seed, load) for seed, load in enumerate(loads)]


def _simulate(host: DrawnHost, seed: int) -> StationRun:
    """Follow about EVENTS_PER_HOST events, two for each burst."""
    rate = float(host.sources @ (1 / host.period_s)) / max(host.load, 1)
    seconds = EVENTS_PER_HOST / 2 / rate
    return simulate_station(
        host.sources.tolist(),
        host.service_s.tolist(),
        host.period_s.tolist(),
        host.capacity.tolist(),
        seed,
        seconds,
        seconds / 20,
        BURST_PHASES,
    )


def test_one_source_alone_is_simulated_as_calculus_says() -> None:
    """The simulation itself gives response and rate of a lone source as integrals do."""
    service, period, rate = 0.03, 0.04, 1.25
    run = simulate_station([1], [service], [period], [0, rate], 3, 2_000, 10, BURST_PHASES)
    # Derived: alone, R is the work over the rate; the rate is 1 / E[max(T, R)] over T and R.
    law = gamma(BURST_PHASES, scale=service / rate / BURST_PHASES)
    low, high = period * (1 - JITTER_SHARE), period * (1 + JITTER_SHARE)
    late = quad(lambda t: law.expect(lambda r: r - t, lb=t) / (high - low), low, high)[0]
    assert run.response_s[0] == pytest.approx(service / rate, abs=3 * run.response_error_s[0])
    assert run.rate_hz[0] == pytest.approx(1 / (period + late), abs=3 * run.rate_error_hz[0])


@pytest.mark.slow
def test_paced_sources_fare_as_simulated(checked: Recorder) -> None:
    """Response and delivered rate of every class are within 3 % of the simulated ones.

    Two standard errors of the simulation are allowed on top.
    """
    simulated: dict[str, list[float]] = {"response": [], "delivered rate": []}
    ours: dict[str, list[float]] = {"response": [], "delivered rate": []}
    for seed, host in enumerate(hosts_of_all_loads()):
        run = _simulate(host, seed)
        result = paced_station(host.sources, host.service_s, host.period_s, host.capacity)
        simulated["response"] += run.response_s.tolist()
        simulated["delivered rate"] += run.rate_hz.tolist()
        ours["response"] += result.response_s.tolist()
        ours["delivered rate"] += result.throughput_hz.tolist()
        # Independent: tests/model/event_simulation.py.
        response = np.abs(result.response_s - run.response_s)
        assert (response <= 0.03 * run.response_s + 2 * run.response_error_s).all(), host
        rate = np.abs(result.throughput_hz - run.rate_hz)
        assert (rate <= 0.03 * run.rate_hz + 2 * run.rate_error_hz).all(), host

    for name, expected in simulated.items():
        checked(
            "Paced work", f"{name} of every class on {HOSTS} drawn hosts, load 0.3 to 2.0",
            SIMULATION, expected, ours[name], kind="independent", rel=0.05,
            allowed="3 % and two standard errors of the simulation",
        )  # fmt: skip


@pytest.mark.slow
def test_paced_sources_near_capacity_fare_roughly_as_simulated() -> None:
    """Close about capacity, response and delivered rate of every class hold to 8 %.

    There the response of a source swings with the number runnable for many periods on end, more
    than the law of its response allows for. It comes out too long, most so where few sources
    share few cores; and the rate of a source that needs nearly all of its period, too high.
    """
    for seed, host in enumerate(hosts_near_capacity()):
        run = _simulate(host, seed)
        result = paced_station(host.sources, host.service_s, host.period_s, host.capacity)
        # Independent: tests/model/event_simulation.py. Pinned: the 8 %;
        # 5.1 and 6.0 % are the most that these hosts show.
        response = np.abs(result.response_s - run.response_s)
        assert (response <= 0.08 * run.response_s + 2 * run.response_error_s).all(), host
        rate = np.abs(result.throughput_hz - run.rate_hz)
        assert (rate <= 0.08 * run.rate_hz + 2 * run.rate_error_hz).all(), host


def test_pooled_sources_fare_as_classes_apart(checked: Recorder) -> None:
    """Pooling the classes moves response and rate by at most 1.5 % on nearly all hosts.

    It moves them more where a handful of sources, far from alike, share a few cores.
    """
    strays = []
    each: list[float] = []
    together: list[float] = []
    for host in hosts_of_all_loads():
        apart = paced_station(host.sources, host.service_s, host.period_s, host.capacity)
        response, rate = _pooled(host)
        each += apart.response_s.tolist()
        together += response.tolist()
        strays.append(
            max(
                float(np.abs(response / apart.response_s - 1).max()),
                float(np.abs(rate / apart.throughput_hz - 1).max()),
            )
        )
    # Derived: `paced_station`. Pinned: the share of hosts, and the worst, which is 5.4 %.
    assert np.quantile(strays, 0.85) <= 0.015
    assert max(strays) <= 0.08
    checked(
        "Paced work", f"response of every class on {HOSTS} drawn hosts, all classes pooled",
        "the exact station, class by class", each, together, kind="derived", rel=0.08,
        allowed="8 %; 1.5 % on nearly all hosts",
    )  # fmt: skip


def _pooled(host: DrawnHost) -> tuple[FloatArray, FloatArray]:
    pooled = pooled_stations(
        host.sources[None].astype(float),
        host.service_s / host.period_s,
        host.capacity,
        host.threads,
    )
    response = host.service_s * pooled.response_per_work[0]
    return response, delivered_share(response / host.period_s) / host.period_s
