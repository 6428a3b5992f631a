"""How does the browser get a day to play? One question, one answer that holds all its seconds.

The page sends a scenario; it gets the numbers of one simulated day, packed, and the words around
them. From then on the browser plays alone: head, speed, card on and off (assets/host-play.js).
"""

import base64
import json
from collections.abc import Callable
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt
from flask import Flask, Response, request

from app import labels, words
from app.refusals import refusal
from app.workers import Workers
from model.day_trace import day_trace
from model.errors import InputError
from model.scenario import canonical, load

SEED = 1  # that of the chart of the day
_JSON = "application/json"


def register(server: Flask, workers: Workers, report_failure: Callable[[Exception], str]) -> None:
    """Bind the address at which the page asks for a day.

    Parameters
    ----------
    server : Flask
        The web server.
    workers : Workers
        Who draws the day.
    report_failure : callable
        Logs an unforeseen failure and returns what to tell the visitor.
    """

    def reply() -> Response:
        question = request.get_json(silent=True)
        told: dict[str, Any]
        try:
            return Response(answer_to(question, workers), mimetype=_JSON)
        except InputError as error:
            told, status = {"error": {"field": error.field, "message": refusal(error)}}, 200
        except Exception as error:
            told, status = {"failure": report_failure(error)}, 500
        return Response(json.dumps(told), status, mimetype=_JSON)

    server.add_url_rule("/play", "play", reply, methods=["POST"])


def answer_to(question: Any, workers: Workers) -> str:
    """Return the day of a scenario as JSON text.

    Parameters
    ----------
    question : dict
        scenario, as JSON text; whatever else was sent is refused.
    workers : Workers
        Who draws the day.

    Raises
    ------
    InputError
        For what is no scenario.
    """
    text = question.get("scenario") if isinstance(question, dict) else None
    if not isinstance(text, str) or not text.startswith("{"):
        raise InputError("scenario", text, "a scenario as JSON text")
    return workers.run(day_text, canonical(load(text)))


@lru_cache(maxsize=4)  # in each process: a text has a megabyte, and most days are drawn in 20 ms
def day_text(scenario_text: str) -> str:
    """Return one simulated day of a scenario that was checked, as JSON text.

    Parameters
    ----------
    scenario_text : str
        The scenario.
    """
    scenario = load(scenario_text)
    trace = day_trace(scenario, SEED)
    return json.dumps(
        {
            "seed": SEED,
            "start_s": trace.start_s,
            "length_s": len(trace.app),
            "name": scenario.name,
            "sessions": scenario.sessions,
            "cards": scenario.accelerator.cards,
            "slots": trace.slots,
            "capacity": trace.capacity,
            "target_pct": scenario.targets.max_cpu_p95_pct,
            "app": _packed(trace.app, "<f4"),
            "software": _packed(trace.encode["software"], "<f4"),
            "offloaded": _packed(trace.encode["offloaded"], "<f4"),
            "slots_in_use": _packed(trace.slots_in_use, "<u4"),
            "present": _packed(trace.present, "<u4"),
            "words": labels.PLAY
            | {"about": words.play_about(scenario), "caution": words.PLAY_CAUTION},
        }
    )


def _packed(values: npt.NDArray[Any], kind: str) -> str:
    """Little-endian numbers of four bytes, as base64."""
    return base64.b64encode(np.asarray(values).astype(kind).tobytes()).decode("ascii")
