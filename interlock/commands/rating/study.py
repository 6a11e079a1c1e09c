"""Claimed safety functions: their arithmetic, and what inserted faults say against them.

No level is awarded. The figures are worked out from what is claimed for the parts; the fault
exploration of a model can contradict a claimed category and never establish one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from interlock.base.errors import InputError, Mistake, nearest
from interlock.commands.faults.study import FaultStudy, Options, study_faults
from interlock.commands.rating.file import Part, Rating, SafetyFunction, Subsystem
from interlock.kernel.query import Engine, Limits, ProgressSink
from interlock.model.model import Model
from interlock.reliability import channel as iso
from interlock.reliability.category import (
    Contradiction,
    Evidence,
    conflicting_figures,
    contradictions,
)
from interlock.reliability.figures import HOURS_PER_YEAR
from interlock.reliability.performance_level import (
    Category,
    Coverage,
    PerformanceLevel,
    coverage_band,
    pfhd_band,
    required_level,
)
from interlock.reliability.pfhd import RowNotCarriedError, TabledFigure, tabled_pfhd
from interlock.reliability.subsystems import (
    subsystem_a,
    subsystem_b,
    subsystem_c,
    subsystem_d,
)


@dataclass(frozen=True)
class Worked:
    """What the arithmetic of ISO 13849-1 makes of a function's parts.

    Attributes
    ----------
    part_years : tuple of tuple of float
        MTTFd of each part, by channel.
    mttfd_years : float
        Of each channel, capped and, with two, symmetrised.
    pfhd : TabledFigure or None
        None where no carried row serves; `why_not` says so then.
    band : PerformanceLevel or None
        The band that the figure falls into. It awards nothing.
    iec62061_per_h : float or None
        Dangerous failure rate of the subsystem by IEC 62061, where it was asked for.
    """

    part_years: tuple[tuple[float, ...], ...]
    mttfd_years: float
    dc_avg: float
    coverage: Coverage
    pfhd: TabledFigure | None
    why_not: str
    band: PerformanceLevel | None
    iec62061_per_h: float | None


@dataclass(frozen=True)
class Rated:
    """A safety function, worked out and held against the model.

    Attributes
    ----------
    required : PerformanceLevel or None
        By the risk graph.
    conflicts : tuple of Contradiction
        Within the claim itself.
    contradicted : tuple of Contradiction
        By the faults inserted into the model.
    undecided : tuple of str
        Requirements for which a limit left the exploration open.
    judged : bool
        Whether a model and requirements were there to judge by.
    """

    function: SafetyFunction
    required: PerformanceLevel | None
    worked: Worked
    conflicts: tuple[Contradiction, ...]
    contradicted: tuple[Contradiction, ...]
    undecided: tuple[str, ...]
    judged: bool

    @property
    def level_too_low(self) -> bool:
        """The claimed level is below the one that the risk graph asks for."""
        claimed = self.function.level
        return self.required is not None and claimed is not None and claimed < self.required

    @property
    def figure_too_high(self) -> bool:
        """The figure's band is below the claimed level."""
        claimed, band = self.function.level, self.worked.band
        return claimed is not None and band is not None and band < claimed


def rate(
    rating: Rating,
    model: Model | None,
    engine: Engine | None = None,
    limits: Limits = Limits(),
    progress: ProgressSink | None = None,
    known: FaultStudy | None = None,
) -> tuple[Rated, ...]:
    """Work out every function, and hold its category against the model's faults.

    Parameters
    ----------
    rating : Rating
    model : Model or None
        Without one, or without an engine, only the arithmetic is done.
    engine : Engine, optional
        For runs of the fault study.
    limits : Limits
    progress : callable, optional
    known : FaultStudy, optional
        A study of the model's faults that was made already; a new one is made where it looked at
        too few faults.

    Raises
    ------
    InputError
        Where a function names a requirement or a hazard that the model has not.
    """
    if model is not None:
        check_names(rating, model)
    wanted = tuple(dict.fromkeys(r for f in rating.functions.values() for r in f.requirements))
    order = 2 if any(f.category is Category.FOUR for f in rating.functions.values()) else 1
    study = None
    if model is not None and known is not None and _reaches(known, order, wanted):
        study = known
    elif model is not None and engine is not None and wanted:
        options = Options(order=order, only=wanted, sensors=False, n_runs=0, limits=limits)
        study = study_faults(model, engine, options, progress)
    return tuple(_rated(rating, f, model, study) for f in rating.functions.values())


def _reaches(study: FaultStudy, order: int, requirements: Sequence[str]) -> bool:
    """Whether a study looked at so many faults, for all of some requirements."""
    deep_enough = study.options.order is None or study.options.order >= order
    return deep_enough and all(id_ in study.sets for id_ in requirements)


