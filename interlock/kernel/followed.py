"""The contract for sets of states, followed move by move where listing them takes too long."""

from __future__ import annotations

from collections.abc import Hashable, Iterator
from typing import Any, Protocol, TypeVar, runtime_checkable

from interlock.kernel.expr import Expr
from interlock.kernel.system import Move, System

States = TypeVar("States", bound=Hashable)
"""A set of states; equal where they are the same states."""


class Followed(Protocol[States]):
    """Sets of states of a system and where moves lead from them.

    Any number of scans and of late signals may lie between two moves and behind the last, as far as
    they are possible.
    Every operation raises MemoryError where there is not enough.
    """

    @property
    def start(self) -> States:
        """The initial state."""

    def within(self, states: States, n_moves: int | None) -> States:
        """What can be reached from `states` by at most `n_moves` moves, or by any number."""

    def showing(self, states: States, expr: Expr, value: int) -> States:
        """Those of `states` in which `expr` has `value`."""

    def count(self, states: States) -> int:
        """How many there are."""

    def values(self, states: States, name: str) -> Iterator[int]:
        """The values that a variable has in them, from the least on."""

    def without(self, states: States, others: States) -> States:
        """Those of `states` that are not among `others`."""

    def union(self, states: States, others: States) -> States:
        """Both together."""

    def least(self, states: States, expr: Expr) -> tuple[int, States]:
        """The least value of `expr` in `states`, which must not be empty; and where it has that."""

    def way(self, start: States, target: States) -> list[Move]:
        """The fewest moves and scans from a state of `start` to one of `target`; there is a way."""


@runtime_checkable
class Follows(Protocol):
    """An engine that follows sets of states."""

    def follow(self, system: System, max_bytes: int | None = None) -> Followed[Any]:
        """Follow `system`, with so much memory.

        Raises
        ------
        DeclinedError
            If the engine cannot take the system.
        """
