"""What does offload change over several activities, if each of them counts alike?"""

from collections.abc import Sequence
from math import sqrt

from model.errors import InputError
from model.evidence.student import t_quantile

Interval = tuple[float, float]


def mean_of_estimates(
    values: Sequence[float],
    half_widths: Sequence[float],
    degrees: Sequence[float],
    confidence: float = 0.95,
) -> tuple[float, Interval]:
    """Return the mean of independent estimates with its interval.

    Parameters
    ----------
    values : sequence of float, at least one
        The estimates, one from each log or activity. [as measured]
    half_widths : sequence of float, 0 or more
        Half the width of each one's interval. [as measured]
    degrees : sequence of float, above 0
        Degrees of freedom behind each interval. [-]
    confidence : float, above 0 and below 1
        Of the intervals, those given and the one returned. [-]

    Returns
    -------
    tuple of float and tuple
        The mean and both ends. [as measured] One estimate comes back as it is.

    Raises
    ------
    InputError
        For lists that do not fit together, a width below 0 or degrees not above 0.

    Notes
    -----
    Each half width is turned back into a standard error; their squares add up. The degrees of
    freedom are Satterthwaite's. The mean says what the measured activities have in common, not
    what a host with a mix of them saves: for that the costs go back into a scenario.

    Source
    ------
    F. E. Satterthwaite, "An approximate distribution of estimates of variance components",
    Biometrics Bulletin 2(6), 1946, 110-114, doi:10.2307/3002019.
    """
    count = len(values)
    if count == 0 or len(half_widths) != count or len(degrees) != count:
        raise InputError("values", f"{count} estimates", "at least one, each with its half width")
    if min(half_widths) < 0 or min(degrees) <= 0:
        raise InputError("half_widths", min(half_widths), "0 or more, with degrees above 0")
    if not 0 < confidence < 1:
        raise InputError("confidence", confidence, "a number above 0 and below 1")
    tail = 0.5 + confidence / 2
    variances = [
        (half / t_quantile(tail, free)) ** 2
        for half, free in zip(half_widths, degrees, strict=True)
    ]
    mean, total = sum(values) / count, sum(variances)
    if total == 0:
        return mean, (mean, mean)
    free = total**2 / sum(each**2 / of for each, of in zip(variances, degrees, strict=True))
    half = t_quantile(tail, free) * sqrt(total) / count
    return mean, (mean - half, mean + half)
