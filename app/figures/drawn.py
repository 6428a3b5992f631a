"""Between which curves do 8 of 10 draws of the uncertain inputs lie?"""

import numpy as np

from app.sure_result import Bands
from app.theme import ARM_LABEL, Figure, Theme, note, rounded, shown_arms
from app.words_sure import band_label
from model.assess import Assessment

POINTS = 40


def drawn_bands(
    bands: Bands | None, name: str, assessment: Assessment, theme: Theme, yaxis: str = "y"
) -> list[Figure]:
    """Return for each arm the band of one column, to be drawn behind the curves.

    Parameters
    ----------
    bands : Bands or None
        The bands; without them there is nothing to draw.
    name : str
        Column of the curve.
    assessment : Assessment
        What is drawn over them.
    theme : Theme
        The look.
    yaxis : str
        Axis to draw them on.
    """
    if bands is None:
        return []
    sessions = np.array(bands.sessions)
    last = int(assessment.curves["software"].sessions[-1])
    at = np.unique(np.linspace(0, len(sessions) - 1, min(POINTS, len(sessions))).round())
    at = at.astype(int)[sessions[at.astype(int)] <= last]
    traces: list[Figure] = []
    for arm in shown_arms(assessment.scenario):
        low, high = (np.nan_to_num(np.array(end)[at], posinf=1e6, neginf=-1e6)
                     for end in bands.ends[arm][name])  # fmt: skip
        traces.append(
            {
                "type": "scatter", "mode": "lines", "yaxis": yaxis,
                "x": [*sessions[at].tolist(), *sessions[at][::-1].tolist()],
                "y": [*rounded(low, 2), *rounded(high[::-1], 2)],
                "fill": "toself", "fillcolor": theme.fill(arm), "line": {"width": 0},
                "hoverinfo": "skip", "name": f"{band_label(bands.draws)}, {ARM_LABEL[arm]}",
            }
        )  # fmt: skip
    return traces


def drawn_note(bands: Bands | None, theme: Theme, height: float = 0.02) -> list[Figure]:
    """Return the label that says what the bands are.

    Parameters
    ----------
    bands : Bands or None
        The bands.
    theme : Theme
        The look.
    height : float from 0 to 1
        Where it stands, as a share of the chart's height. [-]
    """
    if bands is None:
        return []
    return [
        note(theme, f"band: {band_label(bands.draws)}", 0.005, height, xref="paper", yref="paper",
             xanchor="left", yanchor="bottom")
    ]  # fmt: skip