def check_names(rating: Rating, model: Model) -> None:
    """See to it that the requirements and hazards of a rating are those of a model.

    Raises
    ------
    InputError
        Where a function names a requirement or a hazard that the model has not.
    """
    mistakes = []
    for id_, function in rating.functions.items():
        path = ("functions", id_)
        for number, name in enumerate(function.requirements):
            if name not in model.statements:
                place = rating.document.place((*path, "requirements", number))
                said = (
                    f"'{name}' is not a requirement of the model{nearest(name, model.statements)}"
                )
                mistakes.append(Mistake(place, said))
        if function.hazard is not None and function.hazard not in model.hazards:
            place = rating.document.place((*path, "hazard"))
            said = f"'{function.hazard}' is not a hazard of the model"
            mistakes.append(Mistake(place, said + nearest(function.hazard, model.hazards)))
    if mistakes:
        raise InputError(mistakes)


def _rated(
    rating: Rating, function: SafetyFunction, model: Model | None, study: FaultStudy | None
) -> Rated:
    worked = _work(function, rating.edition)
    claim = function.claim(worked.dc_avg, worked.mttfd_years)
    contradicted: list[Contradiction] = []
    undecided: list[str] = []
    judged = study is not None and bool(function.requirements)
    if study is not None:
        undecided = [r for r in function.requirements if study.sets[r].limit is not None]
        contradicted = contradictions(claim, evidence_of(study, function.requirements))
    return Rated(
        function=function,
        required=_required(function, model),
        worked=worked,
        conflicts=tuple(conflicting_figures(claim)),
        contradicted=tuple(contradicted),
        undecided=tuple(undecided),
        judged=judged,
    )


def evidence_of(study: FaultStudy, requirements: Sequence[str]) -> Evidence:
    """What the fault study says of a function that is lost with any of `requirements`."""
    losing = {frozenset(one) for id_ in requirements for one in study.sets[id_].sets}
    undetected = set(study.silent)
    undetected |= {
        fault
        for (fault, id_), harm in study.harms.items()
        if id_ in requirements and harm.value == "dangerous"
    }
    return Evidence(tuple(losing), frozenset(undetected))


def _required(function: SafetyFunction, model: Model | None) -> PerformanceLevel | None:
    if function.risk is not None:
        return required_level(*function.risk)
    if function.hazard is None or model is None:
        return None
    hazard = model.hazards[function.hazard]
    words = (hazard.severity, hazard.exposure, hazard.avoidance)
    if None in words:
        return None
    s, f, p = (int((word or "1")[1:]) for word in words)
    return required_level(s, f, p)


def years_of(part: Part) -> float:
    """MTTFd of one part in years."""
    if part.mttfd_years is not None:
        return part.mttfd_years
    assert part.b10d_cycles is not None
    assert part.n_per_year is not None
    return iso.mttfd_years(part.b10d_cycles, part.n_per_year)


def _work(function: SafetyFunction, edition: int) -> Worked:
    part_years = tuple(tuple(years_of(part) for part in parts) for parts in function.channels)
    by_channel = [
        iso.mttfd_of_parts([(p.count, y) for p, y in zip(parts, years, strict=True)])
        for parts, years in zip(function.channels, part_years, strict=True)
    ]
    category = function.category
    if len(by_channel) == 2:
        mttfd = iso.symmetrised_mttfd(by_channel[0], by_channel[1], category, edition)
    else:
        mttfd = iso.capped_mttfd(by_channel[0], category, edition)
    covered = [
        (part.dc, years)
        for parts, ys in zip(function.channels, part_years, strict=True)
        for part, years in zip(parts, ys, strict=True)
        for _ in range(part.count)
    ]
    # Nine digits: the mean of equal coverages must not fall out of their band by rounding.
    dc_avg = round(iso.dc_average(covered), 9)
    pfhd, why_not = _pfhd(category, dc_avg, mttfd)
    return Worked(
        part_years=part_years,
        mttfd_years=mttfd,
        dc_avg=dc_avg,
        coverage=coverage_band(dc_avg),
        pfhd=pfhd,
        why_not=why_not,
        band=None if pfhd is None else pfhd_band(pfhd.pfhd_per_h),
        iec62061_per_h=_iec62061(function.subsystem, function.channels, part_years),
    )


def _pfhd(category: Category, dc_avg: float, years: float) -> tuple[TabledFigure | None, str]:
    try:
        return tabled_pfhd(category, dc_avg, years), ""
    except (RowNotCarriedError, ValueError) as reason:
        return None, str(reason)


def _iec62061(
    subsystem: Subsystem | None,
    channels: Sequence[Sequence[Part]],
    part_years: Sequence[Sequence[float]],
) -> float | None:
    """Dangerous failure rate per hour; an element's parts fail in series."""
    if subsystem is None:
        return None
    elements = [_element(parts, years) for parts, years in zip(channels, part_years, strict=True)]
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


def _element(parts: Sequence[Part], years: Sequence[float]) -> tuple[float, float]:
    rates = [p.count / (y * HOURS_PER_YEAR) for p, y in zip(parts, years, strict=True)]
    total = sum(rates)
    covered = sum(rate * part.dc for rate, part in zip(rates, parts, strict=True))
    return total, covered / total


def outcomes(rated: Sequence[Rated]) -> Mapping[str, bool]:
    """For each function whether anything speaks against its claim."""
    return {
        one.function.id: bool(
            one.conflicts or one.contradicted or one.level_too_low or one.figure_too_high
        )
        for one in rated
    }
