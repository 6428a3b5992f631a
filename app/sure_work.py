"""How are all draws of a question worked out, in a process of its own, and what is kept of them?"""

import multiprocessing
import os
import secrets
import threading
import time
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np

from app.evidence_session import Session
from app.sure_fleet import prices_of
from app.sure_question import SEED, SureQuestion
from app.sure_result import FILE, SureResult, to_text
from model.assess import one_desktop
from model.draws import scenario_at
from model.hosts import ARMS, Arm
from model.saturation import saturation_curve
from model.scenario import Scenario, load
from model.sensitivity import Ranking, ranking
from model.targets import rate
from model.uncertainty import Band, Progress, Uncertainty, propagate

ASKERS = "askers"  # folder of marks of the pages that wait
MOST_PROCESSES = 8
_ABANDONED_S = 300.0  # without any page that waits, work ends; a hidden tab asks once a minute
_NOBODY_LOOKED_AT = 40  # draws without anybody; more tell nothing new


def work_out(session: Session, tell: Any, question: SureQuestion) -> None:
    """Work all draws out and keep the result; a job that `app.evidence_jobs` runs.

    Parameters
    ----------
    session : Session
        The folder of the question.
    tell : callable
        tell(share, words) says how far it is.
    question : SureQuestion
        What is asked.
    """
    multiprocessing.current_process().daemon = False  # it has processes of its own, see `propagate`
    cancel = threading.Event()

    def progress(done: int, total: int) -> None:
        tell(done / total, f"{done:,} of {total:,} scenarios worked out")
        if is_abandoned(session.folder):
            cancel.set()

    tell(0.0, "Simulating the day.")
    result = sure_result(question, processes(), progress, cancel)
    if result is None:
        return
    part = session.folder / f"result.{secrets.token_hex(4)}.part"
    try:
        part.write_text(to_text(result), encoding="utf-8")
        os.replace(part, session.folder / FILE)
    finally:
        part.unlink(missing_ok=True)


def processes() -> int:
    """Return how many processes share the work: one for each core, a few at most. [processes]"""
    usable = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return min(max(usable or 1, 1), MOST_PROCESSES)


def is_abandoned(folder: Path) -> bool:
    """Return whether nobody has asked for a result for some minutes.

    Parameters
    ----------
    folder : Path
        The folder of the question.
    """
    try:
        marks = [mark.stat().st_mtime for mark in (folder / ASKERS).iterdir()]
    except OSError:
        return False  # a mark may go while it is looked at
    return not marks or time.time() - max(marks) > _ABANDONED_S


def sure_result(
    question: SureQuestion,
    processes: int = 1,
    progress: Progress | None = None,
    cancel: threading.Event | None = None,
) -> SureResult | None:
    """Return all that is kept of a question's draws, None where it was cancelled.

    Parameters
    ----------
    question : SureQuestion
        What is asked.
    processes : int from 1 to 64
        Processes that share the work. [processes]
    progress : callable or None
        progress(done, total) is told as it goes on.
    cancel : threading.Event or None
        Once it is set, work ends.
    """
    scenario = load(question.scenario)
    prices = None if question.fleet is None else prices_of(question.fleet, scenario)
    found = propagate(
        scenario,
        question.draws,
        SEED,
        processes,
        spreads_pct=dict(question.spreads_pct),
        total_sessions=question.total_sessions,
        yearly_cost=None if prices is None else prices.of,
        progress=progress,
        cancel=cancel,
    )
    if found is None:
        return None
    cost = None
    if prices is not None:
        cost = {
            "years": prices.years,
            "choice": prices.choice.name,
            "currency": prices.inputs.currency,
        }
    return {
        "scenario": question.scenario,
        "draws": question.draws,
        "seed": SEED,
        "spreads_pct": dict(question.spreads_pct),
        "total_sessions": question.total_sessions,
        "cost": cost,
        "answers": {
            arm: {name: _plain(each.band) for name, each in answers.items()}
            for arm, answers in found.answers.items()
        },
        "differences": {name: _plain(each.band) for name, each in found.differences.items()},
        "nobody": {arm: _nobody(found, arm) for arm in ARMS},
        "sessions": found.sessions.tolist(),
        "curves": {
            arm: {name: _plain(band) for name, band in curves.items()}
            for arm, curves in found.curves.items()
        },
        "ranking": {
            f"{name}.{arm or ''}": _ranking(ranking(found, name, arm), found)
            for name, arm in _asked_of(found)
        },
    }


def _asked_of(found: Uncertainty) -> list[tuple[str, Arm | None]]:
    asked: list[tuple[str, Arm | None]] = [
        (name, arm) for arm, answers in found.answers.items() for name in answers
    ]
    return asked + [(name, None) for name in found.differences]


def _plain(band: Band) -> dict[str, Any]:
    return {
        name: np.asarray(getattr(band, name), dtype=float).tolist()
        for name in ("p10", "p50", "p90", "best")
    }


def _ranking(ranked: Ranking, found: Uncertainty) -> dict[str, Any]:
    return {
        "sentence": ranked.sentence,
        "explained": ranked.explained,
        "best": found.of(ranked.answer, ranked.arm).best,
        "ranks": [
            {
                "group": rank.group,
                "label": rank.label,
                "low": rank.low,
                "high": rank.high,
                "first_order": rank.first_order,
                "inputs": [list(each) for each in rank.inputs],
            }
            for rank in ranked.ranks
        ],
    }


def _nobody(found: Uncertainty, arm: Arm) -> dict[str, Any]:
    """In which share of the draws nobody is carried, and what mostly is in the way."""
    share = found.carries_nobody[arm]
    if share == 0:
        return {"share": 0.0, "limit": "", "activity": ""}
    empty = np.flatnonzero(found.of("rated_load", arm).drawn == 0)[:_NOBODY_LOOKED_AT]
    limits: Counter[str] = Counter()
    slowest: Counter[str] = Counter()
    for row in empty.tolist():
        drawn = scenario_at(found.scenario, found.inputs, found.scores[row])
        limit = rate(drawn, saturation_curve(drawn, arm, np.arange(1, 2))).limit
        limits[limit] += 1
        if limit == "frames":
            slowest[_slowest(drawn, arm)] += 1
    limit = limits.most_common(1)[0][0]
    activity = slowest.most_common(1)[0][0] if limit == "frames" else ""
    return {"share": share, "limit": limit, "activity": activity}


def _slowest(scenario: Scenario, arm: Arm) -> str:
    """The activity of which a desktop alone gets the smallest share of the frames it wants."""
    alone = [
        each
        for role in scenario.roles
        if role.weight_pct > 0
        for each in one_desktop(scenario, role)
        if role.activity_pct.get(each.activity, 0) > 0
    ]
    least = min(alone, key=lambda each: each.frames_pct[arm])
    return least.activity if least.frames_pct[arm] < 100 else ""
