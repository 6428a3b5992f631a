"""Does the closed station give the numbers that others printed or computed?

The rows stand in tests/references/queueing_values.json, each with its source, its kind
(published, second-hand, from memory, independent, derived) and its tolerance; the README beside it
explains them. Each row names a relation, and the function of that name below says how the row's
situation is one of the station's.
"""

import json
from collections.abc import Callable
from fractions import Fraction
from math import exp, lgamma, log, pi, sqrt
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import norm

from model.contention import StationResult, closed_station
from tests.checked import Recorder
from tests.model.queueing_references import (
    convolution,
    engset,
    erlang_b,
    erlang_c,
    mean_value_analysis,
)

REFERENCES = Path(__file__).parent.parent / "references"
VALUES: dict[str, Any] = json.loads((REFERENCES / "queueing_values.json").read_text("utf-8"))
Quantities = dict[str, Any]


def exact(value: float | str | None) -> Fraction:
    """Read a number of the file: 0.25, "1/3", "0.5/0.7"; a decimal is taken as it is written."""
    over = str(value).split("/")
    return Fraction(over[0]) / Fraction(over[1] if len(over) > 1 else 1)


def number(value: float | str) -> float:
    """Read a number of the file as a float."""
    return float(exact(value))


def numbers(values: list[float | str]) -> list[float]:
    """Read a list of numbers of the file as floats."""
    return [number(value) for value in values]


def one_core(sources: int, service_s: float, think_s: float) -> StationResult:
    """Solve alike sources on one core of speed 1."""
    return closed_station([sources], [service_s], [think_s], [0, 1])


# ------------------------------------------------------------ the rows' situations as stations


def station(inputs: dict[str, Any]) -> Quantities:
    """The row is a closed station as it stands."""
    count = np.array(inputs["sources"])
    service, think = np.array(numbers(inputs["service_s"])), np.array(numbers(inputs["think_s"]))
    capacity = np.array(numbers(inputs["capacity"]))
    result = closed_station(count, service, think, capacity)
    queue = np.arange(len(result.queue_pmf))
    cores = int(np.argmax(capacity))  # fewest runnable sources that get all there is
    runnable = count * result.throughput_hz * result.response_s
    return {
        "throughput_hz": result.throughput_hz,
        "total_throughput_hz": count * result.throughput_hz,
        "response_s": result.response_s,
        "stretch": result.response_s / service,
        "wait_s": result.response_s - service,
        "runnable_share": result.throughput_hz * result.response_s,
        "runnable": runnable,
        "thinking": count - runnable,
        "busy": count * result.throughput_hz * service,
        "mean_runnable": result.mean_runnable,
        "mean_waiting": result.queue_pmf @ np.maximum(queue - cores, 0),
        "queue_pmf": {str(n): share for n, share in enumerate(result.queue_pmf)},
        "busy_share": 1 - result.queue_pmf[0],
        "all_busy_share": result.queue_pmf[cores:].sum(),
        "delivered": result.delivered,
    }


def network(inputs: dict[str, Any]) -> Quantities:
    """Several centres and a think time: the centres together are one station.

    What they pass on with j customers among them is the station's capacity (flow-equivalent
    aggregation, exact here); how the j spread over the centres comes from the convolution.
    Without think time all sources are at the centres, and the station has only to say so.
    """
    sources, think = inputs["sources"], exact(inputs["think_s"])
    demands = [exact(demand) for demand in inputs["demands_s"]]
    inner = convolution(demands, inputs["servers"], sources)
    result = closed_station([sources], [1], [float(think)], [float(x) for x in inner.throughput])

    law = np.zeros((len(demands), sources + 1))
    for j, share in enumerate(result.queue_pmf):
        for i, centre in enumerate(inner.law[j]):
            law[i, : j + 1] += share * np.array([float(x) for x in centre])
    present = law @ np.arange(sources + 1)
    throughput = sources * result.throughput_hz[0]
    scale = exact(inputs.get("scale_s", 1))
    with_think = convolution([*demands, think], [*inputs["servers"], sources], sources)
    return {
        "throughput_hz": throughput,
        "response_s": result.response_s[0],
        "present": present,
        "thinking": sources - result.mean_runnable,
        "residence_per_visit_s": present
        / throughput
        / np.array(inputs.get("visits", [1] * len(demands))),
        "law_of_centre": {str(i): shares for i, shares in enumerate(law)},
        "constants": [float(g / scale**n) for n, g in enumerate(inner.constants)],
        "constants_with_think": [float(g / scale**n) for n, g in enumerate(with_think.constants)],
    }


