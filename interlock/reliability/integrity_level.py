"""IEC 62061: the safety integrity level that a risk asks for, and the bands of figures.

A band is the result of a comparison. It is not an integrity level awarded to a design: that also
asks for architectural constraints, systematic capability, software and validation.
"""

from __future__ import annotations

from collections.abc import Sequence

from interlock.reliability.figures import check_rate

# By severity: the class Cl from which on a level is asked for, and the level.
_ASSIGNMENT: dict[int, tuple[tuple[int, int], ...]] = {
    4: ((11, 3), (3, 2)),
    3: ((14, 3), (11, 2), (8, 1)),
    2: ((14, 2), (11, 1)),
    1: ((14, 1),),
}

# What each parameter of the assignment can be.
SIL_RISK: dict[str, tuple[int, ...]] = {
    "Se": (1, 2, 3, 4),
    "Fr": (1, 2, 3, 4, 5),
    "Pr": (1, 2, 3, 4, 5),
    "Av": (1, 3, 5),
}


def required_sil(severity: int, frequency: int, probability: int, avoidance: int) -> int | None:
    """The integrity level that a risk asks for, by severity and the class Cl = Fr + Pr + Av.

    Parameters
    ----------
    severity : int
        Se, 1..4.
    frequency, probability : int
        Fr and Pr, 1..5 each.
    avoidance : int
        Av, 1, 3 or 5.

    Returns
    -------
    int or None
        1..3; None where the matrix asks for no level. It may still recommend other measures.

    Raises
    ------
    ValueError
        If a parameter is not in the assignment.

    Source
    ------
    IEC 62061, Annex A (from memory).

    Examples
    --------
    >>> required_sil(3, 5, 4, 3), required_sil(1, 2, 1, 1)
    (2, None)
    """
    given = zip(SIL_RISK.items(), (severity, frequency, probability, avoidance), strict=True)
    for (name, known), value in given:
        if value not in known:
            raise ValueError(f"{name}{value} is not in the assignment of SIL")
    risk_class = frequency + probability + avoidance
    rows = _ASSIGNMENT[severity]
    return next((level for least, level in rows if risk_class >= least), None)


def sil_band(pfh_per_h: float) -> int | None:
    """The integrity level whose band a dangerous failure rate per hour falls into.

    Below 1e-8 it stays in that of SIL 3, the highest of IEC 62061; from 1e-5 on there is none.

    Source
    ------
    IEC 62061, target failure measures: SIL 3 below 1e-7, SIL 2 below 1e-6, SIL 1 below 1e-5.
    """
    return _band(pfh_per_h, (1e-5, 1e-6, 1e-7))


def sil_band_on_demand(pfd: float) -> int | None:
    """The integrity level whose band an average probability of failure on demand falls into.

    Below 1e-4 it stays in that of SIL 3; from 1e-1 on there is none.

    Source
    ------
    IEC 61508-1, target failure measures, low demand: SIL 3 below 1e-3, SIL 2 below 1e-2, SIL 1
    below 1e-1.
    """
    return _band(pfd, (1e-1, 1e-2, 1e-3))


def _band(figure: float, limits: Sequence[float]) -> int | None:
    check_rate("failure measure", figure)
    reached = [level for level, limit in enumerate(limits, 1) if figure < limit]
    return max(reached, default=None)
