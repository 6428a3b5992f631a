"""How is work shared among processes of this machine?

Processes are started for it and end with it, or with the process that started them, however that
ends. One that dies is replaced, and what it had in hand is done anew.
"""

import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from typing import TypeVar

from model.errors import CrestlineError

S = TypeVar("S")
T = TypeVar("T")

MOST_PROCESSES = 256
_MOST_TRIES = 3  # at one item, if processes die meanwhile
_AHEAD = 3  # items handed out for each process
# One thread for each process: several would get into each other's way, and could add numbers up
# in another order.
_ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


def in_processes(
    function: Callable[[S], T], items: Iterable[S], processes: int | None
) -> Generator[T, None, None]:
    """Yield a function's result for each item, in their order.

    Parameters
    ----------
    function : callable
        A function of a module; it, the items and what it returns can be pickled.
    items : iterable
        What it is given, one at a time.
    processes : int, 1 or more, or None
        How many processes; None has one for each core. [processes]

    Raises
    ------
    CrestlineError
        Where processes die again and again.
    """
    left = deque(items)
    tries = 0
    while left:
        try:
            for answer in _in_one_pool(function, left, processes or _cores()):
                yield answer
                left.popleft()
                tries = 0
        except BrokenProcessPool:
            tries += 1
            if tries == _MOST_TRIES:
                raise CrestlineError(
                    "Processes that share the work end early again and again, perhaps for want "
                    "of memory; try fewer. The rows that are done are kept."
                ) from None


def _in_one_pool(
    function: Callable[[S], T], items: Iterable[S], processes: int
) -> Generator[T, None, None]:
    context = multiprocessing.get_context("spawn")
    with one_thread_each(), ProcessPoolExecutor(processes, context, end_with_parent) as pool:
        try:
            under_way: deque[Future[T]] = deque()
            for item in list(items):
                under_way.append(pool.submit(function, item))
                if len(under_way) >= _AHEAD * processes:
                    yield under_way.popleft().result()
            while under_way:
                yield under_way.popleft().result()
        finally:
            pool.shutdown(cancel_futures=True)


@contextmanager
def one_thread_each() -> Iterator[None]:
    """Have processes that start meanwhile add up with one thread, unless the user said how many."""
    missing = [name for name in _ONE_THREAD if name not in os.environ]
    os.environ.update(dict.fromkeys(missing, "1"))
    try:
        yield
    finally:
        for name in missing:
            os.environ.pop(name, None)


def end_with_parent() -> None:
    """Leave the keyboard's interrupt to the parent, and end when it does, however it does."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    watch_parent()


def watch_parent() -> None:
    """End when the parent does: one that was killed cannot end its processes."""
    parent = multiprocessing.parent_process()

    def watch() -> None:
        if parent is not None:
            parent.join()
            os._exit(0)

    threading.Thread(target=watch, daemon=True).start()


def _cores() -> int:
    usable = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return min(usable or 1, MOST_PROCESSES)
