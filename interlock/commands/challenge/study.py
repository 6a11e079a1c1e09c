"""The strength of a model's requirements: what they notice of defects seeded one at a time."""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Collection, Generator, Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field, replace
from pathlib import Path

from interlock.commands.challenge.accepted import accepted_of
from interlock.commands.challenge.classes import beyond_the_classes
from interlock.commands.challenge.decide import BUT_FOR_WHAT_IS_OWED, DefectDecider, Stage
from interlock.commands.challenge.defects import Defect, Region, defects_of
from interlock.commands.challenge.expression_defects import DefectKind
from interlock.commands.challenge.gaps_file import AcceptedGap, find_gaps
from interlock.commands.challenge.journal import Journal, asked, fingerprint
from interlock.commands.challenge.results import DefectOutcome, DefectResult
from interlock.commands.challenge.tasks import (
    Processes,
    Runner,
    Task,
    TaskKind,
    ThisProcess,
    given_up,
)
from interlock.judgement.finding import Finding
from interlock.judgement.verify import verify
from interlock.kernel.query import Engine, Limits
from interlock.kernel.requirement import Outcome
from interlock.model.build import FAULT_FREE, RunClass
from interlock.model.model import Model

# So many defects are asked together whether they make any difference.
_COMPARED_AT_ONCE = 64

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Choice:
    """Which defects to seed and how to work.

    Attributes
    ----------
    regions : collection of Region
    sample : int or None
        So many of them, drawn by `seed`; all where None.
    claimed : bool
        Seed them also under as many faults as the requirements claim to survive.
    folder : Path or None
        Where the journal is kept.
    n_processes : int
    scheduler : str or None
        Address of a cluster's scheduler, in place of processes.
    """

    regions: Collection[Region] = tuple(Region)
    sample: int | None = None
    seed: int = 0
    claimed: bool = False
    folder: Path | None = None
    n_processes: int = 1
    scheduler: str | None = None


@dataclass(frozen=True)
class Challenge:
    """What became of every seeded defect.

    Attributes
    ----------
    model : Model
    stages : tuple of Stage
        The run classes, with the requirements that held in each and could catch defects.
    n_all : int
        Defects of the model altogether; `defects` are those that were seeded.
    results : mapping of str to DefectResult
        By the defect's id, in the order of `defects`.
    accepted : mapping of str to AcceptedGap
        By the defect's id, what the model's file of accepted gaps says of it; of those seeded.
    n_resumed : int
        Trials taken from the journal.
    seconds : float
    """

    model: Model
    stages: tuple[Stage, ...]
    n_all: int
    defects: tuple[Defect, ...]
    results: Mapping[str, DefectResult]
    accepted: Mapping[str, AcceptedGap] = field(default_factory=dict)
    n_resumed: int = 0
    seconds: float = field(default=0.0, compare=False)

    def with_outcome(self, outcome: DefectOutcome) -> list[tuple[Defect, DefectResult]]:
        """The defects with an outcome."""
        pairs = [(defect, self.results[defect.id]) for defect in self.defects]
        return [(defect, result) for defect, result in pairs if result.outcome is outcome]

    @property
    def open_gaps(self) -> list[tuple[Defect, DefectResult]]:
        """The gaps that nobody accepts."""
        return [
            pair for pair in self.with_outcome(DefectOutcome.GAP) if pair[0].id not in self.accepted
        ]

    @property
    def accepted_gaps(self) -> list[tuple[Defect, DefectResult, AcceptedGap]]:
        """The gaps that are accepted, with what is said of each."""
        pairs = self.with_outcome(DefectOutcome.GAP)
        return [(d, t, self.accepted[d.id]) for d, t in pairs if d.id in self.accepted]

    @property
    def needless(self) -> list[tuple[Defect, DefectResult, AcceptedGap]]:
        """What is accepted though it is no gap: a requirement notices it, or nothing differs."""
        decided = (DefectOutcome.CAUGHT, DefectOutcome.EQUIVALENT)
        return [
            (defect, self.results[defect.id], self.accepted[defect.id])
            for defect in self.defects
            if defect.id in self.accepted and self.results[defect.id].outcome in decided
        ]

    @property
    def redundant(self) -> list[Defect]:
        """The terms that may be dropped without any difference, to a response neither."""
        return [
            defect
            for defect, result in self.with_outcome(DefectOutcome.EQUIVALENT)
            if defect.kind is DefectKind.DROPPED and result.shown_by != BUT_FOR_WHAT_IS_OWED
        ]

    @property
    def caught_by(self) -> dict[str, int]:
        """How many defects each requirement that could catch any was the first to notice."""
        counts = {id_: 0 for stage in self.stages for id_ in stage.catching}
        for _, result in self.with_outcome(DefectOutcome.CAUGHT):
            counts[result.requirement] = counts.get(result.requirement, 0) + 1
        return counts


