"""How high are the CPU peaks over a working day, with and without the card?"""

import datetime as dt

import numpy as np

from app.theme import ARM_LABEL, DASH, Figure, Theme, across, layout, note, rounded, shown_arms
from model.day import DayResult
from model.hosts import ARMS, Arm
from model.scenario import Scenario

MINUTES_A_POINT = 6


def day_figure(
    days: dict[Arm, DayResult],
    scenario: Scenario,
    theme: Theme,
    pinned: dict[Arm, DayResult] | None = None,
) -> Figure:
    """Return the chart of CPU demand over the day: a band from p50 to p95 and the largest second.

    Parameters
    ----------
    days : dict
        The simulated day of each arm.
    scenario : Scenario
        The scenario, for its targets.
    theme : Theme
        The look.
    pinned : dict or None
        The pinned day of each arm; its p95 is drawn as a ghost.
    """
    traces = _ghosts(pinned, theme)
    names = []
    highest = 100.0
    for arm in shown_arms(scenario):
        day = days[arm]
        clock = _clock(day)
        p50, p95, most = (
            _coarse(values) for values in (day.demand_p50_pct, day.demand_p95_pct,
                                           day.demand_max_pct)
        )  # fmt: skip
        highest = max(highest, float(most.max()))
        colour = theme.colour(arm)
        names.append((arm, *_crest(arm, clock, most)))
        traces += [
            {
                "type": "scatter", "mode": "lines", "x": clock, "y": rounded(p50, 1),
                "line": {"width": theme.thick(0.5), "color": colour}, "hoverinfo": "skip",
            },
            {
                "type": "scatter", "mode": "lines", "x": clock, "y": rounded(p95, 1),
                "fill": "tonexty", "fillcolor": theme.fill(arm), "name": ARM_LABEL[arm],
                "line": {"width": theme.thick(2.5), "color": colour, "dash": DASH[arm]},
                "hovertemplate": f"%{{y:.0f}} % of the CPU at p95 {ARM_LABEL[arm]}<extra></extra>",
            },
            {
                "type": "scatter", "mode": "lines", "x": clock, "y": rounded(most, 1),
                "line": {"width": theme.thick(1), "color": colour, "dash": "dot"},
                "hovertemplate": f"%{{y:.0f}} % in the worst second {ARM_LABEL[arm]}"
                "<extra></extra>",
            },
        ]  # fmt: skip
    top = float(np.ceil(min(highest, 260) / 20) * 20 + 10)
    target = across(
        theme, scenario.targets.max_cpu_p95_pct, f"target: {scenario.targets.max_cpu_p95_pct:g} %"
    )
    full = across(theme, 100, "all of the CPU")
    labels = [
        note(theme, ARM_LABEL[arm], 0, min(y, 0.92 * top), font={"color": theme.colour(arm)},
             yanchor="bottom") | {"x": clock}
        for arm, clock, y in names
    ]  # fmt: skip
    return {
        "data": traces,
        "layout": layout(
            theme, "Time of day", "CPU demand [% of CPU]",
            xaxis={"tickformat": "%H:%M", "type": "date", "hoverformat": "%H:%M"},
            yaxis={"range": [0, top]},
            shapes=[target[0], full[0]], annotations=[target[1], full[1], *labels],
        ),
    }  # fmt: skip


def _crest(arm: Arm, clock: list[str], most: np.ndarray) -> tuple[str, float]:
    """Where an arm's name stands: at the crest of its morning, or of its afternoon with the card.

    In different halves of the day the names do not meet where both arms are alike.
    """
    half = len(most) // 2
    part = range(half) if arm == "software" else range(half, len(most))
    at = max(part, key=lambda i: float(most[i]), default=0)
    return clock[at], float(most[at])


def _ghosts(pinned: dict[Arm, DayResult] | None, theme: Theme) -> list[Figure]:
    if pinned is None:
        return []
    return [
        {
            "type": "scatter", "mode": "lines", "x": _clock(pinned[arm]),
            "y": rounded(_coarse(pinned[arm].demand_p95_pct), 1), "name": "pinned",
            "line": {"width": theme.thick(1.5), "color": theme.ghost, "dash": DASH[arm]},
            "hovertemplate": f"%{{y:.0f}} % at p95 pinned, {ARM_LABEL[arm]}<extra></extra>",
        }
        for arm in reversed(ARMS)
    ]  # fmt: skip


def _coarse(values: np.ndarray) -> np.ndarray:
    """The largest of every few minutes: a drawn line must not cut a peak."""
    pad = -len(values) % MINUTES_A_POINT
    padded: np.ndarray = np.append(values, np.repeat(values[-1], pad))
    coarse: np.ndarray = padded.reshape(-1, MINUTES_A_POINT).max(axis=1)
    return coarse


def _clock(day: DayResult) -> list[str]:
    start = dt.datetime(2026, 1, 5) + dt.timedelta(seconds=day.start_s)
    minutes = np.asarray(day.minute_s)[::MINUTES_A_POINT]
    return [(start + dt.timedelta(seconds=float(s))).isoformat(timespec="minutes") for s in minutes]
