"""The contract for reachable states that are kept, and changed systems explored from them.

A system that differs from another one in few states reaches, besides states of the other, only
what follows from those few. The other is explored once; of each changed system only what is not
known. The known states and those beside them hold everything that the changed system reaches, and
maybe more, since a known state may be out of its reach. Hence: what holds in all of them is
certain; a run that violates something has to be checked step by step.
`tests/contract/test_kept.py` runs over every engine that offers this.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from typing import Protocol, runtime_checkable

from interlock.kernel.evaluate import State
from interlock.kernel.expr import Expr
from interlock.kernel.query import Answer, Limits, ProgressSink, Trap
from interlock.kernel.system import System
from interlock.kernel.witness import Witness

# So many goals may be asked for under one name.
GOALS_AT_ONCE = 8
# So many conditions may have one name.
CONDITIONS_AT_ONCE = 64


class Numbered(Protocol):
    """States by their numbers; those of a changed system know its conditions by name."""

    @property
    def n_states(self) -> int:
        """How many there are so far; their numbers begin with 0, the initial state."""

    def witness_to(self, number: int) -> Witness:
        """A run to a state."""

    def state(self, number: int) -> State:
        """The state with that number."""


class FromPowerUp(Numbered, Protocol):
    """What a changed system reaches from its initial state; runs to states are shortest ones."""

    @property
    def complete(self) -> bool:
        """Whether no limit was hit."""

    def found(self, name: str) -> list[tuple[int, int]]:
        """The conditions of `name` that some state meets, with the first that does."""

    def stays(self, name: str) -> Answer:
        """Whether a fair loop stays where condition 0 of `name` holds, from where 1 does on."""

    def traps(self, name: str, goals: Sequence[Trap]) -> list[Answer]:
        """The answers about goals, which are the conditions of `name`; up to `GOALS_AT_ONCE`.

        Where faults may strike or clear there may be none, with found None.
        """


class Beside(Numbered, Protocol):
    """What a changed system reaches beside the known states, whose numbers come first.

    A run to a state is one of the known system up to the first state that is not known.
    """

    @property
    def is_closed(self) -> bool:
        """Whether everything that follows was found."""

    def waves(self, name: str) -> Iterator[list[tuple[int, int]]]:
        """Find what follows, bit by bit, and tell what of it meets conditions.

        Yields
        ------
        list of (int, int)
            The number of a condition of `name` and the first new state that meets it; one list
            for every bit of the work. After the last one `is_closed` holds, unless there was too
            much of it.
        """

    def stays(self, name: str) -> Answer:
        """As `FromPowerUp.stays`, among the known states and these; `is_closed` first."""

    def can_go(self, source: int, name: str, bit: int) -> bool:
        """Whether a state that meets a condition of `name` can be reached from a state."""

    def never_back(self, name: str) -> bytes:
        """For each state 1 where no state with condition 0 of `name` can be reached from it.

        Condition 1 of `name` says where the systems differ. The known states need their aim, which
        is what condition 0 should say.
        """

    def count_new(self, name: str) -> int:
        """How many states that are not known meet condition 0 of `name`."""


class Changed(Protocol):
    """A changed system, ready to be explored from power-up or beside the known states."""

    def from_power_up(self, most_states: int) -> FromPowerUp:
        """What it reaches from its initial state, up to so many states."""

    def beside(self, most_new: int) -> AbstractContextManager[Beside]:
        """What it reaches beside the known states, up to so many; a context, then gone."""


class Kept(Protocol):
    """The reachable states of a system, numbered breadth first."""

    @property
    def complete(self) -> bool:
        """Whether no limit was hit; only then may changed systems be explored from them."""

    @property
    def n_states(self) -> int:
        """How many there are."""

    @property
    def aim(self) -> int | None:
        """A state to which every other leads back but those before the first scan; None if not so.

        There is none where faults may strike: no way back leads from a state with one to all.
        """

    def state(self, number: int) -> State:
        """The state with that number."""

    def first(self, conditions: Sequence[Expr]) -> list[tuple[int, int] | None]:
        """For each condition how many states have it, and the first; None where none has."""

    def depth_of(self, number: int) -> int:
        """Moves of a shortest run to a state."""

    def witness_to(self, number: int) -> Witness:
        """A shortest run to a state."""

    def way(self, source: int, goal: Expr) -> list[str] | None:
        """The moves of a shortest way from a state to one with `goal`; None where there is none."""

    def changed(
        self,
        system: System,
        differs: Expr,
        conditions: Mapping[str, Sequence[Expr]],
        limits: Limits = Limits(),
    ) -> Changed:
        """A changed system over the same variables.

        Parameters
        ----------
        system : System
            With the variables of the known system in the same order and with the same initial
            values, and at most eight moves more.
        differs : Expr
            Holds in every known state in which any move of the two systems differs.
        conditions : mapping of str to sequence of Expr
            Up to `CONDITIONS_AT_ONCE` each, for what is asked later.
        limits : Limits

        Raises
        ------
        ValueError
            For other variables, or too many moves.
        """


@runtime_checkable
class Keeps(Protocol):
    """An engine that offers to keep what it reached."""

    def keep(
        self, system: System, limits: Limits = Limits(), progress: ProgressSink | None = None
    ) -> Kept:
        """Explore everything reachable in `system`, and keep it.

        Raises
        ------
        DeclinedError
            As `Engine.explore`.
        """