def challenge(
    model: Model,
    engine: Engine,
    choice: Choice = Choice(),
    limits: Limits = Limits(),
    progress: Progress | None = None,
) -> Challenge:
    """Seed defects in `model`, one at a time, and try each.

    Parameters
    ----------
    model : Model
    engine : Engine
    choice : Choice
    limits : Limits
        For each exploration, and the time for all of them together; what they cut short is
        undecided and never counted as caught.
    progress : callable, optional
        Is told what is being done, how much of it is done, and how much there is.

    Raises
    ------
    InputError
        Where the journal's folder holds another model's, or the file of accepted gaps one that
        there is not.
    InternalError
        Where a run does not replay, which is a defect of interlock.
    """
    started = time.monotonic()
    everything = defects_of(model)
    accepted = accepted_of(find_gaps(model), everything)
    defects = _chosen(everything, choice)
    run_classes = [FAULT_FREE, *(_claimed(model) if choice.claimed else ())]
    journal = None
    if choice.folder is not None:
        ids = [defect.id for defect in everything]
        mark = fingerprint(model, [repr(c) for c in run_classes], ids)
        journal = Journal(choice.folder, mark, asked(model))
    try:
        done = {} if journal is None else dict(journal.results)
        n_resumed = sum(defect.id in done for defect in defects)
        stages = tuple(_stages(model, engine, run_classes, limits))
        decider = DefectDecider(model, engine, limits)
        runner = _runner(decider, choice)
        schedule = _Schedule(runner, journal, progress, done, decider.keeps_states, limits)
        schedule.doubts = beyond_the_classes(model, everything)
        schedule.try_all([defect.id for defect in defects], stages)
    finally:
        if journal is not None:
            journal.close()
    results = {defect.id: schedule.results[defect.id] for defect in defects}
    seconds = time.monotonic() - started
    return Challenge(model, stages, len(everything), defects, results, accepted, n_resumed, seconds)


def _chosen(everything: Sequence[Defect], choice: Choice) -> tuple[Defect, ...]:
    defects = [defect for defect in everything if defect.region in choice.regions]
    if choice.sample is not None and choice.sample < len(defects):
        drawn = random.Random(choice.seed).sample(range(len(defects)), choice.sample)
        defects = [defects[number] for number in sorted(drawn)]
    return tuple(defects)


def _claimed(model: Model) -> Iterator[RunClass]:
    independent = model.independent_faults
    numbers = {statement.survives for statement in model.statements.values()} - {0}
    if independent:
        yield from (RunClass(independent, n_faults) for n_faults in sorted(numbers))


def _stages(
    model: Model, engine: Engine, run_classes: Sequence[RunClass], limits: Limits
) -> Iterator[Stage]:
    for run_class in run_classes:
        n_faults = run_class.at_most or 0
        claims = [s.id for s in model.statements.values() if s.survives >= n_faults]
        found = verify(model, engine, run_class, claims, limits).findings if claims else ()

        noticing = [f for f in found if _may_notice(f)]
        undecided = [f for f in found if f.verdict.outcome is Outcome.UNDECIDED]
        others = [f for f in found if f not in noticing and f not in undecided]
        groups = (noticing, undecided, others)
        yield Stage(run_class, *(tuple(f.requirement.id for f in group) for group in groups))


def _may_notice(finding: Finding) -> bool:
    """Whether the original keeps it: also where its premise never occurs, but never too late."""
    return finding.verdict.outcome is Outcome.HOLDS and not finding.is_too_late


def _runner(decider: DefectDecider, choice: Choice) -> Runner:
    if choice.scheduler is not None:
        from interlock.commands.challenge.cluster import OverCluster

        return OverCluster(decider, choice.scheduler)
    if choice.n_processes > 1:
        return Processes(decider, choice.n_processes)
    return ThisProcess(decider)


