"""The contract for the states of a system in which one of its moves is safe.

One move can be withheld, all others cannot: they happen when they may. A state is *lost* if the
others alone can lead from it to a bad one. The move is unsafe where it may be made and leads to a
lost state, and safe where it may be made and does not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from interlock.kernel.evaluate import State
from interlock.kernel.expr import Expr
from interlock.kernel.query import Limits, ProgressSink
from interlock.kernel.system import System
from interlock.kernel.witness import Witness


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
        Combinations of what is seen that occur at all where the move may be made.
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
    """The reachable states, told apart by whether the move is safe where it may be made."""

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

    def keeps(self, system: System) -> bool:
        """Whether the reachable states hold all that another system reaches, and nothing bad.

        Bad is what can be kept. False is not certain: a limit may have been hit, or the system has
        other variables.
        """

    def is_ever_made(self, where: Expr) -> bool | None:
        """Whether the move is made at all where it is made exactly in states with `where`.

        None where a limit was hit first.
        """


class Permitting(Protocol):
    """A system that is explored once, for moves of many others that are much like it."""

    @property
    def n_states(self) -> int:
        """Reachable states; 0 where a limit was hit."""

    def nearest(
        self, targets: Sequence[Expr], limits: Limits = Limits()
    ) -> list[Witness | None] | str:
        """For each target a run of the fewest moves to it, None where none leads there.

        The limit, where one was hit before all were found.
        """

    def permit(
        self,
        system: System,
        move: str,
        bad: Sequence[Expr],
        limits: Limits = Limits(),
        progress: ProgressSink | None = None,
    ) -> Permitted:
        """As `Permits.permit`, with the same answers; sooner for a system over the same variables.

        What is written in the explored one by one move is written in the other by several, one of
        which may be withheld.
        """


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
        """Tell in which of the states where `move` may be made it is safe.

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

    def permitting(
        self, system: System, limits: Limits = Limits(), progress: ProgressSink | None = None
    ) -> Permitting:
        """Explore a system, for moves of many others that are much like it."""
