"""May the model be trusted for a host, by how far measured and predicted quantiles lie apart?

The model is trusted where every quantile lies within the tolerance with its whole interval, and
not where an interval lies wholly outside.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

Verdict = Literal["trust", "undecided", "distrust"]

_FULL = 0.97  # our choice: of what the host can show


@dataclass(frozen=True)
class QuantileDifference:
    """One quantile, measured and predicted.

    Parameters
    ----------
    level : float
        Which quantile: 0.95 for the p95. [-]
    measured_cores, predicted_cores : float
        The quantile. [cores]
    difference_cores, low_cores, high_cores : float
        Measured less predicted, and its 95 % interval. [cores]
    """

    level: float
    measured_cores: float
    predicted_cores: float
    difference_cores: float
    low_cores: float
    high_cores: float

    @property
    def in_pct(self) -> tuple[float, float, float]:
        """Difference, low and high, of what is predicted. [%]"""
        by = 100 / max(self.predicted_cores, 1e-9)
        return self.difference_cores * by, self.low_cores * by, self.high_cores * by


def below_limit(
    differences: Sequence[QuantileDifference], limit_cores: float | None
) -> list[QuantileDifference]:
    """Return the quantiles that say something: those not at the host's limit both times.

    Parameters
    ----------
    differences : sequence of QuantileDifference
        All quantiles.
    limit_cores : float, above 0, or None
        The most that the host can show. [cores] None has no limit.
    """
    return [each for each in differences if not _at_limit(each, limit_cores)]


def _at_limit(difference: QuantileDifference, limit_cores: float | None) -> bool:
    lower = min(difference.measured_cores, difference.predicted_cores)
    return limit_cores is not None and lower >= _FULL * limit_cores


def verdict_of(
    differences: Sequence[QuantileDifference], tolerance_pct: float
) -> tuple[Verdict, str]:
    """Return the verdict, and the sentence that tells it.

    Parameters
    ----------
    differences : sequence of QuantileDifference
        Quantiles below the host's limit; none where it was at its limit all the time.
    tolerance_pct : float
        By how much a quantile may be out and the model still be trusted. [%]
    """
    if not differences:
        return "undecided", (
            "This log cannot tell whether the model may be trusted for this host, which was at its "
            "limit all the time: measure with fewer people."
        )
    outside = [
        each
        for each in differences
        if each.in_pct[1] > tolerance_pct or each.in_pct[2] < -tolerance_pct
    ]
    if outside:
        worst = max(outside, key=lambda each: abs(each.in_pct[0]))
        gap, low, high = worst.in_pct
        side = "above" if gap > 0 else "below"
        near, far = sorted((abs(low), abs(high)))
        return "distrust", (
            f"Do not trust the model for this host yet: the measured p{worst.level * 100:g} lies "
            f"{abs(gap):.0f} % {side} the predicted one (95 % interval {near:.0f} to {far:.0f} %), "
            f"more than the {tolerance_pct:g} % allowed. Measure what the activities cost here."
        )
    plural = "s" if len(differences) == 1 else ""
    each_name = [f"p{each.level * 100:g}" for each in differences]
    names = " and ".join(part for part in (", ".join(each_name[:-1]), each_name[-1]) if part)
    widest = max(max(abs(each.in_pct[1]), abs(each.in_pct[2])) for each in differences)
    if widest <= tolerance_pct:
        return "trust", (
            f"The model may be trusted for this host: {names} of the CPU lie{plural} within "
            f"{max(widest, 1):.0f} % of the prediction, the intervals included."
        )
    far_off = max(abs(each.in_pct[0]) for each in differences)
    return "undecided", (
        f"The log cannot tell yet: {names} lie{plural} up to {far_off:.0f} % from the prediction, "
        f"but with their intervals up to {widest:.0f} %, where {tolerance_pct:g} % is allowed. "
        "Measure for longer."
    )
