"""Where does a short series change its level, if it may take any number of levels?

Every division is compared, so the answer is the best there is.
"""

from math import log

import numpy as np
import numpy.typing as npt

from model.errors import InputError, check_at_least
from model.evidence.record import FloatArray, IntArray, checked_series

_MOST_READINGS_EXACT = 20_000


def find_changes(values: npt.ArrayLike, least: int, penalty: float | None = None) -> IntArray:
    """Divide a short series into spells of constant level, exactly.

    Parameters
    ----------
    values : array of shape (rows,), at most 20,000 rows
        The series, no value missing. [as measured]
    least : int, 1 or more
        The fewest values in a spell. [-]
    penalty : float or None, 0 or more
        What each change must save in squared deviations. [unit of the values squared] None for
        what a change in independent noise needs by the Bayesian information criterion.

    Returns
    -------
    array of shape (changes,)
        The first value of each new spell, counted from 0. [-] Empty where no change pays.

    Raises
    ------
    InputError
        For a series with gaps, too long a series, and a number out of range.

    Notes
    -----
    The least sum of squared deviations plus penalties, over every division there is: time grows
    with the square of the length, about a second for three hours at 1 Hz. Without a penalty the
    noise is taken from the division itself, starting from none. Noise that is correlated in time
    then gives far too many changes; for toggles use `find_toggles`.

    Source
    ------
    Y.-C. Yao, "Estimating the number of change-points via Schwarz' criterion", Statistics and
    Probability Letters 6(3), 1988, 181-189, doi:10.1016/0167-7152(88)90118-6.
    """
    series = checked_series(values)
    missing = np.flatnonzero(~np.isfinite(series))
    if len(missing):
        raise InputError(f"values[{missing[0]}]", float(series[missing[0]]), "a finite number")
    if len(series) > _MOST_READINGS_EXACT:
        raise InputError(
            "values", f"{len(series):,} rows", f"at most {_MOST_READINGS_EXACT:,} rows"
        )
    check_at_least("least", least, 1)
    least = int(least)
    series = series - series.mean()
    if penalty is not None:
        check_at_least("penalty", penalty, 0)
        return _best_division(series, least, penalty)
    changes = np.empty(0, dtype=np.int64)
    while True:
        variance = _squares_left(series, changes) / len(series)
        more = _best_division(series, least, 2 * variance * log(len(series)))
        if len(more) <= len(changes):
            return changes
        changes = more


def _best_division(series: FloatArray, least: int, penalty: float) -> IntArray:
    """Return the division with the least squared deviations plus penalties."""
    rows = len(series)
    sums = np.concatenate([[0.0], np.cumsum(series)])
    squares = np.concatenate([[0.0], np.cumsum(series**2)])
    best = np.full(rows + 1, np.inf)
    best[0] = -penalty  # the first spell is free
    since = np.zeros(rows + 1, dtype=np.int64)
    length = np.arange(rows, 0, -1)  # of spells that end at `end`: length[rows - end :]
    for end in range(least, rows + 1):
        starts = end - least + 1
        spell = sums[end] - sums[:starts]
        cost = best[:starts] - squares[:starts] - spell * spell / length[rows - end :][:starts]
        since[end] = int(np.argmin(cost))
        best[end] = cost[since[end]] + squares[end] + penalty
    changes: list[int] = []
    place = int(since[rows])
    while place > 0:
        changes.append(place)
        place = int(since[place])
    return np.array(changes[::-1], dtype=np.int64)


def _squares_left(series: FloatArray, changes: IntArray) -> float:
    """Return the sum of squared deviations from the mean of each spell."""
    return float(sum(((part - part.mean()) ** 2).sum() for part in np.split(series, changes)))
