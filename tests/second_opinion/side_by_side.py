"""Two models of one plant side by side, both as the second opinion has them: what can be seen."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator

from interlock.model.model import Model
from tests.second_opinion.world import Act, Kind, State, World

Both = tuple[State, State]


class SideBySide:
    """Runs of two models in which the same happens in both.

    The end of a timer happens in both where it may in both, else in the one in which it may. Time
    passes in both at once. What is seen of an output is what it gives, not what has taken effect.

    Parameters
    ----------
    one, other : World
    model : Model
        Of `one`; its outputs and moves are those of both.
    """

    def __init__(self, one: World, other: World, model: Model) -> None:
        self._worlds = (one, other)
        self._outputs = list(model.outputs)

    def differences(self) -> tuple[int | None, int | None]:
        """Steps to the nearest difference that can be seen, and to one in what is owed before it.

        None where there is none.
        """
        first = (self._worlds[0].first, self._worlds[1].first)
        depth = {first: 0}
        owed_apart = None
        todo = deque([first])
        while todo:
            both = todo.popleft()
            if self._sight(self._worlds[0], both[0]) != self._sight(self._worlds[1], both[1]):
                return depth[both], owed_apart
            if owed_apart is None and self._owed_by(0, both) != self._owed_by(1, both):
                owed_apart = depth[both]
            for after in self._successors(both):
                if after not in depth:
                    depth[after] = depth[both] + 1
                    todo.append(after)
        return None, owed_apart

    def _sight(self, world: World, state: State) -> tuple[object, ...]:
        """Outputs as they act, and moves that can be made with what they make."""
        truth = world.truth(state)
        moved = {
            act.name: after.places
            for act, after in world.successors(state, truth)
            if act.kind is Kind.MOVE
        }
        given = world.given(state)
        return (tuple(given[name] for name in self._outputs), moved)

    def _owed_by(self, number: int, both: Both) -> set[str]:
        """Moves of the plant that one of the two owes, scans being due or not."""
        world, state = self._worlds[number], both[number]
        return {act.name for act in world.owes(state, world.truth(state)) if act.kind is Kind.MOVE}

    def _successors(self, both: Both) -> Iterator[Both]:
        one, other = (self._after(*pair) for pair in zip(self._worlds, both, strict=True))
        for act in one | other:
            if act in one and act in other:
                yield one[act], other[act]
            elif act.kind in (Kind.TIMER, Kind.LATE):
                yield one.get(act, both[0]), other.get(act, both[1])

    def _after(self, world: World, state: State) -> dict[Act, State]:
        return dict(world.successors(state, world.truth(state)))
