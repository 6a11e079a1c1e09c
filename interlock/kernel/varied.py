"""The contract for a system whose changed forms are explored beside it, however many its states.

What `kernel.kept` is for states that can be listed, this is for more of them: they are known as a
set, without numbers. The known states and what a changed system's own moves lead to from there
hold everything that the changed system reaches, and maybe more. What is not found in them is not
found; what is found there counts once a run of the changed system leads to it.
`tests/contract/test_varied.py` runs over every engine that offers this.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from interlock.kernel.expr import Expr
from interlock.kernel.query import Limits, ProgressSink, Query
from interlock.kernel.system import System
from interlock.kernel.witness import Witness


@dataclass(frozen=True)
class FirstFound:
    """What of several queries was found first in a changed system.

    Attributes
    ----------
    number : int or None
        Which of the queries; None where none is found, or a limit was hit.
    witness : Witness or None
        A run of the changed system that shows it, not always the shortest.
    n_states : int
        States that were looked at; some may be out of the changed system's reach.
    limit : str or None
        The limit that was hit, before everything was looked at.
    """

    number: int | None
    witness: Witness | None
    n_states: int
    limit: str | None = None


class Varied(Protocol):
    """Everything that a system reaches, as a set."""

    @property
    def n_states(self) -> int:
        """How many states there are."""

    def occurs(self, condition: Expr) -> bool:
        """Whether some state meets a condition."""

    def nearest(self, condition: Expr, most: int | None = None) -> Witness | None:
        """A run of the fewest moves to a state that meets it, up to `most`; None without one."""

    def first_found(
        self, system: System, queries: Sequence[Query], limits: Limits = Limits()
    ) -> FirstFound:
        """Whether a changed system has what one of `queries` looks for.

        Parameters
        ----------
        system : System
            With other variables, or other initial values, it is explored by itself.
        queries : sequence of Query
            `Reach`, `Trap` and `Stay`. What is found soonest is told, not what comes first here.
        limits : Limits

        Raises
        ------
        DeclinedError
            As `Engine.explore`.
        """


@runtime_checkable
class Varies(Protocol):
    """An engine that offers this."""

    def vary(
        self, system: System, limits: Limits = Limits(), progress: ProgressSink | None = None
    ) -> Varied | None:
        """Explore everything reachable in `system`; None where a limit was hit.

        Raises
        ------
        DeclinedError
            As `Engine.explore`.
        """
