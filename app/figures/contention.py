"""How long do vCPUs wait and do frames still flow as sessions are added?"""

from app.figures.drawn import drawn_bands, drawn_note
from app.figures.headroom import ghosts, marks, shown_points
from app.sure_result import Bands
from app.theme import ARM_LABEL, DASH, Figure, Theme, across, layout, rounded, shown_arms
from model.assess import Assessment


def contention_figure(
    assessment: Assessment,
    theme: Theme,
    pinned: Assessment | None = None,
    bands: Bands | None = None,
) -> Figure:
    """Return the chart of delivered frames (above) and scheduler wait (below) over sessions.

    Parameters
    ----------
    assessment : Assessment
        Both arms.
    theme : Theme
        The look.
    pinned : Assessment or None
        Drawn as a ghost behind it.
    bands : Bands or None
        Where most draws of the uncertain inputs lie.
    """
    at = shown_points(assessment)
    targets = assessment.scenario.targets
    traces = drawn_bands(bands, "frames_busy_pct", assessment, theme)
    traces += drawn_bands(bands, "wait_busy_pct", assessment, theme, "y2")
    traces += ghosts(pinned, "frames_busy_pct", theme)
    traces += ghosts(pinned, "wait_busy_pct", theme, "y2")
    for arm in shown_arms(assessment.scenario):
        curve = assessment.curves[arm]
        look = {"color": theme.colour(arm), "dash": DASH[arm], "width": theme.thick(2.5)}
        x = curve.sessions[at].tolist()
        traces.append(
            {
                "type": "scatter", "mode": "lines", "x": x, "yaxis": "y", "line": look,
                "y": rounded(curve.frames_busy_pct[at], 1), "name": ARM_LABEL[arm],
                "hovertemplate": f"%{{y:.0f}} % of frames delivered {ARM_LABEL[arm]}"
                "<extra></extra>",
            }
        )  # fmt: skip
        traces.append(
            {
                "type": "scatter", "mode": "lines", "x": x, "yaxis": "y2", "line": look,
                "y": rounded(curve.wait_busy_pct[at], 2), "name": ARM_LABEL[arm],
                "hovertemplate": f"scheduler wait %{{y:.1f}} % of vCPU time {ARM_LABEL[arm]}"
                "<extra></extra>",
            }
        )  # fmt: skip
    lines, labels = marks(assessment, theme)
    frames = across(
        theme,
        targets.min_frames_pct,
        f"target: at least {targets.min_frames_pct:g} %",
        yanchor="top",
    )
    wait = across(theme, targets.max_wait_pct, f"target: at most {targets.max_wait_pct:g} %", "y2")
    top = 4 * targets.max_wait_pct
    return {
        "data": traces,
        "layout": layout(
            theme, "Sessions on the host", "Frames [%]",
            xaxis={"range": [0, int(assessment.curves["software"].sessions[-1])], "anchor": "y2",
                   "unifiedhovertitle": {"text": "%{x} sessions"}},
            yaxis={"range": [0, 104], "domain": [0.54, 1]},
            yaxis2={"range": [0, top], "domain": [0, 0.46], "anchor": "x",
                    "title": {"text": "Wait [%]", "standoff": theme.room(8)}},
            shapes=[*lines, frames[0], wait[0]],
            annotations=[*labels, frames[1], wait[1], *drawn_note(bands, theme, 0.56)],
        ),
    }  # fmt: skip
