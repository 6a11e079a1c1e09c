"""The door to `distributed`: the same work on many items, spread over a Dask cluster that exists.

An item whose worker dies is done again by another; the scheduler sees to that. The client takes
every answer out of its list of open items once, so none is lost and none is counted twice. Whoever
asked to stop is not kept waiting for what others do.
"""

from __future__ import annotations

import math
import pickle
import time
from collections.abc import Callable, Generator, Sequence
from hashlib import sha256
from threading import Lock
from typing import Any, TypeVar
from uuid import uuid4

from distributed import CancelledError, Client, Future, KilledWorker, TimeoutError, wait

from interlock.base.errors import NoClusterError
from interlock.base.interrupt import is_stopping

Item = TypeVar("Item")
Result = TypeVar("Result")

_CONNECT_SECONDS = 10
_LOOK_EVERY_S = 0.5


class Cluster:
    """The workers of a scheduler.

    Parameters
    ----------
    address : str
        Such as ``tcp://10.0.0.7:8786``. Workers need the same interlock installed.

    Raises
    ------
    NoClusterError
        Where no scheduler answers there.
    """

    def __init__(self, address: str) -> None:
        self._address = address
        self._connect().close()

    def _connect(self) -> Client:
        try:
            return Client(self._address, timeout=_CONNECT_SECONDS, set_as_default=False)
        except (OSError, ValueError) as error:
            raise NoClusterError(f"no scheduler answers at {self._address}: {error}") from None

    def spread(
        self, work: Callable[[Item], Result], items: Sequence[Item], until: float | None = None
    ) -> Generator[tuple[int, Result | None]]:
        """Do `work` on each of `items`.

        Parameters
        ----------
        work : callable
            It is pickled once, and so are items and results.
        items : sequence
        until : float, optional
            On the clock of `time.monotonic`: then, or once somebody has asked for an early end,
            what is not done is given up, and its items are left out.

        Yields
        ------
        int, result
            The place of the item, as they are done; None for one whose workers died again and
            again.

        Raises
        ------
        NoClusterError
            Where the scheduler is lost on the way; what was answered before stays answered.
        """
        if not items:
            return
        mark, pickled = uuid4().hex, pickle.dumps(work)
        with self._connect() as client:
            # As a task of its own it is made again where the workers that held it die.
            there = client.submit(bytes, pickled, key=f"work-{mark}", pure=False)
            waiting = {
                client.submit(_do, there, item, key=f"item-{mark}-{number}", pure=False): number
                for number, item in enumerate(items)
            }
            while waiting:
                done = self._done(client, list(waiting))
                for future in done:
                    yield waiting.pop(future), self._result(future)
                if not done and (is_stopping() or time.monotonic() >= (until or math.inf)):
                    client.cancel(list(waiting))
                    return

    def _done(self, client: Client, futures: list[Future[Any]]) -> list[Future[Any]]:
        """Those that are done, in their order; waits a while for the first."""
        try:
            # Not around what is yielded: whoever gets that may have clients of his own.
            with client.as_current():
                done = wait(futures, timeout=_LOOK_EVERY_S, return_when="FIRST_COMPLETED").done
        except TimeoutError:
            return []
        except (CancelledError, OSError):
            raise self._lost() from None
        return [future for future in futures if future in done]

    def _result(self, future: Future[Any]) -> Any:
        try:
            result = future.result()
        except KilledWorker:
            result = None
        except (CancelledError, OSError):
            raise self._lost() from None
        future.release()
        return result

    def _lost(self) -> NoClusterError:
        return NoClusterError(f"the scheduler at {self._address} was lost")


_known: dict[str, Callable[[Any], Any]] = {}
# Expressions are unique within a process and made by one thread at a time.
_alone = Lock()


def _do(pickled: bytes, item: object) -> object:
    with _alone:
        mark = sha256(pickled).hexdigest()
        if mark not in _known:
            _known.clear()
            # These bytes were made by the client above and sent through its own scheduler.
            _known[mark] = pickle.loads(pickled)
        return _known[mark](item)
