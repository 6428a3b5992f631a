"""At which addresses does the Host page ask how sure its answers are?

    POST /sure/start     {scenario, draws, spreads_pct, total_sessions, fleet, asker}
    POST /sure/find      the same; only says whether it is known
    POST /sure/state     {key, asker}
    POST /sure/cancel    {key, asker}
    POST /sure/result    {key, theme, answer}
    POST /sure/picture   {key, answer}
    POST /sure/numbers   {key, what, answer}

A refusal is told in the answer and not by its status, as on the other pages. The key of a result
is a digest of all its inputs: who knows it knows them.
"""

import json
from collections.abc import Callable
from typing import Any

from flask import Flask, Response, request

from app import sure_answers, words_sure
from app.csv_text import MEDIA_TYPE
from app.sure_question import question_of
from app.sure_result import SureResult
from app.sure_store import SureStore
from app.theme import LIGHT, THEMES
from model.errors import InputError

BASE = "/sure"
Told = dict[str, Any]


def register(server: Flask, store: SureStore, report_failure: Callable[[Exception], str]) -> None:
    """Bind the addresses.

    Parameters
    ----------
    server : Flask
        The application's server.
    store : SureStore
        Questions and results.
    report_failure : callable
        Logs an unforeseen failure and returns what to tell the visitor.
    """

    def result_of(asked: Told) -> SureResult:
        found = store.result(_text(asked, "key"))
        if found is None:
            raise _GoneError
        return found

    def start(asked: Told) -> Told:
        question, note = question_of(asked)
        return store.start(question, _text(asked, "asker")) | {"note": note}

    def find(asked: Told) -> Told:
        question, note = question_of(asked)
        return store.state(question.key) | {"note": note}

    def state(asked: Told) -> Told:
        return store.state(_text(asked, "key"), _text(asked, "asker"))

    def cancel(asked: Told) -> Told:
        return store.cancel(_text(asked, "key"), _text(asked, "asker"))

    def result(asked: Told) -> Told:
        theme = THEMES.get(str(asked.get("theme")), LIGHT)
        return sure_answers.shown(result_of(asked), theme, _answer(asked))

    def picture(asked: Told) -> Told:
        return sure_answers.picture(result_of(asked), _answer(asked))

    def numbers(asked: Told) -> Response:
        found = result_of(asked)
        if asked.get("what") == "ranking":
            return _csv("ranking", sure_answers.ranking_csv(found, _answer(asked)))
        return _csv("how-sure", sure_answers.table_csv(found))

    answers: dict[str, Callable[[Told], Told | Response]] = {
        "start": start, "find": find, "state": state, "cancel": cancel, "result": result,
        "picture": picture, "numbers": numbers,
    }  # fmt: skip
    for name, answer in answers.items():
        _bind(server, name, answer, report_failure)


class _GoneError(Exception):
    """A result is no longer kept."""


def _bind(
    server: Flask,
    name: str,
    answer: Callable[[Told], Told | Response],
    report_failure: Callable[[Exception], str],
) -> None:
    def reply() -> Response:
        told: Told | Response
        status = 200
        try:
            if request.mimetype != "application/json":
                return _json({"error": {"message": "Send this as application/json."}}, 415)
            asked = request.get_json(silent=True)
            told = answer(asked if isinstance(asked, dict) else {})
        except _GoneError:
            told = {"error": {"field": "key", "message": words_sure.TEXTS["gone"]}}
        except InputError as error:
            told = {"error": {"field": error.field, "message": words_sure.refused(error)}}
        except Exception as error:
            told, status = {"failure": report_failure(error)}, 500
        return told if isinstance(told, Response) else _json(told, status)

    server.add_url_rule(f"{BASE}/{name}", f"sure_{name}", reply, methods=["POST"])


def _text(asked: Told, name: str) -> str:
    given = asked.get(name)
    if not isinstance(given, str):
        raise InputError(name, given, "a text")
    return given


def _answer(asked: Told) -> str | None:
    return None if asked.get("answer") is None else _text(asked, "answer")


def _json(told: Told, status: int = 200) -> Response:
    text = json.dumps(told, allow_nan=False)
    response = Response(text, status, mimetype="application/json")
    response.headers["Cache-Control"] = "no-store"
    return response


def _csv(name: str, text: str) -> Response:
    response = Response(text, content_type=MEDIA_TYPE)
    response.headers["Content-Disposition"] = (
        f'attachment; filename="crestline-estimate-{name}.csv"'
    )
    response.headers["Cache-Control"] = "no-store"
    return response
