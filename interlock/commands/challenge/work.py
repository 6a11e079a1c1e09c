"""Trials as tasks, done here or spread over processes; every task is answered exactly once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace
from enum import Enum
from multiprocessing import get_context
from typing import Protocol

from interlock.commands.challenge.defects import Defect, defects_of
from interlock.commands.challenge.near import Near
from interlock.commands.challenge.trial import LOOK_AGAIN, Courtroom, Outcome, Stage, Trial

# How often processes may die before the tasks that are left are given up as undecided.
_ATTEMPTS = 3


class Step(Enum):
    """What a task does with its defects."""

    LOOK = "look"
    LOOK_AGAIN = "look again"  # farther
    ALIKE = "alike"
    BESIDE = "beside"  # from what the original reaches
    COMPARE = "compare"
    JUDGE = "judge"  # all requirements, then in lockstep


@dataclass(frozen=True)
class Task:
    """One step for some defects, named by their ids: whoever works seeds them anew."""

    step: Step
    stage: Stage
    defects: tuple[str, ...]


class NoClusterError(Exception):
    """A scheduler cannot be reached; the text says which and why."""


class Runner(Protocol):
    """Does tasks."""

    def run(self, tasks: Sequence[Task]) -> Iterator[tuple[Task, list[Trial]]]:
        """Each task once with its trials, in the order in which they are done."""


class Worker:
    """A courtroom with the defects it may be asked about.

    Parameters
    ----------
    courtroom : Courtroom
    """

    def __init__(self, courtroom: Courtroom) -> None:
        self.courtroom = courtroom
        self._defects = {defect.id: defect for defect in defects_of(courtroom.model)}
        self._kept: tuple[Stage, Near | None] | None = None

    def _near(self, stage: Stage) -> Near | None:
        """The original in a run class; only one at a time is kept."""
        if self._kept is None or self._kept[0] != stage:
            self._kept = None
            self._kept = (stage, self.courtroom.near(stage))
        return self._kept[1]

    def perform(self, task: Task) -> list[Trial]:
        """Do one task."""
        defects = [self._defects[id_] for id_ in task.defects]
        court, stage = self.courtroom, task.stage
        match task.step:
            case Step.LOOK:
                return [court.look(defect, stage) for defect in defects]
            case Step.LOOK_AGAIN:
                return [court.look(defect, stage, LOOK_AGAIN) for defect in defects]
            case Step.ALIKE:
                return court.alike(defects, stage, self._near(stage))
            case Step.BESIDE:
                return [self._tried(defect, stage) for defect in defects]
            case Step.COMPARE:
                return [court.compared(defect, stage) for defect in defects]
            case Step.JUDGE:
                return [self._judge(defect, stage) for defect in defects]

    def _tried(self, defect: Defect, stage: Stage) -> Trial:
        near = self._near(stage)
        if near is None:
            return Trial(defect.id, Outcome.UNDECIDED, stage.run_class.says)
        return self.courtroom.tried(defect, stage, near)

    def _judge(self, defect: Defect, stage: Stage) -> Trial:
        trial = self.courtroom.judged(defect, stage)
        decided = trial.outcome is Outcome.CAUGHT or trial.limit is not None
        return trial if decided else self.courtroom.compared(defect, stage)


def given_up(task: Task, reason: str) -> list[Trial]:
    """Undecided trials for a task that nobody could do."""
    says = task.stage.run_class.says
    undecided = Trial("", Outcome.UNDECIDED, says, limit=reason)
    return [replace(undecided, defect=id_) for id_ in task.defects]


class Here:
    """Does tasks one after the other in this process.

    Parameters
    ----------
    courtroom : Courtroom
    """

    def __init__(self, courtroom: Courtroom) -> None:
        self._worker = Worker(courtroom)

    def run(self, tasks: Sequence[Task]) -> Iterator[tuple[Task, list[Trial]]]:
        """As `Runner.run`."""
        for task in tasks:
            yield task, self._worker.perform(task)


class Processes:
    """Spreads tasks over processes of this machine; a process that dies loses no task.

    Parameters
    ----------
    courtroom : Courtroom
    n_processes : int
    """

    def __init__(self, courtroom: Courtroom, n_processes: int) -> None:
        self._courtroom = courtroom
        self._n_processes = n_processes

    def run(self, tasks: Sequence[Task]) -> Iterator[tuple[Task, list[Trial]]]:
        """As `Runner.run`. What kills its process three times is given up as undecided."""
        waiting = dict(enumerate(tasks))
        for _ in range(_ATTEMPTS):
            if waiting:
                yield from self._attempt(waiting)
        for task in waiting.values():
            yield task, given_up(task, "its process died")

    def _attempt(self, waiting: dict[int, Task]) -> Iterator[tuple[Task, list[Trial]]]:
        pool = ProcessPoolExecutor(
            min(self._n_processes, len(waiting)),
            # A fresh interpreter: what an engine compiled in this one is not shared by a fork.
            mp_context=get_context("spawn"),
            initializer=_hire,
            initargs=(self._courtroom,),
        )
        try:
            futures = {pool.submit(_perform, task): n for n, task in waiting.items()}
            for future in as_completed(futures):
                trials = future.result()
                yield waiting.pop(futures[future]), trials
        except BrokenProcessPool:
            return
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


_hired: Worker | None = None


def _hire(courtroom: Courtroom) -> None:
    global _hired
    _hired = Worker(courtroom)


def _perform(task: Task) -> list[Trial]:
    assert _hired is not None
    return _hired.perform(task)
