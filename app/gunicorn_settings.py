"""How does gunicorn serve the dashboard? `gunicorn -c python:app.gunicorn_settings --bind ...`.

The names are gunicorn's. How many processes and threads there are, the environment says; any
setting given on gunicorn's command line comes before the one here.
"""

import os
import sys
from typing import Any

from gunicorn.http import message

from app.settings import from_environment
from model.errors import InputError
from model.scenario_url import LONGEST_LINK

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # inherited by every process

# gunicorn takes no longer line than this of its own, and a link may be twice as long.
message.MAX_REQUEST_LINE = LONGEST_LINK + 2_001

try:
    _SETTINGS = from_environment(workers=0)
except InputError as error:
    sys.exit(str(error))

wsgi_app = "app.wsgi:server()"
workers = _SETTINGS.processes
worker_class = "gthread"  # a slow answer holds up one thread, and no timeout ends it
threads = _SETTINGS.threads
keepalive = 15  # [s] a visitor who thinks keeps the connection
graceful_timeout = 20  # [s]
limit_request_line = LONGEST_LINK + 2_000  # [bytes] beside the link: method, path, version
control_socket_disable = True  # one file for all servers of a user; unknown to older releases


def post_worker_init(worker: Any) -> None:
    """Build the application in a new process before it takes requests."""
    worker.wsgi.build()
