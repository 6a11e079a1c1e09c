"""What the arithmetic of the standards makes of a claimed safety function. It awards nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from interlock.commands.rating.file import Part, SafetyFunction, Subsystem, Voted
from interlock.reliability import channel as iso
from interlock.reliability.category import DeclaredTest
from interlock.reliability.figures import HOURS_PER_YEAR, exactly
from interlock.reliability.integrity_level import sil_band, sil_band_on_demand
from interlock.reliability.performance_level import (
    HIGHEST_LEVEL,
    Category,
    Coverage,
    PerformanceLevel,
    coverage_band,
    level_in_series,
    mttfd_band,
    pfhd_band,
    simplified_level,
)
from interlock.reliability.pfhd import TabledFigure, tabled_pfhd
from interlock.reliability.subsystems import (
    subsystem_a,
    subsystem_b,
    subsystem_c,
    subsystem_d,
)
from interlock.reliability.voting import VOTINGS


@dataclass(frozen=True)
class ChannelFigures:
    """MTTFd, coverage and PFHd of a function's channels, by ISO 13849-1.

    Attributes
    ----------
    part_years : tuple of tuple of Fraction
        MTTFd of each part, by channel.
    mttfd_years : Fraction
        Of each channel, capped and, with two, symmetrised.
    dc_avg : Fraction
    pfhd : TabledFigure or None
        None where Table K.1 has no row; `why_not` says so then.
    band : PerformanceLevel or None
        The band that the figure falls into.
    """

    part_years: tuple[tuple[Fraction, ...], ...]
    mttfd_years: Fraction
    dc_avg: Fraction
    coverage: Coverage
    pfhd: TabledFigure | None
    why_not: str
    band: PerformanceLevel | None


@dataclass(frozen=True)
class Estimate:
    """What the simplified procedure gives, or why it gives nothing."""

    level: PerformanceLevel | None
    why_not: str = ""


@dataclass(frozen=True)
class Combination:
    """Levels in series, and the level they reach.

    Attributes
    ----------
    own : PerformanceLevel or None
        What the function's own channels come to; None without channels.
    level : PerformanceLevel or None
        None where it reaches none. Where `why_not` says that the own level is not known, it is
        that of the others: the most that can be reached.
    """

    own: PerformanceLevel | None
    level: PerformanceLevel | None
    why_not: str = ""


@dataclass(frozen=True)
class Rate:
    """A rate of dangerous failures, or a probability, and the SIL whose band it falls into.

    Attributes
    ----------
    per_h : float
        Dangerous failures per hour.
    on_demand : float or None
        Average probability of failure on demand, where it was worked out.
    sil : int or None
        None where the figure is in no band.
    """

    per_h: float
    on_demand: float | None
    sil: int | None


@dataclass(frozen=True)
class Worked:
    """All that was worked out of a function; None where nothing was given to work with.

    Attributes
    ----------
    channels : ChannelFigures or None
    simplified : Estimate or None
    test : DeclaredTest or None
        Of category 2.
    series : Combination or None
    iec62061, iec61508 : Rate or None
    """

    channels: ChannelFigures | None
    simplified: Estimate | None
    test: DeclaredTest | None
    series: Combination | None
    iec62061: Rate | None
    iec61508: Rate | None


def work_out(function: SafetyFunction, edition: int) -> Worked:
    """Do the arithmetic that a function's claims allow.

    Parameters
    ----------
    function : SafetyFunction
    edition : int
        Of ISO 13849-1.
    """
    channels = _channels(function, edition) if function.channels else None
    simplified = _simplified(function, channels)
    return Worked(
        channels=channels,
        simplified=simplified,
        test=_test(function),
        series=_series(function, channels, simplified),
        iec62061=_iec62061(function, channels),
        iec61508=None if function.voted is None else _iec61508(function.voted),
    )


def years_of(part: Part) -> Fraction:
    """MTTFd of one part in years."""
    if part.mttfd_years is not None:
        return exactly(part.mttfd_years)
    assert part.b10d_cycles is not None
    assert part.n_per_year is not None
    return iso.mttfd_years(part.b10d_cycles, part.n_per_year)


def replaced_after(part: Part) -> Fraction | None:
    """T10d in years of a part that wears; None where it outlasts the mission time."""
    if part.b10d_cycles is None or part.n_per_year is None:
        return None
    years = iso.t10d_years(part.b10d_cycles, part.n_per_year)
    return years if years < iso.MISSION_YEARS else None


def _channels(function: SafetyFunction, edition: int) -> ChannelFigures:
    category = function.category
    assert category is not None
    part_years = tuple(tuple(years_of(part) for part in parts) for parts in function.channels)
    by_channel = [
        iso.mttfd_of_parts([(p.count, y) for p, y in zip(parts, years, strict=True)])
        for parts, years in zip(function.channels, part_years, strict=True)
    ]
    if len(by_channel) == 2:
        mttfd = iso.symmetrised_mttfd(by_channel[0], by_channel[1], category, edition)
    else:
        mttfd = iso.capped_mttfd(by_channel[0], category, edition)
    # So many like parts weigh as one that fails so many times as often.
    dc_avg = iso.dc_average(
        (part.dc, years / part.count)
        for parts, all_years in zip(function.channels, part_years, strict=True)
        for part, years in zip(parts, all_years, strict=True)
    )
    pfhd, why_not = _pfhd(category, dc_avg, mttfd, edition)
    return ChannelFigures(
        part_years=part_years,
        mttfd_years=mttfd,
        dc_avg=dc_avg,
        coverage=coverage_band(dc_avg),
        pfhd=pfhd,
        why_not=why_not,
        band=None if pfhd is None else pfhd_band(pfhd.pfhd_per_h),
    )


def _pfhd(
    category: Category, dc_avg: Fraction, years: Fraction, edition: int
) -> tuple[TabledFigure | None, str]:
    try:
        return tabled_pfhd(category, dc_avg, years, edition), ""
    except ValueError as reason:
        return None, str(reason)


def _simplified(function: SafetyFunction, channels: ChannelFigures | None) -> Estimate | None:
    if function.category is None:
        return None
    try:
        if channels is not None:
            coverage, mttfd = channels.coverage, mttfd_band(channels.mttfd_years)
        elif function.bands is not None:
            coverage, mttfd = function.bands.coverage, function.bands.mttfd
        else:
            return None
        return Estimate(simplified_level(function.category, coverage, mttfd))
    except ValueError as reason:
        return Estimate(None, str(reason))


def _test(function: SafetyFunction) -> DeclaredTest | None:
    test = function.test
    if test is None:
        return None
    years = iso.mttfd_of_parts([(part.count, years_of(part)) for part in test.parts])
    return DeclaredTest(test.tests_per_year / test.demands_per_year, years)


def _series(
    function: SafetyFunction, channels: ChannelFigures | None, simplified: Estimate | None
) -> Combination | None:
    """The own level is the band of the own figure, but not above what the category reaches."""
    if not function.series:
        return None
    levels = [one.level for one in function.series for _ in range(one.count)]
    own = None
    if channels is not None:
        own = channels.band
    elif simplified is not None:
        own = simplified.level
    if function.category is not None and own is not None:
        own = min(own, HIGHEST_LEVEL.get(function.category, own))
        levels.append(own)
    elif channels is not None or simplified is not None:
        why_not = "the function's own channels have no level"
        return Combination(None, level_in_series(levels), why_not)
    return Combination(own, level_in_series(levels))


def _iec62061(function: SafetyFunction, channels: ChannelFigures | None) -> Rate | None:
    if function.subsystem is None or channels is None:
        return None
    elements = [
        _element(parts, years)
        for parts, years in zip(function.channels, channels.part_years, strict=True)
    ]
    per_h = _subsystem_rate(function.subsystem, elements)
    return Rate(per_h, None, sil_band(per_h))


def _subsystem_rate(subsystem: Subsystem, elements: Sequence[tuple[float, float]]) -> float:
    """Dangerous failure rate per hour; an element's parts fail in series."""
    match subsystem.architecture:
        case "A":
            return subsystem_a(rate for rate, _ in elements)
        case "B":
            (first, _), (second, _) = elements
            return subsystem_b(first, second, subsystem.beta, subsystem.proof_test_h)
        case "C":
            return subsystem_c(elements)
        case _:
            return subsystem_d(
                elements[0],
                elements[1],
                subsystem.beta,
                subsystem.proof_test_h,
                subsystem.diagnosis_h,
            )


def _element(parts: Sequence[Part], years: Sequence[Fraction]) -> tuple[float, float]:
    """Dangerous failure rate per hour, and the part of it that is diagnosed."""
    rates = [p.count / (y * HOURS_PER_YEAR) for p, y in zip(parts, years, strict=True)]
    total = sum(rates, Fraction(0))
    covered = sum((r * exactly(p.dc) for r, p in zip(rates, parts, strict=True)), Fraction(0))
    return float(total), float(covered / total)


def _iec61508(voted: Voted) -> Rate:
    pfd, pfh = (formula(voted.channel) for formula in VOTINGS[voted.voting])
    sil = sil_band(pfh) if voted.demand == "high" else sil_band_on_demand(pfd)
    return Rate(pfh, pfd, sil)
