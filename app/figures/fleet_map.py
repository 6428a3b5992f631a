"""At which price of a card, and which share of one role, do cards pay for themselves?"""

from dataclasses import dataclass

from app.theme import Figure, Theme, layout, note, plain
from model.break_even import BreakEvenMap


@dataclass(frozen=True)
class Standing:
    """Where a fleet stands on the map.

    Parameters
    ----------
    share_pct : float
        Share of the role among its sessions. [%]
    card_price : float
        Price of a card. [currency]
    """

    share_pct: float
    card_price: float


def map_figure(
    found: BreakEvenMap, only_with_cards: tuple[bool, ...], now: Standing, currency: str,
    theme: Theme,
) -> Figure:  # fmt: skip
    """Return the map of both sides of the break-even price.

    Parameters
    ----------
    found : BreakEvenMap
        Break-even price for each share.
    only_with_cards : tuple of bool, length shares
        Whether only hosts with cards carry every session, so that there is no price.
    now : Standing
        Where the fleet stands.
    currency : str
        What amounts are in.
    theme : Theme
        The look.
    """
    shares = list(found.share_pct)
    top = max(float(max(found.card_price)), now.card_price * 1.2)
    prices = [None if each is None else float(each) for each in found.break_even_price]
    edge = [
        (top if only else 0.0) if price is None else min(max(price, 0.0), top)
        for price, only in zip(prices, only_with_cards, strict=True)
    ]
    along, edge_at = _stepped(shares, edge, prices)
    nothing = {"width": 0}
    traces: list[Figure] = [
        {
            "type": "scatter", "mode": "lines", "x": along, "y": edge_at, "fill": "tozeroy",
            "fillcolor": theme.offloaded_fill, "line": nothing, "hoverinfo": "skip",
            "name": "cards pay",
        },
        {
            "type": "scatter", "mode": "lines", "x": [*along, *along[::-1]],
            "y": [*edge_at, *[top] * len(along)], "fill": "toself",
            "fillcolor": theme.software_fill, "line": nothing, "hoverinfo": "skip",
            "name": "cards do not pay",
        },
        {
            "type": "scatter", "mode": "lines+markers", "x": shares, "y": prices,
            "line": {"color": theme.text, "width": theme.thick(2.5)},
            "marker": {"size": theme.thick(5)}, "name": "break-even price", "connectgaps": False,
            "hovertemplate": "%{y:,.2f}: break-even price<extra></extra>",
        },
        {
            "type": "scatter", "mode": "markers", "x": [now.share_pct], "y": [now.card_price],
            "marker": {"symbol": "diamond", "size": theme.thick(11), "color": theme.ghost,
                       "line": {"color": theme.ground, "width": theme.thick(1.5)}},
            "name": "now", "hovertemplate": "%{y:,.2f} a card now<extra></extra>",
        },
    ]  # fmt: skip
    return {
        "data": traces,
        "layout": layout(
            theme, plain(f"Share of {found.role} at every site [%]"),
            plain(f"Price of a card [{currency}]"),
            xaxis={"range": [0, 100], "unifiedhovertitle": {"text": "%{x} %"}},
            yaxis={"range": [0, top], "tickformat": ",~r", "automargin": True},
            annotations=_labels(theme, shares, prices, edge, only_with_cards, top, now),
        ),
    }  # fmt: skip


def _stepped(
    shares: list[float], edge: list[float], prices: list[float | None]
) -> tuple[list[float], list[float]]:
    """The edge of both sides, upright halfway to a share that has no break-even price."""
    along, edge_at = shares[:1], edge[:1]
    for at in range(1, len(shares)):
        if (prices[at] is None) != (prices[at - 1] is None):
            middle = (shares[at] + shares[at - 1]) / 2
            along = [*along, middle, middle]
            edge_at = [*edge_at, edge[at - 1], edge[at]]
        along, edge_at = [*along, shares[at]], [*edge_at, edge[at]]
    return along, edge_at


def _labels(
    theme: Theme,
    shares: list[float],
    prices: list[float | None],
    edge: list[float],
    only: tuple[bool, ...],
    top: float,
    now: Standing,
) -> list[Figure]:
    labels = []
    clear = {"bgcolor": "rgba(0,0,0,0)"}
    below = max(range(len(shares)), key=lambda at: (edge[at], -abs(shares[at] - 50)))
    if edge[below] > top * 0.12:
        x = min(max(shares[below], 20), 80)
        labels.append(note(theme, "<b>cards pay</b>", x, edge[below] * 0.45, **clear))
    above = max(range(len(shares)), key=lambda at: (top - edge[at], -abs(shares[at] - 50)))
    if edge[above] < top * 0.88:
        x = min(max(shares[above], 20), 80)
        y = (edge[above] + top) / 2 + top * 0.12
        labels.append(note(theme, "<b>cards do not pay</b>", x, min(y, top * 0.93), **clear))
    known = [at for at, price in enumerate(prices) if price is not None and 0 <= price <= top]
    if known:
        at = known[len(known) // 4]
        labels.append(
            note(theme, "break-even price", shares[at], edge[at] + top * 0.02, yanchor="bottom",
                 xanchor="left" if shares[at] < 60 else "right", **clear)
        )  # fmt: skip
    nowhere = [at for at, price in enumerate(prices) if price is None]
    if nowhere:
        at = nowhere[len(nowhere) // 2]
        told = "only with cards<br>is everyone carried" if only[at] else "no break-even price"
        labels.append(
            note(theme, told, shares[at], top * 0.75, **clear,
                 xanchor="center" if 15 < shares[at] < 80 else "right" if shares[at] > 50
                 else "left")
        )  # fmt: skip
    labels.append(
        note(theme, f"now: {now.card_price:,.10g}", now.share_pct, now.card_price + top * 0.025,
             yanchor="bottom", font={"color": theme.ghost}, **clear,
             xanchor="left" if now.share_pct < 60 else "right")
    )  # fmt: skip
    return labels
