"""Claimed safety functions: their arithmetic, and what inserted faults say against them.

No level is awarded. The figures are worked out from what is claimed for the parts; the fault
exploration of a model can contradict a claimed category and never establish one.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from interlock.base.errors import InputError, Mistake, nearest
from interlock.commands.faults.study import FaultStudy, Options, study_faults
from interlock.commands.rating.figures import Rate, Worked, work_out
from interlock.commands.rating.file import Rating, SafetyFunction
from interlock.kernel.query import Engine, Limits, ProgressSink
from interlock.model.model import Model
from interlock.reliability.category import (
    Contradiction,
    Evidence,
    conflicting_figures,
    contradictions,
)
from interlock.reliability.integrity_level import required_sil
from interlock.reliability.performance_level import Category, PerformanceLevel, required_level


@dataclass(frozen=True)
class Rated:
    """A safety function, worked out and held against the model.

    Attributes
    ----------
    required : PerformanceLevel or None
        By the risk graph of ISO 13849-1.
    required_sil : int or None
        By the SIL assignment of IEC 62061; None also where that asks for no level.
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
    required_sil: int | None
    worked: Worked
    conflicts: tuple[Contradiction, ...]
    contradicted: tuple[Contradiction, ...]
    undecided: tuple[str, ...]
    judged: bool

    @property
    def shortfalls(self) -> tuple[str, ...]:
        """Where the claimed levels are below what is required, or above what was worked out."""
        return (*self._of_the_level(), *self._of_the_sil())

    def _of_the_level(self) -> Iterator[str]:
        claimed, worked = self.function.level, self.worked
        channels, simplified, series = worked.channels, worked.simplified, worked.series
        if channels is not None:
            # Beside a figure, which is finer, the simplified procedure is only told.
            simplified = None
        if simplified is not None and simplified.level is None:
            yield simplified.why_not
        if claimed is None:
            return
        if self.required is not None and claimed < self.required:
            yield f"the claimed level is below the required one, {self.required.letter}"
        if channels is not None and channels.band is not None and channels.band < claimed:
            yield f"the figure reaches only the band of {channels.band.letter}"
        if simplified is not None and simplified.level is not None and simplified.level < claimed:
            yield f"the simplified procedure reaches only {simplified.level.letter}"
        if series is not None:
            if series.level is None:
                yield "in series it reaches no level"
            elif series.level < claimed:
                yield f"in series it reaches only {series.level.letter}"

    def _of_the_sil(self) -> Iterator[str]:
        claimed = self.function.sil
        if claimed is None:
            return
        if self.required_sil is not None and claimed < self.required_sil:
            yield f"the claimed SIL is below the required one, SIL {self.required_sil}"
        figures: tuple[tuple[str, Rate | None], ...] = (
            ("IEC 62061", self.worked.iec62061),
            ("IEC 61508-6", self.worked.iec61508),
        )
        for name, figure in figures:
            if figure is not None and (figure.sil or 0) < claimed:
                reached = "no band" if figure.sil is None else f"only the band of SIL {figure.sil}"
                yield f"the figure by {name} reaches {reached}"


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
    worked = work_out(function, rating.edition)
    channels = worked.channels
    claim = function.claim(
        None if channels is None else channels.dc_avg,
        None if channels is None else channels.mttfd_years,
        worked.test,
    )
    contradicted: list[Contradiction] = []
    undecided: list[str] = []
    judged = study is not None and bool(function.requirements)
    if study is not None:
        undecided = [r for r in function.requirements if study.sets[r].limit is not None]
        contradicted = contradictions(claim, evidence_of(study, function.requirements))
    return Rated(
        function=function,
        required=_required(function, model),
        required_sil=None if function.sil_risk is None else required_sil(*function.sil_risk),
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


def outcomes(rated: Sequence[Rated]) -> Mapping[str, bool]:
    """For each function whether anything speaks against its claim."""
    return {
        one.function.id: bool(one.conflicts or one.contradicted or one.shortfalls) for one in rated
    }
