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

        What follows one doubtful state of each, for this goal or one before, tells of most flags;
        only states under the others are looked at one and all. Where no way back changes a flag.
        """
        found = self._ways_back.lost(goal) & here & under
        left = under & ~self._flags_in(found)
        if not left.satisfiable():
            return found
        doubted = self._ways_back.settled_in_doubt(goal, left)
        if doubted is not None:
            # One such state of each is mostly enough, and what follows it tells of other goals.
            left = left & self._flags_in(doubted)
            found = found | self._noted(goal, doubted & here) & here & left
            left = left & ~self._flags_in(found)
        return found | self.under(goal, left) & here if left.satisfiable() else found

    def _noted(self, goal: Expr, doubted: Node) -> Node:
        """Traps that are found by what follows one of some settled states under each of the flags.

        Traps found before may be among them.
        """
        states = self._seen.one_of_each(doubted, self._flags, _MOST_NOTED)
        self._ways_back.note(states)
        return self._ways_back.lost(goal)

    def _flags_in(self, states: Node) -> Node:
        return self._seen.forgotten(states, self._flags)

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
