"""What do textbooks' own methods say about a station, reckoned without Crestline's code?

Each function here is another road to a number that Crestline also computes. All are written for
sureness and not for speed: plain loops, and exact fractions wherever the inputs allow them.
"""

from collections.abc import Callable, Sequence
from fractions import Fraction
from itertools import product
from typing import Any, NamedTuple

import numpy as np


class Flows(NamedTuple):
    """Throughput, response time and number present per class, and the law of the total."""

    throughput: list[Fraction]
    response: list[Fraction]
    present: list[Fraction]
    law: list[Fraction]


def erlang_b(servers: int, erlangs: Fraction) -> Fraction:
    """Return the share of Poisson calls that find all servers taken, by the usual recursion."""
    blocked = Fraction(1)
    for taken in range(1, servers + 1):
        blocked = erlangs * blocked / (taken + erlangs * blocked)
    return blocked


def erlang_c(servers: int, erlangs: Fraction) -> Fraction:
    """Return the share of Poisson arrivals that must wait for one of the servers."""
    blocked = erlang_b(servers, erlangs)
    return servers * blocked / (servers - erlangs * (1 - blocked))


def engset(sources: int, servers: int, erlangs_per_idle_source: Fraction) -> Fraction:
    """Return the share of time in which all servers are taken by a finite set of callers."""
    weight, total = Fraction(1), Fraction(1)
    for taken in range(1, servers + 1):
        weight *= Fraction(sources - taken + 1, taken) * erlangs_per_idle_source
        total += weight
    return weight / total


def birth_death(births: Sequence[Fraction], deaths: Sequence[Fraction]) -> list[Fraction]:
    """Return the law of a chain that goes from n to n + 1 at births[n] and back at deaths[n]."""
    weights = [Fraction(1)]
    for up, down in zip(births, deaths, strict=True):
        weights.append(weights[-1] * up / down)
    total = sum(weights, Fraction(0))
    return [weight / total for weight in weights]


def one_class_station(
    sources: int, service: Fraction, think: Fraction, capacity: Sequence[Fraction]
) -> Flows:
    """Solve a station with one class as a birth-death chain; Little's law does the rest."""
    rates = [capacity[min(n, len(capacity) - 1)] for n in range(sources + 1)]
    law = birth_death(
        [(sources - n) / think for n in range(sources)],
        [rate / service for rate in rates[1:]],
    )
    present = sum((n * share for n, share in enumerate(law)), Fraction(0))
    each = sum((rate * share for rate, share in zip(rates, law, strict=True)), Fraction(0))
    throughput = each / service / sources
    return Flows([throughput], [present / sources / throughput], [Fraction(present, sources)], law)


def station_by_enumeration(
    sources: Sequence[int],
    service: Sequence[Fraction],
    think: Sequence[Fraction],
    capacity: Sequence[Fraction],
) -> Flows:
    """Solve a station of several classes by its product form, one term per mix of classes."""
    total = sum(sources)
    law = [Fraction(0)] * (total + 1)
    present = [Fraction(0)] * len(sources)
    for counts in product(*(range(number + 1) for number in sources)):
        weight, position = Fraction(1), 0
        for number, at_cpu, work, pause in zip(sources, counts, service, think, strict=True):
            for already in range(at_cpu):
                position += 1
                rate = capacity[min(position, len(capacity) - 1)]
                choices = Fraction(number - already, already + 1)
                weight *= choices * position * work / (pause * rate)
        law[sum(counts)] += weight
        for k, at_cpu in enumerate(counts):
            present[k] += at_cpu * weight
    whole = sum(law, Fraction(0))
    share = [value / whole / number for value, number in zip(present, sources, strict=True)]
    throughput = [(1 - p) / pause for p, pause in zip(share, think, strict=True)]
    response = [p / x for p, x in zip(share, throughput, strict=True)]
    return Flows(throughput, response, share, [value / whole for value in law])


class NetworkFlows(NamedTuple):
    """Per class the throughput; per centre and class the number present and residence time."""

    throughput: list[Fraction]
    present: list[list[Fraction]]
    residence: list[list[Fraction]]


