"""Which input moves an answer most, on its own and as a share of all scatter?"""

import math
from dataclasses import dataclass

from app.theme import Figure, Theme, layout, note, plain

_THIN = 0.36  # of the room of a line; two bars lie in it, one above the other
_LINE_LETTERS = 24
_LARGE_PX = 16  # in larger type a chart is wide and low: a name keeps to one line
_LARGE_LETTERS = 60
_NO_SHARE_PCT = 0.5  # below it a share is no longer written
_ROOM_LEFT_PX = 176  # for the names


@dataclass(frozen=True)
class Bar:
    """What one group of inputs does to an answer.

    Parameters
    ----------
    label : str
        What it is.
    low, high : float
        The answer with this group alone at its P10 and at its P90. [unit of the answer]
    low_told, high_told : str
        The same in words.
    share : float or None
        Share of the variance that it accounts for on its own. [-]
    """

    label: str
    low: float
    high: float
    low_told: str
    high_told: str
    share: float | None


def ranking_figure(
    bars: list[Bar], best: float, best_told: str, axis: str, theme: Theme, colour: str, fill: str
) -> Figure:
    """Return the chart of how far each group moves an answer, and of its share of the variance.

    Parameters
    ----------
    bars : list of Bar
        From the top.
    best : float
        The answer with all inputs as given. [unit of the answer]
    best_told : str
        The same in words.
    axis : str
        Title of the axis of the answer, with its unit.
    theme : Theme
        The look.
    colour, fill : str
        Of the answer's arm: of lines, and translucent.
    """
    shares = any(bar.share is not None for bar in bars)
    ends = [value for bar in bars for value in (bar.low, bar.high) if math.isfinite(value)]
    base = best if math.isfinite(best) else max(ends, default=0.0)
    traces = [
        _side(bars, base, "low", WHICH_END["low"], theme, fill, colour, "/"),
        _side(bars, base, "high", WHICH_END["high"], theme, colour, colour, ""),
    ]
    if shares:
        traces.append(_shares(bars, theme))
    line = {
        "type": "line", "xref": "x", "x0": base, "x1": base, "yref": "paper", "y0": 0, "y1": 1,
        "line": {"color": theme.target, "width": theme.thick(1.5), "dash": "dot"},
    }  # fmt: skip
    label = note(
        theme, f"as given: {best_told}", base, 1, xref="x", yref="paper", yanchor="bottom",
        xanchor="center", font={"color": theme.target, "size": theme.font_px - 1},
    )  # fmt: skip
    low, high = min([base, *ends]), max([base, *ends])
    room = (high - low) * 0.08 or max(abs(base) * 0.1, 1.0)
    more = {}
    if shares:
        top = max(10.0, *(100 * (bar.share or 0) for bar in bars)) * 1.3
        more["xaxis2"] = {
            "title": {"text": "Share of variance [%]", "standoff": theme.room(8)},
            "domain": [0.72, 1], "range": [0, top], "anchor": "y", "fixedrange": True,
        }  # fmt: skip
    letters = _LINE_LETTERS if theme.font_px < _LARGE_PX else _LARGE_LETTERS
    lines = [_wrapped(bar.label, letters) for bar in bars]
    return {
        "data": traces,
        "layout": layout(
            theme, axis, "",
            hovermode="closest", barmode="overlay",
            xaxis={"domain": [0, 0.66 if shares else 1], "range": [low - room, high + room],
                   "zeroline": False, "fixedrange": True, "tickformat": ",.2~f"},
            yaxis={"range": [len(bars) - 0.4, -0.6], "tickvals": list(range(len(bars))),
                   "ticktext": lines, "automargin": True, "showgrid": False,
                   "fixedrange": True, "zeroline": False, "title": {"text": ""}},
            margin={"l": theme.room(_ROOM_LEFT_PX), "r": theme.room(24), "t": theme.room(48),
                    "b": theme.room(48)},
            shapes=[line], annotations=[label, *_endless(bars, base, theme)], showlegend=True,
            legend={"orientation": "h", "x": 0, "xanchor": "left", "y": 1.08,
                    "yanchor": "bottom", "itemclick": False, "itemdoubleclick": False},
            **more,
        ),
    }  # fmt: skip


WHICH_END = {"low": "input at its P10", "high": "input at its P90"}


def _side(
    bars: list[Bar], base: float, end: str, name: str, theme: Theme, fill: str, colour: str,
    hatch: str,
) -> Figure:  # fmt: skip
    values = [getattr(bar, end) for bar in bars]
    shown = [value if math.isfinite(value) else base for value in values]
    told = [getattr(bar, f"{end}_told") for bar in bars]
    return {
        "type": "bar", "orientation": "h", "name": name, "y": list(range(len(bars))),
        "x": [round(value - base, 4) for value in shown], "base": [round(base, 4)] * len(bars),
        "offset": -_THIN - 0.02 if end == "low" else 0.02, "width": _THIN,
        "text": [f"{plain(bar.label)}: {said}" for bar, said in zip(bars, told, strict=True)],
        "textposition": "none", "hovertemplate": f"%{{text}}, {name}<extra></extra>",
        "marker": {"color": fill, "line": {"color": colour, "width": theme.thick(1)},
                   "pattern": {"shape": hatch, "fgcolor": colour, "size": theme.room(6)}},
    }  # fmt: skip


def _endless(bars: list[Bar], base: float, theme: Theme) -> list[Figure]:
    """In words what has no length: where an answer has no number."""
    return [
        note(
            theme, told, base, at + (0.2 if end == "high" else -0.2), xref="x", yref="y",
            xanchor="left", yanchor="middle", xshift=theme.room(6),
            font={"color": theme.text, "size": theme.font_px - 1},
        )
        for at, bar in enumerate(bars)
        for end, value, told in (("low", bar.low, bar.low_told), ("high", bar.high, bar.high_told))
        if not math.isfinite(value)
    ]  # fmt: skip


def _shares(bars: list[Bar], theme: Theme) -> Figure:
    pct = [100 * (bar.share or 0) for bar in bars]
    return {
        "type": "bar", "orientation": "h", "name": "share of variance", "xaxis": "x2",
        "y": list(range(len(bars))), "x": [round(value, 2) for value in pct], "width": 0.5,
        "marker": {"color": theme.ghost}, "showlegend": False, "cliponaxis": False,
        "text": [f"{value:.0f} %" if value >= _NO_SHARE_PCT else "" for value in pct],
        "textposition": "outside", "constraintext": "none",
        "textfont": {"color": theme.text, "size": theme.font_px},
        "hovertemplate": "%{x:.1f} % of the variance<extra></extra>",
    }  # fmt: skip


def _wrapped(label: str, letters: int) -> str:
    """A name in lines of a few words."""
    lines = [""]
    for word in f"{label[:1].upper()}{label[1:]}".split():
        if lines[-1] and len(lines[-1]) + len(word) + 1 > letters:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return "<br>".join(plain(line) for line in lines)
