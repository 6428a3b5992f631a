"""Who works out the slow answers, so that the fast ones need not wait for the interpreter?

One process runs Python code of one thread at a time. The day, and what is asked once a slider
rests, are worked out in processes of their own; a process that dies is replaced, and meanwhile,
or where none is wanted, the work is done here.
"""

import multiprocessing
import threading
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import ParamSpec, TypeVar

from model.processes import watch_parent

P = ParamSpec("P")
S = TypeVar("S")
T = TypeVar("T")


class Workers:
    """A few processes that compute; they end when the process that made them ends.

    Parameters
    ----------
    processes : int, 0 or more
        How many; with 0 the work is done by the caller.
    """

    def __init__(self, processes: int) -> None:
        """Start no process yet: the first task does."""
        self._processes = processes
        self._pool: ProcessPoolExecutor | None = None
        self._lock = threading.Lock()
        self._long = 0  # tasks under way that keep a process busy for long

    def run(self, task: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> T:
        """Return what a function of a module returns, worked out soon by one of the processes.

        Parameters
        ----------
        task : callable
            The function, done within a tenth of a second or so; it, what it is given and what it
            returns can be pickled.
        *args, **kwargs : object
            What it is given.
        """
        if self._kept_busy():
            return task(*args, **kwargs)
        return self._run(task, *args, **kwargs)

    def run_long(self, task: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> T:
        """Return the same for a task that takes longer; quick tasks do not wait for it.

        Parameters
        ----------
        task : callable
            The function; it, what it is given and what it returns can be pickled.
        *args, **kwargs : object
            What it is given.
        """
        with self._lock:
            self._long += 1
        try:
            return self._run(task, *args, **kwargs)
        finally:
            with self._lock:
                self._long -= 1

    def map(self, task: Callable[[S], T], items: list[S]) -> list[T]:
        """Return a function's result for each item; the first one is worked out here.

        Parameters
        ----------
        task : callable
            A function of a module; it, the items and what it returns can be pickled.
        items : list
            What it is given, one at a time.
        """
        if self._kept_busy() or len(items) < 2:
            return [task(item) for item in items]
        pool = self._running()
        try:
            others = [pool.submit(task, item) for item in items[1:]]
            return [task(items[0]), *[other.result() for other in others]]
        except BrokenProcessPool:
            self._forget(pool)
            return [task(item) for item in items]

    def _run(self, task: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> T:
        if self._processes > 0:
            pool = self._running()
            try:
                return pool.submit(task, *args, **kwargs).result()
            except BrokenProcessPool:
                self._forget(pool)
        return task(*args, **kwargs)

    def _kept_busy(self) -> bool:
        """Whether every process is at a long task, so that a short one is done sooner here."""
        return self._long >= self._processes

    def start(self, task: Callable[[], object]) -> None:
        """Have every process do something that later tasks profit from; does not wait for it.

        Parameters
        ----------
        task : callable
            A function of a module.
        """
        for _ in range(self._processes):
            self._running().submit(task)

    def stop(self) -> None:
        """End the processes; a later task starts new ones."""
        with self._lock:
            pool, self._pool = self._pool, None
        if pool is not None:
            pool.shutdown(cancel_futures=True)

    def _forget(self, pool: ProcessPoolExecutor) -> None:
        with self._lock:
            if self._pool is pool:
                self._pool = None

    def _running(self) -> ProcessPoolExecutor:
        with self._lock:
            if self._pool is None:
                self._pool = ProcessPoolExecutor(
                    self._processes, multiprocessing.get_context("spawn"), watch_parent
                )
            return self._pool
