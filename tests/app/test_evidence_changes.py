"""Do measured costs come into a scenario with the mark of their log?"""

import pytest

from app import evidence_shown_host
from app.evidence_changes import proposals_of
from model.errors import InputError
from model.evidence.calibration import apply_changes
from model.scenario import default


def test_changes_come_from_the_logs_and_mark_what_was_measured(effects):
    """Measured levels become costs with the log's name; of two to one number one is ticked."""
    role = next(at for at, each in enumerate(default().roles) if each.displays == 1)
    found = proposals_of(effects, default(), role)
    shown = evidence_shown_host.proposal_shown(found)
    path = "activities[full-screen video].software_ms_per_frame"
    change = next(each for each in found.changes if each.path == path)
    host = default().host
    speed = host.clock_ghz / default().reference_clock_ghz * host.relative_ipc
    # Derived: 0.6 cores over 24 frames a second, in ms of the reference core.
    assert change.low < 0.6 / 24 * 1000 * speed < change.high
    assert change.log == "b.csv"
    scenario = apply_changes(default(), found.changes)
    assert len(scenario.measured) == len(found.changes)
    twice = evidence_shown_host.proposal_shown(
        type(found)((*found.changes, *found.changes), found.notes)
    )
    ticked = [each["ticked"] for each in twice["changes"]]
    assert ticked == [True] * len(found.changes) + [False] * len(found.changes)
    assert all(each["ticked"] for each in shown["changes"])
    with pytest.raises(InputError, match="roles"):
        proposals_of(effects, default(), 99)
    assert proposals_of(None, default(), 0).changes == ()


# ------------------------------------------------------------------------------- the Host page
