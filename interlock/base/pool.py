"""The same work on many items, spread over processes of this machine."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from multiprocessing import get_context
from multiprocessing.synchronize import Event
from typing import TypeVar

from interlock.base import cores
from interlock.base.interrupt import is_stopping, listen_to

Item = TypeVar("Item")
Result = TypeVar("Result")

# What takes less is done before other processes have started.
WORTH_SECONDS = 0.5
_LOOK_EVERY_S = 0.5


def spread(
    work: Callable[[Item], Result],
    items: Sequence[Item],
    n_processes: int,
    worth_seconds: float = WORTH_SECONDS,
) -> Iterator[tuple[int, Result]]:
    """Do `work` on each of `items`, in this process for as long as that is quick.

    Parameters
    ----------
    work : callable
        It is pickled, and so are items and results.
    items : sequence
    n_processes : int
        Processes to use where one item takes longer than `worth_seconds`.

    Yields
    ------
    int, result
        The place of the item, as they are done.

    Raises
    ------
    BrokenProcessPool
        Where a process was killed.
    """
    for place, item in enumerate(items):
        started = time.monotonic()
        yield place, work(item)
        rest = range(place + 1, len(items))
        if n_processes > 1 and len(rest) > 1 and time.monotonic() - started > worth_seconds:
            yield from _over_processes(work, items, rest, n_processes)
            return


def _begin(stop: Event) -> None:
    listen_to(stop)
    cores.use(1)  # The others are busy with the other processes.


def _over_processes(
    work: Callable[[Item], Result], items: Sequence[Item], places: range, n_processes: int
) -> Iterator[tuple[int, Result]]:
    # A fresh interpreter: what an engine compiled in this one is not shared by a fork.
    context = get_context("spawn")
    stop = context.Event()
    pool = ProcessPoolExecutor(
        min(n_processes, len(places)),
        mp_context=context,
        initializer=_begin,
        initargs=(stop,),
    )
    try:
        futures = {pool.submit(work, items[place]): place for place in places}
        waiting = set(futures)
        while waiting:
            done, waiting = wait(waiting, timeout=_LOOK_EVERY_S, return_when=FIRST_COMPLETED)
            if is_stopping():
                stop.set()
            for future in sorted(done, key=lambda one: futures[one]):
                yield futures[future], future.result()
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
