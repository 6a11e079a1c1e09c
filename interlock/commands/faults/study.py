"""Fault insertion as a whole: sets, runs, effects, what a sensor is worth, how likely it is."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import product

from interlock.commands.faults.runs import HarmRun, RunFinder
from interlock.commands.faults.singles import Explained, Helpers, Singles, study_singles
from interlock.commands.faults.tolerance import (
    Change,
    by_change,
    losses_by_change,
    pairs_of,
    with_sensor_faults,
)
from interlock.commands.faults.worth import Worth
from interlock.engines import projector
from interlock.judgement.beside import Beside, seen_beside
from interlock.judgement.detection import Harm, Telling
from interlock.judgement.effects import FaultEffects
from interlock.judgement.fault_sets import Asked, FaultSet, RequirementSets, sets_of_all
from interlock.judgement.single_fault import Showing
from interlock.kernel.evaluate import python_function
from interlock.kernel.expr import variables_of
from interlock.kernel.projected import Projected
from interlock.kernel.query import Engine, Limits, Progress, ProgressSink, labelled
from interlock.kernel.requirement import Outcome, Requirement
from interlock.kernel.system import MoveKind
from interlock.model.build import Built, RunClass, build
from interlock.model.fault import Fault
from interlock.model.model import Model

MOST_STATES = 100_000
"""With more of them no run with a fault is followed beside one without."""


@dataclass(frozen=True)
class Options:
    """What to look at and how far.

    Attributes
    ----------
    order : int or None
        The most faults in one run; None for any number.
    only : tuple of str
        Requirements to look at; all where empty.
    common_cause : bool
        Whether common causes may strike at all.
    claim_common_cause : bool
        Whether a claim to survive faults is judged with common causes, too.
    human : bool
        Whether to look at human errors in addition, as a class of its own.
    sensors : bool
        Whether to ask what each sensor is worth.
    n_runs : int
        How many sets get a run for each requirement, those of the fewest faults first.
    limits : Limits
        For each exploration.
    n_processes : int
        How many to spread the faults over that strike alone.
    scheduler : str or None
        Address of a cluster's scheduler, in place of processes.
    """

    order: int | None = 1
    only: tuple[str, ...] = ()
    common_cause: bool = True
    claim_common_cause: bool = False
    human: bool = False
    sensors: bool = True
    n_runs: int = 3
    limits: Limits = Limits()
    n_processes: int = 1
    scheduler: str | None = None


@dataclass(frozen=True)
class FaultStudy:
    """Everything that inserting faults showed.

    Attributes
    ----------
    model : Model
        As given, without faults added for the question what a sensor is worth.
    options : Options
    requirements : mapping of str to Requirement
        Those looked at, in the order of the model.
    sets : mapping of str to RequirementSets
        Common causes included, where the options include them.
    human_sets : mapping of str to RequirementSets
        What human errors add: the sets with which the requirement is broken only because they
        may happen. Empty where it was not asked for.
    effects : tuple of FaultEffects
        Of every live fault; empty where a limit was hit.
    harms : mapping of (str, str) to Harm
        By fault and requirement, for faults that break it alone.
    runs : tuple of HarmRun
    showings : mapping of str to Showing
        By fault; one that never shows is absent.
    beside : mapping of str to Beside
        What is first seen of each fault that does nothing in the next scan.
    changes : tuple of Change
        What removing a sensor or merging a pair costs; only those that cost something.
    explorations : tuple of Explained
    seconds : float
    """

    model: Model
    options: Options
    requirements: Mapping[str, Requirement]
    sets: Mapping[str, RequirementSets]
    human_sets: Mapping[str, RequirementSets]
    effects: tuple[FaultEffects, ...]
    harms: Mapping[tuple[str, str], Harm]
    runs: tuple[HarmRun, ...]
    showings: Mapping[str, Showing]
    beside: Mapping[str, Beside]
    changes: tuple[Change, ...]
    explorations: tuple[Explained, ...]
    seconds: float = field(compare=False)

    @property
    def common_causes(self) -> frozenset[str]:
        """The faults that are common causes."""
        return frozenset(id_ for id_, fault in self.model.faults.items() if fault.common_cause)

    @property
    def judged_in_scans(self) -> tuple[str, ...]:
        """The requirements with a bound in time, of which only whole scans are judged here."""
        bounds = {id_: statement.within for id_, statement in self.model.statements.items()}
        return tuple(
            id_
            for id_ in self.requirements
            if (within := bounds.get(id_))
            and within.ms is not None
            # Where time is counted it is judged as it is.
            and within.counted is MoveKind.SCAN
        )

    def claimed(self, id_: str) -> Outcome:
        """Whether the requirement survives as many faults as it claims."""
        found = self.sets[id_]
        if not self.options.claim_common_cause:
            found = found.without(self.common_causes)
        return found.survives(self.requirements[id_].survives)

    @property
    def outcome(self) -> Outcome:
        """Violated if a claim is; else undecided if one is; else holds."""
        outcomes = {self.claimed(id_) for id_ in self.requirements}
        for outcome in (Outcome.VIOLATED, Outcome.UNDECIDED):
            if outcome in outcomes:
                return outcome
        return Outcome.HOLDS

    def harm(self, fault: str, requirement: str) -> Harm:
        """What a fault that strikes alone means for a requirement."""
        return self.harms.get((fault, requirement), Harm.HARMLESS)

    @property
    def silent(self) -> frozenset[str]:
        """The faults that never show by themselves."""
        return frozenset(
            found.fault.id for found in self.effects if found.telling is Telling.SILENT
        )

    def latent_first(self, faults: FaultSet) -> FaultSet:
        """A set as it is told: what may lie hidden for long comes first."""
        return tuple(sorted(faults, key=lambda id_: (id_ not in self.silent, faults.index(id_))))

    @property
    def ineffective(self) -> tuple[Fault, ...]:
        """The faults that break nothing alone, and of which no next scan or move shows anything.

        What they leave in the program's memory or in a carried machine may be seen later, as
        `beside` tells.
        """
        broken = {one for found in self.sets.values() for one in found.sets if len(one) == 1}
        quiet = (found.fault for found in self.effects if not found.is_effective)
        return tuple(fault for fault in quiet if (fault.id,) not in broken)


def study_faults(
    model: Model,
    engine: Engine,
    options: Options = Options(),
    progress: ProgressSink | None = None,
) -> FaultStudy:
    """Insert the faults of `model` and find everything that this breaks.

    Parameters
    ----------
    model : Model
    engine : Engine
        For runs; one that searches breadth first.
    options : Options
    progress : callable, optional

    Raises
    ------
    InternalError
        Where a run does not replay on the model.
    """
    return _Study(model, engine, options, progress).done()


class _Study:
    def __init__(
        self, model: Model, engine: Engine, options: Options, progress: ProgressSink | None
    ) -> None:
        self._started = time.monotonic()
        self._given = _live(model, options)
        self._engine = engine
        self._options = options
        self._progress = progress
        self._explorations: list[Explained] = []
        self._model = self._given
        if options.sensors:
            self._model = with_sensor_faults(
                self._given, _antivalent(self._given), single=options.order != 1
            )
        self._added = [id_ for id_ in self._model.faults if id_ not in self._given.faults]

    def done(self) -> FaultStudy:
        wanted = self._wanted(build(self._model))
        order, limits = self._options.order, self._options.limits
        helpers = Helpers(self._options.n_processes, self._options.scheduler)
        if order == 1:
            model, added = self._model, self._added
        else:
            model, added = self._given, []
        singles = study_singles(model, wanted, added, limits, helpers, self._stage)
        self._explorations += singles.explorations
        everything = singles.sets if order == 1 else self._sets(wanted, order, human=False)
        sets = {id_: found.without(self._added) for id_, found in everything.items()}
        changes: list[Change] = []
        if self._options.sensors:
            changes = losses_by_change(self._model, self._added, self._sets_with(everything))
        human_sets = self._human_sets(wanted, sets) if self._options.human else {}
        finder = RunFinder(self._given, self._engine, limits=limits)
        runs = self._runs(finder, [sets[id_] for id_ in wanted])
        if human_sets:
            finder = RunFinder(self._given, self._engine, True, limits)
            runs += self._runs(finder, [human_sets[id_] for id_ in wanted])
        return FaultStudy(
            model=self._given,
            options=self._options,
            requirements=wanted,
            sets=sets,
            human_sets=human_sets,
            effects=singles.effects,
            harms=singles.harms,
            runs=tuple(runs),
            showings=singles.showings,
            beside=self._beside(singles),
            changes=tuple(change for change in changes if change.losses),
            explorations=tuple(self._explorations),
            seconds=time.monotonic() - self._started,
        )

    def _beside(self, singles: Singles) -> dict[str, Beside]:
        asked = [one.fault.id for one in singles.effects if not one.is_effective]
        if any(one.n_states > MOST_STATES for one in singles.explorations):
            # Pairs of states are looked at one by one, and there would be too many.
            return dict.fromkeys(asked, Beside(undecided="there are too many states for that"))
        found = {}
        for id_ in asked:
            self._stage(f"what is seen of {id_} beside a run without it")
            found[id_] = seen_beside(self._given, id_, until=self._options.limits.until)
        return found

    def _wanted(self, built: Built) -> dict[str, Requirement]:
        only = self._options.only
        return {id_: r for id_, r in built.requirements.items() if not only or id_ in only}

    def _sets(
        self, wanted: Mapping[str, Requirement], order: int | None, human: bool
    ) -> dict[str, RequirementSets]:
        # Each fault that may strike besides doubles the states where any number of them may.
        model = self._given if human or order is None else self._model
        # No set with added faults of two sensors is ever asked for.
        apart = [
            tuple(sorted(faults.intersection(self._added))) for faults in by_change(model).values()
        ]
        run_class = RunClass(tuple(model.faults), order, human, tuple(filter(None, apart)))
        return self._together(build(model, run_class), wanted.values())

    def _sets_with(
        self, everything: Mapping[str, RequirementSets]
    ) -> Callable[[frozenset[str]], Mapping[str, RequirementSets]]:
        """Tells the sets of the given faults and more; those of common causes may be left out."""
        if self._options.order is not None:
            return lambda _: everything
        given = self._given.faults.keys()
        worth = Worth(
            self._model,
            everything,
            frozenset(self._added),
            lambda built, asked, ids, of: self._explored(built.run_class.says + of, asked, ids),
        )
        return lambda more: everything if more <= given else worth.sets_with(more)

    def _together(
        self, built: Built, requirements: Iterable[Requirement]
    ) -> dict[str, RequirementSets]:
        return sets_of_all(
            built,
            [built.requirements[requirement.id] for requirement in requirements],
            lambda asked, ids: self._explored(built.run_class.says, asked, ids),
        )

    def _human_sets(
        self, wanted: Mapping[str, Requirement], sets: Mapping[str, RequirementSets]
    ) -> dict[str, RequirementSets]:
        with_them = self._sets(wanted, self._options.order, human=True)
        return {id_: _more(found, sets[id_]) for id_, found in with_them.items()}

    def _stage(self, says: str, n_more: int = 0) -> None:
        if self._progress is not None:
            n_states = n_more + sum(one.n_states for one in self._explorations)
            seconds = time.monotonic() - self._started
            self._progress(Progress(says, n_states, 0, seconds))

    def _explored(self, says: str, asked: Asked, ids: Mapping[str, str]) -> Projected:
        explored = projector().project(
            asked.system, tuple(ids), self._options.limits, labelled(self._progress, says)
        )
        self._explorations.append(
            Explained(says, explored.n_states, len(ids), explored.seconds, explored.limit)
        )
        return explored

    def _runs(self, finder: RunFinder, found: Sequence[RequirementSets]) -> list[HarmRun]:
        """The runs by requirement, then by set; those with the same faults from one search."""
        wanted = [
            (one.requirement.id, s) for one in found for s in one.sets[: self._options.n_runs]
        ]
        by_set: dict[FaultSet, list[str]] = {}
        for id_, faults in wanted:
            by_set.setdefault(faults, []).append(id_)
        runs = finder.of_all(by_set, self._stage)
        return [runs[one] for one in wanted if one in runs]


def _live(model: Model, options: Options) -> Model:
    """`model` with only the faults that may strike in this study."""
    faults = {
        id_: fault
        for id_, fault in model.faults.items()
        if options.common_cause or not fault.common_cause
    }
    return replace(model, faults=faults)


def _more(found: RequirementSets, known: RequirementSets) -> RequirementSets:
    """The sets of `found` that contain none of `known`: human errors make the difference."""
    smaller = [frozenset(one) for one in known.sets]
    kept = tuple(one for one in found.sets if not any(s <= frozenset(one) for s in smaller))
    counts = tuple(
        sum(len(s) == n for s in kept) for n in range(max(map(len, kept), default=-1) + 1)
    )
    return replace(found, sets=kept, n_by_order=counts)


def _antivalent(model: Model) -> dict[tuple[str, str], bool]:
    """For each pair whether its channels always differ while they work."""
    built = build(model)
    found = {}
    for pair in pairs_of(model):
        a, b = (built.signals[name.casefold()] for name in pair)
        names = variables_of([a, b])
        index = {name: number for number, name in enumerate(names)}
        values = python_function([a, b], index)
        domains = [built.system.variable(name).domain for name in names]
        ranges = [range(domain.lo, domain.hi + 1) for domain in domains]
        found[pair] = all(x != y for x, y in map(values, product(*ranges)))
    return found


def order_words(order: int | None) -> str:
    """How many faults were looked at, in words."""
    return "any number of faults" if order is None else f"up to {order} fault{'s'[: order != 1]}"
