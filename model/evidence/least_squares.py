"""By which factors do columns of numbers explain values best?

`least_squares` lets factors be of any sign and keeps the digits of hard problems;
`nonnegative_least_squares` lets none of them be below 0.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from model.errors import MeasurementError
from model.evidence.record import FloatArray

_DEPENDENT = 1e-10  # share of a column that no other column holds, below it there is none


@dataclass(frozen=True, eq=False)
class LeastSquares:
    """A straight fit of values by columns.

    Parameters
    ----------
    coefficients : array of shape (columns,)
        One factor for each column. [value's unit over the column's]
    standard_errors : array of shape (columns,)
        As if every row were independent of the others. [as `coefficients`]
    residuals : array of shape (rows,)
        Values less fitted values. [value's unit]
    residual_sd : float
        Root of the residual sum of squares over its degrees of freedom. [value's unit]
    """

    coefficients: FloatArray
    standard_errors: FloatArray
    residuals: FloatArray
    residual_sd: float


def least_squares(columns: FloatArray, values: FloatArray) -> LeastSquares:
    """Return the factors by which columns explain values best.

    Parameters
    ----------
    columns : array of shape (rows, columns)
        What explains, one unit for each column. [any]
    values : array of shape (rows,)
        What is to be explained. [any]

    Returns
    -------
    LeastSquares
        Residual spread and standard errors are 0 with as many columns as rows.

    Raises
    ------
    MeasurementError
        With fewer rows than columns, or where a column follows from the others.

    Notes
    -----
    Columns are scaled to length one, taken apart by Householder reflections, and the result
    refined once by fitting what is left over, which is worked out in twice the digits: a spread
    of a tenth around ten million keeps all the digits that the values themselves hold. Numbers of
    very different size and columns that nearly imitate each other, years beside populations, keep
    at least nine digits.

    Source
    ------
    A. Bjoerck, Numerical Methods for Least Squares Problems, SIAM, 1996,
    doi:10.1137/1.9781611971484, chapter 2. T. J. Dekker, "A floating-point technique for
    extending the available precision", Numerische Mathematik 18(3), 1971, 224-242,
    doi:10.1007/BF01397083 (twice the digits).
    """
    rows, count = columns.shape
    if rows < count:
        raise MeasurementError("rows", rows, f"at least {count}, as many as unknowns")
    length = np.sqrt((columns**2).sum(axis=0))
    scaled = columns / np.where(length > 0, length, 1.0)
    q, r = np.linalg.qr(scaled)
    if np.abs(np.diag(r)).min(initial=1.0) < _DEPENDENT:
        at = int(np.argmin(np.abs(np.diag(r))))
        raise MeasurementError(f"column {at}", "a sum of others", "columns none of which follows")
    solution = np.linalg.solve(r, q.T @ values)
    left_over = _left_over(columns, solution / length, values)
    solution = solution + np.linalg.solve(r, q.T @ left_over)
    factors = solution / length
    residuals = _left_over(columns, factors, values)
    spread = float(np.sqrt(residuals @ residuals / (rows - count))) if rows > count else 0.0
    errors = spread * np.sqrt((np.linalg.inv(r) ** 2).sum(axis=1))
    return LeastSquares(factors, errors / length, residuals, spread)


def _left_over(columns: FloatArray, factors: FloatArray, values: FloatArray) -> FloatArray:
    """Return values less columns times factors, rounded only once at the end."""
    rest, lost = values, np.zeros(len(values))
    for column, factor in zip(columns.T, -factors, strict=True):
        product = column * factor
        head, tail = _halves(column)
        factor_head, factor_tail = _halves(factor)
        lost += tail * factor_tail - (
            ((product - head * factor_head) - tail * factor_head) - head * factor_tail
        )
        total = rest + product
        of_product = total - rest
        lost += (rest - (total - of_product)) + (product - of_product)
        rest = total
    return rest + lost


def _halves(number: Any) -> tuple[Any, Any]:
    """Return two numbers of half the digits whose sum a number is."""
    spread = 134_217_729.0 * number  # 2 to the 27th, plus 1
    head = spread - (spread - number)
    return head, number - head


def nonnegative_least_squares(columns: FloatArray, values: FloatArray) -> FloatArray:
    """Return the factors, none below 0, by which columns explain values best.

    Parameters
    ----------
    columns : array of shape (rows, columns)
        What explains, one unit for each column. [any]
    values : array of shape (rows,)
        What is to be explained. [any]

    Returns
    -------
    array of shape (columns,)
        The factors; exactly 0 where a negative one would explain more. [value's unit over the
        column's]

    Notes
    -----
    A column enters while it would lower the sum of squares, and leaves when its factor would
    fall below 0. Only the triangle of one decomposition is worked on, so a million rows cost
    no more than a thousand after the first step.

    Source
    ------
    C. L. Lawson and R. J. Hanson, Solving Least Squares Problems, Prentice-Hall, 1974 (SIAM,
    1995, doi:10.1137/1.9781611971217), chapter 23.
    """
    length = np.sqrt((columns**2).sum(axis=0))
    scaled = columns / np.where(length > 0, length, 1.0)
    q, r = np.linalg.qr(scaled)
    target = q.T @ values
    negligible = 1e-12 * float(np.sqrt(values @ values))
    count = columns.shape[1]
    free = np.zeros(count, dtype=bool)
    factors = np.zeros(count)
    for _ in range(10 * count):
        slope = r.T @ (target - r @ factors)
        slope[free | (length == 0)] = -np.inf
        best = int(np.argmax(slope))
        if slope[best] <= negligible:
            break
        free[best] = True
        while free.any():
            wanted = np.zeros(count)
            wanted[free] = np.linalg.lstsq(r[:, free], target, rcond=None)[0]
            below = free & (wanted <= 0)
            if not below.any():
                factors = wanted
                break
            step = float((factors[below] / (factors[below] - wanted[below])).min())
            factors = factors + step * (wanted - factors)
            free &= factors > 1e-15 * np.abs(factors).max()
            factors[~free] = 0.0
    return factors / np.where(length > 0, length, 1.0)