def two_centres(inputs: dict[str, Any]) -> Quantities:
    """Customers of several classes go to and fro between two centres: one centre is the station.

    Those at the other centre share it, which a think time does not know; a capacity of as many
    cores as customers are left elsewhere, the one that comes back included, weighs each mix of
    classes the same. The clock of that station is another one, so only numbers present are read
    off it; what an arriving customer finds is what the network holds without it.
    """
    sources, demands = inputs["sources"], [numbers(centre) for centre in inputs["demands_s"]]

    def present(count: list[int]) -> np.ndarray:
        total = sum(count)
        capacity = [0, *range(total, 0, -1)] if total else [0, 1]
        result = closed_station(count, *demands, capacity)
        here = np.array(count) * result.throughput_hz * result.response_s
        return np.array([here, np.array(count) - here])

    found = np.array(
        [
            present([n - (j == k) for j, n in enumerate(sources)]).sum(axis=1)
            for k in range(len(sources))
        ]
    ).T
    at, residence = present(sources), np.array(demands) * (1 + found)
    throughput = np.array(sources) / residence.sum(axis=0)
    assert at == pytest.approx(throughput * residence, rel=1e-12)  # Little's law, either centre
    return {"present": at, "residence": residence, "throughput": throughput}


def response_law(inputs: dict[str, Any]) -> Quantities:
    """One core, with the work per burst at which the throughput is as printed."""
    sources, think = inputs["sources"], inputs["think_s"]
    wanted = inputs["throughput_hz"]
    if wanted is None:  # utilisation law at one device, and the flow forced through it
        wanted = inputs["busy_share"] / inputs["service_s"] / inputs["visits"]
    service = brentq(
        lambda s: sources * one_core(sources, s, think).throughput_hz[0] - wanted, 1e-6, 1e3
    )
    result = one_core(sources, service, think)
    return {
        "response_s": result.response_s[0],
        "throughput_hz": sources * result.throughput_hz[0],
    }


def asymptotes(inputs: dict[str, Any]) -> Quantities:
    """The two lines between which a network's response lies, read off our own stations."""
    demands = [exact(demand) for demand in inputs["demands_s"]]
    many = 300
    inner = convolution(demands, [1] * len(demands), many)
    capacity = [float(x) for x in inner.throughput]

    def response(sources: int) -> float:
        return float(closed_station([sources], [1], [inputs["think_s"]], capacity).response_s[0])

    for sources in (1, 2, 5, 10, 50):
        line = max(float(sum(demands)), sources * float(max(demands)) - inputs["think_s"])
        assert response(sources) >= line * (1 - 1e-12)
    slope = response(many) - response(many - 1)
    offset = many * slope - response(many)
    return {
        "alone_s": response(1),
        "knee": (response(1) + offset) / slope,
        "sources": (inputs["response_s"] + offset) / slope,
    }


def open_limit(inputs: dict[str, Any]) -> Quantities:
    """Poisson arrivals: very many sources, each asking very seldom."""
    sources = 1_000_000
    result = closed_station(
        [sources],
        [inputs["service_s"]],
        [sources / inputs["arrivals_hz"]],
        range(inputs["cores"] + 1),
    )
    return {
        "response_s": result.response_s[0],
        "mean_runnable": result.mean_runnable,
        "busy_share": 1 - result.queue_pmf[0],
        "visits_hz": sources * result.throughput_hz[0] * inputs.get("visits", 1),
    }


def blocked(lines: int, erlangs: float) -> float:
    """Erlang's B formula: how often one core idles whose sources think `erlangs` times as long
    as a burst lasts, with as many sources as lines."""
    return float(one_core(lines, 1, erlangs).queue_pmf[0])


