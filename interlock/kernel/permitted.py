"""The contract for the states of a system in which one of its moves is safe.

One move can be withheld, all others cannot: they happen when they may. A state is *lost* if the
others alone can lead from it to a bad one. The move is unsafe where it leads to a lost state, and
safe elsewhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from interlock.kernel.evaluate import State
from interlock.kernel.expr import Expr
from interlock.kernel.query import Limits, ProgressSink
from interlock.kernel.system import System


@dataclass(frozen=True)
class Permit:
    """When the move may be allowed, told by what is seen.

    Attributes
    ----------
    cubes : tuple of tuple of (int, bool)
        Allowed where any of these holds: for each, positions of truth values that are seen, with
        the value they must have. What is seen in no reachable state may be covered or not.
    alike : (State, State) or None
        Two states that look the same; the move is safe in the first and unsafe in the second.
    n_sights : int
        Combinations of what is seen that occur at all.
    n_alike : int
        Of these, how many belong to safe and to unsafe states, so that the move is withheld.
    n_withheld : int
        Safe states in which it is withheld for that reason.
    """

    cubes: tuple[tuple[tuple[int, bool], ...], ...]
    alike: tuple[State, State] | None
    n_sights: int
    n_alike: int
    n_withheld: int


class Permitted(Protocol):
    """The reachable states, told apart by whether the move is safe in them."""

    @property
    def kept(self) -> tuple[bool, ...]:
        """For each bad condition, whether it can be kept at all."""

    @property
    def limit(self) -> str | None:
        """The limit that was hit, here or in a permit since; if here, there is nothing else."""

    @property
    def n_states(self) -> int:
        """Reachable states with the move withheld only where it is unsafe."""

    @property
    def n_safe(self) -> int:
        """Those of them in which it is safe."""

    @property
    def n_unsafe(self) -> int:
        """Those of them in which it is unsafe."""

    def seen_through(self, seen: Sequence[Expr]) -> Permit | None:
        """The weakest permit over some truth values of the state; None where a limit was hit."""


@runtime_checkable
class Permits(Protocol):
    """An engine that tells where a move is safe."""

    def permit(
        self,
        system: System,
        move: str,
        bad: Sequence[Expr],
        limits: Limits = Limits(),
        progress: ProgressSink | None = None,
    ) -> Permitted:
        """Tell in which states `move`, whose guard must be true everywhere, is safe.

        Parameters
        ----------
        system : System
        move : str
            The move that can be withheld.
        bad : sequence of Expr
            What must never be. One that the other moves lead to from the initial state by
            themselves cannot be kept and is left out.
        limits : Limits
        progress : callable, optional
        """
