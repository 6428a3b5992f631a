"""Does the station keep its digits where the textbook recursion loses them?

Mean value analysis of a centre whose speed depends on the number present finds the share of time
that the centre is empty as what is left of 1. Once that share is smaller than a rounding error,
the recursion goes astray, and each further source makes it worse. The same recursion in exact
fractions, or with many digits, stays right and is the judge here.
"""

from decimal import Decimal, localcontext
from fractions import Fraction

import numpy as np
import pytest

from model.contention import closed_station, poisson_binomial
from tests.model.queueing_references import (
    dense_chain,
    load_dependent_recursion,
    one_class_station,
    station_by_enumeration,
)

CORES_16 = [min(n, 16) for n in range(17)]


def test_station_agrees_with_the_recursion_while_it_holds() -> None:
    """With few sources the plain recursion and the station give the same throughput."""
    throughput, law = load_dependent_recursion(12, 0.05, 0.45, CORES_16)
    result = closed_station([12], [0.05], [0.45], CORES_16)

    # Derived: the recursion, in floats.
    assert 12 * result.throughput_hz[0] == pytest.approx(throughput, rel=1e-12)
    assert result.queue_pmf == pytest.approx(np.array(law), rel=1e-9)


@pytest.mark.parametrize("sources", [150, 200, 300])
def test_station_is_right_where_the_recursion_is_not(sources: int) -> None:
    """At the knee of 16 cores floats leave the recursion no digit; the station has 12."""
    with np.errstate(all="ignore"):
        astray, _ = load_dependent_recursion(sources, 0.05, 0.45, CORES_16)
    exact = one_class_station(
        sources, Fraction(5, 100), Fraction(45, 100), [Fraction(c) for c in CORES_16]
    )
    result = closed_station([sources], [0.05], [0.45], CORES_16)

    # Derived: the birth-death chain in exact fractions.
    expected = float(exact.throughput[0])
    assert result.throughput_hz[0] == pytest.approx(expected, rel=1e-12)
    assert result.response_s[0] == pytest.approx(float(exact.response[0]), rel=1e-12)
    assert result.queue_pmf == pytest.approx(
        np.array([float(share) for share in exact.law]), rel=1e-10, abs=1e-250
    )
    assert abs(float(astray) / sources / expected - 1) > 1e-2


def test_recursion_with_many_digits_agrees() -> None:
    """The recursion itself is sound: with 400 digits it gives what the station gives."""
    with localcontext() as context:
        context.prec = 400
        throughput, law = load_dependent_recursion(
            150, 0.0625, 0.5625, CORES_16, lambda value: Decimal(value)
        )
        result = closed_station([150], [0.0625], [0.5625], CORES_16)

        # Derived: the recursion, in decimals.
        assert 150 * result.throughput_hz[0] == pytest.approx(
            float(throughput),
            rel=1e-12,
        )
        assert result.queue_pmf == pytest.approx(
            np.array([float(share) for share in law]),
            rel=1e-10,
            abs=1e-250,
        )


# Cores deliver less and less as threads share them, more and more, or by leaps.
CAPACITIES = {
    "one core": ["0", "1"],
    "second threads": ["0", "1", "2", "3", "13/4", "7/2"],
    "slower in company": ["0", "3", "5/2", "2", "1", "1/2"],
    "by leaps": ["0", "1", "1000", "1/1000", "7", "1000000"],
}


