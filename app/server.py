"""How is the application put together? `make_app` builds a fresh one each time it is called."""

import secrets
from typing import Any

from dash import Dash, html, set_props
from flask_compress import Compress

from app import (
    downloads,
    evidence_reading,
    evidence_results_web,
    failure_answers,
    fleet_web,
    ids,
    pictures,
    playing,
    proposal_answers,
    sure_web,
)
from app.answers import warm_up
from app.cache import memory
from app.evidence_jobs import Jobs
from app.evidence_records import Limits
from app.evidence_store import EvidenceStore
from app.evidence_web import Desk
from app.failure_log import log_failure
from app.hardening import harden
from app.labels import OPEN_FILE, OPEN_FILE_ABOUT
from app.pages import evidence, fleet, host, method, proposal, shelf
from app.places import assets_folder
from app.settings import MOST_REQUEST_BYTES, Settings
from app.shelf_store import open_shelf
from app.sure_store import SureStore
from app.words import CAUTION
from app.workers import Workers

PAGES = {  # address, title in the menu
    "host": ("/", "Host"),
    "evidence": ("/evidence", "Evidence"),
    "fleet": ("/fleet", "Fleet"),
    "shelf": ("/shelf", "Shelf"),
    "proposal": ("/proposal", "Proposal"),
    "method": ("/method", "Method"),
}
_LAYOUTS = {
    "host": host.page_layout,
    "evidence": evidence.page_layout,
    "fleet": fleet.page_layout,
    "shelf": shelf.page_layout,
    "proposal": proposal.page_layout,
    "method": method.page_layout,
}
_SWEEP_S = 1800.0


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
    remember = memory(app.server, settings)
    sure = SureStore(settings.data_folder / "sure", Jobs(most_at_once=1))
    sure_web.register(app.server, sure, _report_failure)
    host.register(app, remember, workers, _report_failure, sure.bands)
    failure_answers.register(app.server, remember, workers, _report_failure)
    downloads.register(app.server, remember, workers, _report_failure, sure.bands)
    pictures.register(app.server, workers, _report_failure, sure.bands)
    playing.register(app.server, workers, _report_failure)
    desk = _evidence_desk(app, settings)
    evidence_reading.register(desk, workers)
    evidence_results_web.register(desk, workers)
    fleet_web.register(app.server, remember, workers, _report_failure)
    kept = open_shelf(settings.shelf_url)
    shelf.register(app, kept, workers)
    proposal_answers.register(
        desk, proposal_answers.Sources(kept, sure, remember, workers, _report_failure)
    )
    method.register(app.server, _report_failure)
    harden(app, {path for path, _ in PAGES.values()}, _report_failure)
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
                    html.Button(
                        OPEN_FILE,
                        type="button",
                        title=OPEN_FILE_ABOUT,
                        **ids.data(action="open-file"),
                    ),
                ]
            ),
            html.Main(
                [
                    html.Div(_LAYOUTS[name](), id=f"page-{name}", hidden=path != "/")
                    for name, (path, _) in PAGES.items()
                ]
            ),
            html.Footer(
                [html.P(CAUTION), html.P("The harbour authority of the example is invented.")]
            ),
            html.Div(id="failure", role="alert"),
        ],
        id="frame",
    )


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
    log_failure(f"failure {name}", error)
    return f"Something went wrong (number {name}); what you see is the last result."


def _tell_failure(error: Exception) -> None:
    set_props("failure", {"children": _report_failure(error)})
