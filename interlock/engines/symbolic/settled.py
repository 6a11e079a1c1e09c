"""The graph of settled states: ways back are looked for in it.

A step is a move together with the scan that answers it, see `settling`. What holds only between
the two is read off the step; it substitutes two or three variables instead of a whole scan.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from functools import cached_property
from typing import TYPE_CHECKING

from interlock.engines.symbolic.graph import Graph
from interlock.engines.symbolic.moves import SymbolicMove
from interlock.engines.symbolic.settling import Settling
from interlock.kernel.expr import Expr

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node
    from interlock.engines.symbolic.space import Space


class SettledGraph(Graph):
    """The settled states of an explored space, without the variables that follow from others.

    Make it with `settled_graph`.

    Parameters
    ----------
    space : Space
        Explored to its end by chaining.
    settling : Settling
    found : Node
        The settled states, without the variables left out.
    """

    def __init__(self, space: Space, settling: Settling, found: Node) -> None:
        self._space = space
        self._settling = settling
        self.diagrams = space.diagrams
        self.reached = found
        self._steps = settling.steps

    @property
    def moves(self) -> Sequence[SymbolicMove]:  # type: ignore[override]
        """The steps, and the scan of an unchanged state."""
        return [*self._steps, self._settling.repeat]

    def check(self) -> None:
        """Raise LimitError if time or memory ran out; drop unused nodes."""
        self._space.check()

    def onward(self) -> SettledGraph:
        """Without the strikes and clearings of faults, which no way back may use."""
        onward, never = self._space.system.onward, self.diagrams.false
        new = copy(self)
        new._steps = [s if s.name in onward else s.restricted(never) for s in self._steps]
        return new

    def leading_to(self, wanted: Node) -> Node:
        """The settled states that are `wanted`, or from which one move leads to such a state."""
        able = self.reached & self._settling.inlined(wanted)
        for move, step in zip(self._settling.moves, self._steps, strict=True):
            leads_there = self._settling.inlined(move.preimage(wanted))
            able = able | self.reached & step.guard & leads_there
        return able

    @property
    def leaves_out_events(self) -> bool:
        """Whether its steps are not all that can happen between two scans."""
        return bool(self._settling.events)

    def scanned(self, states: Node) -> Node:
        """What a scan makes of them."""
        return self._settling.scan.image(states)

    def narrowed(self, states: Node) -> Node:
        """Settled states without the variables left out."""
        return self._settling.narrowed(states)

    def widened(self, states: Node) -> Node:
        """Settled states with all their variables."""
        return self._settling.widened(states)


def settled_graph(space: Space) -> SettledGraph | None:
    """The settled graph of an explored space; None where it has none or was not searched so."""
    if space.chained is None or not space.is_complete:
        return None
    search, found = space.chained
    if search.settling is None:
        return None
    if (space.encoding.valid & ~search.settling.scan.guard).satisfiable():
        return None
    return SettledGraph(space, search.settling, found)


class WaysBack:
    """A cheap answer to whether some goal can be reached from everywhere: yes, or not known.

    Settled states and single steps are enough for most ways: where from all settled states one
    leads to the goal, one does from every other state, too, as a scan is always possible. And
    where all settled states lead back to one of them, what that one leads to can be reached from
    everywhere: one look backward and one forward serve all goals.

    Parameters
    ----------
    space : Space
    """

    def __init__(self, space: Space) -> None:
        self._space = space
        graph = settled_graph(space)
        self._graph = None if graph is None else graph.onward()

    @cached_property
    def _from_home(self) -> Node | None:
        """The settled states that can be reached from one to which all lead back."""
        graph = self._graph
        space = self._space
        # What has struck once has struck for good: nothing leads back to before.
        if graph is None or space.system.has_faults:
            return None
        power_up = space.encoding.is_state(space.system.initial)
        home = graph.narrowed(graph.scanned(power_up)) & graph.reached
        if graph.closure_before(home, graph.reached) != graph.reached:
            return None
        return graph.closure_after(home, graph.reached)

    def lead_to(self, goal: Expr) -> bool:
        """Whether it is known that `goal` can be reached from every reachable state."""
        graph = self._graph
        if graph is None:
            return False
        able = graph.leading_to(self._space.encoding.truth(goal))
        if self._from_home is not None:
            return bool((able & self._from_home).satisfiable())
        return bool(graph.closure_before(able, graph.reached) == graph.reached)
