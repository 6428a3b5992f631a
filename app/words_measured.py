"""In which words does the Host page say which of its costs were measured, and what that leaves?"""

from app.labels import ACTIVITY_COLUMNS
from model.assess import Assessment
from model.defaults import FIELDS
from model.scenario import Scenario

MEASURED_BAND = "range of the measured costs"
_MOST_LOGS = 3
_LONGEST_NAME = 40


def measured_marks(scenario: Scenario) -> list[dict[str, str]]:
    """Return what stands beside each measured number.

    Parameters
    ----------
    scenario : Scenario
        The scenario.

    Returns
    -------
    list of dict
        path, by which the page names the number's box; told, in a few words; about, in a sentence.
    """
    places = {activity.name: at for at, activity in enumerate(scenario.activities)}
    marks = []
    for mark in scenario.measured:
        unit = FIELDS[f"activities.{mark.number_name}"].unit
        label = ACTIVITY_COLUMNS.get(mark.number_name, mark.number_name)
        marks.append(
            {
                "path": f"activities[{places[mark.activity]}].{mark.number_name}",
                "told": f"measured {mark.low:g} to {mark.high:g}",
                "about": f"{mark.activity}, {label}: measured {mark.value:g} {unit}, 95 % interval "
                f"{mark.low:g} to {mark.high:g}, log {mark.source}",
            }
        )
    return marks


def measured_note(scenario: Scenario) -> str:
    """Return how many costs were measured, and in which logs; "" where none was.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    """
    if not scenario.measured:
        return ""
    logs = list(dict.fromkeys(mark.source for mark in scenario.measured))
    named = ", ".join(_short(log) for log in logs[:_MOST_LOGS])
    more = f" and {len(logs) - _MOST_LOGS} more" if len(logs) > _MOST_LOGS else ""
    count, activities = len(scenario.measured), len({mark.activity for mark in scenario.measured})
    numbers = "1 number" if count == 1 else f"{count} numbers"
    of = "1 activity" if activities == 1 else f"{activities} activities"
    return f"Measured instead of default: {numbers} of {of} ({named}{more})."


def measured_range(found: Assessment, bounds: tuple[Assessment, Assessment] | None) -> str:
    """Return which rated loads the intervals of the measured costs leave.

    Parameters
    ----------
    found : Assessment
        The answer.
    bounds : tuple of Assessment or None
        The answers at the low and at the high ends of the costs; None where none was measured.
    """
    if bounds is None:
        return ""
    arms = [("software", "without")]
    if found.scenario.accelerator.cards:
        arms = [("offloaded", "with the card"), ("software", "without")]
    parts = []
    for arm, told in arms:
        least, most = sorted(each.rated[arm].rated_load for each in bounds)  # type: ignore[index]
        span = str(least) if least == most else f"{least} to {most}"
        parts.append(f"{span} {told}")
    return f"The measured intervals leave rated loads of {', '.join(parts)}."


def _short(name: str) -> str:
    return name if len(name) <= _LONGEST_NAME else f"{name[: _LONGEST_NAME - 3].rstrip()}..."
