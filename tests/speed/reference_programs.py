"""What do general queueing programs need for a closed station, and what do they answer?

This file runs in an interpreter that has those programs, see `reference_environment.py`: it reads
tasks as JSON, one a line, and answers each by a line. It imports nothing of Crestline. `measured`
and `mean_and_error` serve both sides, so that all are measured alike.
"""

import json
import math
import sys
import tracemalloc
from collections.abc import Callable, Sequence
from statistics import median
from time import process_time
from typing import Any, TypeVar

import numpy as np

Answer = TypeVar("Answer")

MOST_STEPS = 3_000_000  # of the recursion over all populations: some five seconds
TRACED_BELOW_S = 1.0  # another run under tracemalloc takes a few times as long
BATCHES = 20
WARM_UP_SHARE = 0.2


def measured(work: Callable[[], Answer]) -> tuple[Answer, float, float | None]:
    """Return the answer, the median time of a call on the CPU [s] and its peak memory. [bytes]

    The first call warms up, unless it is long. Memory is None where tracing it takes too long.
    All that is measured runs on one thread; neighbours on the computer do not count.
    """
    begun = process_time()
    answer = work()
    times = [process_time() - begun]
    if times[0] < 1:
        times = []
        while sum(times) < 0.3 and len(times) < 50:
            begun = process_time()
            work()
            times.append(process_time() - begun)
    peak = None
    if median(times) < TRACED_BELOW_S:
        tracemalloc.start()
        work()
        peak = float(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    return answer, median(times), peak


def mean_and_error(values: Sequence[float]) -> tuple[float, float]:
    """Return the mean of values in the order of time, and its standard error from batches."""
    used = np.array(values[int(WARM_UP_SHARE * len(values)) :])
    size = len(used) // BATCHES
    means = used[: size * BATCHES].reshape(BATCHES, size).mean(axis=1)
    return float(means.mean()), float(means.std(ddof=1) / BATCHES**0.5)


def mean_value_analysis(task: dict[str, Any]) -> dict[str, Any]:
    """Exact mean value analysis with rates that depend on the number present (LINE)."""
    from line_solver.api.pfqn.mvald import pfqn_mvald

    number, service, think, rates = _arrays(task)
    states = math.prod(n + 1 for n in task["sources"])
    if states * int(number.sum()) * len(number) > MOST_STEPS:
        return {"states": states}
    answer, seconds, peak = measured(lambda: pfqn_mvald(service, number, think, rates))
    throughput = answer[0].ravel() / number
    return {"throughput_hz": throughput.tolist(), "seconds": seconds, "peak": peak,
            "warned": not answer[5]}  # fmt: skip


def normalising_constants(task: dict[str, Any]) -> dict[str, Any]:
    """Class-oriented method of moments for the same station: constants, one class short (LINE)."""
    from line_solver.api.pfqn.ncld import pfqn_comomrm_ld

    number, service, think, rates = _arrays(task)

    def log_constant(population: Any) -> float:
        upto = int(population.sum())
        return float(pfqn_comomrm_ld(service, population, think, rates[:, :upto]).lG)

    def throughput() -> list[float]:
        whole = log_constant(number)
        return [
            math.exp(log_constant(number - one) - whole) / count
            for one, count in zip(np.eye(len(number), dtype=int), number, strict=True)
        ]

    answer, seconds, peak = measured(throughput)
    return {"throughput_hz": answer, "seconds": seconds, "peak": peak}


def _arrays(task: dict[str, Any]) -> tuple[Any, Any, Any, Any]:
    number = np.array(task["sources"])
    rates = np.array(task["capacity"][1 : int(number.sum()) + 1])
    return number, np.array([task["service_s"]]), np.array(task["think_s"]), rates[None, :]


def event_simulation(task: dict[str, Any]) -> dict[str, Any]:
    """Processor sharing by a general simulation of queueing networks (Ciw)."""
    import ciw

    names = [f"class {k}" for k in range(len(task["sources"]))]
    once = {name: ciw.dists.Sequential([1e-9 * (k + 1), math.inf]) for k, name in enumerate(names)}
    network = ciw.create_network(
        arrival_distributions={name: [once[name], None] for name in names},
        batching_distributions={
            name: [ciw.dists.Deterministic(count), ciw.dists.Deterministic(1)]
            for name, count in zip(names, task["sources"], strict=True)
        },
        service_distributions={
            name: [ciw.dists.Exponential(1 / think), ciw.dists.Exponential(1 / work)]
            for name, think, work in zip(names, task["think_s"], task["service_s"], strict=True)
        },
        routing={name: [[0.0, 1.0], [1.0, 0.0]] for name in names},
        number_of_servers=[math.inf, math.inf],
        ps_thresholds=[1, task["cores"]],
    )

    def run(until_s: float) -> tuple[float, list[float]]:
        ciw.seed(task["seed"])
        begun = process_time()
        simulation = ciw.Simulation(network, node_class=[ciw.Node, ciw.PSNode])
        simulation.simulate_until_max_time(until_s)
        bursts = sorted(
            (record.exit_date, record.exit_date - record.arrival_date)
            for record in simulation.get_all_records()
            if record.node == 2
        )
        return process_time() - begun, [response for _, response in bursts]

    return bounded(run, task)


def bounded(
    run: Callable[[float], tuple[float, list[float]]], task: dict[str, Any]
) -> dict[str, Any]:
    """Run a simulation for about the time allowed and return mean, error and time. [s]"""
    until_s, took = 4.0, 0.0
    while took < 0.1 * task["budget_s"]:
        until_s *= 2
        took, _ = run(until_s)
    seconds, responses = run(until_s * 0.9 * task["budget_s"] / took)
    mean, error = mean_and_error(responses)
    return {"response_s": mean, "error_s": error, "seconds": seconds, "bursts": len(responses)}


PROGRAMS = {
    work.__name__: work for work in (mean_value_analysis, normalising_constants, event_simulation)
}


def main() -> None:
    """Answer the tasks on the standard input."""
    for line in sys.stdin:
        task = json.loads(line)
        print(json.dumps(PROGRAMS[task["program"]](task)), flush=True)


if __name__ == "__main__":
    main()
