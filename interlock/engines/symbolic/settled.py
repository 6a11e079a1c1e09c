"""The graph of settled states: ways back are looked for in it.

A step is a move together with the scan that answers it, see `settling`. What holds only between
the two is read off the step; it substitutes two or three variables instead of a whole scan.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from copy import copy
from functools import cached_property
from typing import TYPE_CHECKING

from interlock.engines.symbolic.graph import Graph
from interlock.engines.symbolic.moves import SymbolicMove
from interlock.engines.symbolic.settling import Settling
from interlock.kernel.evaluate import State
from interlock.kernel.expr import Expr
from interlock.kernel.system import PHASE

if TYPE_CHECKING:
    from interlock.engines.symbolic.chaining import Search
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

    def of(self, found: Node) -> SettledGraph:
        """With these settled states alone."""
        new = copy(self)
        new.reached = found
        return new

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
    def takes_turns(self) -> bool:
        """Whether each move needs `PHASE` to be 0 and leaves another, whatever else a state holds.

        More than that no move can follow another: that may lean on counts that only states between
        scans have, as where one machine alone moves once.
        """
        encoding = self._space.encoding
        scanned = encoding.is_value(encoding.system.index[PHASE], 0)
        return not any(
            (move.guard & ~scanned | move.preimage(scanned)).satisfiable()
            for move in self._settling.anywhere
        )

    def all_states(self, states: Node) -> Node:
        """Settled states with all their variables, and what one move leads to from them."""
        states = self.widened(states)
        pairs = zip(self._settling.moves, self._steps, strict=True)
        moved = (m.image(states) for m, step in pairs if step.guard.satisfiable())
        return self.diagrams.disjunction([states, *moved])

    @property
    def scan(self) -> SymbolicMove:
        """The scan, over all variables."""
        return self._settling.scan

    def scanned(self, states: Node) -> Node:
        """What a scan makes of them."""
        return self._settling.scan.image(states)

    def inlined(self, condition: Node) -> Node:
        """Where a condition holds in settled states, without the variables left out."""
        return self.reached & self._settling.inlined(condition & self._settling.settled)

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
    graph = anywhere_settled(space, search)
    return None if graph is None else graph.of(found)


def anywhere_settled(space: Space, search: Search) -> SettledGraph | None:
    """The settled graph of all states there may be; None where a system has none."""
    settling = search.settling
    if settling is None or (space.encoding.valid & ~settling.scan.guard).satisfiable():
        return None
    return SettledGraph(space, settling, settling.narrowed(space.encoding.valid))


class WaysBack:
    """A cheap look at whether some goal can be reached from everywhere: yes, or not known.

    Settled states and single steps are enough for most ways: where from all settled states one
    leads to the goal, one does from every other state, too, as a scan is always possible. And
    where all settled states lead back to one of them, what that one leads to can be reached from
    everywhere: one look backward and one forward serve all goals. A way back lets no fault strike
    or clear. So each combination of faults in force is looked at by itself, and its home is the
    state after power-up but for these faults.

    Parameters
    ----------
    space : Space
    """

    def __init__(self, space: Space) -> None:
        self._space = space
        graph = settled_graph(space)
        self._graph = None if graph is None else graph.onward()
        # Sets of reached states that no way leaves: what ways from noted states lead to.
        self._closed: list[Node] = []
        # The faults whose homes are noted.
        self._homes_noted = space.diagrams.false
        # For each goal under which faults it was looked for, and what was found.
        self._known_under: dict[Expr, tuple[Node, Node]] = {}

    @cached_property
    def _lasting(self) -> frozenset[int]:
        """The bits that no way back changes: which faults are in force, and what they hold."""
        system = self._space.system
        changed = {name for move in system.onward.values() for name in move.updates}
        own = zip(system.variables, self._space.encoding.bits, strict=True)
        return frozenset(b for variable, bits in own if variable.name not in changed for b in bits)

    def _under(self, states: Node) -> Node:
        """Which faults are in force in `states`, everything else forgotten."""
        dd = self._space.diagrams
        return states.exists(dd.positive(set(range(dd.n_bits)) - self._lasting))

    def lasts(self, bits: Iterable[int]) -> bool:
        """Whether no way back changes any of these bits."""
        return self._lasting.issuperset(bits)

    @cached_property
    def _home(self) -> Node:
        """For each combination of faults the settled state after power-up but for these."""
        graph, space = self._graph, self._space
        assert graph is not None
        power_up = space.encoding.is_state(space.system.initial)
        faults = space.diagrams.positive(self._lasting)
        return graph.narrowed(graph.scanned(power_up)).exists(faults) & graph.reached

    @cached_property
    def _homes(self) -> tuple[Node, Node]:
        """The settled states that lead back to the home of their faults, and all homes lead to."""
        graph = self._graph
        assert graph is not None
        back = graph.closure_before(self._home, graph.reached)
        return back, graph.all_states(graph.closure_after(self._home, graph.reached))

    def _all_behind(self, settled: Node) -> Node:
        """Every state that a way leads to from settled ones, also where moves outrun the scan."""
        space, never = self._space, self._space.diagrams.false
        assert space.chained is not None
        barred = {m.name: never for m in space.moves if m.name not in space.system.onward}
        found = space.chained[0].after(settled, barred)
        assert found is not None
        return found

    def lost(self, goal: Expr) -> Node:
        """Some reached states, maybe none, from which no way leads to `goal`.

        Nothing that follows a noted state is at the goal under its faults. What was noted for one
        goal serves all that a fault shuts off.
        """
        wanted = self._space.encoding.truth(goal)
        return self._space.diagrams.disjunction(
            closed & ~self._under(closed & wanted) for closed in self._closed
        )

    def note(self, states: Iterable[State]) -> None:
        """Look at what follows these states, each under other faults, for this goal and others."""
        encoding = self._space.encoding
        noted = self._space.diagrams.disjunction(map(encoding.is_state, states))
        if self._graph is not None and noted.satisfiable():
            self._closed.append(self._all_behind(noted))

    def note_homes(self, under: Node) -> None:
        """Look at what follows the homes of these faults, see `note`."""
        if self._graph is None:
            return
        asked = under & ~self._homes_noted
        home = self._graph.widened(self._home & asked)
        if home.satisfiable():
            self._closed.append(self._all_behind(home))
        self._homes_noted = self._homes_noted | asked

    def where_not_always(self, goal: Expr) -> Node:
        """Under which faults, and what they hold, some state there may be is not at the goal."""
        encoding = self._space.encoding
        return self._under(encoding.valid & ~encoding.truth(goal))

    @property
    def settled(self) -> Node:
        """The settled states, over all variables."""
        graph = self._graph
        return self._space.diagrams.false if graph is None else graph.widened(graph.reached)

    def doubtful(self, goal: Expr, under: Node | None = None) -> tuple[Node, Node]:
        """Reached states of which it is not known whether a way leads to `goal`.

        A way from one of them leads through them alone. Given with those among them that are at
        the goal, or are known to lead to it. Only states `under` some faults are looked at, where
        such are given: a condition on what no way back changes, see `lasts`.
        """
        graph, space = self._graph, self._space
        wanted = space.encoding.truth(goal)
        under = space.diagrams.true if under is None else under
        if graph is None:
            return space.reached & under, space.reached & under & wanted
        known = self._known(goal, under)
        doubtful = space.reached & under & self._under(graph.reached & under & ~known)
        return doubtful, doubtful & (wanted | graph.widened(known))

    def settled_in_doubt(self, goal: Expr, under: Node) -> Node | None:
        """The settled states that are not known to lead to `goal`; None where there are no such."""
        graph = self._graph
        if graph is None:
            return None
        return graph.widened(graph.reached & under & ~self._known(goal, under))

    def _known(self, goal: Expr, under: Node) -> Node:
        """The settled states from which single moves and scans lead to `goal`.

        Under these faults all of them, and maybe some under others; what was found before is kept.
        """
        graph = self._graph
        assert graph is not None
        nothing = self._space.diagrams.false
        before, known = self._known_under.get(goal, (nothing, nothing))
        asked = under & ~before
        if not asked.satisfiable():
            return known
        wanted = self._space.encoding.truth(goal)
        back, led_to = self._homes
        known = known | back & self._under(led_to & wanted)
        left = graph.reached & asked & ~known
        if left.satisfiable():
            known = known | graph.closure_before(graph.leading_to(wanted) & left, left)
        self._known_under[goal] = before | under, known
        return known
