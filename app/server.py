"""How is the application put together? `make_app` builds a fresh one each time it is called."""

import logging
import secrets
from collections.abc import Callable
from typing import Any

from dash import Dash, html, set_props
from flask import Response
from flask_caching import Cache
from flask_compress import Compress

from app import downloads, evidence_answers, evidence_reading, ids, pictures, playing
from app.answers import warm_up
from app.evidence_jobs import Jobs
from app.evidence_store import EvidenceStore, Limits
from app.evidence_web import Desk
from app.labels import OPEN_FILE
from app.pages import evidence, host, shelf
from app.places import assets_folder
from app.settings import MOST_REQUEST_BYTES, Settings
from app.shelf_store import open_shelf
from app.words import CAUTION
from app.workers import Workers

PAGES = {
    "host": ("/", "Host"),
    "evidence": ("/evidence", "Evidence"),
    "shelf": ("/shelf", "Shelf"),
}
_SWEEP_S = 1800.0
_LOG = logging.getLogger("crestline")


def make_app(settings: Settings) -> Dash:
    """Return the application.

    Parameters
    ----------
    settings : Settings
        What the administrator chose.
    """
    app = Dash(
        "crestline",
        assets_folder=str(assets_folder()),
        title="Crestline",
        update_title="",
        serve_locally=True,
        enable_mcp=False,
        health_endpoint="health",
        on_error=_tell_failure,
        meta_tags=[{"name": "viewport", "content": "width=device-width, initial-scale=1"}],
    )
    app.index_string = app.index_string.replace("<html>", '<html lang="en">')
    app.server.config["MAX_CONTENT_LENGTH"] = MOST_REQUEST_BYTES
    app.server.config["SEND_FILE_MAX_AGE_DEFAULT"] = 3600
    app.server.config["COMPRESS_REGISTER"] = True
    Compress(app.server)
    app.layout = _frame()
    workers = Workers(settings.workers)
    workers.start(warm_up)
    remember = _memory(app, settings)
    host.register(app, remember, workers, _report_failure)
    downloads.register(app.server, remember, workers, _report_failure)
    pictures.register(app.server, workers, _report_failure)
    playing.register(app.server, workers, _report_failure)
    desk = _evidence_desk(app, settings)
    evidence_reading.register(desk, workers)
    evidence_answers.register(desk, workers)
    shelf.register(app, open_shelf(settings.shelf_url), workers)
    _guard(app)
    return app


def _frame() -> Any:
    links = [
        html.A(title, href=path, id=f"go-{name}", **ids.data(page=name))
        for name, (path, title) in PAGES.items()
    ]
    return html.Div(
        [
            html.Header(
                [
                    html.H1("Crestline"),
                    html.P("How many desktops does this host carry, with and without the card?"),
                    html.Nav(links, **ids.named("Pages")),
                    html.Button("Look: as the system", id="look", type="button"),
                    html.A("Back to the example", href="?", id="reset"),
                    html.Button(OPEN_FILE, type="button", **ids.data(action="open-file")),
                ]
            ),
            html.Main(
                [
                    html.Div(host.page_layout(), id="page-host"),
                    html.Div(evidence.page_layout(), id="page-evidence", hidden=True),
                    html.Div(shelf.page_layout(), id="page-shelf", hidden=True),
                ]
            ),
            html.Footer(
                [html.P(CAUTION), html.P("The harbour authority of the example is invented.")]
            ),
            html.Div(id="failure", role="alert"),
        ],
        id="frame",
    )


def _memory(app: Dash, settings: Settings) -> host.Remember:
    """Return a function that remembers texts, so that a cache holds nothing that runs."""
    cache = Cache(
        app.server,
        config={
            "CACHE_TYPE": "SimpleCache",
            "CACHE_THRESHOLD": settings.cache_entries,
            "CACHE_DEFAULT_TIMEOUT": 0,
        },
    )

    def remember(key: str, compute: Callable[[], str]) -> str:
        text = cache.get(key)
        if text is None:
            text = compute()
            cache.set(key, text)
        return str(text)

    return remember


def _evidence_desk(app: Dash, settings: Settings) -> Desk:
    """Return where the Evidence page asks, with the folders and jobs of its visitors."""
    limits = Limits(
        file_bytes=settings.evidence_file_mb * 1024**2,
        session_bytes=settings.evidence_visitor_mb * 1024**2,
        age_s=settings.evidence_hours * 3600.0,
        sessions=settings.evidence_visitors,
    )
    store = EvidenceStore(settings.data_folder / "evidence", limits)
    jobs = Jobs()
    store.on_remove = jobs.cancel
    store.sweep_every(_SWEEP_S)
    return Desk(app.server, store, jobs, _report_failure)


def _report_failure(error: Exception) -> str:
    """Log a failure under a number and return what to tell: that number, never the stack."""
    name = secrets.token_hex(4)
    _LOG.error("failure %s", name, exc_info=error)
    return f"Something went wrong (number {name}); what you see is the last result."


def _tell_failure(error: Exception) -> None:
    set_props("failure", {"children": _report_failure(error)})


def _guard(app: Dash) -> None:
    """Send the headers that keep a page to its own scripts and out of frames."""
    scripts = " ".join(["'self'", *[f"{digest}" for digest in app.csp_hashes()]])
    policy = (
        f"default-src 'self'; script-src {scripts}; style-src 'self' 'unsafe-inline'; "
        "img-src 'self' data: blob:; object-src 'none'; base-uri 'self'; frame-ancestors 'none'"
    )

    def add_headers(response: Response) -> Response:
        response.headers["Content-Security-Policy"] = policy
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Referrer-Policy"] = "no-referrer"
        return response

    app.server.after_request(add_headers)
