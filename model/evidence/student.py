"""How far does the mean of a few noisy differences stray, and how likely is a real one noticed?

Student's t distribution gives the interval, the noncentral one the power. Both come from one
integral, so that the web application carries no statistics library for two functions.
"""

from functools import lru_cache
from math import ceil, erfc, exp, lgamma, log, pi, sqrt

import numpy as np

from model.errors import InputError, check_above, check_at_least, check_within

_NEGLIGIBLE = 45.0  # exp(-45) is 3e-20
_MOST_STEPS = 2_000  # of the Newton iteration; far tails of few degrees of freedom take a hundred


@lru_cache(maxsize=4096)
def t_cdf(t: float, degrees: float, shift: float = 0.0) -> float:
    """Return the probability that a (noncentral) t variable is at most `t`.

    Parameters
    ----------
    t : float
        Where the distribution function is wanted. [-]
    degrees : float, 0.5 or more
        Degrees of freedom; need not be whole. [-]
    shift : float, from -1,000 to 1,000
        Mean of the normal variable in the numerator, the noncentrality; 0 gives Student's t. [-]

    Returns
    -------
    float
        A probability. [-] Good to 1e-12 absolutely.

    Raises
    ------
    InputError
        For the first argument outside its range.

    Notes
    -----
    With Z normal and S the root of a chi-square over its degrees of freedom, T is at most t where
    Z + shift is at most t S. The probability is the integral over S of the normal distribution
    function at t S - shift. With log S as the variable the integrand is smooth and dies away at
    both ends, so that equal steps converge faster than any power of the step.

    Source
    ------
    The trapezoidal rule on the line: L. N. Trefethen and J. A. C. Weideman, "The exponentially
    convergent trapezoidal rule", SIAM Review 56(3), 2014, 385-458, doi:10.1137/130932132.
    """
    check_within("t", t, -1e100, 1e100)
    check_at_least("degrees", degrees, 0.5)
    check_within("shift", shift, -1_000.0, 1_000.0)

    reach = _NEGLIGIBLE / degrees
    low, high = -sqrt(reach) - reach, sqrt(reach)
    finest = min(0.125, 0.25 / sqrt(degrees), 0.4 / max(abs(shift), 1.0))
    log_s = np.linspace(low, high, ceil((high - low) / finest) + 1)
    s = np.exp(log_s)
    log_peak = log(2.0) + degrees / 2 * (log(degrees / 2) - 1) - lgamma(degrees / 2)
    density = np.exp(log_peak + degrees * (log_s - (s * s - 1) / 2))
    below = np.array([erfc(x) for x in ((shift - t * s) / sqrt(2.0)).tolist()]) / 2
    total = float(density @ below) * float(log_s[1] - log_s[0])
    return min(max(total, 0.0), 1.0)


@lru_cache(maxsize=4096)
def t_quantile(probability: float, degrees: float) -> float:
    """Return the value that Student's t stays below with a probability.

    Parameters
    ----------
    probability : float, from 1e-9 to 1 - 1e-9
        0.975 for each end of a 95 % interval. [-]
    degrees : float, 0.5 or more
        Degrees of freedom; need not be whole. [-]

    Returns
    -------
    float
        The quantile. [-] Good to ten digits; 0 for the probability 0.5.

    Raises
    ------
    InputError
        For the first argument outside its range.

    Notes
    -----
    Newton's iteration from 0 in the lower tail: the distribution function bends upwards there, so
    that no step passes the root.
    """
    check_within("probability", probability, 1e-9, 1 - 1e-9)
    check_at_least("degrees", degrees, 0.5)
    tail = min(probability, 1 - probability)
    log_density_at_0 = lgamma((degrees + 1) / 2) - lgamma(degrees / 2) - log(degrees * pi) / 2
    t = 0.0
    for _ in range(_MOST_STEPS):
        bend = (degrees + 1) / 2 * log(1 + t * t / degrees)
        step = (t_cdf.__wrapped__(t, degrees) - tail) * exp(bend - log_density_at_0)
        t -= step
        if abs(step) <= 1e-12 * max(abs(t), 1e-3):
            break
    return -t if probability > 0.5 else t


def mean_of_estimated_spread(degrees: float) -> float:
    """Return what an estimated standard deviation is on average, over the true one.

    Parameters
    ----------
    degrees : float, 0.5 or more
        Degrees of freedom with which the square of it is estimated without bias. [-]

    Returns
    -------
    float
        Above 0 and below 1, nearing 1 for many degrees. [-]

    Raises
    ------
    InputError
        For degrees below 0.5.
    """
    check_at_least("degrees", degrees, 0.5)
    return exp(lgamma((degrees + 1) / 2) - lgamma(degrees / 2)) * sqrt(2 / degrees)


def power_of(
    effect: float,
    standard_error: float,
    degrees: float,
    confidence: float,
    calibration: float = 1.0,
) -> float:
    """Return how likely an interval around an effect leaves out zero.

    Parameters
    ----------
    effect : float
        The true effect, in the unit of the standard error. [as measured]
    standard_error : float, above 0
        Standard deviation of the estimated effect. [as measured]
    degrees : float, 0.5 or more
        Degrees of freedom with which that deviation is estimated. [-]
    confidence : float, above 0 and below 1
        Of the interval, 0.95 for a 95 % interval. [-]
    calibration : float, above 0
        The true standard error over the root mean square of what is estimated for it. [-]

    Returns
    -------
    float
        A probability. [-] One less the confidence for an effect of 0, if the calibration is 1.

    Raises
    ------
    InputError
        For the first argument outside its range.
    """
    check_above("standard_error", standard_error, 0)
    _check_confidence(confidence)
    check_above("calibration", calibration, 0)
    shift = min(abs(effect) / standard_error, 1_000.0)
    critical = t_quantile(0.5 + confidence / 2, degrees) / calibration
    return t_cdf(-critical, degrees, -shift) + t_cdf(-critical, degrees, shift)


def smallest_effect_found(
    standard_error: float,
    degrees: float,
    power: float,
    confidence: float,
    calibration: float = 1.0,
) -> float:
    """Return the effect that is told from zero with a given probability.

    Parameters
    ----------
    standard_error : float, above 0
        Standard deviation of the estimated effect. [as measured]
    degrees : float, 0.5 or more
        Degrees of freedom with which that deviation is estimated. [-]
    power : float, above 1 - confidence and up to 0.999
        The wanted probability, 0.8 for four trials out of five. [-]
    confidence : float, above 0 and below 1
        Of the interval that must leave out zero. [-]
    calibration : float, above 0
        The true standard error over the root mean square of what is estimated for it. [-]

    Returns
    -------
    float
        The effect. [as measured] 0 where the interval is so short that zero is left out as often
        without any effect.

    Raises
    ------
    InputError
        For the first argument outside its range.
    """
    check_above("standard_error", standard_error, 0)
    _check_confidence(confidence)
    check_above("calibration", calibration, 0)
    if not 1 - confidence < power <= 0.999:
        raise InputError("power", power, f"a number above {1 - confidence:g}, up to 0.999")
    low, high = 0.0, 4.0
    if power_of(low, 1.0, degrees, confidence, calibration) >= power:
        return 0.0
    while high < 1_000 and power_of(high, 1.0, degrees, confidence, calibration) < power:
        low, high = high, 2 * high
    for _ in range(60):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        if power_of(middle, 1.0, degrees, confidence, calibration) < power:
            low = middle
        else:
            high = middle
    return high * standard_error


def _check_confidence(confidence: float) -> None:
    if not 0 < confidence < 1:
        raise InputError("confidence", confidence, "a number above 0 and below 1")
