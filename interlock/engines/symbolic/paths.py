"""Concrete shortest runs out of sets of states."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from interlock.base.errors import InternalError
from interlock.engines.symbolic.space import LimitError, Space
from interlock.kernel.evaluate import State
from interlock.kernel.system import Stepper
from interlock.kernel.witness import Step

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node


class Paths:
    """Finds runs in an explored space.

    Parameters
    ----------
    space : Space
    """

    def __init__(self, space: Space) -> None:
        self.space = space
        self._encoding = space.encoding
        self._stepper = Stepper(space.system)
        self._before: dict[tuple[Node, State], tuple[str, State]] = {}

    @property
    def spaces(self) -> tuple[Space, ...]:
        """Where runs along legs are looked for, in one after the other."""
        return (self.space,)

    def to_nearest(self, target: Node, most: int | None = None) -> list[Step] | None:
        """A run of the fewest moves from the initial state into `target`.

        None where nothing in `target` was reached, or only by more than `most` moves.

        Raises
        ------
        LimitError
            If a limit was hit before a shortest run was found.
        """
        space = self.space
        for depth, ring in enumerate(space.rings):
            hit = ring & target
            if hit.satisfiable():
                if most is not None and depth > most:
                    return None
                return self._through_rings(depth, self._encoding.pick(hit))
        target = target & space.reached
        if space.has_all_rings or not target.satisfiable():
            return None
        if not space.is_complete:
            # A shorter run may lead through states that were not found.
            raise LimitError
        rings = [target]
        seen = target
        # Both ends grow by one move at a time, the simpler one first, until they meet; the rings
        # ahead are kept for the runs that are still to come.
        while not (rings[-1] & space.rings[-1]).satisfiable():
            if most is not None and len(rings) + len(space.rings) - 2 >= most:
                return None
            self._report(rings)
            if space.rings[-1].node_count() <= space.favour_ahead * rings[-1].node_count():
                space.extend_rings()
            else:
                rings.append(self._ring_before(rings[-1], space.reached & ~seen))
                seen = seen | rings[-1]
        crossing = self._encoding.pick(rings[-1] & space.rings[-1])
        return self._through_rings(len(space.rings) - 1, crossing) + self.descend(rings, crossing)

    def between(self, source: State, target: Node, within: Node) -> list[Step]:
        """A shortest run inside `within` from `source` into `target`; there must be one."""
        rings = [target & within]
        seen = rings[0]
        while not self._encoding.holds(rings[-1], source):
            self._report(rings)
            rings.append(self._ring_before(rings[-1], within & ~seen))
            seen = seen | rings[-1]
        return self.descend(rings, source)

    def _report(self, rings: Sequence[Node]) -> None:
        space = self.space
        space.budget.report("tracing", space.n_reached, len(rings) + len(space.rings) - 2)

    def _ring_before(self, ring: Node, within: Node) -> Node:
        """As `before`, where there are such states."""
        found = self.before(ring, within)
        if not found.satisfiable():
            raise InternalError("symbolic: a state that was reached has no run to it")
        return found

    def before(self, ring: Node, within: Node) -> Node:
        """The states of `within` from which one move leads into `ring`."""
        images = []
        for move in self.space.moves:
            self.space.check()
            images.append(move.preimage(ring) & within)
        return self.space.diagrams.disjunction(images)

    def descend(self, rings: Sequence[Node], state: State) -> list[Step]:
        """A run from `state`, in the last of `rings`, down into the first."""
        steps = []
        allowed = {move.name for move in self.space.moves}
        for ring in reversed(rings[:-1]):
            for move, successor in self._stepper.successors(state):
                if move.name in allowed and self._encoding.holds(ring, successor):
                    steps.append(Step(move.name, successor))
                    state = successor
                    break
            else:
                raise InternalError("symbolic: a ring does not lead to the next")
        return steps

    def _through_rings(self, depth: int, state: State) -> list[Step]:
        """A run of `depth` moves from the initial state to `state`."""
        steps: list[Step] = []
        for ring in reversed(self.space.rings[:depth]):
            # Runs to many targets come together on their way back.
            known = self._before.get((ring, state))
            if known is None:
                known = self._before[ring, state] = self._one_before(ring, state)
            move, earlier = known
            steps.append(Step(move, state))
            state = earlier
        return steps[::-1]

    def _one_before(self, ring: Node, state: State) -> tuple[str, State]:
        """A state of the ring before, and the move that leads from it to `state`."""
        goal = self._encoding.is_state(state)
        for move in self.space.moves:
            if not move.may_leave(state):
                continue
            earlier = move.preimage(goal) & ring
            if earlier.satisfiable():
                return move.name, self._encoding.pick(earlier)
        raise InternalError("symbolic: a ring does not follow from the one before")
