"""How large is what the card changes, activity by activity, and how sure is that?"""

from dataclasses import dataclass

from app.theme import Figure, Theme, layout, note, plain, rounded
from app.words_trial import number

_NAME = 40  # characters of a name beside its line
_BESIDE = (0.22, -0.22)  # below and above the headline, for checks


@dataclass(frozen=True)
class Line:
    """One line of the plot.

    Parameters
    ----------
    name : str
        Activity, and the log where several are shown.
    value, low, high : float or None
        The effect and its interval. [the axis's unit] None where there is none.
    checks : tuple of tuple
        Name, value and both ends of each other road. [likewise]
    """

    name: str
    value: float | None
    low: float | None
    high: float | None
    checks: tuple[tuple[str, float, float, float], ...] = ()


def forest_figure(lines: list[Line], axis: str, theme: Theme, no_effect: float = 0.0) -> Figure:
    """Return the forest plot: a mark and its interval for each activity.

    Parameters
    ----------
    lines : list of Line
        From the top.
    axis : str
        Title of the axis, with its unit.
    theme : Theme
        The look.
    no_effect : float
        Where "no difference" lies: 0, or 100 for per cent of the level without. [axis's unit]
    """
    shown = [(at, line) for at, line in enumerate(lines) if line.value is not None]
    traces: list[Figure] = []
    by_check: dict[str, list[tuple[float, float, float, float]]] = {}
    for at, line in shown:
        for name, value, low, high in line.checks:
            by_check.setdefault(name, []).append((at, value, low, high))
    for offset, (name, found) in zip(_BESIDE, by_check.items(), strict=False):
        traces.append(
            _marks(
                name, [at + offset for at, *_ in found], [each[1:4] for each in found],
                theme.ghost, "line-ns", theme.thick(1), theme.thick(6),
            )
        )  # fmt: skip
    whole = [(at, line) for at, line in shown if line.low is not None and line.high is not None]
    bare = [(at, line) for at, line in shown if line.low is None or line.high is None]
    traces.append(
        _marks(
            "effect, 95 % interval", [at for at, _ in whole],
            [(_n(line.value), _n(line.low), _n(line.high)) for _, line in whole],
            theme.text, "square", theme.thick(2.5), theme.thick(9),
        )
    )  # fmt: skip
    if bare:
        values = [(_n(line.value), _n(line.value), _n(line.value)) for _, line in bare]
        traces.append(
            _marks("no interval", [at for at, _ in bare], values, theme.text, "circle-open",
                   theme.thick(1.5), theme.thick(9))
        )  # fmt: skip
    zero = {
        "type": "line", "xref": "x", "x0": no_effect, "x1": no_effect, "yref": "paper", "y0": 0,
        "y1": 1, "line": {"color": theme.target, "width": theme.thick(1.5), "dash": "dot"},
    }  # fmt: skip
    label = note(
        theme, "no difference", no_effect, 1, yref="paper", yanchor="bottom", xanchor="center",
        font={"color": theme.target, "size": theme.font_px - 1},
    )  # fmt: skip
    count = max(len(lines), 1)
    names = [plain(_short(line.name)) for line in lines]
    return {
        "data": traces,
        "layout": layout(
            theme, axis, "",
            hovermode="closest",
            xaxis={"zeroline": False},
            yaxis={"range": [count - 0.4, -0.6], "tickvals": list(range(len(lines))),
                   "ticktext": names, "automargin": True, "title": {"text": ""},
                   "fixedrange": True},
            shapes=[zero], annotations=[label],
            margin={"l": theme.room(170), "r": theme.room(24), "t": theme.room(46),
                    "b": theme.room(48)},
            showlegend=True,
            legend={"orientation": "h", "x": 1, "xanchor": "right", "y": 1, "yref": "container",
                    "yanchor": "top", "traceorder": "reversed"},
        ),
    }  # fmt: skip


def _n(value: float | None) -> float:
    return 0.0 if value is None else value


def _short(name: str) -> str:
    return name if len(name) <= _NAME else f"{name[: _NAME - 3].rstrip()}..."


def _marks(
    name: str,
    heights: list[float],
    values: list[tuple[float, float, float]],
    colour: str,
    symbol: str,
    width: float,
    size: float,
) -> Figure:
    told = [
        f"{number(value, (high - low) / 2)} ({number(low, (high - low) / 2)} to "
        f"{number(high, (high - low) / 2)})"
        if high > low
        else f"{number(value)}, no interval"
        for value, low, high in values
    ]
    return {
        "type": "scatter", "mode": "markers", "name": name, "y": heights,
        "x": rounded([value for value, _, _ in values], 5), "text": told,
        "error_x": {
            "type": "data", "symmetric": False, "color": colour, "thickness": width,
            "width": size / 2,
            "array": rounded([high - value for value, _, high in values], 5),
            "arrayminus": rounded([value - low for value, low, _ in values], 5),
        },
        "marker": {"color": colour, "symbol": symbol, "size": size,
                   "line": {"color": colour, "width": width}},
        "hovertemplate": f"{name}: %{{text}}<extra></extra>",
    }  # fmt: skip
