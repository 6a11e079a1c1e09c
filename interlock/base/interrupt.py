"""Ctrl-C as a limit: long work ends early and still tells what it has.

The first Ctrl-C asks everything that watches a budget to stop, in the processes of a pool, too; the
second one ends the command at once. Work can also be given up that nobody wants any more.
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


def _never() -> bool:
    return False


_asked: _Flag = threading.Event()
_given_up: Callable[[], bool] = _never


def is_stopping() -> bool:
    """Whether somebody has asked for an early end, or the work is given up."""
    return _asked.is_set() or _given_up()


def listen_to(flag: _Flag) -> None:
    """In a process of a pool: leave Ctrl-C to the parent, and stop when it sets `flag`."""
    global _asked
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _asked = flag


@contextmanager
def given_up_when(outdated: Callable[[], bool]) -> Iterator[None]:
    """Within this work also ends early once nobody wants it any more; what it says is then void.

    Parameters
    ----------
    outdated : callable
        Asked often, from any thread: it should be quick, and remember that it said yes.
    """
    global _given_up
    before, _given_up = _given_up, outdated
    try:
        yield
    finally:
        _given_up = before


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