def waits(servers: int, erlangs: float) -> float:
    """Erlang's C formula, by its identity with the B formula."""
    b = blocked(servers, erlangs)
    return servers * b / (servers - erlangs * (1 - b))


def erlang_b_value(inputs: dict[str, Any]) -> Quantities:
    """The share of calls blocked."""
    return {"blocked": [blocked(lines, erlangs) for lines, erlangs in inputs["pairs"]]}


def erlang_b_load(inputs: dict[str, Any]) -> Quantities:
    """The load at which the given share of calls is blocked."""
    return {
        "erlangs": [
            brentq(lambda load: blocked(lines, load) - share, 1e-3, 2 * lines + 5)  # noqa: B023
            for lines, share in zip(inputs["lines"], inputs["blocked"], strict=True)
        ]
    }


def erlang_b_lines(inputs: dict[str, Any]) -> Quantities:
    """The fewest lines that block at most the given share."""
    return {
        "lines": [
            next(c for c in range(1, 1000) if blocked(c, number(load)) <= share)
            for load, share in zip(inputs["erlangs"], inputs["blocked"], strict=True)
        ]
    }


def erlang_c_value(inputs: dict[str, Any]) -> Quantities:
    """Poisson arrivals, exponential or shared service: all follows from the share that waits."""
    service, servers = number(inputs["service_s"]), inputs["servers"]
    erlangs = inputs["arrivals_hz"] * service
    wait_share = waits(servers, erlangs)
    spare = servers - erlangs
    log_weight = servers * log(erlangs) - lgamma(servers + 1)
    waiting = wait_share * erlangs / spare
    return {
        "waits": wait_share,
        "empty": wait_share * spare / servers * exp(-log_weight),
        "waiting": waiting,
        "present": waiting + erlangs,
        "wait_s": waiting / inputs["arrivals_hz"],
        "response_s": waiting / inputs["arrivals_hz"] + service,
        "wait_of_delayed_s": service / spare,
    }


def many_servers(inputs: dict[str, Any]) -> Quantities:
    """The limit for many servers: 250 000 of them are within 0.001 of it."""
    servers = 250_000

    def share(spare: float) -> float:
        return waits(servers, servers - spare * sqrt(servers))

    return {
        "waits": [share(spare) for spare in inputs.get("spare", inputs["waits"])],
        "spare": [
            brentq(lambda spare: share(spare) - wanted, 0.05, 3, xtol=1e-5)  # noqa: B023
            for wanted in inputs["waits"]
        ],
    }


def staffing_exact(inputs: dict[str, Any]) -> Quantities:
    """The fewest servers with which at most the given share waits."""
    return {
        "servers": [
            [
                next(c for c in range(load + 1, 2 * load + 9) if waits(c, load) <= share)
                for share in inputs["waits"]
            ]
            for load in inputs["erlangs"]
        ]
    }


def staffing_square_root(inputs: dict[str, Any]) -> Quantities:
    """The load and so many of its square roots as the limit asks for, rounded up.

    The limit itself is written out here; `many_servers` compares it with the station.
    """

    def spare(share: float) -> float:
        def excess(x: float) -> float:
            density = exp(-x * x / 2) / sqrt(2 * pi)
            return float(x * norm.cdf(x) / density - (1 - share) / share)

        return float(brentq(excess, 1e-6, 6))

    servers = [
        [int(np.ceil(load + spare(share) * sqrt(load))) for share in inputs["waits"]]
        for load in inputs["erlangs"]
    ]
    for load, row in zip(inputs["erlangs"], servers, strict=True):
        for count, share in zip(row, inputs["waits"], strict=True):
            assert waits(count + 1, load) <= share  # at most one server short, says the station
            assert count - 1 <= load or waits(count - 1, load) > share
    return {"servers": servers}


