"""What does a question about a trial's results hold, and which results are there?

Anyone can send a question: a field that is not what it should be is refused by its name.
"""

from typing import Any, cast

from app.evidence_session import Session
from app.theme import LIGHT, THEMES, Theme
from model.errors import InputError
from model.scenario import Scenario, load

Told = dict[str, Any]


def asked_theme(asked: Told) -> Theme:
    """Return the look that is asked for, the light one where it is unknown.

    Parameters
    ----------
    asked : dict
        theme.
    """
    return THEMES.get(str(asked.get("theme")), LIGHT)


def asked_number(asked: Told, name: str) -> float:
    """Return a number that a question must hold.

    Parameters
    ----------
    asked : dict
        The question.
    name : str
        Of the field.
    """
    value = asked.get(name)
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) < 1e12:
        raise InputError(name, value, "a number")
    return float(value)


def asked_number_or_none(asked: Told, name: str) -> float | None:
    """Return a number that a question may hold.

    Parameters
    ----------
    asked : dict
        The question.
    name : str
        Of the field.
    """
    return None if asked.get(name) is None else asked_number(asked, name)


def asked_place(asked: Told, name: str) -> int:
    """Return which entry of a list is asked for.

    Parameters
    ----------
    asked : dict
        The question.
    name : str
        Of the field.
    """
    value = asked.get(name)
    if isinstance(value, bool) or not isinstance(value, int):
        raise InputError(name, value, "a whole number")
    return value


def asked_scenario(asked: Told) -> Scenario:
    """Return the scenario that a question is about.

    Parameters
    ----------
    asked : dict
        scenario, as JSON text.
    """
    text = asked.get("scenario")
    if not isinstance(text, str) or not text.lstrip().startswith("{"):
        raise InputError("scenario", text, "a scenario as JSON text")  # never a path
    return load(text)


def asked_arm(asked: Told) -> str:
    """Return which arm is asked for, as it was written.

    Parameters
    ----------
    asked : dict
        arm.
    """
    arm = asked.get("arm")
    if not isinstance(arm, str):
        raise InputError("arm", arm, '"software" or "offloaded"')
    return arm


def effects_there(session: Session) -> Told:
    """Return the effects of a visitor's logs.

    Parameters
    ----------
    session : Session
        The visitor's.
    """
    effects = session.result("effects")
    if effects is None:
        raise InputError("effect", "not worked out", "logs that were read and confirmed")
    return cast(Told, effects)


def result_there(session: Session, name: str) -> Told:
    """Return a result that the page shows.

    Parameters
    ----------
    session : Session
        The visitor's.
    name : str
        effects, peaks, demands or compared.
    """
    found = session.result(name)
    if found is None:
        raise InputError(name, "not worked out", "a result on the page that is still here")
    return cast(Told, found)
