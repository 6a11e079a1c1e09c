"""Work on defects as tasks, done here or spread over processes; each is answered exactly once."""

from __future__ import annotations

from collections.abc import Generator, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace
from enum import Enum
from multiprocessing import get_context
from typing import Protocol

from interlock.base import cores
from interlock.commands.challenge.decide import (
    LOOK_AGAIN,
    DefectDecider,
    KnownOriginal,
    Stage,
)
from interlock.commands.challenge.defects import Defect, defects_of
from interlock.commands.challenge.results import DefectOutcome, DefectResult

# How often processes may die before the tasks that are left are given up as undecided.
_ATTEMPTS = 3


class TaskKind(Enum):
    """What a task does with its defects."""

    LOOK = "look"
    LOOK_AGAIN = "look again"  # farther
    FIND_EQUIVALENT = "find equivalent"
    FROM_KEPT_STATES = "from kept states"
    LOCKSTEP = "lockstep"
    ALL_REQUIREMENTS = "all requirements"  # then in lockstep


@dataclass(frozen=True)
class Task:
    """One step for some defects, named by their ids: whoever works seeds them anew."""

    kind: TaskKind
    stage: Stage
    defects: tuple[str, ...]


class Runner(Protocol):
    """Does tasks."""

    def run(self, tasks: Sequence[Task]) -> Generator[tuple[Task, list[DefectResult]]]:
        """Each task once with its results, in the order in which they are done."""


class Worker:
    """A decider with the defects it may be asked about.

    Parameters
    ----------
    decider : DefectDecider
    """

    def __init__(self, decider: DefectDecider) -> None:
        self.decider = decider
        self._defects = {defect.id: defect for defect in defects_of(decider.model)}
        self._kept: tuple[Stage, KnownOriginal | None] | None = None

    def _kept_original(self, stage: Stage) -> KnownOriginal | None:
        """The original in a run class; only one at a time is kept."""
        if self._kept is None or self._kept[0] != stage:
            self._kept = None
            self._kept = (stage, self.decider.kept_original(stage))
        return self._kept[1]

    def perform(self, task: Task) -> list[DefectResult]:
        """Do one task."""
        defects = [self._defects[id_] for id_ in task.defects]
        decider, stage = self.decider, task.stage
        match task.kind:
            case TaskKind.LOOK:
                return [decider.look_near_power_up(defect, stage) for defect in defects]
            case TaskKind.LOOK_AGAIN:
                return [decider.look_near_power_up(defect, stage, LOOK_AGAIN) for defect in defects]
            case TaskKind.FIND_EQUIVALENT:
                return decider.find_equivalent(defects, stage, self._kept_original(stage))
            case TaskKind.FROM_KEPT_STATES:
                return [self._from_kept_states(defect, stage) for defect in defects]
            case TaskKind.LOCKSTEP:
                return [decider.compare_in_lockstep(defect, stage) for defect in defects]
            case TaskKind.ALL_REQUIREMENTS:
                return [self._ask_then_compare(defect, stage) for defect in defects]

    def _from_kept_states(self, defect: Defect, stage: Stage) -> DefectResult:
        kept = self._kept_original(stage)
        if kept is None:
            return DefectResult(defect.id, DefectOutcome.UNDECIDED, stage.run_class.says)
        return self.decider.decide_from_kept_states(defect, stage, kept)

    def _ask_then_compare(self, defect: Defect, stage: Stage) -> DefectResult:
        result = self.decider.ask_all_requirements(defect, stage)
        decided = result.outcome is DefectOutcome.CAUGHT or result.limit is not None
        return result if decided else self.decider.compare_in_lockstep(defect, stage)


def given_up(task: Task, reason: str) -> list[DefectResult]:
    """Undecided results for a task that nobody could do."""
    says = task.stage.run_class.says
    undecided = DefectResult("", DefectOutcome.UNDECIDED, says, limit=reason)
    return [replace(undecided, defect=id_) for id_ in task.defects]


class ThisProcess:
    """Does tasks one after the other in this process.

    Parameters
    ----------
    decider : DefectDecider
    """

    def __init__(self, decider: DefectDecider) -> None:
        self._worker = Worker(decider)

    def run(self, tasks: Sequence[Task]) -> Generator[tuple[Task, list[DefectResult]]]:
        """As `Runner.run`."""
        for task in tasks:
            yield task, self._worker.perform(task)


class Processes:
    """Spreads tasks over processes of this machine; a process that dies loses no task.

    Parameters
    ----------
    decider : DefectDecider
    n_processes : int
    """

    def __init__(self, decider: DefectDecider, n_processes: int) -> None:
        self._decider = decider
        self._n_processes = n_processes

    def run(self, tasks: Sequence[Task]) -> Generator[tuple[Task, list[DefectResult]]]:
        """As `Runner.run`. What kills its process three times is given up as undecided."""
        waiting = dict(enumerate(tasks))
        for _ in range(_ATTEMPTS):
            if waiting:
                yield from self._attempt(waiting)
        for task in waiting.values():
            yield task, given_up(task, "its process died")

    def _attempt(self, waiting: dict[int, Task]) -> Iterator[tuple[Task, list[DefectResult]]]:
        pool = ProcessPoolExecutor(
            min(self._n_processes, len(waiting)),
            # A fresh interpreter: what an engine compiled in this one is not shared by a fork.
            mp_context=get_context("spawn"),
            initializer=_start_worker,
            initargs=(self._decider,),
        )
        try:
            futures = {pool.submit(_perform, task): n for n, task in waiting.items()}
            for future in as_completed(futures):
                results = future.result()
                yield waiting.pop(futures[future]), results
        except BrokenProcessPool:
            return
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


_worker: Worker | None = None


def _start_worker(decider: DefectDecider) -> None:
    global _worker
    cores.use(1)  # The others are busy with the other processes.
    _worker = Worker(decider)


def _perform(task: Task) -> list[DefectResult]:
    assert _worker is not None
    return _worker.perform(task)