def limited_room(inputs: dict[str, Any]) -> Quantities:
    """Steady arrivals and limited room, as a station whose capacity undoes its own sources.

    With fewer sources left to ask, arrivals slow down; capacity is made to fall in proportion.
    """
    room, servers, service = inputs["room"], inputs["servers"], number(inputs["service_s"])
    capacity = [0.0] + [
        (room - n + 1) * min(n, servers) / (inputs["arrivals_hz"] * service)
        for n in range(1, room + 1)
    ]
    pmf = closed_station([room], [1], [1], capacity).queue_pmf
    present = pmf @ np.arange(room + 1)
    arrivals = inputs["arrivals_hz"] * (1 - pmf[room])
    return {
        "empty": pmf[0],
        "full": pmf[room],
        "present": present,
        "response_s": present / arrivals,
        "wait_s": present / arrivals - service,
    }


def engset_value(inputs: dict[str, Any]) -> Quantities:
    """Callers turned away when all lines are taken: the uncontended queue law, cut there."""
    sources, servers = inputs["sources"], inputs["servers"]
    load = number(inputs["erlangs_per_idle_source"])

    def cut(callers: int) -> np.ndarray:
        pmf = closed_station([callers], [load], [1], range(callers + 1)).queue_pmf[: servers + 1]
        return np.asarray(pmf / pmf.sum())

    carried = cut(sources) @ np.arange(servers + 1)
    return {
        "time_congestion": cut(sources)[servers],
        "call_congestion": cut(sources - 1)[servers],
        "traffic_congestion": 1 - carried / (sources * load / (1 + load)),
    }


RELATIONS: dict[str, Callable[[dict[str, Any]], Quantities]] = {
    "station": station,
    "network": network,
    "two_centres": two_centres,
    "response_law": response_law,
    "asymptotes": asymptotes,
    "open_limit": open_limit,
    "erlang_b": erlang_b_value,
    "erlang_b_load": erlang_b_load,
    "erlang_b_lines": erlang_b_lines,
    "erlang_c": erlang_c_value,
    "many_servers": many_servers,
    "staffing_exact": staffing_exact,
    "staffing_square_root": staffing_square_root,
    "limited_room": limited_room,
    "engset": engset_value,
}


IN_WORDS = {
    "station": "closed station",
    "network": "closed network",
    "two_centres": "two centres",
    "response_law": "response law",
    "asymptotes": "bounds",
    "open_limit": "open station",
    "erlang_b": "Erlang B",
    "erlang_b_load": "Erlang B, load",
    "erlang_b_lines": "Erlang B, lines",
    "erlang_c": "Erlang C",
    "many_servers": "very many servers",
    "staffing_exact": "staffing",
    "staffing_square_root": "staffing by the square root",
    "limited_room": "limited room",
    "engset": "Engset",
}


# ------------------------------------------------------------------------------- the comparison


def compare(got: Any, expected: Any, tolerance: dict[str, float], where: str) -> int:
    """Compare all numbers of a row and return how many there were; null stands for any."""
    if expected is None:
        return 0
    if isinstance(expected, dict):
        return sum(compare(got[k], v, tolerance, f"{where}.{k}") for k, v in expected.items())
    if isinstance(expected, list):
        return sum(compare(got[i], v, tolerance, f"{where}[{i}]") for i, v in enumerate(expected))
    limit = pytest.approx(
        number(expected), rel=tolerance.get("rel", 0.0), abs=tolerance.get("abs", 0.0)
    )
    assert float(got) == limit, where
    return 1


def pairs(got: Any, expected: Any) -> list[tuple[float, float]]:
    """Return all numbers of a row beside ours."""
    if expected is None:
        return []
    if isinstance(expected, dict | list):
        keys = expected if isinstance(expected, dict) else range(len(expected))
        return [pair for key in keys for pair in pairs(got[key], expected[key])]
    return [(number(expected), float(got))]


@pytest.mark.parametrize(
    "row", VALUES["rows"], ids=lambda row: f"{row['ids'][0]}-{row['what'][:40]}"
)
def test_station_gives_the_reference_value(row: dict[str, Any], checked: Recorder) -> None:
    """What the station gives equals the row's numbers to the row's own rounding."""
    got = RELATIONS[row["relation"]](row["inputs"])
    expected, ours = zip(*pairs(got, row["expected"]), strict=True)
    what, tolerance = f"{IN_WORDS[row['relation']]}: {row['what']}", row["tolerance"]
    checked("Shared CPU", what, row["source"], expected, ours, kind=row["kind"], **tolerance)
    # Published, independent or derived: the row's "kind" and "source" say which and by whom.
    assert compare(got, row["expected"], row["tolerance"], row["what"]) > 0


