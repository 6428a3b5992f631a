"""Who works out the slow answers, so that the fast ones need not wait for the interpreter?

One process runs Python code of one thread at a time. The day, and what is asked once a slider
rests, are worked out in processes of their own; a process that dies is replaced, and meanwhile,
or where none is wanted, the work is done here.
"""

import multiprocessing
import os
import threading
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
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

    def run(self, task: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> T:
        """Return what a function of a module returns, worked out by one of the processes.

        Parameters
        ----------
        task : callable
            The function; it, what it is given and what it returns can be pickled.
        *args, **kwargs : object
            What it is given.
        """
        if self._processes == 0:
            return task(*args, **kwargs)
        pool = self._running()
        try:
            return pool.submit(task, *args, **kwargs).result()
        except BrokenProcessPool:
            with self._lock:
                if self._pool is pool:
                    self._pool = None
            return task(*args, **kwargs)

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

    def _running(self) -> ProcessPoolExecutor:
        with self._lock:
            if self._pool is None:
                self._pool = ProcessPoolExecutor(
                    self._processes, multiprocessing.get_context("spawn"), _end_with_parent
                )
            return self._pool


def _end_with_parent() -> None:
    """A parent that was killed cannot stop its processes: each one watches for its end."""
    parent = multiprocessing.parent_process()

    def watch() -> None:
        if parent is not None:
            parent.join()
            os._exit(0)

    threading.Thread(target=watch, daemon=True).start()
