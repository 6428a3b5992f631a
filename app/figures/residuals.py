"""Which part of a host's CPU do the counts of who did what not explain?"""

import numpy as np
import numpy.typing as npt

from app.theme import Figure, Theme, layout, rounded

MOST_POINTS = 2_000


def residuals_figure(fitted: npt.ArrayLike, residual: npt.ArrayLike, theme: Theme) -> Figure:
    """Return the plot of what is left over what is explained.

    Parameters
    ----------
    fitted, residual : array of shape (rows,)
        Explained CPU, and measured less explained. [cores] NaN where a row was not used.
    theme : Theme
        The look.
    """
    x, y = thinned(fitted, residual)
    zero = {
        "type": "line", "xref": "paper", "x0": 0, "x1": 1, "yref": "y", "y0": 0, "y1": 0,
        "line": {"color": theme.target, "width": theme.thick(1.5), "dash": "dot"},
    }  # fmt: skip
    return {
        "data": [
            {
                "type": "scatter", "mode": "markers", "name": "reading",
                "x": rounded(x, 3), "y": rounded(y, 3),
                "marker": {"color": theme.text, "size": theme.thick(4), "opacity": 0.4},
                "hovertemplate": "explained %{x:.3g}, left %{y:.3g} cores<extra></extra>",
            }
        ],
        "layout": layout(
            theme, "Explained by the counts [reference cores]",
            "Measured less explained [reference cores]", hovermode="closest", shapes=[zero],
        ),
    }  # fmt: skip


def thinned(
    fitted: npt.ArrayLike, residual: npt.ArrayLike
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Return at most 2,000 of the points: evenly spaced ones and the farthest from 0.

    Parameters
    ----------
    fitted, residual : array of shape (rows,)
        Explained, and left. [cores]
    """
    x, y = np.asarray(fitted, dtype=float), np.asarray(residual, dtype=float)
    known = np.isfinite(x) & np.isfinite(y)
    x, y = x[known], y[known]
    if len(x) > MOST_POINTS:
        far = np.argsort(np.abs(y))[-MOST_POINTS // 10 :]
        even = np.linspace(0, len(x) - 1, MOST_POINTS - len(far)).round().astype(int)
        kept = np.unique(np.concatenate([even, far]))
        x, y = x[kept], y[kept]
    return x, y
