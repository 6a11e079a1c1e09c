"""What exhaustive fault insertion says against a claimed category of ISO 13849-1.

Logic can contradict a category; it can never establish one. A list without contradictions means
only that none was found among the faults that were judged.
"""

from __future__ import annotations

from dataclasses import dataclass

from interlock.reliability.channel import CCF_POINTS_NEEDED
from interlock.reliability.performance_level import (
    Category,
    Coverage,
    MttfdBand,
    PerformanceLevel,
    coverage_band,
    mttfd_band,
)


@dataclass(frozen=True)
class Claim:
    """What is claimed for a safety function; figures that are not claimed are None.

    Attributes
    ----------
    category : Category
    level : PerformanceLevel or None
    dc_avg : float or None
        Fraction, 0..1.
    mttfd_years : float or None
    ccf_points : float or None
        Of 100.
    """

    category: Category
    level: PerformanceLevel | None = None
    dc_avg: float | None = None
    mttfd_years: float | None = None
    ccf_points: float | None = None


@dataclass(frozen=True)
class Evidence:
    """Which faults lose the function, as found by inserting them.

    A common-cause event counts as one fault; give it a name of its own.

    Attributes
    ----------
    losing : tuple of frozenset of str
        Sets of faults with which the function is lost: none, one or several faults each. A set
        that contains another one says nothing more and is passed over.
    undetected : frozenset of str
        Single faults that are known not to be detected at or before the next demand (for
        category 2: by the next check). A fault that is not named counts as detected or not
        judged, and gives no contradiction.
    """

    losing: tuple[frozenset[str], ...]
    undetected: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Contradiction:
    """One statement of the claimed category that does not hold.

    Attributes
    ----------
    statement : str
        What the category promises.
    found : str
        What speaks against it.
    faults : tuple of str
        In alphabetical order; empty where figures contradict each other.
    """

    statement: str
    found: str
    faults: tuple[str, ...] = ()

    def __str__(self) -> str:
        return f"{self.statement}: {self.found}"


_NO_FAULT = "the function is performed while nothing is faulty"
_CHECKED = "category 2: the loss of the function is detected by the check"
_SINGLE = "a single fault does not lead to the loss of the function"
_ACCUMULATED = "category 4: an accumulation of undetected faults does not lead to the loss"


def contradictions(claim: Claim, evidence: Evidence) -> list[Contradiction]:
    """The statements of the claimed category that the evidence contradicts.

    Categories B and 1 allow a fault to lose the function: only its loss without any fault speaks
    against them. Category 2 allows it too, if the check then reveals it. Categories 3 and 4
    allow no single fault to lose it; category 4 moreover no accumulation of faults that starts
    with an undetected one.

    Returns
    -------
    list of Contradiction
        Ordered by the number of faults, then by their names.

    Source
    ------
    ISO 13849-1, 6.2.3 to 6.2.7 (from memory).
    """
    losses = set(evidence.losing)
    minimal = [one for one in losses if not any(other < one for other in losses)]
    found = []
    for losing in sorted(minimal, key=lambda s: (len(s), sorted(s))):
        statement = _contradicted(claim.category, losing, evidence.undetected)
        if statement:
            faults = tuple(sorted(losing))
            found.append(Contradiction(statement, _loss(faults, evidence.undetected), faults))
    return found


def _contradicted(
    category: Category, losing: frozenset[str], undetected: frozenset[str]
) -> str | None:
    if not losing:
        return _NO_FAULT
    if len(losing) == 1:
        if category in (Category.THREE, Category.FOUR):
            return f"category {category.value}: {_SINGLE}"
        return _CHECKED if category is Category.TWO and losing <= undetected else None
    # All but the last fault must have stayed undetected for them to accumulate.
    piles_up = len(losing - undetected) <= 1
    return _ACCUMULATED if category is Category.FOUR and piles_up else None


def _loss(faults: tuple[str, ...], undetected: frozenset[str]) -> str:
    if not faults:
        return "it is lost without any fault"
    latent = [name for name in faults if name in undetected]
    return f"{' with '.join(faults)} loses it" + (
        f" ({', '.join(latent)} undetected)" if latent else ""
    )


_HIGHEST = {
    Category.B: PerformanceLevel.B,
    Category.ONE: PerformanceLevel.C,
    Category.TWO: PerformanceLevel.D,
}
_LEAST_COVERAGE = {
    Category.TWO: Coverage.LOW,
    Category.THREE: Coverage.LOW,
    Category.FOUR: Coverage.HIGH,
}


def conflicting_figures(claim: Claim) -> list[Contradiction]:
    """Where the figures of a claim do not go with its own category.

    Source
    ------
    ISO 13849-1, 6.2.3 to 6.2.7 and Annex F (from memory).
    """
    category = claim.category
    name = f"category {category.value}"
    found = []
    highest = _HIGHEST.get(category)
    if claim.level is not None and highest is not None and claim.level > highest:
        found.append(
            Contradiction(
                f"{name} reaches at most level {highest.letter}",
                f"level {claim.level.letter} is claimed",
            )
        )
    least = _LEAST_COVERAGE.get(category)
    if claim.dc_avg is not None and least is not None and coverage_band(claim.dc_avg) < least:
        found.append(
            Contradiction(
                f"{name} needs a DCavg that is at least {least.name.lower()}",
                f"{claim.dc_avg:.1%} is claimed",
            )
        )
    if claim.mttfd_years is not None:
        found.extend(_mttfd_conflicts(category, claim.mttfd_years))
    redundant = category in (Category.TWO, Category.THREE, Category.FOUR)
    if redundant and claim.ccf_points is not None and claim.ccf_points < CCF_POINTS_NEEDED:
        found.append(
            Contradiction(
                f"{name} needs {CCF_POINTS_NEEDED} points against common-cause failure",
                f"{claim.ccf_points:g} are claimed",
            )
        )
    return found


def _mttfd_conflicts(category: Category, years: float) -> list[Contradiction]:
    if years < 3:
        return [Contradiction("a channel needs an MTTFd of 3 y or more", f"{years:g} y is claimed")]
    needs_high = category in (Category.ONE, Category.FOUR)
    if needs_high and mttfd_band(years) is not MttfdBand.HIGH:
        return [
            Contradiction(
                f"category {category.value} needs an MTTFd of 30 y or more",
                f"{years:g} y is claimed",
            )
        ]
    return []
