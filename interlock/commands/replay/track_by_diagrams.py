"""As `track`, with sets of states as diagrams: for records that leave very many possible."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, TypeAlias

from interlock.commands.replay.track import ANY_NUMBER, Nearest, TooManyError, Values, shown_roles
from interlock.engines import follower
from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr
from interlock.kernel.query import DeclinedError
from interlock.kernel.system import PHASE, Move, MoveKind, System

# What sets of states are is the engine's own affair; they can be compared and remembered.
States: TypeAlias = Any

MOST_REMEMBERED = 20_000
_USED_UP = "the memory for sets of states is used up"


class SetTracker:
    """Follows the states that a system may be in, however many they are.

    Parameters
    ----------
    system : System
    observed : sequence of Expr
        What each sample shows.
    after_scan : bool
        Samples are taken after completed scans only.
    max_bytes : int, optional
        Memory for the diagrams.

    Raises
    ------
    DeclinedError
        If the symbolic engine cannot take the system.
    """

    def __init__(
        self,
        system: System,
        observed: Sequence[Expr],
        after_scan: bool,
        max_bytes: int | None = None,
    ) -> None:
        if any(move.kind is MoveKind.TIME for move in system.moves):
            raise DeclinedError("units of time are counted only where states are listed")
        self._system = system
        self._observed = observed
        self._after_scan = after_scan
        self._following = follower().follow(system, max_bytes)
        self._within: dict[tuple[States, int], States] = {}
        self._after: dict[tuple[States, int, Values], States] = {}
        self._counts: dict[States, int] = {}

    def start(self) -> States:
        """The initial state."""
        return self._following.start

    def everywhere(self) -> States:
        """Every reachable state.

        Raises
        ------
        TooManyError
        """
        return self._near(self.start(), ANY_NUMBER)

    def after(self, states: States, n_moves: int, values: Values, n_units: int = 0) -> States:
        """The states that show `values`, within `n_moves` moves from `states`; empty if none.

        Raises
        ------
        TooManyError
            Where the memory does not suffice.
        """
        assert not n_units, "a system in which time passes was declined"
        key = states, n_moves, values
        found = self._after.get(key)
        if found is None:
            found = self._samples(states, n_moves)
            try:
                for expr, value in zip(self._observed, values, strict=True):
                    if value is not None:
                        found = self._following.showing(found, expr, value)
            except MemoryError:
                raise TooManyError(_USED_UP) from None
            self._after[key] = found
        return found

    def _near(self, states: States, n_moves: int) -> States:
        if len(self._within) + len(self._after) + len(self._counts) > MOST_REMEMBERED:
            for remembered in (self._within, self._after, self._counts):
                remembered.clear()
        key = states, n_moves
        if key not in self._within:
            bound = None if n_moves == ANY_NUMBER else n_moves
            try:
                self._within[key] = self._following.within(states, bound)
            except MemoryError:
                raise TooManyError(_USED_UP) from None
        return self._within[key]

    def _samples(self, states: States, n_moves: int) -> States:
        """The states in which a sample may be taken."""
        near = self._near(states, n_moves)
        return self._following.showing(near, ex.var(PHASE), 0) if self._after_scan else near

    def count(self, states: States) -> int:
        """How many there are."""
        if states not in self._counts:
            self._counts[states] = self._following.count(states)
        return self._counts[states]

    def possible(self, states: States) -> dict[str, tuple[str, ...]]:
        """For each machine, control, output and fault the values that it may have."""
        return {
            v.name: tuple(v.domain.show(x) for x in self._following.values(states, v.name))
            for v in shown_roles(self._system)
        }

    def units_that_fit(self, states: States, n_moves: int, values: Values, most: int) -> set[int]:
        """None: a system in which time passes was declined."""
        raise TooManyError(f"{states}: {n_moves}, {values}, {most} units are not followed")

    def together(self, some: States, others: States) -> States:
        """What is in either."""
        return self._following.union(some, others)

    def nearest(
        self, states: States, n_moves: int, values: Values, n_units: int = 0
    ) -> Nearest | None:
        """The fewest differences from `values` among what is possible, and a way there."""
        assert not n_units, "a system in which time passes was declined"
        following = self._following
        # By how many differences there are so far, from none on.
        found = [self._samples(states, n_moves)]
        if not following.count(found[0]):
            return None
        for expr, value in zip(self._observed, values, strict=True):
            if value is not None:
                right = [following.showing(part, expr, value) for part in found]
                wrong = [following.without(a, b) for a, b in zip(found, right, strict=True)]
                none = following.without(right[0], right[0])
                found = [
                    following.union(a, b)
                    for a, b in zip([*right, none], [none, *wrong], strict=True)
                ]
        chosen = next(part for part in found if following.count(part))
        sight = []
        for expr in self._observed:
            value, chosen = following.least(chosen, expr)
            sight.append(value)
        return Nearest(tuple(sight), self.way(states, chosen))

    def way(self, start: States, target: States) -> list[Move]:
        """The fewest moves and scans from a state of `start` to one of `target`."""
        return self._following.way(start, target)
