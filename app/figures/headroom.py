"""How much CPU headroom is left as sessions are added, with and without the card?"""

import numpy as np

from app.figures.drawn import drawn_bands, drawn_note
from app.sure_result import Bands
from app.theme import (
    ARM_LABEL,
    DASH,
    Figure,
    Theme,
    across,
    layout,
    note,
    rounded,
    shown_arms,
    upright,
)
from app.words import sessions
from app.words_measured import MEASURED_BAND
from model.assess import Assessment

POINTS = 60


def shown_points(assessment: Assessment) -> np.ndarray:
    """Return the indices of the curve that are drawn: evenly spaced, and every marked number."""
    numbers = assessment.curves["software"].sessions
    marked = [assessment.scenario.sessions, *(r.rated_load for r in assessment.rated.values())]
    even = np.linspace(0, len(numbers) - 1, min(POINTS, len(numbers))).round().astype(int)
    return np.unique(np.concatenate([even, [n - 1 for n in marked if 1 <= n <= len(numbers)]]))


def marks(assessment: Assessment, theme: Theme) -> tuple[list[Figure], list[Figure]]:
    """Return the lines and labels of both rated loads and the number of sessions asked for."""
    end = float(assessment.curves["software"].sessions[-1])
    asked = assessment.scenario.sessions
    drawn = [upright(theme, asked, sessions(asked), 0.96, theme.text, "solid", end)]
    for arm, height in zip(reversed(shown_arms(assessment.scenario)), (0.86, 0.76), strict=False):
        rated = assessment.rated[arm].rated_load
        words = f"{ARM_LABEL[arm]}: {rated}"
        drawn.append(upright(theme, rated, words, height, theme.colour(arm), "dot", end))
    return [line for line, _ in drawn], [label for _, label in drawn]


def ghosts(pinned: Assessment | None, name: str, theme: Theme, yaxis: str = "y") -> list[Figure]:
    """Return one column of the pinned curves, thin and grey, each with its name at its end.

    Parameters
    ----------
    pinned : Assessment or None
        What is pinned; without it there is no ghost.
    name : str
        Column of the curve.
    theme : Theme
        The look.
    yaxis : str
        Axis to draw it on.
    """
    if pinned is None:
        return []
    at = shown_points(pinned)
    traces = []
    for arm in shown_arms(pinned.scenario):
        curve = pinned.curves[arm]
        traces.append(
            {
                "type": "scatter", "mode": "lines", "yaxis": yaxis,
                "x": curve.sessions[at].tolist(), "y": rounded(getattr(curve, name)[at], 1),
                "line": {"color": theme.ghost, "dash": DASH[arm], "width": theme.thick(1.5)},
                "name": f"pinned, {ARM_LABEL[arm]}",
                "hovertemplate": f"%{{y:.0f}} % pinned, {ARM_LABEL[arm]}<extra></extra>",
            }
        )  # fmt: skip
    return traces


def _bands(
    assessment: Assessment, bounds: tuple[Assessment, Assessment] | None, theme: Theme
) -> list[Figure]:
    """Return for each arm the range between the answers at both ends of the measured costs."""
    if bounds is None:
        return []
    traces: list[Figure] = []
    for arm in shown_arms(assessment.scenario):
        sides = [(found.curves[arm], shown_points(found)) for found in bounds]
        (low, low_at), (high, high_at) = sides
        x = [*low.sessions[low_at].tolist(), *high.sessions[high_at][::-1].tolist()]
        y = [*rounded(low.headroom_pct[low_at], 1), *rounded(high.headroom_pct[high_at][::-1], 1)]
        traces.append(
            {
                "type": "scatter", "mode": "lines", "x": x, "y": y, "fill": "toself",
                "fillcolor": theme.fill(arm), "line": {"width": 0}, "hoverinfo": "skip",
                "name": f"{MEASURED_BAND}, {ARM_LABEL[arm]}",
            }
        )  # fmt: skip
    return traces


def headroom_figure(
    assessment: Assessment,
    theme: Theme,
    pinned: Assessment | None = None,
    bounds: tuple[Assessment, Assessment] | None = None,
    bands: Bands | None = None,
) -> Figure:
    """Return the chart of headroom over sessions.

    Parameters
    ----------
    assessment : Assessment
        Both arms.
    theme : Theme
        The look.
    pinned : Assessment or None
        Drawn as a ghost behind it.
    bounds : tuple of Assessment or None
        The answers at the low and at the high ends of the measured costs; the range between them
        is drawn as a band.
    bands : Bands or None
        Where most draws of the uncertain inputs lie, drawn instead: those that were measured are
        among them.
    """
    at = shown_points(assessment)
    bounds = bounds if bands is None else None
    traces = [*_bands(assessment, bounds, theme), *ghosts(pinned, "headroom_pct", theme)]
    traces = [*drawn_bands(bands, "headroom_pct", assessment, theme), *traces]
    for arm in shown_arms(assessment.scenario):
        curve = assessment.curves[arm]
        traces.append(
            {
                "type": "scatter", "mode": "lines", "name": ARM_LABEL[arm],
                "x": curve.sessions[at].tolist(), "y": rounded(curve.headroom_pct[at], 1),
                "line": {"color": theme.colour(arm), "dash": DASH[arm],
                         "width": theme.thick(2.5)},
                "hovertemplate": f"%{{y:.0f}} % of the CPU left at busy moments "
                f"{ARM_LABEL[arm]}<extra></extra>",
            }
        )  # fmt: skip
    target = 100 - assessment.scenario.targets.max_cpu_p95_pct
    lines, labels = marks(assessment, theme)
    line, label = across(theme, target, f"target: at least {target:g} %")
    labels += drawn_note(bands, theme)
    if bounds is not None:
        labels.append(
            note(theme, f"band: {MEASURED_BAND}", 0.005, 0.02, xref="paper", yref="paper",
                 xanchor="left", yanchor="bottom")
        )  # fmt: skip
    return {
        "data": traces,
        "layout": layout(
            theme, "Sessions on the host", "Headroom [% of CPU]",
            xaxis={"range": [0, int(assessment.curves["software"].sessions[-1])],
                   "unifiedhovertitle": {"text": "%{x} sessions"}},
            yaxis={"range": [-30, 100]},
            shapes=[*lines, line], annotations=[*labels, label],
        ),
    }  # fmt: skip
