"""How does the exact station compare with general programs for queueing networks?

Run with `-m speed -s`: prints two tables of ratios, all from one run, with the versions compared.
Every pair compared is checked to answer the same question.
"""

import math
from collections.abc import Sequence
from decimal import Decimal, localcontext
from functools import partial
from heapq import heappop, heappush
from importlib.metadata import version
from time import process_time
from typing import Any

import numpy as np
import pytest
import simpy

from model.contention import closed_station
from tests.model.queueing_references import load_dependent_recursion
from tests.speed import reference_environment
from tests.speed.reference_programs import bounded, measured

pytestmark = pytest.mark.speed

SERVICE_S = (0.05, 0.02, 0.03, 0.01)
THINK_S = (0.45, 0.3, 0.1, 0.2)
POPULATIONS = (10, 20, 40, 80, 160, 320, 640)
SIMULATED_POPULATIONS = (10, 40, 160, 640)
BUDGET_S = 4.0  # on the CPU, for each simulated population and program
COMPARED_ERROR = 0.001  # of the mean response: the standard error at which times are compared
DIGITS = 60  # with which the judge calculates


def shared_out(total: int, classes: int) -> list[int]:
    """Share sources among the classes as evenly as can be."""
    return [total // classes + (k < total % classes) for k in range(classes)]


def host(total: int, classes: int, load: float) -> dict[str, Any]:
    """Return sources on as many cores as make the load, with a second thread worth a quarter."""
    sources = shared_out(total, classes)
    service, think = SERVICE_S[:classes], THINK_S[:classes]
    busy = sum(n * s / (s + z) for n, s, z in zip(sources, service, think, strict=True))
    cores = max(math.ceil(busy / load), 1)
    capacity = [min(n, cores) + 0.25 * min(max(n - cores, 0), cores) for n in range(total + 2)]
    return {"sources": sources, "service_s": service, "think_s": think, "capacity": capacity,
            "cores": cores}  # fmt: skip


def judged_throughput(task: dict[str, Any]) -> list[Decimal]:
    """Return bursts per second and source from normalising constants, with 60 digits."""
    odds = [
        Decimal(s) / Decimal(z) for s, z in zip(task["service_s"], task["think_s"], strict=True)
    ]

    def constant(sources: Sequence[int]) -> Decimal:
        ways = [Decimal(1)]
        for count, each in zip(sources, odds, strict=True):
            for _ in range(count):
                shifted = [Decimal(0), *(each * way for way in ways)]
                ways = [a + b for a, b in zip([*ways, Decimal(0)], shifted, strict=True)]
        total, weight = ways[0], Decimal(1)
        for n, way in enumerate(ways[1:], start=1):
            weight *= n / Decimal(task["capacity"][n])
            total += way * weight
        return total

    with localcontext() as context:
        context.prec = DIGITS
        whole = constant(task["sources"])
        short = [
            constant([n - (j == k) for j, n in enumerate(task["sources"])])
            for k in range(len(odds))
        ]
        return [g / whole / Decimal(z) for g, z in zip(short, task["think_s"], strict=True)]


def digits_kept(values: Sequence[float], judged: Sequence[Decimal]) -> float:
    """Return how many digits of the worst value are right."""
    worst = max(
        abs(Decimal(value) / right - 1) if math.isfinite(value) else Decimal(10)
        for value, right in zip(values, judged, strict=True)
    )
    return min(16.0, -math.log10(max(float(worst), 1e-16)))


def compared(own: dict[str, Any], other: dict[str, Any], judged: Sequence[Decimal]) -> str:
    """Return the cells for a program: time and memory over Crestline's, and digits."""
    if "states" in other:
        return f"not run: {other['states']:,} populations | | "
    kept = digits_kept(other["throughput_hz"], judged)
    memory = "" if other["peak"] is None else f"{other['peak'] / own['peak']:.1f}"
    told = f"{kept:.0f}" if kept >= 1 else f"off by {10**-kept:.0%}"
    told += ", it warns" if other.get("warned") else ""
    return f"{other['seconds'] / own['seconds']:.2f} | {memory} | {told}"


def own_answer(task: dict[str, Any]) -> dict[str, Any]:
    """Return Crestline's answer in the shape of the reference programs'."""
    asked = [task[name] for name in ("sources", "service_s", "think_s", "capacity")]
    result, seconds, peak = measured(lambda: closed_station(*asked))
    return {"throughput_hz": result.throughput_hz.tolist(), "seconds": seconds, "peak": peak}


def recursion(task: dict[str, Any]) -> dict[str, Any]:
    """Return the textbook recursion in floats; one class only."""
    (sources,), (service,), (think,) = task["sources"], task["service_s"], task["think_s"]
    with np.errstate(all="ignore"):
        (total, _), seconds, peak = measured(
            lambda: load_dependent_recursion(sources, service, think, task["capacity"])
        )
    return {"throughput_hz": [float(total) / sources], "seconds": seconds, "peak": peak}


def test_station_against_exact_methods(capsys: pytest.CaptureFixture[str]) -> None:
    """Every exact method agrees while it holds; prints time, memory and digits of each."""
    tasks = [host(total, classes, 1.1) for classes in (1, 2, 3, 4) for total in POPULATIONS]
    programs = ("mean_value_analysis", "normalising_constants")
    found = reference_environment.answers(
        task | {"program": program} for task in tasks for program in programs
    )
    lines = []
    for row, task in enumerate(tasks):
        analysis, constants = found[2 * row : 2 * row + 2]
        own, judged = own_answer(task), judged_throughput(task)
        plain = recursion(task) if len(task["sources"]) == 1 else None
        kept = digits_kept(own["throughput_hz"], judged)
        total = sum(task["sources"])
        # Derived: the judge's normalising constants.
        assert kept >= 12
        assert digits_kept(constants["throughput_hz"], judged) >= 9
        for other in (analysis, plain):
            assert other is None or total > 20 or digits_kept(other["throughput_hz"], judged) >= 9
        lines.append(
            f"| {len(task['sources'])} | {total} | {own['seconds'] * 1e3:.2f} | "
            f"{own['peak'] / 1024:.0f} | {kept:.0f} | {compared(own, analysis, judged)} | "
            f"{compared(own, constants, judged)} | "
            f"{compared(own, plain, judged) if plain else '| |'} |"
        )
    with capsys.disabled():
        print(f"\n\n{told_versions()}\nload 1.1; ratios: other over Crestline; digits of the "
              f"throughput against {DIGITS} digits")  # fmt: skip
        print("| classes | sources | Crestline ms | KiB | digits "
              "| mean value analysis: time | memory | digits "
              "| method of moments: time | memory | digits "
              "| plain recursion: time | memory | digits |")  # fmt: skip
        print("|" + "---|" * 14)
        print("\n".join(lines))


class Cpu:
    """Processor sharing for SimPy: a virtual clock, by which every burst has a fixed end."""

    def __init__(self, env: simpy.Environment, cores: int) -> None:
        self.env, self.cores = env, cores
        self.running: list[tuple[float, int, simpy.Event]] = []
        self.clock = self.since = 0.0
        self.begun = self.plans = 0

    def burst(self, work_s: float) -> simpy.Event:
        """Begin a burst; the event comes at its end."""
        self._advance()
        self.begun += 1
        ended = self.env.event()
        heappush(self.running, (self.clock + work_s, self.begun, ended))
        self._plan()
        return ended

    def _pace(self) -> float:
        return min(1.0, self.cores / len(self.running)) if self.running else 0.0

    def _advance(self) -> None:
        self.clock += (self.env.now - self.since) * self._pace()
        self.since = self.env.now

    def _plan(self) -> None:
        self.plans += 1
        if self.running:
            wait = max(self.running[0][0] - self.clock, 0) / self._pace()
            self.env.timeout(wait, self.plans).callbacks.append(self._end)

    def _end(self, event: simpy.Event) -> None:
        if event.value == self.plans:  # else something happened since
            self._advance()
            self.clock, _, ended = heappop(self.running)
            ended.succeed()
            self._plan()


def simulated(task: dict[str, Any]) -> Any:
    """Follow every burst of the task's sources by SimPy, for about the time allowed."""

    def run(until_s: float) -> tuple[float, list[float]]:
        begun = process_time()
        rng = np.random.default_rng(task["seed"])
        env = simpy.Environment()
        cpu = Cpu(env, task["cores"])
        responses: list[float] = []

        def source(service_s: float, think_s: float) -> Any:
            while True:
                yield env.timeout(rng.exponential(think_s))
                start = env.now
                yield cpu.burst(rng.exponential(service_s))
                responses.append(env.now - start)

        for k, count in enumerate(task["sources"]):
            for _ in range(count):
                env.process(source(task["service_s"][k], task["think_s"][k]))
        env.run(until_s)
        return process_time() - begun, responses

    return bounded(run, task)


def test_station_against_event_simulations(capsys: pytest.CaptureFixture[str]) -> None:
    """Both simulations agree within four of their standard errors; prints times at 0.1 %."""
    tasks = []
    for total in SIMULATED_POPULATIONS:
        task = host(total, 2, 0.9) | {"seed": total, "budget_s": BUDGET_S}
        task["capacity"] = [min(n, task["cores"]) for n in range(total + 2)]
        tasks.append(task | {"program": "event_simulation"})
    general = reference_environment.answers(tasks)
    lines = []
    for task, ciw in zip(tasks, general, strict=True):
        asked = [task[name] for name in ("sources", "service_s", "think_s", "capacity")]
        result, seconds, _ = measured(partial(closed_station, *asked))
        rate = np.array(task["sources"]) * result.throughput_hz
        mean_s = float(rate @ result.response_s / rate.sum())
        cells = []
        for run in (simulated(task), ciw):
            # Independent: SimPy and Ciw.
            assert run["response_s"] == pytest.approx(mean_s, abs=4 * run["error_s"])
            assert run["error_s"] < 0.05 * mean_s
            error = run["error_s"] / mean_s
            equal_s = run["seconds"] * (error / COMPARED_ERROR) ** 2
            cells.append(
                f"{run['seconds']:.1f} | {error:.2%} | {equal_s:.1f} | {equal_s / seconds:,.0f}"
            )
        lines.append(f"| {sum(task['sources'])} | {seconds * 1e3:.2f} | {' | '.join(cells)} |")
    with capsys.disabled():
        print(f"\n\n{told_versions()}\n2 classes, load 0.9; time to a standard error of "
              f"{COMPARED_ERROR:.1%} of the mean response; Crestline has none")  # fmt: skip
        print("| sources | Crestline ms | SimPy run s | its error | s to 0.1 % | over Crestline "
              "| Ciw run s | its error | s to 0.1 % | over Crestline |")  # fmt: skip
        print("|" + "---|" * 10)
        print("\n".join(lines))


def told_versions() -> str:
    """Return the versions on both sides, in words."""
    own = {name: version(name) for name in ("numpy", "simpy")}
    sides = {"here": own, "reference programs": reference_environment.versions()}
    return "; ".join(
        f"{side}: " + ", ".join(f"{name} {number}" for name, number in found.items())
        for side, found in sides.items()
    )
