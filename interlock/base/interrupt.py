"""Ctrl-C as a limit: long work ends early and still tells what it has.

The first Ctrl-C asks everything that watches a budget to stop, in the processes of a pool, too; the
second one ends the command at once.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Protocol


class _Flag(Protocol):
    def is_set(self) -> bool: ...
    def set(self) -> None: ...
    def clear(self) -> None: ...


_asked: _Flag = threading.Event()


def is_stopping() -> bool:
    """Whether somebody has asked for an early end."""
    return _asked.is_set()


def listen_to(flag: _Flag) -> None:
    """In a process of a pool: leave Ctrl-C to the parent, and stop when it sets `flag`."""
    global _asked
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _asked = flag


@contextmanager
def stopping_softly(told: Callable[[], None]) -> Iterator[None]:
    """Within this the first Ctrl-C is a limit that was hit.

    Parameters
    ----------
    told : callable
        Called once it was pressed, from the signal's handler.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def handle(_number: int, _frame: FrameType | None) -> None:
        if _asked.is_set():
            raise KeyboardInterrupt
        _asked.set()
        told()

    before = signal.signal(signal.SIGINT, handle)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
        _asked.clear()
