"""Which effects will a planned trial find, and how surely?"""

import numpy as np

from app.theme import Figure, Theme, across, layout, rounded, upright
from app.words_trial import number
from model.evidence.trial import TrialPlan


def power_figure(plan: TrialPlan, unit: str, theme: Theme) -> Figure:
    """Return the power curve: the chance to find an effect, over how large it is.

    Parameters
    ----------
    plan : TrialPlan
        The plan.
    unit : str
        Unit of the effects.
    theme : Theme
        The look.
    """
    effects, powers = np.asarray(plan.effects), 100 * np.asarray(plan.powers)
    end = float(effects[-1])
    line, label = across(theme, 100 * plan.power, f"wanted: {100 * plan.power:g} %")
    mark, words = upright(
        theme, plan.smallest_effect, f"{number(plan.smallest_effect)} {unit}", 0.25,
        theme.text, "solid", end,
    )  # fmt: skip
    return {
        "data": [
            {
                "type": "scatter", "mode": "lines", "name": "power",
                "x": rounded(effects, 5), "y": rounded(powers, 1),
                "line": {"color": theme.text, "width": theme.thick(2.5)},
                "hovertemplate": f"An effect of %{{x:.3g}} {unit} is found with %{{y:.0f}} %"
                "<extra></extra>",
            }
        ],
        "layout": layout(
            theme, f"True effect, either way [{unit}]", "Chance that it is found [%]",
            hovermode="closest",
            xaxis={"range": [0, end]}, yaxis={"range": [0, 103]},
            shapes=[line, mark], annotations=[label, words],
        ),
    }  # fmt: skip
