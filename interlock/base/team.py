"""Threads that do one piece of work together: for code that lets go of the interpreter's lock."""

from __future__ import annotations

import threading
from collections.abc import Callable
from queue import SimpleQueue

_Work = Callable[[int], object]


class Team:
    """So many threads, this one among them.

    Parameters
    ----------
    size : int
        Threads that are wanted.

    Attributes
    ----------
    size : int
        Threads that there are: fewer where the machine lets no more start.
    """

    def __init__(self, size: int) -> None:
        self._done: SimpleQueue[BaseException | None] = SimpleQueue()
        self._waiting: list[SimpleQueue[_Work | None]] = []
        for member in range(1, size):
            queue: SimpleQueue[_Work | None] = SimpleQueue()
            thread = threading.Thread(
                target=self._serve,
                args=(member, queue),
                name=f"interlock team {member}",
                daemon=True,
            )
            try:
                thread.start()
            except (RuntimeError, MemoryError):
                break
            self._waiting.append(queue)
        self.size = 1 + len(self._waiting)

    def close(self) -> None:
        """Let the other threads end."""
        for queue in self._waiting:
            queue.put(None)

    def _serve(self, member: int, queue: SimpleQueue[_Work | None]) -> None:
        while (work := queue.get()) is not None:
            error: BaseException | None = None
            try:
                work(member)
            except BaseException as caught:
                error = caught
            # Whoever waits may give back what the work was about.
            del work
            self._done.put(error)

    def all_do(self, work: _Work) -> None:
        """Call ``work(member)`` once in each thread and wait for all of them, whatever happens.

        The members are numbered from 0, which is the thread that calls.
        """
        for queue in self._waiting:
            queue.put(work)
        errors: list[BaseException] = []
        try:
            work(0)
        except BaseException as error:
            errors.append(error)
        left = len(self._waiting)
        while left:
            try:
                error_there = self._done.get()
            except KeyboardInterrupt as error:
                # The others still use what this thread would give back.
                errors.append(error)
                continue
            left -= 1
            if error_there is not None:
                errors.append(error_there)
        if errors:
            raise errors[0]