def mean_value_analysis(
    population: Sequence[int], demands: Sequence[Sequence[Fraction]], think: Sequence[Fraction]
) -> NetworkFlows:
    """Solve a network of one-server centres, several classes, by exact mean value analysis.

    `demands[centre][class]` is the work of one cycle at the centre.
    """
    classes, centres = range(len(population)), range(len(demands))
    queues: dict[tuple[int, ...], list[Fraction]] = {}
    flows = NetworkFlows([], [], [])
    for mix in product(*(range(number + 1) for number in population)):
        flows = NetworkFlows(
            [Fraction(0) for _ in classes],
            [[Fraction(0) for _ in classes] for _ in centres],
            [[Fraction(0) for _ in classes] for _ in centres],
        )
        for k in classes:
            if mix[k] == 0:
                continue
            seen = queues[tuple(n - (j == k) for j, n in enumerate(mix))]
            for i in centres:
                flows.residence[i][k] = demands[i][k] * (1 + seen[i])
            cycle = think[k] + sum(flows.residence[i][k] for i in centres)
            flows.throughput[k] = mix[k] / cycle
            for i in centres:
                flows.present[i][k] = flows.throughput[k] * flows.residence[i][k]
        queues[mix] = [sum(flows.present[i], Fraction(0)) for i in centres]
    return flows


class Subnetwork(NamedTuple):
    """Of centres that pass j customers round among themselves, j = 0, 1, 2, ...

    `throughput[j]` counts cycles per second; `law[j][centre][n]` is the share of time with n of
    the j customers at the centre; `constants[j]` is the normalising constant G(j).
    """

    throughput: list[Fraction]
    law: list[list[list[Fraction]]]
    constants: list[Fraction]


def convolution(demands: Sequence[Fraction], servers: Sequence[int], population: int) -> Subnetwork:
    """Solve one class on centres with one or more servers each, by Buzen's convolution."""

    def weights(demand: Fraction, number: int) -> list[Fraction]:
        out = [Fraction(1)]
        for n in range(1, population + 1):
            out.append(out[-1] * demand / min(n, number))
        return out

    def combined(factors: Sequence[Sequence[Fraction]]) -> list[Fraction]:
        total = [Fraction(1)] + [Fraction(0)] * population
        for factor in factors:
            total = [
                sum((total[i] * factor[n - i] for i in range(n + 1)), Fraction(0))
                for n in range(population + 1)
            ]
        return total

    each = [weights(d, m) for d, m in zip(demands, servers, strict=True)]
    constants = combined(each)
    others = [combined(each[:i] + each[i + 1 :]) for i in range(len(each))]
    throughput = [Fraction(0)] + [constants[j - 1] / constants[j] for j in range(1, population + 1)]
    law = [
        [
            [each[i][n] * others[i][j - n] / constants[j] for n in range(j + 1)]
            for i in range(len(each))
        ]
        for j in range(population + 1)
    ]
    return Subnetwork(throughput, law, constants)


def load_dependent_recursion(
    sources: int,
    service: float,
    think: float,
    capacity: Sequence[float],
    number: Callable[[Any], Any] = float,
) -> tuple[Any, list[Any]]:
    """Return throughput of all sources and the queue's law, by the textbook recursion.

    Mean value analysis of a load-dependent centre: the share of an empty centre is what is left
    of 1, and that subtraction eats the digits. `number` makes the numbers: float as in a plain
    program, Decimal or Fraction to see the same recursion without loss.
    """
    work, pause, one = number(service), number(think), number(1)
    rates = [number(rate) for rate in capacity]
    law = [one]
    throughput = number(0)
    for present in range(1, sources + 1):
        steps = [min(j, len(rates) - 1) for j in range(1, present + 1)]
        response = sum(
            number(j) * work / rates[step] * law[j - 1]
            for j, step in zip(range(1, present + 1), steps, strict=True)
        )
        throughput = number(present) / (pause + response)
        busy = [
            throughput * work / rates[step] * law[j - 1]
            for j, step in zip(range(1, present + 1), steps, strict=True)
        ]
        law = [one - sum(busy), *busy]
    return throughput, law


def dense_chain(
    sources: Sequence[int],
    service: Sequence[float],
    think: Sequence[float],
    capacity: Sequence[float],
) -> tuple[list[tuple[int, ...]], np.ndarray]:
    """Return all states (number at the CPU per class) and their shares of time.

    The Markov chain with exponential bursts and think times, its generator written out in full
    and solved as linear equations.
    """
    states = list(product(*(range(number + 1) for number in sources)))
    place = {state: i for i, state in enumerate(states)}
    generator = np.zeros((len(states), len(states)))
    for state, i in place.items():
        running = sum(state)
        for k, at_cpu in enumerate(state):
            moves = [(1, (sources[k] - at_cpu) / think[k])]
            if at_cpu:
                rate = capacity[min(running, len(capacity) - 1)] / running
                moves.append((-1, at_cpu * rate / service[k]))
            for change, rate in moves:
                if rate > 0:
                    to = place[tuple(n + change * (j == k) for j, n in enumerate(state))]
                    generator[i, to] += rate
                    generator[i, i] -= rate
    equations = np.vstack([generator.T[:-1], np.ones(len(states))])
    right = np.zeros(len(states))
    right[-1] = 1
    return states, np.linalg.solve(equations, right)
