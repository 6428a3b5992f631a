"""How many hosts does a whole fleet need as its sessions grow, with cards and without?"""

from collections.abc import Sequence
from dataclasses import dataclass

from app.labels_fleet import ARM_LABEL, LETTERS
from app.theme import DASH, Figure, Theme, layout, note, plain, upright
from model.fleet import HostSteps
from model.hosts import Arm

ROOM_FOR_LABELS = 1.34  # of the axis: names stand at the right end of their lines
_LINES_HIGH = 16  # labels that fit on each other


@dataclass(frozen=True)
class Ended:
    """A line that ends at the right: its name, how high it ends, and its colour."""

    text: str
    y: float
    colour: str


def drawn_arms(cards: int) -> tuple[Arm, ...]:
    """Return the arms that are drawn of a host choice, the dashed one last.

    Parameters
    ----------
    cards : int
        Its cards; without any there is only one arm. [cards]
    """
    return ("offloaded", "software") if cards else ("software",)


def line_name(index: int, arm: Arm, cards: int) -> str:
    """Return what a line is called: the letter of its host choice, and the arm.

    Parameters
    ----------
    index : int
        Place of the host choice, 0 for the first. [-]
    arm : str
        "software" or "offloaded".
    cards : int
        Cards of the host choice. [cards]
    """
    return f"{LETTERS[index]} {ARM_LABEL[arm] if cards else 'no cards'}"


def end_labels(theme: Theme, ends: Sequence[Ended], x: float, top: float) -> list[Figure]:
    """Return the names at the right ends of lines, moved apart so that none covers another.

    Parameters
    ----------
    theme : Theme
        The look.
    ends : sequence of Ended
        The lines.
    x : float
        Where the lines end. [unit of the axis]
    top : float
        The upper end of the other axis. [unit of the axis]
    """
    apart = top / _LINES_HIGH * theme.font_px / 13
    placed: list[tuple[float, Ended]] = []
    for end in sorted(ends, key=lambda each: each.y):
        lowest = placed[-1][0] + apart if placed else 0.0
        placed.append((max(end.y, lowest), end))
    highest = top - apart / 2
    for at in range(len(placed) - 1, -1, -1):  # pushed down again where they ran off the top
        y, end = placed[at]
        placed[at] = (min(y, highest), end)
        highest = placed[at][0] - apart
    return [
        note(theme, plain(end.text), round(x * 1.012, 3), round(y, 2), xanchor="left",
             font={"color": end.colour}, bgcolor="rgba(0,0,0,0)")
        for y, end in placed
    ]  # fmt: skip


def hosts_figure(
    steps: Sequence[HostSteps], cards: Sequence[int], sessions: int, theme: Theme
) -> Figure:
    """Return the chart of hosts over the sessions of all sites, as steps.

    Parameters
    ----------
    steps : sequence of HostSteps
        One for each host choice.
    cards : sequence of int
        Cards of each host choice. [cards]
    sessions : int
        Sessions of all sites in the first year. [sessions]
    theme : Theme
        The look.
    """
    traces: list[Figure] = []
    ends: list[Ended] = []
    end = max(each.sessions[-1] for each in steps)
    highest = 1
    for index, each in enumerate(steps):
        for arm in drawn_arms(cards[index]):
            hosts = each.hosts[arm]
            if hosts is None:
                continue
            name = line_name(index, arm, cards[index])
            highest = max(highest, hosts[-1])
            ends.append(Ended(name, hosts[-1], theme.colour(arm)))
            traces.append(
                {
                    "type": "scatter", "mode": "lines", "name": name,
                    "x": list(each.sessions), "y": list(hosts),
                    "line": {"color": theme.colour(arm), "dash": DASH[arm], "shape": "vh",
                             "width": theme.thick(2.2)},
                    "hovertemplate": f"%{{y}} hosts, {name}<extra></extra>",
                }
            )  # fmt: skip
    top = highest * 1.08 + 1
    now, label = upright(theme, sessions, f"now: {sessions:,}", 0.96, theme.text, "solid", end)
    return {
        "data": traces,
        "layout": layout(
            theme, "Sessions of all sites", "Hosts of all sites",
            xaxis={"range": [0, round(end * ROOM_FOR_LABELS)], "tickformat": ",d",
                   "unifiedhovertitle": {"text": "%{x:,} sessions"}},
            yaxis={"range": [0, top], "tickformat": ",d"},
            shapes=[now], annotations=[*end_labels(theme, ends, end, top), label],
        ),
    }  # fmt: skip
