"""How is the dashboard served on this machine? `python -m app`, until it is stopped.

`python -m app export SCENARIO_OR_LINK --out DIR` saves the charts as pictures instead.
"""

import argparse
import logging
import os
import sys

from app.settings import from_environment
from model.errors import InputError


def main(arguments: list[str] | None = None) -> int:
    """Serve the dashboard, or export pictures; return the exit status."""
    arguments = sys.argv[1:] if arguments is None else arguments
    if arguments[:1] == ["export"]:
        from app import export_command

        return export_command.main(arguments[1:])
    parser = argparse.ArgumentParser(
        prog="python -m app",
        description="Serve the Crestline dashboard on the demo scenario.",
        epilog="python -m app export --help tells how to save the charts as pictures instead.",
    )
    parser.add_argument(
        "--host", default="127.0.0.1", help="address to serve on (default: %(default)s)"
    )
    parser.add_argument("--port", type=int, default=8050, help="port (default: %(default)s)")
    given = parser.parse_args(arguments)
    if not 1 <= given.port <= 65_535:
        parser.error(f"port is {given.port}; expected a whole number from 1 to 65535.")
    logging.basicConfig(level=logging.WARNING, format="%(asctime)s %(levelname)s %(message)s")
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # three lanes at once are usual
    try:
        settings = from_environment()
    except InputError as error:
        print(error, file=sys.stderr)
        return 2
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # products are small; threads only wait
    from waitress import serve  # after the arguments, so that --help is quick

    from app.server import make_app

    application = make_app(settings).server
    print(f"Crestline answers on http://{given.host}:{given.port}/", flush=True)
    try:
        serve(
            application,
            host=given.host,
            port=given.port,
            threads=settings.threads,
            ident=None,
            max_request_body_size=settings.largest_body_bytes,  # refused before it is taken in
        )
    except OSError as error:
        print(f"port is {given.port}; expected a free one ({error.strerror}).", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
