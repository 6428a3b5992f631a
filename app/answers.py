"""What does the Host page show for a scenario? Each lane's answer, as figures and texts.

The curves come first and fast, a rough day beside them, and what waits until a slider rests
(the day in full, what is asked next) last. Nothing here knows of requests or of the page's
framework, so that a process of its own can work an answer out.
"""

import json
import time
from collections.abc import Callable
from functools import lru_cache
from typing import Any

from app import labels, url_state, words, words_failures
from app.figures.contention import contention_figure
from app.figures.day import day_figure
from app.figures.desktop import desktop_figure
from app.figures.headroom import headroom_figure
from app.proposal import sheet
from app.stage import spoken_of_curves, spoken_of_day, spoken_of_range
from app.sure_result import Bands
from app.theme import LIGHT, THEMES, Theme, shown_arms
from app.words_check import check_sentence
from app.words_measured import measured_marks, measured_note, measured_range
from model import scenario_url
from model.assess import Assessment, Work, assess, one_desktop, what_if
from model.day import DayResult, simulate_day_both
from model.evidence.calibration import measured_bounds
from model.hosts import ARMS, Arm
from model.scenario import Scenario, canonical, default, load
from model.self_check import self_check
from model.sessions import Role

Answer = dict[str, Any]
DAY_SEED = 1
DAY_REPLICATES = 20
MOVING_REPLICATES = 3  # while a slider moves; the day is drawn in full once it rests
MOST_SIMULATED_SESSIONS = 20_000  # sessions times replicates; many sessions need fewer days


def answer_text(
    lane: str,
    scenario_text: str,
    theme_name: str,
    pin: str | None,
    work: Work = map,
    bands: Bands | None = None,
) -> str:
    """Return the answer of one lane as JSON text.

    Parameters
    ----------
    lane : str
        A key of `LANES`.
    scenario_text : str
        A scenario that was checked, as JSON text.
    theme_name : str
        A key of `app.theme.THEMES`; any other name gives the light look.
    pin : str or None
        Query of the scenario pinned for comparison; None without one.
    work : callable
        Works out both arms of the curves, see `model.assess.assess`.
    bands : Bands or None
        Where most draws of the scenario's uncertain inputs lie, where that is known.
    """
    pinned = None if pin is None else scenario_url.from_query(pin)
    theme = THEMES.get(theme_name, LIGHT)
    scenario = load(scenario_text)
    if lane == "curve":
        return json.dumps(curve_answer(scenario, theme, pinned, work, bands))
    if lane == "next":
        return json.dumps(next_answer(scenario, theme, pinned, bands))
    return json.dumps(LANES[lane](scenario, theme, pinned))


def warm_up() -> None:
    """Answer for the example once, so that the next answer need not load anything."""
    for lane in ("curve", "day", "next"):
        LANES[lane](default(), LIGHT, None)


def curve_answer(
    scenario: Scenario,
    theme: Theme,
    pinned: Scenario | None = None,
    work: Work = map,
    bands: Bands | None = None,
) -> Answer:
    """Return sentence, values and the charts over sessions and of one desktop.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    theme : Theme
        The look.
    pinned : Scenario or None
        What was pinned for comparison.
    work : callable
        Works out both arms, see `model.assess.assess`.
    bands : Bands or None
        As for `answer_text`.
    """
    start = time.perf_counter()
    found = assess(scenario, work)
    before = assess(pinned, work) if pinned else None
    model_ms = round((time.perf_counter() - start) * 1000, 1)
    role = _largest_role(scenario)
    alone = one_desktop(scenario, role)
    arms = shown_arms(scenario)[::-1]
    alone_before = one_desktop(pinned, _largest_role(pinned)) if pinned else None
    query = url_state.to_address(scenario, scenario_url.to_query(pinned) if pinned else None)
    return {
        "model_ms": model_ms,
        "query": query,
        "figures": {
            "headroom": headroom_figure(found, theme, before, bands=bands),
            "contention": contention_figure(found, theme, before, bands),
            "desktop": desktop_figure(alone, theme, alone_before, arms),
        },
        "texts": {
            "answer-sentence": words.answer_sentence(found),
            "limit-offloaded": (
                words.limit_sentence(found.rated["offloaded"]) if scenario.accelerator.cards else ""
            ),
            "limit-software": words.limit_sentence(found.rated["software"]),
            "link-note": "" if query is not None else words.TOO_LONG_FOR_A_LINK,
            "pin-note": words.pin_sentence(before.scenario, scenario) if before else "",
            "pin-change": words.change_sentence(before, found) if before else "",
            "self-check": "",
            "now-title": f"With {words.sessions(scenario.sessions)}",
            **_takeaways(found),
            "measured-note": measured_note(scenario),
            **({} if scenario.measured else {"measured-range": ""}),
            **{
                f"now-{arm}-{name}": labels.value(name, found.now[arm][name])
                for arm in ARMS
                for name in labels.VALUES
            },
        },
        "spoken": spoken_of_curves(found, alone),
        "measured": measured_marks(scenario),
        "events": words_failures.offers(scenario),
    }


