"""How are the pictures made without a user's browser? python -m app export SCENARIO_OR_LINK

A small server is started on a free port of this machine, for this job alone, with a bare page
behind a random name and the dashboard's own scripts. A headless Chromium opens that page; its
script makes the pictures, as it does for a visitor (assets/host-pictures.js), and sends them back.
"""

import argparse
import os
import secrets
import signal
import struct
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

from flask import Flask, Response, request

from app import ids, url_state
from app.chromium import NoChromiumError, find_chromium
from app.pictures import sheets_text
from app.places import assets_folder
from model import scenario_url
from model.errors import CrestlineError, InputError
from model.scenario import canonical, load

LIMIT_S = 120
LARGEST_PICTURE_BYTES = 64 * 1024 * 1024
SIZE_PX = (3200, 1800)
_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_PAGE = """<!doctype html>
<html lang="en" data-export><head><meta charset="utf-8"><title>Crestline</title>
<link rel="icon" href="data:,"><link rel="stylesheet" href="/assets/host-pictures.css">
<script src="/assets/plotly-basic.min.js"></script><script src="/assets/png.js"></script>
<script src="/assets/host-pictures.js"></script></head><body></body></html>
"""
_QUIET = (
    "--headless",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-dev-shm-usage",
    "--disable-extensions",
    "--disable-gpu",
    "--disable-sync",
    "--hide-scrollbars",
    "--mute-audio",
    "--no-default-browser-check",
    "--no-first-run",
    "--no-proxy-server",  # the page is on this machine
)


class ExportError(CrestlineError):
    """The pictures could not be made; the message says at which step."""


class Job:
    """The pictures of one scenario on their way: what was asked, and what has come back.

    Parameters
    ----------
    text : str
        What stands on the pictures, as JSON text.
    """

    def __init__(self, text: str) -> None:
        """Nothing has come back yet."""
        self.text = text
        self.token = secrets.token_urlsafe(24)
        self.pictures: dict[str, bytes] = {}
        self.failure = ""
        self.ended = threading.Event()

    def receive(self, name: str, body: bytes) -> str:
        """Keep a picture, or what went wrong; return why it is refused, or nothing."""
        if name == "failure":
            self.failure = body[:300].decode("utf-8", "replace")
        elif name not in ids.CHARTS:
            return "no chart has this name"
        elif body[:8] != _SIGNATURE or struct.unpack(">II", body[16:24].ljust(8)) != SIZE_PX:
            return f"{name} is no PNG of {SIZE_PX[0]} x {SIZE_PX[1]} pixels"
        else:
            self.pictures[name] = body
        if self.failure or len(self.pictures) == len(ids.CHARTS):
            self.ended.set()
        return ""


def serve_job(server: Flask, job: Job) -> str:
    """Bind the addresses of one job, and return the path of its page.

    Parameters
    ----------
    server : Flask
        A server made for this job.
    job : Job
        The job; requests under any other name than its own are refused.
    """

    def ours(token: str) -> bool:
        return secrets.compare_digest(token.encode(), job.token.encode())

    def give(token: str, name: str = "") -> Response:
        if not ours(token) or name not in ("", "data"):
            return Response("not found", 404)
        if name:
            return Response(job.text, mimetype="application/json")
        return Response(_PAGE, mimetype="text/html")

    def take(token: str, name: str) -> Response:
        if not ours(token):
            return Response("not found", 404)
        refused = job.receive(name, request.get_data())
        return Response(refused, 400 if refused else 200)

    server.config["MAX_CONTENT_LENGTH"] = LARGEST_PICTURE_BYTES
    at = "/exported/<token>/"
    server.add_url_rule(at, "export-page", give, methods=["GET"])
    server.add_url_rule(f"{at}<name>", "export-data", give, methods=["GET"])
    server.add_url_rule(f"{at}<name>", "exported", take, methods=["POST"])
    return f"/exported/{job.token}/"