class _Schedule:
    """In which order the ways to decide a defect are tried on those still open, stage by stage."""

    def __init__(
        self,
        runner: Runner,
        journal: Journal | None,
        progress: Progress | None,
        done: Mapping[str, DefectResult],
        keeps_states: bool,
        limits: Limits,
    ) -> None:
        self.runner = runner
        self.limits = limits
        self.keeps_states = keeps_states
        self.journal = journal
        self.progress = progress
        self.results: dict[str, DefectResult] = dict(done)
        # Why a defect that behaves like the original is not called equivalent, by its id.
        self.doubts: Mapping[str, str] = {}

    def try_all(self, ids: Sequence[str], stages: Sequence[Stage]) -> None:
        """Try the defects with `ids` in every stage until a requirement notices them."""
        waiting = [id_ for id_ in ids if id_ not in self.results]
        for stage in stages:
            is_last = stage is stages[-1]
            for result in self._stage(waiting, stage):
                before = self.results.get(result.defect)
                after = result if before is None else _worse(before, result)
                self.results[result.defect] = after
                if self.journal is not None and (is_last or after.outcome is DefectOutcome.CAUGHT):
                    self.journal.add(after)
            caught = DefectOutcome.CAUGHT
            waiting = [id_ for id_ in waiting if self.results[id_].outcome is not caught]

    def _stage(self, ids: Sequence[str], stage: Stage) -> Iterator[DefectResult]:
        waiting = list(ids)
        seen_whole: set[str] = set()

        def looked(says: str, kind: TaskKind, looked_at: Sequence[str]) -> Iterator[DefectResult]:
            for result in self._done(says, kind, stage, looked_at, 1):
                if result.outcome is DefectOutcome.CAUGHT:
                    waiting.remove(result.defect)
                    yield result
                elif result.limit is None:
                    seen_whole.add(result.defect)

        def decided(says: str, kind: TaskKind, at_once: int) -> Iterator[DefectResult]:
            for result in self._done(says, kind, stage, tuple(waiting), at_once):
                if result.outcome is not DefectOutcome.UNDECIDED:
                    waiting.remove(result.defect)
                    yield result

        # Under faults a look is shallow: the nearest states are those of faults striking.
        looks = not stage.run_class.faults
        if looks and not self.keeps_states:
            yield from looked("first look", TaskKind.LOOK, tuple(waiting))
        yield from decided("any difference", TaskKind.FIND_EQUIVALENT, _COMPARED_AT_ONCE)
        if looks and self.keeps_states:
            yield from decided("from the known states", TaskKind.FROM_KEPT_STATES, 1)
            yield from looked("first look", TaskKind.LOOK, tuple(waiting))
        if looks:
            farther = [id_ for id_ in waiting if id_ not in seen_whole]
            yield from looked("second look", TaskKind.LOOK_AGAIN, farther)
        whole = [id_ for id_ in waiting if id_ in seen_whole]
        yield from self._done("in lockstep", TaskKind.LOCKSTEP, stage, whole, 1)
        others = [id_ for id_ in waiting if id_ not in seen_whole]
        yield from self._done("all requirements", TaskKind.ALL_REQUIREMENTS, stage, others, 1)

    def _done(
        self, says: str, kind: TaskKind, stage: Stage, ids: Sequence[str], at_once: int
    ) -> Iterator[DefectResult]:
        tasks = [
            Task(kind, stage, tuple(ids[start : start + at_once]))
            for start in range(0, len(ids), at_once)
        ]
        waiting = dict.fromkeys(tasks)
        with closing(self._tried(tasks)) as tried:
            for task, results in tried:
                del waiting[task]
                if self.progress is not None:
                    n_done = len(ids) - sum(len(task.defects) for task in waiting)
                    self.progress(f"{says}, {stage.run_class.says}", n_done, len(ids))
                yield from (self._doubted(result) for result in results)
        for task in waiting:
            yield from given_up(task, f"seconds {self.limits.max_seconds:g}")

    def _tried(self, tasks: Sequence[Task]) -> Generator[tuple[Task, list[DefectResult]]]:
        """What becomes of tasks, as long as there is time."""
        until = self.limits.until
        with closing(self.runner.run(tasks)) as done:
            while until is None or time.monotonic() < until:
                found = next(done, None)
                if found is None:
                    return
                yield found

    def _doubted(self, result: DefectResult) -> DefectResult:
        doubt = self.doubts.get(result.defect)
        if doubt is None or result.outcome is not DefectOutcome.EQUIVALENT:
            return result
        return replace(result, outcome=DefectOutcome.UNDECIDED, shown_by="", limit=doubt)


def _worse(before: DefectResult, after: DefectResult) -> DefectResult:
    """What is known after a second run class: caught at once; a gap anywhere is one."""
    order = [
        DefectOutcome.CAUGHT,
        DefectOutcome.UNDECIDED,
        DefectOutcome.GAP,
        DefectOutcome.EQUIVALENT,
    ]
    if order.index(before.outcome) < order.index(after.outcome):
        return before
    if before.outcome is after.outcome is DefectOutcome.GAP:
        return before
    return after
