"""How does the server meet strangers: which headers, which refusals, which addresses not at all?

Whatever fails without being foreseen is told by a number; the stack stays in the log. Addresses of
the framework that serve developers only are closed.
"""

import logging
from collections.abc import Callable, Collection
from typing import Any

from dash import Dash
from flask import Response, request
from flask.json.provider import DefaultJSONProvider
from werkzeug.exceptions import HTTPException

from app.evidence_web import as_json

_CLOSED = {"/_reload-hash"}  # of the framework: reports changes of files to a developer's page
_CALLBACKS = "/_dash-update-component"
_LOG = logging.getLogger("crestline")


class _Json(DefaultJSONProvider):
    """JSON whose lists lie too deep within lists is no JSON either."""

    def loads(self, s: str | bytes, **kwargs: Any) -> Any:
        try:
            return super().loads(s, **kwargs)
        except RecursionError:
            raise ValueError("nested too deep") from None


def harden(app: Dash, pages: Collection[str], report_failure: Callable[[Exception], str]) -> None:
    """Close what strangers need not see, and answer the rest with care.

    Parameters
    ----------
    app : Dash
        The application.
    pages : collection of str
        Paths of its pages; any other one is answered with 404.
    report_failure : callable
        Logs an unforeseen failure and returns what to tell the visitor.
    """
    server = app.server
    server.json = _Json(server)

    def close() -> Response | None:
        rule = request.url_rule
        unknown = rule is not None and rule.rule == "/<path:path>" and request.path not in pages
        if unknown or request.path in _CLOSED:
            return Response("There is no such page here.", 404, mimetype="text/plain")
        return None

    def tell(error: Exception) -> Response | HTTPException:
        if isinstance(error, HTTPException):
            return error
        if request.path == _CALLBACKS:  # what a callback raises is told elsewhere: a wrong body
            _LOG.info("a callback was asked for in a way that no page asks")
            return as_json({"error": "This is not what the page sends."}, 400)
        return as_json({"failure": report_failure(error)}, 500)

    server.before_request(close)
    server.register_error_handler(Exception, tell)
    server.after_request(_headers(app))


def _headers(app: Dash) -> Callable[[Response], Response]:
    """Headers that keep a page to its own scripts and out of frames."""
    scripts = " ".join(["'self'", *app.csp_hashes()])
    policy = (
        f"default-src 'self'; script-src {scripts}; style-src 'self' 'unsafe-inline'; "
        "img-src 'self' data: blob:; object-src 'none'; base-uri 'self'; form-action 'self'; "
        "frame-ancestors 'none'"
    )

    def add_headers(response: Response) -> Response:
        response.headers["Content-Security-Policy"] = policy
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Referrer-Policy"] = "no-referrer"
        return response

    return add_headers
