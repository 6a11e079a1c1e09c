"""Whether what can always still be done can still be done: asked of an engine.

What can still be done wherever the model may come to can be done wherever a rehearsal comes to.
Only where that is not so it is asked once for each state.
"""

from __future__ import annotations

from collections.abc import Sequence

from interlock.commands.rehearse.successors import World
from interlock.commands.rehearse.walk import WalkLimitError
from interlock.kernel.asking import Question
from interlock.kernel.evaluate import State
from interlock.kernel.expr import Expr
from interlock.kernel.query import Answer, Engine, Limits, Reach, Trap
from interlock.kernel.system import System


class Lasting:
    """Tells which 'can still' is lost for ever.

    As everywhere, any move may be used to get to a goal, human errors included. From a single state
    a few moves are tried first: what they reach is reached.

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
        self._in_doubt: list[tuple[Question, Expr]] | None = None

    def lost(self, state: State) -> Question | None:
        """The first requirement whose goal cannot be reached any more; None where there is none.

        Where one is lost in a state it is lost in every state that follows.

        Parameters
        ----------
        state : State
            Of the world's system, one that it can come to.

        Raises
        ------
        WalkLimitError
            Where a limit was hit.
        """
        bare = self._world.bare(state)
        if bare not in self._known:
            self._known[bare] = self._asked(bare)
        return self._known[bare]

    def _doubted(self) -> list[tuple[Question, Expr]]:
        """What is lost somewhere, or may be."""
        if self._in_doubt is None:
            asked = self._world.lasting
            traps = [Trap(goal) for _, goal in asked]
            answers: Sequence[Answer] = ()
            if traps:
                system = self._world.built.system
                answers = self._engine.explore(system, traps, self._limits).answers
            pairs = zip(asked, answers, strict=True)
            self._in_doubt = [one for one, answer in pairs if answer.found is not False]
        return self._in_doubt

    def _asked(self, state: State) -> Question | None:
        left = list(self._doubted())
        for system in self._systems:
            if not left:
                return None
            queries = [Reach(goal) for _, goal in left]
            explored = self._engine.explore(system.starting_in(state), queries, self._limits)
            found = [answer.found for answer in explored.answers]
            left = [one for one, reached in zip(left, found, strict=True) if not reached]
        if explored.limit is not None and left:
            raise WalkLimitError(f"what can still be done: {explored.limit}")
        return left[0][0] if left else None
