"""What exhaustive fault insertion says against a claimed category of ISO 13849-1.

Logic can contradict a category; it can never establish one. A list without contradictions means
only that none was found among the faults that were judged.
"""

from __future__ import annotations

from dataclasses import dataclass

from interlock.reliability.channel import CCF_POINTS_NEEDED
from interlock.reliability.figures import Number, exactly, kept_apart, percent
from interlock.reliability.performance_level import (
    COVERAGE_PERCENT,
    HIGHEST_LEVEL,
    LEAST_COVERAGE,
    MTTFD_YEARS,
    Category,
    MttfdBand,
    PerformanceLevel,
    coverage_band,
    mttfd_band,
)

TESTS_PER_DEMAND_NEEDED = 100


@dataclass(frozen=True)
class DeclaredTest:
    """The test equipment of a category 2, as it is declared.

    Attributes
    ----------
    tests_per_demand : float or Fraction
        Test rate over demand rate.
    mttfd_years : float or Fraction
        Of the channel that tests.
    """

    tests_per_demand: Number
    mttfd_years: Number


@dataclass(frozen=True)
class Claim:
    """What is claimed for a safety function; what is not claimed is None.

    Attributes
    ----------
    category : Category or None
    level : PerformanceLevel or None
    dc_avg : float or Fraction or None
        0..1.
    mttfd_years : float or Fraction or None
    ccf_points : float or None
        Of 100.
    test : DeclaredTest or None
        Category 2 needs it.
    """

    category: Category | None
    level: PerformanceLevel | None = None
    dc_avg: Number | None = None
    mttfd_years: Number | None = None
    ccf_points: float | None = None
    test: DeclaredTest | None = None


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
    with an undetected one. Where no category is claimed, only a loss without any fault counts.

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
    category: Category | None, losing: frozenset[str], undetected: frozenset[str]
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


def conflicting_figures(claim: Claim) -> list[Contradiction]:
    """Where the figures of a claim do not go with its own category.

    Source
    ------
    ISO 13849-1, 6.2.3 to 6.2.7, 4.5.4 and Annex F (from memory).
    """
    category = claim.category
    if category is None:
        return []
    name = f"category {category.value}"
    found = []
    highest = HIGHEST_LEVEL.get(category)
    if claim.level is not None and highest is not None and claim.level > highest:
        found.append(
            Contradiction(
                f"{name} reaches at most level {highest.letter}",
                f"level {claim.level.letter} is claimed",
            )
        )
    least = LEAST_COVERAGE.get(category)
    if claim.dc_avg is not None and least is not None and coverage_band(claim.dc_avg) < least:
        shown = percent(claim.dc_avg, COVERAGE_PERCENT.values(), decimals=1)
        found.append(
            Contradiction(
                f"{name} needs a DCavg that is at least {least.name.lower()}",
                f"{shown} is claimed",
            )
        )
    if claim.mttfd_years is not None:
        found.extend(_mttfd_conflicts(category, claim.mttfd_years))
    if category is Category.TWO:
        found.extend(_test_conflicts(claim))
    redundant = category in (Category.TWO, Category.THREE, Category.FOUR)
    if redundant and claim.ccf_points is not None and claim.ccf_points < CCF_POINTS_NEEDED:
        found.append(
            Contradiction(
                f"{name} needs {CCF_POINTS_NEEDED} points against common-cause failure",
                f"{claim.ccf_points:g} are claimed",
            )
        )
    return found


def _mttfd_conflicts(category: Category, years: Number) -> list[Contradiction]:
    needs_high = category in (Category.ONE, Category.FOUR)
    shown = kept_apart(years, MTTFD_YEARS.values())
    if years < MTTFD_YEARS[MttfdBand.LOW]:
        return [Contradiction("a channel needs an MTTFd of 3 y or more", f"{shown} y is claimed")]
    if needs_high and mttfd_band(years) is not MttfdBand.HIGH:
        return [
            Contradiction(
                f"category {category.value} needs an MTTFd of 30 y or more",
                f"{shown} y is claimed",
            )
        ]
    return []


def _test_conflicts(claim: Claim) -> list[Contradiction]:
    """Category 2: the rate of the test, and the MTTFd of what tests.

    The channel's MTTFd is the capped one: it is what the figure is read with.
    """
    test = claim.test
    if test is None:
        return [Contradiction("category 2 needs test equipment", "none is declared")]
    found = []
    needed = TESTS_PER_DEMAND_NEEDED
    if exactly(test.tests_per_demand) < needed:
        shown = kept_apart(test.tests_per_demand, [needed])
        found.append(
            Contradiction(
                f"category 2 needs at least {needed} tests for each demand",
                f"{shown} are declared",
            )
        )
    if claim.mttfd_years is not None:
        half = exactly(claim.mttfd_years) / 2
        if exactly(test.mttfd_years) < half:
            shown = kept_apart(test.mttfd_years, [float(half)])
            found.append(
                Contradiction(
                    "category 2 needs test equipment with at least half the MTTFd of its channel",
                    f"{shown} y are declared, half is {kept_apart(half, [])} y",
                )
            )
    return found
