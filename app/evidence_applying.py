"""Which changes to the scenario does a visitor accept of those that the measurements ask for?"""

from typing import Any

from app import evidence_changes, evidence_shown_host, url_state
from app.evidence_answers import demands_by
from app.evidence_asked import (
    asked_arm,
    asked_number_or_none,
    asked_place,
    asked_scenario,
    effects_there,
)
from app.evidence_session import Session
from model.errors import InputError
from model.evidence.calibration import Proposal, apply_changes
from model.evidence.calibration_host import changes_from_demands
from model.scenario import canonical, to_data

Told = dict[str, Any]


def changes(session: Session, asked: Told) -> Told:
    """Return the changes that a visitor's measurements ask of the scenario.

    Parameters
    ----------
    session : Session
        The visitor's.
    asked : dict
        scenario, source ("effects" or "demands"), role, clock_ghz and relative_ipc or None; for
        demands also log, arm, base_cores.
    """
    return evidence_shown_host.proposal_shown(_proposal(session, asked))


def _proposal(session: Session, asked: Told) -> Proposal:
    scenario = asked_scenario(asked)
    if asked.get("source") == "demands":
        found, told = demands_by(session, asked)
        reference = scenario.reference_clock_ghz  # demands are work of reference cores
        return changes_from_demands(
            found, scenario, asked_arm(asked), told["log_name"], reference, 1.0
        )
    speed = asked_number_or_none(asked, "clock_ghz"), asked_number_or_none(asked, "relative_ipc")
    return evidence_changes.proposals_of(
        effects_there(session), scenario, asked_place(asked, "role"), *speed
    )


def applied(session: Session, asked: Told) -> Told:
    """Return the scenario with the accepted changes made, as a link and as data.

    Parameters
    ----------
    session : Session
        The visitor's.
    asked : dict
        As for `changes`, and accepted: the numbers of the changes.

    Returns
    -------
    dict
        query, None where too long for a link; scenario as data; count of changes made.
    """
    found = _proposal(session, asked)
    accepted = asked.get("accepted")
    known = range(len(found.changes))
    if not isinstance(accepted, list) or not all(
        type(each) is int and each in known for each in accepted
    ):
        raise InputError("accepted", accepted, "the numbers of changes that were proposed")
    if not accepted:
        raise InputError("accepted", "none", "at least one change that is ticked")
    changed = apply_changes(asked_scenario(asked), [found.changes[each] for each in accepted])
    return {
        "query": url_state.to_address(changed),
        "scenario": to_data(changed),
        "canonical": canonical(changed),
        "count": len(accepted),
    }
