"""What has a fleet cost by each year's end, in today's worth, with cards and without?"""

from app.figures.fleet_hosts import ROOM_FOR_LABELS, Ended, drawn_arms, end_labels, line_name
from app.theme import DASH, Figure, Theme, layout, note, plain
from app.words_fleet import crossing_year
from model.fleet import FleetPlan
from model.fleet_inputs import FleetInputs


def cost_figure(plan: FleetPlan, inputs: FleetInputs, theme: Theme) -> Figure:
    """Return the chart of all that is paid up to each year's end, discounted.

    Parameters
    ----------
    plan : FleetPlan
        Every host choice.
    inputs : FleetInputs
        The fleet that was planned.
    theme : Theme
        The look.
    """
    traces: list[Figure] = []
    ends: list[Ended] = []
    crossings: list[Figure] = []
    years = list(range(inputs.horizon_years + 1))
    highest = 1.0
    for index, choice in enumerate(plan.choices):
        cards = inputs.choices[index].accelerator.cards
        for arm in drawn_arms(cards):
            total = choice.arms[arm].total
            if total is None:
                continue
            name = line_name(index, arm, cards)
            worth = [float(each) for each in total.worth]
            highest = max(highest, *worth)
            ends.append(Ended(name, worth[-1], theme.colour(arm)))
            traces.append(
                {
                    "type": "scatter", "mode": "lines+markers", "name": name,
                    "x": years, "y": worth,
                    "line": {"color": theme.colour(arm), "dash": DASH[arm],
                             "width": theme.thick(2.2)},
                    "marker": {"size": theme.thick(5)},
                    "hovertemplate": f"%{{y:,.0f}}, {name}<extra></extra>",
                }
            )  # fmt: skip
        crossed, _ = crossing_year(choice)
        with_cards = choice.arms["offloaded"].total
        if crossed is not None and with_cards is not None and cards:
            y = float(with_cards.worth[crossed])
            letter = line_name(index, "software", cards)[0]
            cheaper = with_cards.worth[-1] <= choice.arms["software"].total.worth[-1]  # type: ignore[union-attr]
            told = "cards paid back" if cheaper else "cards cost more from here"
            traces.append(
                {
                    "type": "scatter", "mode": "markers", "name": f"{letter} {told}",
                    "x": [crossed], "y": [y], "hoverinfo": "skip",
                    "marker": {"symbol": "circle-open", "size": theme.thick(14),
                               "color": theme.text, "line": {"width": theme.thick(2)}},
                }
            )  # fmt: skip
            crossings.append(
                note(theme, f"{letter}: {told}", crossed, y + highest * 0.04,
                     xanchor="right" if crossed > inputs.horizon_years / 2 else "left",
                     yanchor="bottom")
            )  # fmt: skip
    top = highest * 1.1
    end = float(inputs.horizon_years)
    step = 1 if inputs.horizon_years <= 8 else 2
    return {
        "data": traces,
        "layout": layout(
            theme, "End of year", plain(f"Present value [{inputs.currency}]"),
            xaxis={"range": [0, end * ROOM_FOR_LABELS],
                   "tickvals": list(range(0, inputs.horizon_years + 1, step)),
                   "unifiedhovertitle": {"text": "end of year %{x}"}},
            yaxis={"range": [0, top], "tickformat": "~s", "automargin": True},
            annotations=[*end_labels(theme, ends, end, top), *crossings],
        ),
    }  # fmt: skip