@pytest.mark.parametrize("row", VALUES["checks_of_the_recursion"], ids=lambda row: row["ids"][0])
def test_mean_value_analysis_gives_the_reference_value(row: dict[str, Any]) -> None:
    """The recursion that other tests trust gives the textbook's network of several classes."""
    given = row["inputs"]
    got = mean_value_analysis(
        given["sources"],
        [[exact(d) for d in centre] for centre in given["demands_s"]],
        [exact(z) for z in given["think_s"]],
    )
    # Published, second-hand: the row's "source".
    assert compare(got._asdict(), row["expected"], row["tolerance"], row["what"]) > 0


def test_every_reference_is_checked_or_has_a_reason() -> None:
    """No row of the file is forgotten: it has a relation above, or says why it has none."""
    checked = {name for row in VALUES["rows"] for name in row["ids"]}
    recursion = {name for row in VALUES["checks_of_the_recursion"] for name in row["ids"]}
    listed = {name for row in VALUES["not_related"] for name in row["ids"]}

    assert sorted(checked | recursion | listed) == VALUES["all_ids"]
    assert not checked & listed
    assert not checked & recursion
    assert all(row["reason"] for row in VALUES["not_related"] + VALUES["checks_of_the_recursion"])
    assert {row["relation"] for row in VALUES["rows"]} == set(RELATIONS)


def test_every_reference_names_source_and_kind() -> None:
    """A number without an origin is worth nothing, so each row has one."""
    for row in VALUES["rows"] + VALUES["checks_of_the_recursion"]:
        assert row["source"]
        assert row["kind"] in {
            "published",
            "published, second-hand",
            "published, from memory",
            "independent",
            "derived",
        }


@pytest.mark.parametrize(
    ("sources", "demands"),
    [
        ([1, 1], [["1", "2"], ["3", "4"]]),
        ([5, 3], [["1/4", "2"], ["7", "1/3"]]),
        ([4, 2, 3], [["1", "1/9", "20"], ["1/5", "3", "20"]]),
    ],
)
def test_two_centres_obey_the_recursion(sources: list[int], demands: list[list[str]]) -> None:
    """Two centres and any classes are one station: numbers present, residence and throughput."""
    got = two_centres({"sources": sources, "demands_s": demands})
    exactly = mean_value_analysis(
        sources, [[exact(d) for d in centre] for centre in demands], [Fraction(0)] * len(sources)
    )
    # Derived: exact mean value analysis, in fractions.
    assert compare(got, exactly._asdict(), {"rel": 1e-11}, "two centres") > 0


@pytest.mark.parametrize(
    ("servers", "erlangs"), [(1, "1/2"), (10, "5"), (45, "100/3"), (300, "280")]
)
def test_one_core_obeys_erlang(servers: int, erlangs: str) -> None:
    """The idle share of one core is Erlang's loss formula, in exact fractions, to 12 digits."""
    load = Fraction(erlangs)
    # Derived: Erlang's recursion.
    assert blocked(servers, float(load)) == pytest.approx(float(erlang_b(servers, load)), rel=1e-12)
    assert waits(servers, float(load)) == pytest.approx(float(erlang_c(servers, load)), rel=1e-11)


@pytest.mark.parametrize(("sources", "servers", "load"), [(4, 2, "1/3"), (40, 7, "1/10")])
def test_uncontended_queue_cut_short_obeys_engset(sources: int, servers: int, load: str) -> None:
    """Where each source has a core, the law cut at the number of lines is Engset's."""
    got = engset_value({"sources": sources, "servers": servers, "erlangs_per_idle_source": load})
    # Derived: Engset's sum.
    assert got["time_congestion"] == pytest.approx(
        float(engset(sources, servers, Fraction(load))), rel=1e-12
    )
