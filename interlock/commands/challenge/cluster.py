"""Tasks of a challenge, spread over a cluster."""

from __future__ import annotations

from collections.abc import Generator, Sequence

from interlock.base.cluster import Cluster
from interlock.commands.challenge.decide import DefectDecider
from interlock.commands.challenge.results import DefectResult
from interlock.commands.challenge.tasks import Task, Worker, given_up


class OverCluster:
    """Spreads tasks over the workers of a scheduler.

    Parameters
    ----------
    decider : DefectDecider
    address : str

    Raises
    ------
    NoClusterError
        Where no scheduler answers there.
    """

    def __init__(self, decider: DefectDecider, address: str) -> None:
        self._work = _Work(decider)
        self._cluster = Cluster(address)

    def run(self, tasks: Sequence[Task]) -> Generator[tuple[Task, list[DefectResult]]]:
        """As `Runner.run`.

        Raises
        ------
        NoClusterError
            Where the scheduler is lost on the way; what was answered before stays answered.
        """
        for number, results in self._cluster.spread(self._work, tasks):
            task = tasks[number]
            yield task, given_up(task, "its workers died") if results is None else results


class _Work:
    """Performs tasks, with a worker that is made where they are performed."""

    def __init__(self, decider: DefectDecider) -> None:
        self._decider = decider
        self._worker: Worker | None = None

    def __call__(self, task: Task) -> list[DefectResult]:
        if self._worker is None:
            self._worker = Worker(self._decider)
        return self._worker.perform(task)
