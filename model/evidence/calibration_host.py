"""What does each activity cost, by what the total of a whole host tells?

`changes_from_demands` turns the demands that explain a host's total into the numbers of a
scenario.
"""

from model.evidence.calibration import (
    Level,
    Proposal,
    ScenarioChange,
    activity_named,
    core_speed,
    proposal_of,
    propose,
)
from model.evidence.demands import Demands
from model.hosts import check_arm
from model.scenario import Scenario
from model.sessions import REFERENCE_PIXELS, Activity, pixels


def changes_from_demands(
    demands: Demands,
    scenario: Scenario,
    arm: str,
    log: str,
    clock_ghz: float | None = None,
    relative_ipc: float | None = None,
) -> Proposal:
    """Return the changes that demands found from a host's total ask of a scenario.

    Parameters
    ----------
    demands : Demands
        What one session asks of the host in each activity.
    scenario : Scenario
        The scenario to be changed.
    arm : str
        "software" or "offloaded": what was the case while the log was taken.
    log : str
        Name of the log.
    clock_ghz : float, above 0, or None
        Clock that the cores held; None takes the scenario's host's. [GHz]
    relative_ipc : float, above 0, or None
        Work per clock over the reference core's; None takes the scenario's host's. [-]

    Returns
    -------
    Proposal
        CPU per frame on the arm for activities with a picture in motion; CPU of a burst for the
        others.

    Raises
    ------
    InputError
        For an unknown arm, a clock or a work per clock that is not above 0.

    Notes
    -----
    A total does not tell application and encoder apart: the application's CPU is taken from the
    scenario as if it were known, and the rest is the encoder's. Displays are averaged over the
    roles as often as each is in the activity. Cores are taken at the speed they have with one
    thread each: on a host whose second threads are busy a thread does less, and demands estimated
    from busy threads come out too large. Demands estimated from work, as
    `model.evidence.prediction.work_done` makes it of busy threads, are right; they are in
    reference cores, hence to be given with the reference clock and a work per clock of 1.
    """
    checked = check_arm(arm)
    speed = core_speed(scenario, clock_ghz, relative_ipc)
    found: dict[str, ScenarioChange] = {}
    notes: list[str] = []
    card = scenario.accelerator
    if checked == "offloaded" and (card.slots == 0 or card.share_pct < 100):
        notes.append(
            "Not every session may use the card in this scenario, so a host's total does not give "
            "the cost with a card."
        )
        return Proposal((), tuple(notes))
    name = "software_ms_per_frame" if checked == "software" else "offloaded_ms_per_frame"
    rows = zip(
        demands.names, demands.demand_cores.tolist(), demands.low_cores.tolist(),
        demands.high_cores.tolist(), strict=True,
    )  # fmt: skip
    for named, value, low, high in rows:
        activity = activity_named(scenario, named)
        if activity is None:
            notes.append(f'The scenario has no activity "{named}": it was left out.')
            continue
        whole = Level(value, low, high).times(speed)
        size = _mean_displays(scenario, activity)
        if activity.frame_rate_hz > 0 and size > 0:
            app = activity.app_cores
            if whole.value <= app:
                notes.append(
                    f"{named}: {whole.value:.3g} cores are less than the application alone takes "
                    f"in the scenario ({app:.3g}): lower its bursts first."
                )
                continue
            encode = Level(whole.value - app, max(whole.low - app, 0.0), whole.high - app)
            per_frame = encode.times(1000 / (activity.frame_rate_hz * size))
            propose(found, notes, activity, name, per_frame, log)
        elif activity.app_bursts_per_s > 0:
            burst = whole.times(1000 / activity.app_bursts_per_s)
            propose(found, notes, activity, "app_burst_ms", burst, log)
        else:
            notes.append(f"{named}: the scenario has neither frames nor bursts to put the CPU to.")
    return proposal_of(found, notes, scenario)


def _mean_displays(scenario: Scenario, activity: Activity) -> float:
    """Displays in motion of a session in the activity, as so many of 1920x1080."""
    weights = [
        role.weight_pct * role.activity_pct.get(activity.name, 0.0) for role in scenario.roles
    ]
    sizes = [
        role.displays_in_motion(activity) * pixels(role.display) / REFERENCE_PIXELS
        for role in scenario.roles
    ]
    total = sum(weights)
    if total == 0:
        return 0.0
    return sum(weight * size for weight, size in zip(weights, sizes, strict=True)) / total
