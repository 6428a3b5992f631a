"""No case may hang, and none may take memory without end."""

import resource
import time
from collections.abc import Iterator
from contextlib import contextmanager

MOST_S = 5.0
MOST_GROWTH_MB = 400


@contextmanager
def each_within_limits(case: object) -> Iterator[None]:
    """Fail where one case takes longer than `MOST_S`."""
    begin = time.perf_counter()
    yield
    spent = time.perf_counter() - begin
    assert spent < MOST_S, f"{spent:.1f} s for {str(case)[:300]!r}"


@contextmanager
def bounded_memory() -> Iterator[None]:
    """Fail where the process grew by more than `MOST_GROWTH_MB` at its peak."""
    before = _peak_mb()
    yield
    grown = _peak_mb() - before
    assert grown < MOST_GROWTH_MB, f"the process grew by {grown:.0f} MB"


def _peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
