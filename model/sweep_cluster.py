"""How is work shared among the workers of a Dask cluster that runs already?

The workers need this release of Crestline and its dependencies. A worker that stops loses
nothing: what it had not handed back is worked out by another one.
"""

from collections.abc import Callable, Generator, Iterable
from itertools import islice
from typing import TypeVar

from model.errors import CrestlineError, InputError

S = TypeVar("S")
T = TypeVar("T")

_PATIENCE_S = 10  # until a scheduler must have answered, and a worker must be there
_TASKS_PER_THREAD = 4  # under way at once, so that no worker waits and little is lost


def on_cluster(
    function: Callable[[S], T], items: Iterable[S], address: str
) -> Generator[T, None, None]:
    """Yield a function's result for each item as it comes, in no particular order.

    Parameters
    ----------
    function : callable
        A function of a module, which the workers can import.
    items : iterable
        What it is given, one at a time; can be pickled.
    address : str
        The scheduler's address, such as "tcp://10.0.0.5:8786".

    Raises
    ------
    InputError
        Where no scheduler answers at the address, it has no workers, or the extra is missing.
    CrestlineError
        Where the cluster is lost on the way.
    """
    try:
        from distributed import Client, as_completed
    except ImportError:
        cure = "no scheduler without the extra that speaks to one: pip install '.[cluster]'"
        raise InputError("--scheduler", address, cure) from None
    try:
        client = Client(address, timeout=_PATIENCE_S, set_as_default=False)
    except (OSError, ValueError, TypeError):
        expected = "the address of a Dask scheduler that answers, such as tcp://10.0.0.5:8786"
        raise InputError("--scheduler", address, expected) from None
    with client:
        try:
            client.wait_for_workers(1, timeout=_PATIENCE_S)
        except TimeoutError:
            raise InputError("--scheduler", address, "a cluster with a worker") from None
        waiting = iter(items)
        most = max(sum(client.nthreads().values()), 1) * _TASKS_PER_THREAD
        futures = [client.submit(function, item, pure=False) for item in islice(waiting, most)]
        running = as_completed(futures, loop=client.loop)
        del futures  # what is done is forgotten by the cluster too
        try:
            for future in running:
                result: T = future.result()
                for item in islice(waiting, 1):
                    running.add(client.submit(function, item, pure=False))
                yield result
        except CrestlineError:
            raise
        except Exception as error:
            told = f"{type(error).__name__}: {error}"
            raise CrestlineError(f"The cluster could not finish a piece of work: {told}") from error
