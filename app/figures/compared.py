"""How much CPU headroom do several scenarios leave as sessions are added, one line for each?"""

from dataclasses import dataclass

from app.figures.headroom import shown_points
from app.theme import ARM_LABEL, Figure, Theme, across, layout, note, plain, rounded
from app.words import sessions
from model.assess import Assessment
from model.day import DayResult
from model.hosts import Arm

MOST_COMPARED = 4
LETTERS = "ABCD"  # by which table and chart name the scenarios
_DASHES = ("solid", "dash", "dot", "dashdot")
_SYMBOLS = ("circle", "square", "diamond", "cross")
_COLOURS = {  # our choice: apart in lightness or hue for colour-blind readers, dashes do the rest
    "light": ("#1c2733", "#0b57d0", "#a3152b", "#7a4fa3"),
    "dark": ("#e8edf2", "#8ab4ff", "#ff9aa6", "#c9a6f0"),
}
_LABEL_SHARES = (0.3, 0.45, 0.6, 0.75)  # along the seen part of each line, so that none meet
_LOWEST_SEEN_PCT = -25.0
_LONGEST_LABEL = 32


@dataclass(frozen=True, eq=False)
class Compared:
    """One of the scenarios that are compared, and its answers.

    Parameters
    ----------
    name : str
        What it is called on the shelf.
    found : Assessment
        Both arms over sessions.
    day : dict
        The simulated day of each arm.
    """

    name: str
    found: Assessment
    day: dict[Arm, DayResult]


def compared_figure(compared: list[Compared], arm: Arm, theme: Theme) -> Figure:
    """Return the chart of headroom over sessions, a line for each scenario.

    Parameters
    ----------
    compared : list of Compared
        At most `MOST_COMPARED`.
    arm : str
        "software" or "offloaded"; without a card both are the same.
    theme : Theme
        The look.
    """
    traces: list[Figure] = []
    labels: list[Figure] = []
    end = max(int(each.found.curves[arm].sessions[-1]) for each in compared)
    colours = _COLOURS["dark" if theme.name.startswith("dark") else "light"]
    for index, each in enumerate(compared):
        curve = each.found.curves[arm]
        at = shown_points(each.found)
        letter = LETTERS[index]
        colour = colours[index]
        traces.append(
            {
                "type": "scatter", "mode": "lines",
                "name": f"{letter} {plain(shortened(each.name))}",
                "x": curve.sessions[at].tolist(), "y": rounded(curve.headroom_pct[at], 1),
                "line": {"color": colour, "dash": _DASHES[index], "width": theme.thick(2.5)},
                "hovertemplate": f"{letter}: %{{y:.0f}} % of the CPU left<extra></extra>",
            }
        )  # fmt: skip
        rated = each.found.rated[arm].rated_load
        if rated:
            traces.append(
                {
                    "type": "scatter", "mode": "markers", "showlegend": False,
                    "name": f"{letter}, rated load",
                    "x": [rated], "y": rounded([curve.headroom_pct[rated - 1]], 1),
                    "marker": {"symbol": _SYMBOLS[index], "color": colour,
                               "size": theme.thick(10),
                               "line": {"color": theme.ground, "width": theme.thick(1.5)}},
                    "hovertemplate": f"{letter}: rated load {sessions(rated)}<extra></extra>",
                }
            )  # fmt: skip
        seen = int((curve.headroom_pct > _LOWEST_SEEN_PCT).sum())
        point = min(int(seen * _LABEL_SHARES[index]), len(curve.sessions) - 1)
        labels.append(
            note(
                theme, f"<b>{letter}</b>", int(curve.sessions[point]),
                round(float(curve.headroom_pct[point]), 1), font={"color": colour},
            )
        )  # fmt: skip
    targets = {100 - each.found.scenario.targets.max_cpu_p95_pct for each in compared}
    lines = []
    if len(targets) == 1:
        words = f"target: at least {min(targets):g} %"
        line, label = across(theme, min(targets), words)
        lines, labels = [line], [*labels, label | {"x": 0.995, "xanchor": "right"}]
    return {
        "data": traces,
        "layout": layout(
            theme, f"Sessions on the host, {ARM_LABEL[arm]}", "Headroom [% of CPU]",
            xaxis={"range": [0, end], "unifiedhovertitle": {"text": "%{x} sessions"}},
            yaxis={"range": [-30, 100]}, shapes=lines, annotations=labels, showlegend=True,
            legend={"x": 0.01, "xanchor": "left", "y": 0.02, "yanchor": "bottom",
                    "bgcolor": theme.ground},
        ),
    }  # fmt: skip


def shortened(name: str) -> str:
    """Return a name that fits beside a line.

    Parameters
    ----------
    name : str
        Any name.
    """
    return name if len(name) <= _LONGEST_LABEL else f"{name[: _LONGEST_LABEL - 3].rstrip()}..."
