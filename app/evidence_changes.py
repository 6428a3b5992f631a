"""Which changes do the effects of a visitor's logs ask of a scenario?"""

from typing import Any

from model.errors import InputError
from model.evidence.calibration import Level, Proposal, ScenarioChange
from model.evidence.calibration_desktop import ActivityLevels, changes_from
from model.scenario import Scenario

Told = dict[str, Any]


def proposals_of(
    effects: Told | None,
    scenario: Scenario,
    role: int,
    clock_ghz: float | None = None,
    relative_ipc: float | None = None,
) -> Proposal:
    """Return the changes that the desktops' logs ask of a scenario.

    Parameters
    ----------
    effects : dict or None
        From `effects_of`; None where no effect has been worked out.
    scenario : Scenario
        The scenario.
    role : int
        The place of the role whose desktop was measured. [-]
    clock_ghz : float or None
        Clock that the cores held; None takes the scenario's. [GHz]
    relative_ipc : float or None
        Work per clock over the reference core's; None takes the scenario's. [-]
    """
    if not 0 <= role < len(scenario.roles):
        raise InputError("role", role, "one of the scenario's roles")
    changes: list[ScenarioChange] = []
    notes: list[str] = []
    for at, about in enumerate(effects["logs"] if effects is not None else ()):
        rows = [row for row in (effects or {})["rows"] if row["log"] == at]
        levels = _levels(rows)
        if not levels:
            continue
        found = changes_from(
            levels, scenario, scenario.roles[role], about["name"], clock_ghz, relative_ipc
        )
        changes += found.changes
        notes += [note for note in found.notes if note not in notes]
    return Proposal(tuple(changes), tuple(notes))


def _levels(rows: list[Told]) -> list[ActivityLevels]:
    by_activity: dict[str, dict[str, Level]] = {}
    parts = {"encode_cores": "encode", "frames_hz": "frames", "cpu_cores": "desktop"}
    for row in rows:
        part = parts.get(row["column"])
        if not row["activity"] or part is None:
            continue
        unit = "hz" if part == "frames" else "cores"
        for state in ("off", "on"):
            level = row[state]
            if level["value"] is None or level["low"] is None:
                continue
            ends = (min(level["low"], level["value"]), max(level["high"], level["value"]))
            name = f"{part}_{state}_{unit}"
            by_activity.setdefault(row["activity"], {})[name] = Level(level["value"], *ends)
    return [ActivityLevels(name, **levels) for name, levels in by_activity.items()]
