"""How is each visitor known to the addresses of the Evidence page, and how are they answered?

A key in a cookie (this site only, no script can read it) leads to the visitor's own data and to
nobody else's; it never stands in a link. A refusal is told in the answer and not by its status,
as on the other pages. A POST is sent as JSON, or as plain bytes where it is a file: no form of
another site's page can send either.
"""

import json
from collections.abc import Callable
from typing import Any, TypeAlias

from flask import Flask, Response, request
from werkzeug.exceptions import HTTPException

from app.evidence_jobs import Jobs
from app.evidence_refusals import told_error
from app.evidence_session import Session
from app.evidence_store import COOKIE, EvidenceStore
from model.errors import InputError

Told: TypeAlias = dict[str, Any]
BASE = "/evidence-data"
GONE = {
    "field": "evidence",
    "message": "Your logs are no longer here: they are removed a day after their last use.",
    "row": None,
    "column": None,
}


class Desk:
    """Where the page's scripts ask; hands each question on with the visitor's own session.

    Parameters
    ----------
    server : Flask
        The server.
    store : EvidenceStore
        Everybody's data.
    jobs : Jobs
        Everybody's jobs.
    report_failure : callable
        Logs an unforeseen failure and returns what to tell the visitor.
    """

    def __init__(
        self,
        server: Flask,
        store: EvidenceStore,
        jobs: Jobs,
        report_failure: Callable[[Exception], str],
    ) -> None:
        """Take what is needed; `bind` then makes the addresses."""
        self.store = store
        self.jobs = jobs
        self._server = server
        self._report_failure = report_failure

    def bind(
        self,
        address: str,
        method: str,
        answer: Callable[[Session], Told | Response],
        *,
        opens: bool = False,
        without: Callable[[], Told | Response] | None = None,
        content_type: str = "application/json",
    ) -> None:
        """Answer at an address.

        Parameters
        ----------
        address : str
            The path.
        method : str
            "GET" or "POST".
        answer : callable
            answer(session) returns JSON data or a whole response.
        opens : bool
            Whether a visitor who has no data yet gets a session.
        without : callable or None
            Answers those without data; None tells them that it is gone.
        content_type : str
            What a POST must hold.
        """

        def reply() -> Response:
            status, key, session = 200, request.cookies.get(COOKIE), None
            try:
                if method == "POST" and request.mimetype != content_type:
                    wrong = {"field": "type", "message": f"Send this as {content_type}."}
                    return as_json({"error": wrong}, 415)
                session = self.store.find(key)
                if session is None and opens:
                    key, session = self.store.open_session()
                if session is not None:
                    told = answer(session)
                else:
                    told = without() if without is not None else {"error": GONE, "gone": True}
            except InputError as error:
                told = {"error": told_error(error)}
            except HTTPException as error:
                status = error.code or 400
                told = {"error": {"field": "request", "message": str(error.description)}}
            except Exception as error:
                told, status = {"failure": self._report_failure(error)}, 500
            response = told if isinstance(told, Response) else as_json(told, status)
            response.headers["Cache-Control"] = "no-store"
            if session is not None and key is not None:
                _give_key(response, key, round(self.store.limits.age_s))
            return response

        self._server.add_url_rule(address, f"{method} {address}", reply, methods=[method])


def as_json(told: Told, status: int = 200) -> Response:
    """Return JSON data as an answer that no cache keeps.

    Parameters
    ----------
    told : dict
        The data.
    status : int
        The HTTP status.
    """
    text = json.dumps(told, ensure_ascii=False, allow_nan=False)
    response = Response(text, status, mimetype="application/json")
    response.headers["Cache-Control"] = "no-store"
    return response


def body() -> Told:
    """Return the JSON record that a POST holds.

    Raises
    ------
    InputError
        Where it is none.
    """
    data = request.get_json(silent=True)
    if not isinstance(data, dict):
        raise InputError("request", type(data).__name__, "a JSON record")
    return data


def forget_key(response: Response) -> Response:
    """Return an answer after which the browser no longer holds a key.

    Parameters
    ----------
    response : Response
        The answer.
    """
    response.delete_cookie(COOKIE, path="/", httponly=True, samesite="Strict")
    return response


def _give_key(response: Response, key: str, age_s: int) -> None:
    if any(value.startswith(f"{COOKIE}=") for value in response.headers.getlist("Set-Cookie")):
        return  # the answer has just taken it away
    response.set_cookie(
        COOKIE, key, max_age=age_s, path="/", httponly=True, samesite="Strict",
        secure=request.is_secure,
    )  # fmt: skip
