"""IEC 62061: dangerous failure rates of the four basic subsystem architectures, A to D.

Rates are per hour, times in hours. The formulas are those of IEC 62061:2005, 6.7.8.2 (clause
from memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from interlock.reliability.figures import check_fraction, check_positive, check_rate

# Above so many points against common-cause failure, the fraction that applies.
_BETA_ABOVE = ((85, 0.01), (65, 0.02))
_POINTS_IN_ALL = 100


def beta_of_points(points: float) -> float:
    """Common-cause fraction β, from the points claimed against common-cause failure.

    The table's ranges share their ends, but for 35: below 35 points 10 %, 35 to 65 5 %, 65 to 85
    2 %, 85 to 100 1 %. At 65 and 85 the greater fraction is taken: never the better figure.

    Parameters
    ----------
    points : float
        0..100.

    Raises
    ------
    ValueError
        If there cannot be so many points.

    Source
    ------
    IEC 62061, Annex F (from memory).

    Examples
    --------
    >>> beta_of_points(70), beta_of_points(65)
    (0.02, 0.05)
    """
    if not 0 <= points <= _POINTS_IN_ALL:
        raise ValueError(f"{points:g} points; expected 0 to {_POINTS_IN_ALL}")
    otherwise = 0.10 if points < 35 else 0.05
    return next((beta for above, beta in _BETA_ABOVE if points > above), otherwise)


def subsystem_a(rates_per_h: Iterable[float]) -> float:
    """A, no redundancy, no diagnosis: every dangerous failure of an element counts.

    Returns
    -------
    float
        Σ λi, per hour.
    """
    rates = list(rates_per_h)
    for rate in rates:
        check_rate("dangerous failure rate", rate)
    return math.fsum(rates)


def subsystem_b(rate_1_per_h: float, rate_2_per_h: float, beta: float, t1_h: float) -> float:
    """B, two elements, no diagnosis.

    Parameters
    ----------
    rate_1_per_h, rate_2_per_h : float
        Dangerous failure rates.
    beta : float
        Common-cause fraction, 0..1.
    t1_h : float
        The shorter of proof-test interval and lifetime.

    Returns
    -------
    float
        (1−β)² λ1 λ2 T1 + β (λ1+λ2)/2, per hour.
    """
    return subsystem_d((rate_1_per_h, 0.0), (rate_2_per_h, 0.0), beta, t1_h, t2_h=t1_h)


def subsystem_c(elements: Iterable[tuple[float, float]]) -> float:
    """C, no redundancy, with diagnosis that leads to a safe state.

    Parameters
    ----------
    elements : iterable of (float, float)
        Dangerous failure rate and diagnostic coverage (0..1) of each element.

    Returns
    -------
    float
        Σ λi (1−DCi), per hour.
    """
    terms = []
    for rate, dc in elements:
        check_rate("dangerous failure rate", rate)
        check_fraction("DC", dc)
        terms.append(rate * (1 - dc))
    return math.fsum(terms)


def subsystem_d(
    element_1: tuple[float, float],
    element_2: tuple[float, float],
    beta: float,
    t1_h: float,
    t2_h: float,
) -> float:
    """D, two elements with diagnosis.

    Parameters
    ----------
    element_1, element_2 : (float, float)
        Dangerous failure rate and diagnostic coverage (0..1) of each.
    beta : float
        Common-cause fraction, 0..1.
    t1_h : float
        The shorter of proof-test interval and lifetime.
    t2_h : float
        Interval of the diagnostic test.

    Returns
    -------
    float
        (1−β)² {λ1 λ2 (DC1+DC2) T2/2 + λ1 λ2 (2−DC1−DC2) T1/2} + β (λ1+λ2)/2, per hour; for
        equal elements (1−β)² {λ²·2·DC·T2/2 + λ² (1−DC) T1} + β λ.
    """
    (rate_1, dc_1), (rate_2, dc_2) = element_1, element_2
    for rate, dc in (element_1, element_2):
        check_rate("dangerous failure rate", rate)
        check_fraction("DC", dc)
    check_fraction("beta", beta)
    check_positive("T1", t1_h)
    check_positive("T2", t2_h)
    covered = (dc_1 + dc_2) * t2_h / 2
    uncovered = (2 - dc_1 - dc_2) * t1_h / 2
    independent = (1 - beta) ** 2 * rate_1 * rate_2 * (covered + uncovered)
    return independent + beta * (rate_1 + rate_2) / 2
