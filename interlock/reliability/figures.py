"""How a figure is shown, and the checks that every figure passes first."""

from __future__ import annotations

import math
from collections.abc import Sequence

HOURS_PER_YEAR = 8760


def two_figures(x: float, assuming: Sequence[str] = ()) -> str:
    """Show `x` with two significant digits, and what it rests on.

    Failure data are known to a factor of two or three at best, so a third digit claims what
    nobody knows.

    Parameters
    ----------
    x : float
        May be infinite.
    assuming : sequence of str, optional
        Assumptions to be named beside the figure.

    Raises
    ------
    ValueError
        If `x` is not a number.

    Examples
    --------
    >>> two_figures(3.501584875e-5)
    '3.5e-5'
    >>> two_figures(0.0297, assuming=["independent failures"])
    '0.030 (assuming independent failures)'
    """
    if math.isnan(x):
        raise ValueError("not a number cannot be shown as a figure")
    return _digits(x) + (f" (assuming {'; '.join(assuming)})" if assuming else "")


def _digits(x: float) -> str:
    if x == 0:
        return "0"
    if math.isinf(x):
        return "infinite" if x > 0 else "-infinite"
    mantissa, exponent_text = f"{x:.1e}".split("e")
    exponent = int(exponent_text)
    if not -3 <= exponent < 6:
        return f"{mantissa}e{exponent}"
    rounded = float(f"{mantissa}e{exponent}")
    return f"{rounded:.{max(0, 1 - exponent)}f}"


def check_fraction(name: str, value: float) -> None:
    """Raise ValueError unless `value` lies in 0..1."""
    if not 0 <= value <= 1:  # also refuses NaN
        raise ValueError(f"{name} is {value}; expected a number from 0 to 1")


def check_positive(name: str, value: float) -> None:
    """Raise ValueError unless `value` is greater than 0; infinity passes."""
    if not value > 0:
        raise ValueError(f"{name} is {value}; expected a number greater than 0")


def check_rate(name: str, value: float) -> None:
    """Raise ValueError unless `value` is finite and not negative."""
    if not 0 <= value < math.inf:
        raise ValueError(f"{name} is {value}; expected a finite number, 0 or greater")
