"""Which colours, dashes and type do the charts use, in light and in dark?

The arms are told apart by dash, pattern and a written label as well as by colour. The colours
follow the palette for colour-blind readers of M. Okabe and K. Ito (2008, from memory), darkened
or lightened until lines and text reach the contrast of WCAG 2.2 AA on their ground.
"""

from dataclasses import dataclass, replace
from typing import Any

from model.hosts import Arm
from model.scenario import Scenario

Figure = dict[str, Any]


@dataclass(frozen=True)
class Theme:
    """Colours and sizes of one look."""

    name: str
    ground: str
    text: str
    faint: str
    software: str
    software_fill: str
    offloaded: str
    offloaded_fill: str
    target: str
    ghost: str  # what is pinned
    font_px: int = 13
    line_scale: float = 1  # lines and marks are so many times as thick

    def colour(self, arm: str) -> str:
        """Return the colour of an arm."""
        return self.software if arm == "software" else self.offloaded

    def fill(self, arm: str) -> str:
        """Return the translucent colour of an arm's band."""
        return self.software_fill if arm == "software" else self.offloaded_fill

    def room(self, px: float) -> int:
        """Return a length that grows with the type. [px]

        Parameters
        ----------
        px : float
            The length beside type of 13 px. [px]
        """
        return round(px * self.font_px / 13)

    def thick(self, px: float) -> float:
        """Return how thick a line or a mark is drawn. [px]

        Parameters
        ----------
        px : float
            How thick it is on the page. [px]
        """
        return px * self.line_scale


LIGHT = Theme(
    "light", "#ffffff", "#1c2733", "#dfe4ea", "#9a5b00", "rgba(200,125,0,0.22)", "#00695c",
    "rgba(0,121,107,0.22)", "#4a4f57",
    "#7a4fa3",
)  # fmt: skip
DARK = Theme(
    "dark", "#161c24", "#e8edf2", "#33404d", "#ffb74d", "rgba(255,183,77,0.22)", "#4dd0c0",
    "rgba(77,208,192,0.22)", "#b4bcc6",
    "#c9a6f0",
)  # fmt: skip
STAGE = {"font_px": 28, "line_scale": 2.2}  # of a picture 1920 px wide, read at half that size
LIGHT_STAGE = replace(LIGHT, name="light-stage", **STAGE)  # type: ignore[arg-type]
DARK_STAGE = replace(DARK, name="dark-stage", **STAGE)  # type: ignore[arg-type]
THEMES = {theme.name: theme for theme in (LIGHT, DARK, LIGHT_STAGE, DARK_STAGE)}
DASH = {"software": "dash", "offloaded": "solid"}
ARM_LABEL = {"software": "without card", "offloaded": "with card"}


def layout(theme: Theme, x_title: str, y_title: str, **more: Any) -> dict[str, Any]:
    """Return the layout that all charts share.

    Parameters
    ----------
    theme : Theme
        The look.
    x_title, y_title : str
        Axis titles with units.
    **more : object
        Further entries of a Plotly layout; those of an axis are added to the shared ones.
    """
    axis = {
        "gridcolor": theme.faint, "linecolor": theme.faint, "zerolinecolor": theme.faint,
        "fixedrange": False, "automargin": False, "title": {"standoff": theme.room(8)},
    }  # fmt: skip
    room = {"l": 62, "r": 18, "t": 14, "b": 48}
    base: dict[str, Any] = {
        "paper_bgcolor": theme.ground,
        "plot_bgcolor": theme.ground,
        "font": {"family": "system-ui, sans-serif", "size": theme.font_px, "color": theme.text},
        "margin": {side: theme.room(px) for side, px in room.items()},
        "showlegend": False,
        "hovermode": "x unified",
        "hoverlabel": {
            "bgcolor": theme.ground,
            "font": {"color": theme.text, "size": theme.font_px},
        },
        "uirevision": "keep",
        "xaxis": axis | {"title": {"text": x_title, "standoff": theme.room(8)}},
        "yaxis": axis | {"title": {"text": y_title, "standoff": theme.room(8)}},
    }
    for key, value in more.items():
        if key.startswith(("xaxis", "yaxis")):
            base[key] = axis | base.get(key, {}) | value
        else:
            base[key] = value
    return base


def note(theme: Theme, text: str, x: float, y: float, **more: Any) -> dict[str, Any]:
    """Return a label written into the chart, on a ground of its own."""
    return {
        "text": text, "x": x, "y": y, "showarrow": False, "font": {"color": theme.text},
        "bgcolor": theme.ground, "borderpad": 1,
    } | more  # fmt: skip


def across(theme: Theme, y: float, text: str, axis: str = "y", **more: Any) -> tuple[Any, Any]:
    """Return a target line across the chart and its label."""
    line = {
        "type": "line", "xref": "paper", "x0": 0, "x1": 1, "yref": axis, "y0": y, "y1": y,
        "line": {"color": theme.target, "width": theme.thick(1.5), "dash": "dot"},
    }  # fmt: skip
    look = {
        "xref": "paper", "yref": axis, "xanchor": "left", "yanchor": "bottom",
        "font": {"color": theme.target, "size": theme.font_px - 1}, "bgcolor": "rgba(0,0,0,0)",
    }  # fmt: skip
    label = note(theme, text, 0.005, y, **(look | more))
    return line, label


def upright(
    theme: Theme, x: float, text: str, y: float, colour: str, dash: str, end: float
) -> tuple[Any, Any]:
    """Return a line up the chart at x and its label at height y of the paper."""
    line = {
        "type": "line", "yref": "paper", "y0": 0, "y1": 1, "xref": "x", "x0": x, "x1": x,
        "line": {"color": colour, "width": theme.thick(1.5), "dash": dash},
    }  # fmt: skip
    label = note(
        theme, text, x, y, xref="x", yref="paper", yanchor="middle",
        xanchor="left" if x < end * 0.6 else "right", font={"color": colour},
    )  # fmt: skip
    return line, label


def rounded(values: Any, digits: int = 2) -> list[float]:
    """Return numbers short enough to send at every move of a slider."""
    return [round(float(value), digits) for value in values]


def shown_arms(scenario: Scenario) -> list[Arm]:
    """Return the arms that a chart draws, the dashed one last so that both show where equal.

    Parameters
    ----------
    scenario : Scenario
        Without a card there is only one.
    """
    return ["offloaded", "software"] if scenario.accelerator.cards else ["software"]


def plain(text: str) -> str:
    """Return a text that the drawing library writes as it is, markup included.

    Parameters
    ----------
    text : str
        Any text.
    """
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
