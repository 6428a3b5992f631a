"""What is an amount of money, exact to the cent, and what is a later one worth today?

Amounts are decimal numbers and never pass through binary fractions: a price of 0.1 is one tenth.
What was not a whole number of cents is rounded once, where it becomes an amount, and a half goes
to the even cent, so that many roundings do not add up to a drift in one direction.
"""

import re
from collections.abc import Sequence
from decimal import ROUND_HALF_EVEN, Context, Decimal, localcontext

from model.errors import InputError

CENT = Decimal("0.01")
_WRITTEN = re.compile(r"-?[0-9]{1,30}(\.[0-9]{1,30})?")
_MOST_DIGITS = 30  # before the point: more is no amount
_WORKING = Context(prec=50, rounding=ROUND_HALF_EVEN)  # digits, far beyond those of any amount


def exact(field: str, value: object, decimals: int | None = None) -> Decimal:
    """Return the decimal number that was written, digit for digit.

    Parameters
    ----------
    field : str
        The field named in the error.
    value : object
        A number, or one written as text: "19.90". [-]
    decimals : int or None, 0 or more
        The most digits behind the point; None for any. [digits]

    Returns
    -------
    Decimal
        The number; a binary fraction gives its shortest form, so 0.1 is one tenth. [-]

    Raises
    ------
    InputError
        For anything else, NaN, infinity and True included, or more digits behind the point.
    """
    ends = "" if decimals is None else f" with at most {decimals} digits after the point"
    expected = f"a number{ends}"
    if isinstance(value, str):
        if _WRITTEN.fullmatch(value) is None:
            raise InputError(field, value, expected)
        number = Decimal(value)
    elif isinstance(value, (int, float, Decimal)) and not isinstance(value, bool):
        number = Decimal(repr(float(value))) if isinstance(value, float) else Decimal(value)
    else:
        raise InputError(field, value, expected)
    if not number.is_finite() or number.adjusted() > _MOST_DIGITS:
        raise InputError(field, value, expected)
    if decimals is not None and number != number.quantize(
        Decimal(1).scaleb(-decimals), None, _WORKING
    ):
        raise InputError(field, value, expected)
    return number


def to_cent(amount: Decimal) -> Decimal:
    """Return an amount rounded to the cent, a half to the even cent.

    Parameters
    ----------
    amount : Decimal
        The amount. [currency]
    """
    return amount.quantize(CENT, context=_WORKING)


def discount_factor(discount_pct: Decimal, years: int) -> Decimal:
    """Return what one unit of money, paid so many years from now, is worth today.

    Parameters
    ----------
    discount_pct : Decimal, above -100
        Discount rate. [%/year]
    years : int, 0 or more
        Time until it is paid. [years]

    Returns
    -------
    Decimal
        1 / (1 + d)^t, to 50 digits. [-] 1 for what is paid now, or without a discount.

    Source
    ------
    S. K. Fuller and S. R. Petersen, "Life-Cycle Costing Manual for the Federal Energy
    Management Program", NIST Handbook 135, 1995 edition, 1996: the single present value
    factor, formula D.2.1.1.
    """
    with localcontext(_WORKING):
        return 1 / (1 + discount_pct / 100) ** years


def discounted(amounts: Sequence[Decimal | int], discount_pct: Decimal) -> Decimal:
    """Return the worth today of amounts paid now, in one year, in two years and so on, unrounded.

    Parameters
    ----------
    amounts : sequence of length years + 1
        What is paid now and after each year. [currency]
    discount_pct : Decimal, above -100
        Discount rate. [%/year]

    Returns
    -------
    Decimal
        The sum of each amount times its discount factor. [currency] 0 without amounts.

    Source
    ------
    As `discount_factor`.
    """
    with localcontext(_WORKING):
        factors = (discount_factor(discount_pct, years) for years in range(len(amounts)))
        return sum((a * f for a, f in zip(amounts, factors, strict=True)), Decimal(0))


def present_value(amounts: Sequence[Decimal | int], discount_pct: Decimal) -> Decimal:
    """Return the worth today of amounts paid now and after each year, rounded once to the cent.

    Parameters
    ----------
    amounts : sequence of length years + 1
        What is paid now and after each year. [currency]
    discount_pct : Decimal, above -100
        Discount rate. [%/year]
    """
    return to_cent(discounted(amounts, discount_pct))
