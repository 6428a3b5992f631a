"""What does a speaker say under each chart of the stage view? One short line, read from afar."""

from app import labels, words
from model.assess import Assessment, DesktopActivity
from model.day import DayResult
from model.hosts import ARMS, Arm


def spoken_of_curves(found: Assessment, alone: list[DesktopActivity]) -> dict[str, str]:
    """Return the line under each chart over sessions and under that of one desktop.

    Parameters
    ----------
    found : Assessment
        Both arms.
    alone : list of DesktopActivity
        One desktop, activity by activity.
    """
    at = words.sessions(found.scenario.sessions)
    card = found.scenario.accelerator.cards > 0
    lines = {}
    for chart, column, told in (
        ("headroom", "headroom_pct", f"Headroom at {at}"),
        ("contention", "frames_busy_pct", f"Delivered frames at {at}"),
    ):
        shown = {arm: labels.value(column, found.now[arm][column]) for arm in ARMS}
        unit = labels.VALUES[column][1].partition(" ")[0]  # "% of CPU" is read "%"
        said = {
            arm: f"{text} {unit}" if text[-1].isdigit() else text for arm, text in shown.items()
        }
        both = f"{said['offloaded']} with the card, {said['software']} without."
        lines[chart] = f"{told}: {both if card else said['software'] + '.'}"
    return lines | {"desktop": _spoken_of_desktop(alone, card)}


def spoken_of_range(found: Assessment, bounds: tuple[Assessment, Assessment]) -> str:
    """Return the line under the chart of headroom where costs were measured.

    Parameters
    ----------
    found : Assessment
        Both arms.
    bounds : tuple of Assessment
        The answers at the low and at the high ends of the measured costs.
    """
    at = words.sessions(found.scenario.sessions)
    told = {arm: _span([each.now[arm]["headroom_pct"] for each in bounds]) for arm in ARMS}
    if not found.scenario.accelerator.cards:
        return f"Headroom at {at}, as measured: {told['software']}."
    return (
        f"Headroom at {at}, as measured: {told['offloaded']} with the card, "
        f"{told['software']} without."
    )


def _span(ends: list[float]) -> str:
    """Return both ends of a range in per cent, one of them where they are read alike."""
    low, high = (labels.value("headroom_pct", each) for each in sorted(ends))
    span = high if low == high else f"{low} to {high}"
    return f"{span} %" if high[-1].isdigit() else span


def _spoken_of_desktop(alone: list[DesktopActivity], card: bool) -> str:
    dearest = max(alone, key=lambda row: row.encode_pct["software"])
    without, carried = (dearest.encode_pct[arm] for arm in ("software", "offloaded"))
    if without < 0.5:
        return "One desktop: its display costs next to nothing to encode."
    with_card = f", {carried:.0f} % with the card" if card else ""
    name = dearest.activity[0].upper() + dearest.activity[1:]
    return f"{name}: encoding takes {without:.0f} % of the vCPUs{with_card}."


def spoken_of_day(days: dict[Arm, DayResult], card: bool) -> str:
    """Return the line under the chart of the day.

    Parameters
    ----------
    days : dict
        The simulated day of each arm.
    card : bool
        Whether the host has a card.
    """
    without, carried = (days[arm].crest_pct for arm in ("software", "offloaded"))
    if not card:
        return f"The crest of the day: {_pct(without)} of the CPU."
    if abs(without - carried) < 0.5:
        return f"The crest of the day: {_pct(carried)} of the CPU, with the card or without."
    does = "cuts" if carried < without else "raises"
    return (
        f"The card {does} the crest of the day from {_pct(without)} to {_pct(carried)} of the CPU."
    )


def _pct(amount: float) -> str:
    return f"{amount:.0f} %" if amount < 1000 else "more than 1,000 %"
