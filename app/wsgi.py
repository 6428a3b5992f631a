"""What does a server with several processes start? `gunicorn -c python:app.gunicorn_settings`.

    server()   the application as a WSGI callable; settings are read, and refused, at once

The application itself, with its threads and its connections, is built in the process that
answers: neither survives a fork, so nothing of it may be there when processes are forked.
"""

import logging
import os
import threading
from collections.abc import Callable, Iterable
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: products are small

from app.settings import Settings, from_environment


class Server:
    """A WSGI callable that builds the application once in each process.

    Parameters
    ----------
    settings : Settings
        What the administrator chose.
    """

    def __init__(self, settings: Settings) -> None:
        """Build nothing yet."""
        self._settings = settings
        self._lock = threading.Lock()
        self._built: tuple[int, Callable[..., Iterable[bytes]]] | None = None

    def build(self) -> Callable[..., Iterable[bytes]]:
        """Return the application of this process, built at the first call."""
        with self._lock:
            if self._built is None or self._built[0] != os.getpid():
                from app.server import make_app

                form = "%(asctime)s %(levelname)s %(message)s"
                logging.basicConfig(level=logging.WARNING, format=form)
                self._built = (os.getpid(), make_app(self._settings).server)
            return self._built[1]

    def __call__(self, environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
        """Answer one request."""
        return self.build()(environ, start_response)


def server() -> Server:
    """Return the application for a WSGI server, as the environment asks for it.

    Raises
    ------
    InputError
        Where a setting is wrong.
    """
    return Server(from_environment(workers=0))
