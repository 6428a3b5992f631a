"""What does one desktop use, activity by activity, with and without the card?"""

from collections.abc import Sequence

from app.theme import ARM_LABEL, Figure, Theme, layout, plain, rounded
from model.assess import DesktopActivity
from model.hosts import ARMS, Arm

MOST_CHARACTERS = 20  # of a name beside its bars
_ROOM = {"l": 150, "r": 18, "t": 30, "b": 48}  # beside type of 13 px


def desktop_figure(
    activities: list[DesktopActivity],
    theme: Theme,
    pinned: list[DesktopActivity] | None = None,
    arms: Sequence[Arm] = ARMS,
) -> Figure:
    """Return bars of application work and display encoding for each activity.

    Parameters
    ----------
    activities : list of DesktopActivity
        One desktop, alone on the host.
    theme : Theme
        The look.
    pinned : list of DesktopActivity or None
        What is pinned; its encoding is marked on the bars.
    arms : sequence of str
        The arms drawn; without a card there is only one.
    """
    names = [row.activity for row in activities]
    traces = []
    for arm in arms:
        traces.append(
            {
                "type": "bar", "orientation": "h", "name": f"encoding {ARM_LABEL[arm]}",
                "y": names, "x": rounded([row.encode_pct[arm] for row in activities], 1),
                "customdata": rounded([row.frames_pct[arm] for row in activities], 0),
                "marker": {
                    "color": theme.colour(arm),
                    "pattern": {"shape": "/" if arm == "software" else "",
                                "bgcolor": theme.ground, "fgcolor": theme.colour(arm)},
                    "line": {"color": theme.colour(arm), "width": 1},
                },
                "hovertemplate": f"encoding {ARM_LABEL[arm]} takes %{{x:.1f}} %, "
                "%{customdata:.0f} % of frames delivered<extra></extra>",
            }
        )  # fmt: skip
    traces.append(
        {
            "type": "bar", "orientation": "h", "name": "application",
            "y": names, "x": rounded([row.app_pct for row in activities], 1),
            "marker": {"color": theme.faint, "line": {"color": theme.target, "width": 1}},
            "hovertemplate": "the application takes %{x:.1f} %<extra></extra>",
        }
    )  # fmt: skip
    traces += _ghosts(pinned or [], names, theme)
    return {
        "data": traces,
        "layout": layout(
            theme, "CPU [% of the desktop's vCPUs]", "",
            barmode="group", bargap=0.25, hovermode="y unified", showlegend=True,
            legend={"orientation": "h", "x": 1, "xanchor": "right", "y": 1, "yanchor": "bottom",
                    "traceorder": "normal"},
            margin={side: theme.room(px) for side, px in _ROOM.items()},
            xaxis={"range": [0, _end(activities)]},
            yaxis={"type": "category", "autorange": "reversed", "title": {"text": ""},
                   "tickvals": names, "ticktext": [plain(_short(name)) for name in names]},
        ),
    }  # fmt: skip


def _short(name: str) -> str:
    """A name as it fits beside the chart."""
    return name if len(name) <= MOST_CHARACTERS else f"{name[: MOST_CHARACTERS - 1].rstrip()}…"


def _end(activities: list[DesktopActivity]) -> float:
    """The axis ends at 60 % unless a bar is longer: it does not jump while a slider moves."""
    longest = max(max(row.app_pct, *row.encode_pct.values()) for row in activities)
    return 60 if longest <= 60 else 105


def _ghosts(pinned: list[DesktopActivity], names: list[str], theme: Theme) -> list[Figure]:
    rows = [row for row in pinned if row.activity in names]
    symbols = {"software": "x-thin", "offloaded": "circle-open"}
    return [
        {
            "type": "scatter", "mode": "markers", "name": f"pinned, {ARM_LABEL[arm]}",
            "y": [row.activity for row in rows],
            "x": rounded([row.encode_pct[arm] for row in rows], 1), "showlegend": False,
            "marker": {"symbol": symbols[arm], "size": theme.thick(9), "color": theme.ghost,
                       "line": {"width": theme.thick(2), "color": theme.ghost}},
            "hovertemplate": f"%{{x:.1f}} % pinned, {ARM_LABEL[arm]}<extra></extra>",
        }
        for arm in ARMS
        if rows
    ]  # fmt: skip
