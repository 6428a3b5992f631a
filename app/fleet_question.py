"""What is asked about a fleet, and what do all answers about it share?

Ratings are shared by all answers of a process: they depend on host, card, mix and targets, and
hold nothing of a visitor.
"""

from dataclasses import dataclass

from model.fleet import FleetPlan, plan_fleet
from model.fleet_inputs import FleetInputs
from model.host_rating import HostRatings
from model.scenario import Scenario

MOST_RATINGS = 3_000  # kept by each process; about 15 kB each
_RATINGS = HostRatings(most=MOST_RATINGS)


@dataclass(frozen=True)
class Asked:
    """One question about a fleet.

    Parameters
    ----------
    scenario : Scenario
        People, activities and targets.
    inputs : FleetInputs
        The fleet.
    choice : int
        The host choice that is looked at closer, 0 for the first. [-]
    role : str
        The role whose share is moved.
    event : str or None
        Text of the event, see `app.events`.
    """

    scenario: Scenario
    inputs: FleetInputs
    choice: int
    role: str
    event: str | None


def asked_of(
    scenario: Scenario, inputs: FleetInputs, choice: object, role: object, event: str | None
) -> Asked:
    """Return a question whose view of the fleet is put right where it no longer fits.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    inputs : FleetInputs
        The fleet.
    choice : int or None
        Place of the host choice that is looked at; the cheapest where there is none such.
    role : str or None
        The role; the one with the most display work where there is none such.
    event : str or None
        Text of the event.
    """
    if not isinstance(choice, int) or not 0 <= choice < len(inputs.choices):
        choice = -1
    if role not in [each.name for each in scenario.roles]:
        role = most_display_work(scenario)
    return Asked(scenario, inputs, choice, str(role), event)


def most_display_work(scenario: Scenario) -> str:
    """Return the role whose desktops take the most display encoding without a card.

    Parameters
    ----------
    scenario : Scenario
        The scenario; the first of equal roles is taken.
    """
    activities = {activity.name: activity for activity in scenario.activities}

    def work(index: int) -> float:
        role = scenario.roles[index]
        return sum(
            share
            * activities[name].frame_rate_hz
            * role.encode_ms_per_frame(activities[name], on_card=0)
            for name, share in role.activity_pct.items()
        )

    return scenario.roles[max(range(len(scenario.roles)), key=work)].name


def shared_ratings() -> HostRatings:
    """Return the ratings that all answers of this process share."""
    return _RATINGS


def planned(asked: Asked) -> FleetPlan:
    """Return every host choice side by side.

    Parameters
    ----------
    asked : Asked
        The question.
    """
    return plan_fleet(asked.inputs, asked.scenario, shared_ratings())


def shown_choice(asked: Asked, plan: FleetPlan) -> int:
    """Return the place of the host choice that is looked at closer: the cheapest unless chosen.

    Parameters
    ----------
    asked : Asked
        The question.
    plan : FleetPlan
        Every host choice.
    """
    if asked.choice >= 0 or plan.cheapest is None:
        return max(asked.choice, 0)
    return [each.choice for each in plan.choices].index(plan.cheapest[0])
