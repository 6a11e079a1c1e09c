"""With which faults something can be reached no more, told without a look at every state."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import TYPE_CHECKING

from interlock.engines.symbolic.projection import Projection
from interlock.engines.symbolic.settled import WaysBack
from interlock.engines.symbolic.space import Space
from interlock.kernel.expr import Expr

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node

_MOST_NOTED = 64
"""Sets of faults of which what follows a state is kept: of many faults together there are too many,
and what is not kept is only looked at anew."""


class Traps:
    """The states of an explored space from which no way leads to one goal or another.

    Parameters
    ----------
    space : Space
        Explored.
    seen : Projection
        Of it.
    flags : sequence of str
        Variables that moves only ever set.
    """

    def __init__(self, space: Space, seen: Projection, flags: Sequence[str]) -> None:
        self._space, self._seen, self._flags = space, seen, tuple(flags)
        # For a goal which values of flags were looked at, and the traps under them.
        self._known: dict[Expr, tuple[Node, Node]] = {}

    @cached_property
    def _ways_back(self) -> WaysBack:
        return WaysBack(self._space)

    @cached_property
    def keep_flags(self) -> bool:
        """Whether no way back changes a flag."""
        return self._ways_back.lasts(self._seen.bits_of(self._flags))

    def among(self, goal: Expr, here: Node, under: Node) -> Node:
        """Traps among the states `here`, as many as tell under which of these flags there are any.

        What follows a home without any way to the goal, or another trap, tells of most flags; only
        states under the others are looked at one and all. Where no way back changes a flag.
        """
        found = self._ways_back.lost(goal) & here & under
        left = under & ~self._seen.forgotten(found, self._flags)
        if not left.satisfiable():
            return found
        more = self.under(goal, left) & here
        known = more & self._ways_back.settled
        self._ways_back.note(self._seen.one_of_each(known, self._flags, _MOST_NOTED))
        return found | more

    def under(self, goal: Expr, flags: Node) -> Node:
        """The states from which no way leads to `goal`, with at least these values of flags."""
        nothing = self._space.diagrams.false
        known, traps = self._known.get(goal, (nothing, nothing))
        left = flags & ~known
        if left.satisfiable():
            doubtful, able = self._ways_back.doubtful(goal, left)
            onward = self._space.onward()
            traps = traps | doubtful & ~onward.closure_before(able, doubtful)
            self._known[goal] = (known | left, traps)
        return traps
