"""Does a host show the CPU that the model predicts, from its quiet moments to its peaks?"""

from typing import Any

from app.theme import Figure, Theme, layout, rounded


def quantiles_figure(compared: dict[str, Any], theme: Theme) -> Figure:
    """Return the plot of measured over predicted quantiles, with the allowed band.

    Parameters
    ----------
    compared : dict
        predicted, measured: the same quantiles of both [cores]; quantiles: level [-],
        measured_cores, predicted_cores and the interval of their difference [cores];
        tolerance_pct: how far they may be apart [%].
    theme : Theme
        The look.
    """
    predicted, measured = compared["predicted"], compared["measured"]
    end = 1.05 * max([*predicted, *measured, 1e-6])
    allowed = compared["tolerance_pct"] / 100
    marked = compared["quantiles"]
    above = [each["high_cores"] - each["difference_cores"] for each in marked]
    below = [each["difference_cores"] - each["low_cores"] for each in marked]
    return {
        "data": [
            {
                "type": "scatter", "mode": "lines", "x": [0, end, end, 0],
                "y": [0, end * (1 + allowed), end * (1 - allowed), 0], "fill": "toself",
                "fillcolor": theme.faint, "opacity": 0.5, "line": {"width": 0},
                "hoverinfo": "skip", "name": f"within {compared['tolerance_pct']:g} %",
            },
            {
                "type": "scatter", "mode": "lines", "x": [0, end], "y": [0, end],
                "line": {"color": theme.target, "dash": "dot", "width": theme.thick(1.5)},
                "hoverinfo": "skip", "name": "as predicted",
            },
            {
                "type": "scatter", "mode": "lines", "name": "this host",
                "x": rounded(predicted, 3), "y": rounded(measured, 3),
                "text": [f"p{100 * level:g}" for level in compared["levels"]],
                "line": {"color": theme.text, "width": theme.thick(2)},
                "hovertemplate": "%{text}: predicted %{x:.3g}, measured %{y:.3g} cores"
                "<extra></extra>",
            },
            {
                "type": "scatter", "mode": "markers+text", "name": "p50, p95, p99, 95 % interval",
                "x": rounded([each["predicted_cores"] for each in marked], 3),
                "y": rounded([each["measured_cores"] for each in marked], 3),
                "text": [f"p{100 * each['level']:g}" for each in marked],
                "textposition": "bottom right",
                "textfont": {"color": theme.text, "size": theme.font_px},
                "error_y": {"type": "data", "symmetric": False, "array": rounded(above, 3),
                            "arrayminus": rounded(below, 3), "color": theme.text,
                            "thickness": theme.thick(1.5)},
                "marker": {"color": theme.text, "size": theme.thick(8), "symbol": "square"},
                "hoverinfo": "skip",
            },
        ],
        "layout": layout(
            theme, "Predicted CPU of the host [cores]", "Measured [cores]",
            hovermode="closest", xaxis={"range": [0, end]}, yaxis={"range": [0, end]},
            showlegend=True,
            legend={"x": 0.01, "xanchor": "left", "y": 0.99, "yanchor": "top",
                    "bgcolor": theme.ground},
        ),
    }  # fmt: skip