def day_answer(scenario: Scenario, theme: Theme, pinned: Scenario | None = None) -> Answer:
    """Return the chart of a few simulated days, for a slider that moves.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    theme : Theme
        The look.
    pinned : Scenario or None
        What was pinned for comparison.
    """
    days = _days(scenario, MOVING_REPLICATES)
    before = _days(pinned, MOVING_REPLICATES) if pinned else None
    return {
        "figures": {"day": day_figure(days, scenario, theme, before)},
        "texts": {"pin-crest": words.crest_change(before, days) if before else ""},
    }


def next_answer(
    scenario: Scenario,
    theme: Theme,
    pinned: Scenario | None = None,
    bands: Bands | None = None,
) -> Answer:
    """Return the chart of the day in full, and what is asked next in every meeting.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    theme : Theme
        The look.
    pinned : Scenario or None
        What was pinned for comparison.
    bands : Bands or None
        As for `answer_text`.
    """
    found = assess(scenario)
    days = _days(scenario, DAY_REPLICATES)
    before = _days(pinned, DAY_REPLICATES) if pinned else None
    bounds = bounds_of(scenario)
    spoken = {"day": spoken_of_day(days, scenario.accelerator.cards > 0)}
    figures = {"day": day_figure(days, scenario, theme, before)}
    if bounds is not None:
        pinned_curves = assess(pinned) if pinned else None
        figures["headroom"] = headroom_figure(found, theme, pinned_curves, bounds, bands)
        spoken["headroom"] = spoken_of_range(found, bounds)
    return {
        "figures": figures,
        "texts": {
            "measured-range": measured_range(found, bounds),
            "takeaway-day": words.crest_sentence(
                days["software"], days["offloaded"], scenario.accelerator.cards > 0
            ),
            "pin-crest": words.crest_change(before, days) if before else "",
        },
        "spoken": spoken,
        "lines": [words.what_if_sentence(each, found) for each in what_if(scenario)],
        "sheet": sheet(scenario),
    }


def check_answer(scenario: Scenario, theme: Theme, pinned: Scenario | None = None) -> Answer:
    """Return whether the quick answers agree with exact ones, at the sessions that matter.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    theme, pinned : Theme, Scenario or None
        As in the other lanes; not used.
    """
    found = assess(scenario)
    matter = [scenario.sessions, *[rated.rated_load for rated in found.rated.values()]]
    checked = self_check(scenario, matter)
    return {"texts": {"self-check": check_sentence(checked)}, "agrees": checked.agrees}


def bounds_of(scenario: Scenario) -> tuple[Assessment, Assessment] | None:
    """Return the answers with all measured costs at their low, and at their high ends.

    Parameters
    ----------
    scenario : Scenario
        The scenario; None is returned where none of its costs was measured.
    """
    if not scenario.measured:
        return None
    low, high = measured_bounds(scenario)
    return assess(low), assess(high)


def _days(scenario: Scenario, wanted: int) -> dict[Arm, DayResult]:
    return _remembered_days(canonical(scenario), replicates_of(scenario, wanted))


def replicates_of(scenario: Scenario, wanted: int = DAY_REPLICATES) -> int:
    """Return how many days are simulated: fewer where many sessions take part.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    wanted : int, 1 or more
        How many there would be of a small host. [days]
    """
    return max(1, min(wanted, MOST_SIMULATED_SESSIONS // scenario.sessions))


@lru_cache(maxsize=4)  # what is pinned is asked for again at every move
def _remembered_days(scenario_text: str, replicates: int) -> dict[Arm, DayResult]:
    return simulate_day_both(load(scenario_text), DAY_SEED, replicates)


def _largest_role(scenario: Scenario) -> Role:
    return max(scenario.roles, key=lambda role: role.weight_pct)


def _takeaways(found: Assessment) -> dict[str, str]:
    at = f"At {words.sessions(found.scenario.sessions)}"
    role = _largest_role(found.scenario).name
    left, frames = (
        {arm: labels.value(name, found.now[arm][name]) for arm in ARMS}
        for name in ("headroom_pct", "frames_busy_pct")
    )
    if not found.scenario.accelerator.cards:
        headroom = f"{at} the CPU has {left['software']} % left at busy moments."
        contention = f"{at} {frames['software']} % of frames are delivered at busy moments."
    else:
        headroom = (
            f"{at} the CPU has {left['offloaded']} % left at busy moments with the card, "
            f"{left['software']} % without."
        )
        contention = (
            f"{at} {frames['offloaded']} % of frames are delivered at busy moments with the card, "
            f"{frames['software']} % without."
        )
    return {
        "takeaway-headroom": headroom,
        "takeaway-contention": contention,
        "takeaway-desktop": f"A desktop of the role {role}, alone on the host.",
    }


LANES: dict[str, Callable[[Scenario, Theme, Scenario | None], Answer]] = {
    "curve": curve_answer,
    "day": day_answer,
    "next": next_answer,
    "check": check_answer,
}
