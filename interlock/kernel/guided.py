"""The contract for shortest runs from many states to one goal: they share one exploration."""

from __future__ import annotations

from typing import Protocol, runtime_checkable

from interlock.kernel.evaluate import State
from interlock.kernel.expr import Expr
from interlock.kernel.query import Answer, Limits, ProgressSink
from interlock.kernel.system import System


class Guided(Protocol):
    """Shortest runs to a goal, from the states that a system can come to."""

    def way(self, state: State) -> Answer | None:
        """The answer to whether the goal can be reached from `state`, as that to a `Reach`.

        Returns
        -------
        Answer or None
            None where the system was not seen to come to `state`, so that nothing is known of it.
        """


@runtime_checkable
class Guides(Protocol):
    """An engine that keeps what it finds out about one goal."""

    def guide(
        self,
        system: System,
        goal: Expr,
        limits: Limits = Limits(),
        progress: ProgressSink | None = None,
    ) -> Guided | None:
        """Explore everything reachable in `system`, and find ways to `goal`.

        The limits hold for the exploration, and anew for each way.

        Returns
        -------
        Guided or None
            None where a limit was hit, or where the engine answers each such question as soon by
            itself.

        Raises
        ------
        DeclinedError
            If the engine cannot take the system.
        """