def main(arguments: list[str]) -> int:
    """Make the pictures; return the exit status: 0, 2 for what was given, 1 for a failure.

    Parameters
    ----------
    arguments : list of str
        What stands behind `export`.
    """
    parser = argparse.ArgumentParser(
        prog="python -m app export",
        description="Save the four charts of a scenario as PNG, without a browser open.",
    )
    parser.add_argument(
        "scenario", metavar="SCENARIO_OR_LINK",
        help="a scenario file, a link, or the part of a link behind its question mark",
    )  # fmt: skip
    parser.add_argument(
        "--out", metavar="DIR", default=".", help="folder for the pictures (default: this one)"
    )
    given = parser.parse_args(arguments)
    try:
        state = read(given.scenario)
        chromium = find_chromium()
        folder = _folder(given.out)
    except (InputError, NoChromiumError) as error:
        print(error, file=sys.stderr)
        return 2
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # products are small; threads only wait
    try:
        made = make_pictures(sheets_text(canonical(state.scenario), state.pin), chromium)
    except ExportError as error:
        print(error, file=sys.stderr)
        return 1
    for name, picture in made.items():
        path = folder / f"crestline-{name}.png"
        try:
            path.write_bytes(picture)
        except OSError as error:
            print(f"{path} could not be written ({error.strerror}).", file=sys.stderr)
            return 1
        print(path)
    return 0


def read(given: str) -> url_state.PageState:
    """Return what a file or a link holds.

    Parameters
    ----------
    given : str
        A path, a link, or the query of one.

    Raises
    ------
    InputError
        Names what is wrong with it.
    """
    if Path(given).is_file():
        return url_state.PageState(load(Path(given)))
    address, mark, query = given.partition("?")
    if mark or (not address.endswith(".json") and "=" in address):
        return url_state.from_address((query if mark else address).partition("#")[0])
    if address.startswith(("http://", "https://")):
        return url_state.PageState(scenario_url.from_query(""))
    return url_state.PageState(load(Path(given)))  # tells that there is no such file


def _folder(given: str) -> Path:
    folder = Path(given)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        expected = f"a folder that can be written to ({error.strerror})"
        raise InputError("--out", given, expected) from None
    if not os.access(folder, os.W_OK):
        raise InputError("--out", given, "a folder that can be written to")
    return folder


def make_pictures(text: str, chromium: str, limit_s: float = LIMIT_S) -> dict[str, bytes]:
    """Return the picture of each chart, drawn by a headless Chromium.

    Parameters
    ----------
    text : str
        What stands on the pictures, as JSON text.
    chromium : str
        Path of the program.
    limit_s : float
        How long it may take. [s]

    Raises
    ------
    ExportError
        Where no pictures came back.
    """
    from waitress import create_server

    job = Job(text)
    application = Flask("crestline", static_folder=assets_folder(), static_url_path="/assets")
    path = serve_job(application, job)
    server: Any = create_server(
        application, host="127.0.0.1", port=0, ident=None,
        max_request_body_size=LARGEST_PICTURE_BYTES,
    )  # fmt: skip
    threading.Thread(target=server.run, daemon=True).start()
    try:
        _visit(f"http://127.0.0.1:{server.effective_port}{path}", chromium, job, limit_s)
    finally:
        server.close()
    if job.failure:
        raise ExportError(f"The pictures could not be made: {job.failure}")
    return {name: job.pictures[name] for name in ids.CHARTS}


def _visit(url: str, chromium: str, job: Job, limit_s: float) -> None:
    """Have Chromium open a page until the job has ended."""
    as_root = hasattr(os, "geteuid") and os.geteuid() == 0
    sandbox = ["--no-sandbox"] if as_root else []
    with tempfile.TemporaryDirectory(prefix="crestline-", ignore_cleanup_errors=True) as profile:
        said = Path(profile) / "said.txt"
        command = [chromium, *_QUIET, *sandbox, f"--user-data-dir={profile}", url]
        with said.open("wb") as log:
            try:
                browser = subprocess.Popen(
                    command, stdin=subprocess.DEVNULL, stdout=log, stderr=log,
                    start_new_session=True,
                )  # fmt: skip
            except OSError as error:
                raise ExportError(f"{chromium} could not be started ({error.strerror}).") from None
        try:
            _wait(browser, job, limit_s, said)
        finally:
            _end(browser)


def _wait(browser: subprocess.Popen[bytes], job: Job, limit_s: float, said: Path) -> None:
    end = time.monotonic() + limit_s
    while not job.ended.wait(0.1):
        status = browser.poll()
        if status is not None and not job.ended.wait(1):  # a picture may still be on its way
            told = said.read_text("utf-8", "replace").strip().splitlines() or ["it said nothing"]
            raise ExportError(f"Chromium ended with status {status}: {told[-1][:300]}")
        if time.monotonic() > end:
            raise ExportError(f"Chromium has sent no pictures in {limit_s:g} s.")


def _end(browser: subprocess.Popen[bytes]) -> None:
    """End Chromium and the processes that it has started."""
    try:
        if hasattr(os, "killpg"):
            os.killpg(browser.pid, signal.SIGKILL)
        else:
            browser.kill()
    except ProcessLookupError:
        pass
    browser.wait()
