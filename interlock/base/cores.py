"""How many threads an exploration may use; one command sets it for all that it does."""

from __future__ import annotations

import os

_asked: int | None = None


def available() -> int:
    """The cores that this process may run on."""
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return os.cpu_count() or 1


def use(n_threads: int | None) -> None:
    """Use so many threads from now on; one where None."""
    global _asked
    _asked = n_threads


def in_use() -> int:
    """How many threads to use: one, where nobody asked for more."""
    return _asked or 1
