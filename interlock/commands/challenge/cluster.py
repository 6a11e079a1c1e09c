"""The door to `distributed`: trials spread over a Dask cluster that exists already.

A task whose worker dies is done again by another; the scheduler sees to that. The client takes
every answer out of its list of open tasks once, so none is lost and none is counted twice.
"""

from __future__ import annotations

import pickle
from collections.abc import Iterator, Sequence
from hashlib import sha256
from threading import Lock
from uuid import uuid4

from distributed import CancelledError, Client, KilledWorker, as_completed

from interlock.commands.challenge.trial import Courtroom, Trial
from interlock.commands.challenge.work import NoClusterError, Task, Worker, given_up

_CONNECT_SECONDS = 10


class Cluster:
    """Spreads tasks over the workers of a scheduler.

    Parameters
    ----------
    courtroom : Courtroom
    address : str
        Such as ``tcp://10.0.0.7:8786``. Workers need the same interlock installed.

    Raises
    ------
    NoClusterError
        Where no scheduler answers there.
    """

    def __init__(self, courtroom: Courtroom, address: str) -> None:
        self._courtroom = pickle.dumps(courtroom)
        self._address = address
        self._connect().close()

    def _connect(self) -> Client:
        try:
            return Client(self._address, timeout=_CONNECT_SECONDS, set_as_default=False)
        except (OSError, ValueError) as error:
            raise NoClusterError(f"no scheduler answers at {self._address}: {error}") from None

    def run(self, tasks: Sequence[Task]) -> Iterator[tuple[Task, list[Trial]]]:
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
            court = client.submit(bytes, self._courtroom, key=f"court-{mark}", pure=False)
            waiting = {
                client.submit(_perform, court, task, key=f"trial-{mark}-{number}", pure=False): task
                for number, task in enumerate(tasks)
            }
            with client.as_current():
                finished = as_completed(list(waiting))
            for future in finished:
                task = waiting.pop(future)
                try:
                    trials = future.result()
                except KilledWorker:
                    trials = given_up(task, "its workers died")
                except (CancelledError, OSError):
                    says = f"the scheduler at {self._address} was lost"
                    raise NoClusterError(says) from None
                future.release()
                yield task, trials


_hired: dict[str, Worker] = {}
# Expressions are unique within a process and made by one thread at a time.
_alone = Lock()


def _perform(courtroom: bytes, task: Task) -> list[Trial]:
    with _alone:
        mark = sha256(courtroom).hexdigest()
        if mark not in _hired:
            _hired.clear()
            # These bytes were made by the client above and sent through its own scheduler.
            _hired[mark] = Worker(pickle.loads(courtroom))
        return _hired[mark].perform(task)
