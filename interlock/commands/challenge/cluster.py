"""The door to `distributed`: tasks spread over a Dask cluster that exists already.

A task whose worker dies is done again by another; the scheduler sees to that. The client takes
every answer out of its list of open tasks once, so none is lost and none is counted twice.
"""

from __future__ import annotations

import pickle
from collections.abc import Generator, Sequence
from hashlib import sha256
from threading import Lock
from uuid import uuid4

from distributed import CancelledError, Client, KilledWorker, as_completed

from interlock.commands.challenge.decide import DefectDecider
from interlock.commands.challenge.results import DefectResult
from interlock.commands.challenge.tasks import NoClusterError, Task, Worker, given_up

_CONNECT_SECONDS = 10


class Cluster:
    """Spreads tasks over the workers of a scheduler.

    Parameters
    ----------
    decider : DefectDecider
    address : str
        Such as ``tcp://10.0.0.7:8786``. Workers need the same interlock installed.

    Raises
    ------
    NoClusterError
        Where no scheduler answers there.
    """

    def __init__(self, decider: DefectDecider, address: str) -> None:
        self._decider = pickle.dumps(decider)
        self._address = address
        self._connect().close()

    def _connect(self) -> Client:
        try:
            return Client(self._address, timeout=_CONNECT_SECONDS, set_as_default=False)
        except (OSError, ValueError) as error:
            raise NoClusterError(f"no scheduler answers at {self._address}: {error}") from None

    def run(self, tasks: Sequence[Task]) -> Generator[tuple[Task, list[DefectResult]]]:
        """As `Runner.run`.

        Raises
        ------
        NoClusterError
            Where the scheduler is lost on the way; what was answered before stays answered.
        """
        if not tasks:
            return
        mark = uuid4().hex
        with self._connect() as client:
            # As a task of its own it is made again where the workers that held it die.
            decider = client.submit(bytes, self._decider, key=f"decider-{mark}", pure=False)
            waiting = {
                client.submit(
                    _perform, decider, task, key=f"task-{mark}-{number}", pure=False
                ): task
                for number, task in enumerate(tasks)
            }
            with client.as_current():
                finished = as_completed(list(waiting))
            for future in finished:
                task = waiting.pop(future)
                try:
                    results = future.result()
                except KilledWorker:
                    results = given_up(task, "its workers died")
                except (CancelledError, OSError):
                    says = f"the scheduler at {self._address} was lost"
                    raise NoClusterError(says) from None
                future.release()
                yield task, results


_workers: dict[str, Worker] = {}
# Expressions are unique within a process and made by one thread at a time.
_alone = Lock()


def _perform(decider: bytes, task: Task) -> list[DefectResult]:
    with _alone:
        mark = sha256(decider).hexdigest()
        if mark not in _workers:
            _workers.clear()
            # These bytes were made by the client above and sent through its own scheduler.
            _workers[mark] = Worker(pickle.loads(decider))
        return _workers[mark].perform(task)