@pytest.mark.parametrize("capacity", CAPACITIES.values(), ids=CAPACITIES)
@pytest.mark.parametrize(
    ("service", "think"),
    [
        (["1/10", "2", "1/3"], ["1", "3", "5"]),
        (["1000000000", "1", "3"], ["1", "1000000000", "7"]),
        (["1", "1/1000000", "20"], ["1/1000000000", "1", "1"]),
    ],
    ids=["alike", "far apart", "never idle"],
)
def test_several_classes_agree_with_exact_fractions(
    capacity: list[str], service: list[str], think: list[str]
) -> None:
    """Every result has 12 digits, whatever the capacity and however unlike the classes."""
    sources = [4, 5, 3]
    exact = station_by_enumeration(
        sources,
        [Fraction(s) for s in service],
        [Fraction(z) for z in think],
        [Fraction(c) for c in capacity],
    )
    result = closed_station(
        sources,
        [float(Fraction(s)) for s in service],
        [float(Fraction(z)) for z in think],
        [float(Fraction(c)) for c in capacity],
    )

    # Derived: the product form, one term per mix of classes, in exact fractions.
    assert result.throughput_hz == pytest.approx([float(x) for x in exact.throughput], rel=1e-12)
    assert result.response_s == pytest.approx([float(r) for r in exact.response], rel=1e-12)
    assert result.queue_pmf == pytest.approx(
        np.array([float(share) for share in exact.law]), rel=1e-11, abs=1e-250
    )


@pytest.mark.parametrize("sources", [100, 400])
@pytest.mark.parametrize("think", ["1/1000000000", "1/10", "8", "1000", "1000000000"])
@pytest.mark.parametrize("cores", [1, 64, 512])
def test_many_sources_agree_with_exact_fractions(sources: int, think: str, cores: int) -> None:
    """From idle to hopelessly overloaded, throughput and response keep 12 digits."""
    capacity = [min(n, cores) for n in range(sources + 1)]
    exact = one_class_station(
        sources, Fraction(1), Fraction(think), [Fraction(c) for c in capacity]
    )
    result = closed_station([sources], [1], [float(Fraction(think))], capacity)

    # Derived: the birth-death chain in exact fractions.
    assert result.throughput_hz[0] == pytest.approx(float(exact.throughput[0]), rel=1e-12)
    assert result.response_s[0] == pytest.approx(float(exact.response[0]), rel=1e-12)
    seen = np.array([float(share) for share in exact.law])
    assert result.queue_pmf == pytest.approx(seen, rel=1e-10, abs=1e-250)


@pytest.mark.parametrize("think", ["5", "8", "8000/911", "9", "20"])
def test_queue_with_two_humps_agrees_with_exact_fractions(think: str) -> None:
    """A host that thrashes is mostly either well or jammed; both humps and the valley are right."""
    sources = 600
    capacity = [min(n, 80) if n < 200 else 30 for n in range(sources + 1)]
    exact = one_class_station(
        sources, Fraction(1), Fraction(think), [Fraction(c) for c in capacity]
    )
    result = closed_station([sources], [1], [float(Fraction(think))], capacity)

    # Derived: the birth-death chain in exact fractions.
    seen = np.array([float(share) for share in exact.law])
    assert result.queue_pmf == pytest.approx(seen, rel=1e-9, abs=1e-250)
    assert result.throughput_hz[0] == pytest.approx(float(exact.throughput[0]), rel=1e-11)
    assert result.response_s[0] == pytest.approx(float(exact.response[0]), rel=1e-11)


def test_two_classes_agree_with_a_markov_chain() -> None:
    """The chain of all states, with exponential bursts, spends its time as the station says."""
    sources, service, think, capacity = [3, 2], [0.3, 1.1], [0.9, 2.0], [0, 1.25, 2, 2.3]
    states, shares = dense_chain(sources, service, think, capacity)
    result = closed_station(sources, service, think, capacity)

    # Derived: linear equations for 12 states.
    totals = np.array([sum(state) for state in states])
    law = [shares[totals == n].sum() for n in range(6)]
    present = shares @ np.array(states)
    assert result.queue_pmf == pytest.approx(law, rel=1e-11)
    assert sources * result.throughput_hz * result.response_s == pytest.approx(present, rel=1e-11)


def test_poisson_binomial_keeps_its_digits_far_out() -> None:
    """The far ends of the law, which subtraction would lose, are right to 11 digits."""
    pmf = poisson_binomial([30, 20], [0.5, 0.0625])
    half, rare = Fraction(1, 2), Fraction(1, 16)

    # Derived: all trials fail, or all succeed.
    assert pmf[0] == pytest.approx(float((1 - half) ** 30 * (1 - rare) ** 20), rel=1e-12)
    assert pmf[50] == pytest.approx(float(half**30 * rare**20), rel=1e-11)
