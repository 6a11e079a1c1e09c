"""Whether what can always still be done can still be done: asked of an engine, once for a state."""

from __future__ import annotations

from interlock.commands.rehearse.successors import World, starting_in
from interlock.commands.rehearse.walk import WalkLimitError
from interlock.kernel.asking import Question
from interlock.kernel.evaluate import State
from interlock.kernel.query import Engine, Limits, Reach
from interlock.kernel.system import System


class Lasting:
    """Tells which 'can still' is lost for ever.

    As everywhere, any move may be used to get to a goal, human errors included. A few moves are
    tried first: what they reach is reached.

    Parameters
    ----------
    world : World
    few : System
        The model's system with fewer moves.
    engine : Engine
    limits : Limits
    """

    def __init__(self, world: World, few: System, engine: Engine, limits: Limits) -> None:
        self._world = world
        self._systems = (few, world.built.system)
        self._engine = engine
        self._limits = limits
        self._known: dict[State, Question | None] = {}

    def lost(self, state: State) -> Question | None:
        """The first requirement whose goal cannot be reached any more; None where there is none.

        Where one is lost in a state it is lost in every state that follows.

        Parameters
        ----------
        state : State
            Of the world's system.

        Raises
        ------
        WalkLimitError
            Where a limit was hit.
        """
        bare = self._world.bare(state)
        if bare not in self._known:
            self._known[bare] = self._asked(bare)
        return self._known[bare]

    def _asked(self, state: State) -> Question | None:
        left = list(self._world.lasting)
        for system in self._systems:
            if not left:
                return None
            queries = [Reach(goal) for _, goal in left]
            explored = self._engine.explore(starting_in(system, state), queries, self._limits)
            found = [answer.found for answer in explored.answers]
            left = [one for one, reached in zip(left, found, strict=True) if not reached]
        if explored.limit is not None and left:
            raise WalkLimitError(f"what can still be done: {explored.limit}")
        return left[0][0] if left else None
