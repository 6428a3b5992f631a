"""How are many draws shared among processes, watched and cancelled?

The rows come back in their order, whoever worked them out; what a process that died had is worked
out here.
"""

import multiprocessing
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool

from model.one_draw import FloatArray, Row, Work, rows_of
from model.processes import end_with_parent, one_thread_each

_BATCH = 4  # draws handed to a process at once
_LOOK_S = 0.2  # how soon a process that computes hears that it is no longer wanted [s]


def all_rows(
    work: Work,
    rows: FloatArray,
    processes: int,
    progress: Callable[[int, int], None] | None,
    cancel: threading.Event | None,
) -> list[Row] | None:
    """Return what every draw gives, in order, or None where it was cancelled.

    Parameters
    ----------
    work : Work
        What all draws share.
    rows : array of shape (draws, inputs)
        Standard normal score of each input in each draw. [-]
    processes : int, 1 or more
        Processes that share the work; with 1 it is done here. [processes]
    progress : callable or None
        progress(done, total) is told after every few draws, in this thread.
    cancel : threading.Event or None
        Once it is set, work ends within a moment.
    """
    batches = [rows[start : start + _BATCH] for start in range(0, len(rows), _BATCH)]
    answered: dict[int, list[Row]] = {}
    done = 0
    evaluated = _in_turn if processes == 1 else _in_processes
    for number, part in evaluated(work, batches, processes, cancel):
        answered[number] = part
        done += len(part)
        if progress is not None:
            progress(done, len(rows))
    if len(answered) < len(batches):
        return None
    return [row for number in range(len(batches)) for row in answered[number]]


def _wanted(cancel: threading.Event | None) -> bool:
    return cancel is None or not cancel.is_set()


def _in_turn(
    work: Work, batches: list[FloatArray], _processes: int, cancel: threading.Event | None
) -> Iterator[tuple[int, list[Row]]]:
    for number, batch in enumerate(batches):
        part = []
        for scores in batch:
            if not _wanted(cancel):
                return
            part += rows_of(work, scores[None])
        yield number, part


def _in_processes(
    work: Work, batches: list[FloatArray], processes: int, cancel: threading.Event | None
) -> Iterator[tuple[int, list[Row]]]:
    """Batches as they are done; those of a process that died are worked out here."""
    pool = ProcessPoolExecutor(processes, multiprocessing.get_context("spawn"), end_with_parent)
    waiting = list(range(len(batches)))[::-1]
    running: dict[Future[list[Row]], int] = {}
    lost: list[int] = []
    try:
        while (waiting or running) and _wanted(cancel):
            try:
                with one_thread_each():  # a process may start at each task
                    while waiting and len(running) < processes + 1:
                        running[pool.submit(rows_of, work, batches[waiting[-1]])] = waiting[-1]
                        waiting.pop()
            except BrokenProcessPool:
                lost, waiting = lost + waiting, []
            finished, _ = wait(running, timeout=_LOOK_S, return_when=FIRST_COMPLETED)
            for future in finished:
                number = running.pop(future)
                try:
                    part = future.result()
                except BrokenProcessPool:
                    lost.append(number)
                else:
                    yield number, part
    finally:
        pool.shutdown(wait=_wanted(cancel), cancel_futures=True)
    for number in sorted(lost):
        for _, part in _in_turn(work, [batches[number]], 1, cancel):
            yield number, part
