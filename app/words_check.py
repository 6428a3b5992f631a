"""In which words does the page say whether its quick answers agree with the exact ones?"""

from model.self_check import MOST_APART_PCT, Comparison, SelfCheck

_VALUES = {  # name: what it is called, its unit
    "wait_pct": ("scheduler wait", " %"),
    "frames_pct": ("delivered frames", " %"),
    "stretch": ("response slow-down", ""),
    "demand_p95_pct": ("CPU demand (p95)", " %"),
    "demand_p99_pct": ("CPU demand (p99)", " %"),
}
_MOMENTS = {"usual": " at usual moments", "busy": " at busy moments", "all": ""}
_ARMS = {"software": "without a card", "offloaded": "with the card"}


def check_sentence(found: SelfCheck) -> str:
    """Return whether quick and exact answers agree, in a sentence; empty without a comparison.

    Parameters
    ----------
    found : SelfCheck
        What was compared.
    """
    worst = found.worst
    if worst is None:
        return ""
    if found.agrees:
        apart = "0.1 %" if worst.apart_pct <= 0.1 else f"{worst.apart_pct:.1f} %"
        return f"Self-check: the quick calculation agrees with the exact one within {apart}."
    quick, exact = _told(worst)
    name = _VALUES[worst.name][0]
    return (
        f"Take care: for these inputs the quick calculation is more than {MOST_APART_PCT:g} % off. "
        f"{name[0].upper()}{name[1:]}{_MOMENTS[worst.moment]} {_ARMS[worst.arm]}, at "
        f"{worst.sessions} sessions, is {quick} by the quick calculation that the charts show and "
        f"{exact} by the exact one."
    )


def _told(of: Comparison) -> tuple[str, str]:
    unit = _VALUES[of.name][1]
    for digits in (1, 2, 3):
        quick, exact = (f"{value:.{digits}f}{unit}" for value in (of.fast, of.exact))
        if quick != exact:
            break
    return quick, exact
