"""How a figure is shown, and the checks that every figure passes first."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from fractions import Fraction

HOURS_PER_YEAR = 8760

Number = float | Fraction


def exactly(x: Number) -> Fraction:
    """The figure as it was written: of a float the shortest decimal that is read as it.

    0.9 is nine tenths here, and not the binary number nearest to it. So what is added, inverted
    and compared comes out as on paper, and no tolerance is needed: a figure reaches a limit if
    it reaches it, and not if it is below by however little.

    Raises
    ------
    ValueError
        If `x` is infinite or not a number.

    Examples
    --------
    >>> exactly(0.9)
    Fraction(9, 10)
    >>> 1 / (7 * (1 / exactly(210))) >= 30, 1 / (7 * (1 / 210)) >= 30
    (True, False)
    """
    return x if isinstance(x, Fraction) else Fraction(repr(float(x)))


def kept_apart(x: Number, limits: Iterable[float]) -> str:
    """Show `x` with two significant digits, or as many more as keep it on its side of limits.

    Parameters
    ----------
    x : float or Fraction
    limits : iterable of float
        A figure below one of them is not shown as having reached it.

    Examples
    --------
    >>> kept_apart(77.8, [82]), kept_apart(29.96, [30])
    ('78', '29.96')
    """
    value = exactly(x)
    longer = (f"{float(value):.{digits}g}" for digits in range(3, 18))
    return _first_kept(value, limits, [two_figures(value), *longer])


def percent(x: Number, limits: Iterable[float] = (), decimals: int = 0) -> str:
    """Show a fraction in percent, with as many decimals as keep it on its side of limits.

    Parameters
    ----------
    x : float or Fraction
        0..1.
    limits : iterable of float
        In percent; a figure below one of them is not shown as having reached it.
    decimals : int, optional
        The fewest to show.

    Examples
    --------
    >>> percent(0.05), percent(0.8998, [90])
    ('5%', '89.98%')
    """
    value = 100 * exactly(x)
    shown = [f"{float(value):.{digits}f}" for digits in range(decimals, 16)]
    return f"{_first_kept(value, limits, shown)}%"


def _first_kept(value: Fraction, limits: Iterable[float], shown: Sequence[str]) -> str:
    ahead = [exactly(limit) for limit in limits if exactly(limit) > value]
    for text in shown:
        if not any(exactly(float(text)) >= limit for limit in ahead):
            return text
    return f"less than {float(min(ahead)):g}"


def two_figures(x: Number) -> str:
    """Show `x` with two significant digits.

    Failure data are known to a factor of two or three at best, so a third digit claims what
    nobody knows.

    Parameters
    ----------
    x : float or Fraction
        May be infinite.

    Raises
    ------
    ValueError
        If `x` is not a number.

    Examples
    --------
    >>> two_figures(3.501584875e-5), two_figures(0.0297)
    ('3.5e-5', '0.030')
    """
    if math.isnan(x):
        raise ValueError("not a number cannot be shown as a figure")
    return _digits(float(x))


def _digits(x: float) -> str:
    if x == 0:
        return "0"
    if math.isinf(x):
        return f"{x}inite"
    mantissa, exponent_text = f"{x:.1e}".split("e")
    exponent = int(exponent_text)
    if not -3 <= exponent < 6:
        return f"{mantissa}e{exponent}"
    rounded = float(f"{mantissa}e{exponent}")
    return f"{rounded:.{max(0, 1 - exponent)}f}"


def check_fraction(name: str, value: Number) -> None:
    """Raise ValueError unless `value` lies in 0..1."""
    if not 0 <= value <= 1:  # also refuses NaN
        raise ValueError(f"{name} is {value}; expected a number from 0 to 1")


def check_positive(name: str, value: Number) -> None:
    """Raise ValueError unless `value` is finite and greater than 0."""
    if not 0 < value < math.inf:
        raise ValueError(f"{name} is {value}; expected a finite number greater than 0")


def check_rate(name: str, value: float) -> None:
    """Raise ValueError unless `value` is finite and not negative."""
    if not 0 <= value < math.inf:
        raise ValueError(f"{name} is {value}; expected a finite number, 0 or greater")
