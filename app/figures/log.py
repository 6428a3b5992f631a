"""How did one column of a log go, and when was offload on?

A log may have a million rows and a screen has a thousand columns: the least and the largest
reading of every column of pixels are drawn, so no peak is lost, and never more points than that.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from app.theme import Figure, Theme, layout, note
from model.evidence.record import FloatArray

MOST_POINTS = 1_900
MOST_BANDS = 200  # spells that are shaded in one view
_LABEL_SHARE = 0.066  # of the width, below which a band has no room for its label
_GAP_STEPS = 1.5
_LEFT_PX, _RIGHT_PX = 62, 18  # the script lays its handles over the same margins
STATE_LABEL = {1: "with card", 0: "without card", -1: "not used"}


@dataclass(frozen=True)
class Band:
    """A spell as it is shaded: from, to [s] and its state: 1 with card, 0 without, -1 not used."""

    begin_s: float
    end_s: float
    state: int


def log_figure(
    time_s: FloatArray,
    values: FloatArray,
    interval_s: float,
    window_s: tuple[float, float],
    bands: list[Band],
    title: str,
    unit: str,
    theme: Theme,
) -> Figure:
    """Return the chart of one column with its spells shaded.

    Parameters
    ----------
    time_s : array of shape (rows,), rising
        Times of the readings, those in view and one on either side. [s]
    values : array of shape (rows,)
        The readings, NaN where missing. [`unit`]
    interval_s : float
        The usual step. [s]
    window_s : tuple of float
        What is in view. [s]
    bands : list of Band
        The spells in view, none where there are too many to shade.
    title, unit : str
        What the column is, and its unit as shown.
    theme : Theme
        The look.
    """
    x, y = thinned(time_s, values, interval_s)
    span_s = max(window_s[1] - window_s[0], 1e-9)
    digits = max(0, 4 - len(str(int(span_s))))
    shapes: list[Any] = []
    labels: list[Any] = []
    for band in bands:
        shapes += _shaded(band, theme)
        begin, end = max(band.begin_s, window_s[0]), min(band.end_s, window_s[1])
        if end - begin > _LABEL_SHARE * span_s:
            labels.append(_label(band.state, (begin + end) / 2, theme))
    return {
        "data": [
            {
                "type": "scatter", "mode": "lines", "name": title, "connectgaps": False,
                "x": [None if t is None else round(t, 3) for t in x],
                "y": [None if v is None else float(f"{v:.5g}") for v in y],
                "line": {"width": theme.thick(1.1), "color": theme.text},
                "hovertemplate": f"%{{y:.3g}} {unit} at %{{x:,.{digits}f}} s<extra></extra>",
            }
        ],
        "layout": layout(
            theme, "time since the first reading [s]", f"{title} [{unit}]",
            xaxis={"range": list(window_s), "tickformat": ",.6~f", "showgrid": False},
            yaxis={"rangemode": "tozero"},
            margin={"l": _LEFT_PX, "r": _RIGHT_PX, "t": 30, "b": 48},
            shapes=shapes, annotations=labels, hovermode="closest", dragmode="zoom",
        ),
    }  # fmt: skip


def thinned(
    time_s: FloatArray, values: FloatArray, interval_s: float, most: int = MOST_POINTS
) -> tuple[list[float | None], list[float | None]]:
    """Return the points to draw: all of them, or the least and largest of each pixel column.

    Parameters
    ----------
    time_s : array of shape (rows,), rising
        Times. [s]
    values : array of shape (rows,)
        Readings, NaN where missing. [any]
    interval_s : float
        The usual step; after a longer one the line is broken. [s]
    most : int, 2 or more
        Points to draw, breaks aside. [-]

    Returns
    -------
    list of float or None
        Times; None where the line is broken. [s]
    list of float or None
        Readings, likewise. [any]
    """
    there = np.isfinite(values)
    time_s, values = time_s[there], values[there]
    step_s = interval_s
    if len(values) > most:
        columns = most // 2
        span_s = float(time_s[-1] - time_s[0])
        column = np.minimum(((time_s - time_s[0]) / span_s * columns).astype(int), columns - 1)
        starts = np.flatnonzero(np.diff(column, prepend=-1))
        place = np.arange(len(values))
        sizes = np.diff(np.append(starts, len(values)))
        least = np.repeat(np.minimum.reduceat(values, starts), sizes)
        largest = np.repeat(np.maximum.reduceat(values, starts), sizes)
        none = len(values)
        first_least = np.minimum.reduceat(np.where(values == least, place, none), starts)
        first_largest = np.minimum.reduceat(np.where(values == largest, place, none), starts)
        chosen = np.unique(np.concatenate([first_least, first_largest]))
        time_s, values = time_s[chosen], values[chosen]
        step_s = max(interval_s, 2 * span_s / columns)
    breaks = np.flatnonzero(np.diff(time_s) > _GAP_STEPS * step_s) + 1
    x: list[float | None] = time_s.tolist()
    y: list[float | None] = values.tolist()
    for at in breaks[::-1].tolist():
        x.insert(at, None)
        y.insert(at, None)
    return x, y


def _shaded(band: Band, theme: Theme) -> list[Any]:
    """A band of its arm's colour under a line of its arm's dash, grey where nothing is used."""
    arm = {1: "offloaded", 0: "software"}.get(band.state)
    area = {
        "type": "rect", "xref": "x", "yref": "paper", "x0": band.begin_s, "x1": band.end_s,
        "y0": 0, "y1": 1, "layer": "below", "line": {"width": 0},
        "fillcolor": theme.fill(arm) if arm else theme.faint,
    }  # fmt: skip
    if arm is None:
        return [area]
    top = {
        "type": "line", "xref": "x", "yref": "paper", "x0": band.begin_s, "x1": band.end_s,
        "y0": 1, "y1": 1,
        "line": {"width": theme.thick(4), "color": theme.colour(arm),
                 "dash": "solid" if band.state == 1 else "dot"},
    }  # fmt: skip
    return [area, top]


def _label(state: int, at_s: float, theme: Theme) -> Any:
    colour = {1: theme.offloaded, 0: theme.software}.get(state, theme.target)
    return note(
        theme, STATE_LABEL[state], at_s, 1.02, xref="x", yref="paper", yanchor="bottom",
        xanchor="center", font={"color": colour, "size": theme.font_px - 1},
        bgcolor="rgba(0,0,0,0)",
    )  # fmt: skip
