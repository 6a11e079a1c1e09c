"""The graph of settled states: what goes on for ever, and what is lost for good, asked of it.

A step is a move together with the scan that answers it, see `settling`. What holds only between
the two is read off the step, so the answers are the same as in the graph of all states; they
come faster since a step substitutes two or three variables instead of a whole scan.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from interlock.engines.symbolic.chaining import Search, chained
from interlock.engines.symbolic.graph import Debt, Graph, fair_core
from interlock.engines.symbolic.moves import SymbolicMove
from interlock.kernel.expr import TRUE, Expr, and_
from interlock.kernel.system import MoveKind

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node
    from interlock.engines.symbolic.space import Space


@dataclass(frozen=True)
class _StepDebt:
    """A move that is owed: by which step it is paid, and where it is void."""

    step: SymbolicMove
    is_void: Node
    void_between: tuple[tuple[SymbolicMove, Node], ...]
    is_lasting: bool = False

    def paid(self, core: Node) -> Node:
        paying = core & (self.is_void | self.step.preimage(core))
        for step, where in self.void_between:
            paying = paying | core & where & step.preimage(core)
        return paying


@dataclass(frozen=True)
class _EveryStep:
    """The scan: each step pays it."""

    graph: Graph
    is_lasting: bool = True

    def paid(self, core: Node) -> Node:
        return core & self.graph.before(core)


class SettledGraph(Graph):
    """The settled states of an explored space, without the variables that follow from others.

    Make it with `settled_graph`.

    Parameters
    ----------
    space : Space
        Explored to its end by chaining.
    search : Search
        For settled states.
    found : Node
        What it found.
    """

    def __init__(self, space: Space, search: Search, found: Node) -> None:
        assert search.settling is not None
        self._space = space
        self._search = search
        self._settling = search.settling
        self.diagrams = space.diagrams
        self.reached = found
        self._steps = self._settling.steps

    @property
    def moves(self) -> Sequence[SymbolicMove]:  # type: ignore[override]
        """The steps, and the scan of an unchanged state."""
        return [*self._steps, self._settling.repeat]

    def check(self) -> None:
        """Raise LimitError if time or memory ran out; drop unused nodes."""
        self._space.check()

    def tamed(self, flags: Iterable[int]) -> SettledGraph:
        """Without the steps that set one of `flags` (bits) that is not set already."""
        flags = frozenset(flags)
        bits = self._space.encoding.bits
        conditions = [
            self.diagrams.positive(flags.intersection(b for v in move.values for b in bits[v]))
            for move in self._settling.moves
        ]
        return self._restricted(conditions, self.diagrams.true)

    def onward(self) -> SettledGraph:
        """Without the strikes and clearings of faults, which no way back may use."""
        onward, dd = self._space.system.onward, self.diagrams
        conditions = [dd.true if m.name in onward else dd.false for m in self._settling.moves]
        return self._restricted(conditions, dd.true)

    def staying(self, stay: Expr) -> SettledGraph:
        """Without the states in which `stay` fails, those between a move and its scan, too."""
        keeps = self._space.encoding.truth(stay)
        return self._restricted(self._after_moves(keeps), self._settling.inlined(keeps))

    def only(self, allowed: Mapping[str, Expr]) -> tuple[SettledGraph, Node]:
        """As much as is reached by moves, scans included, that are made where they are allowed.

        Returns
        -------
        SettledGraph
        Node
            All states, those between a move and its scan included.
        """
        truth = self._space.encoding.truth
        search = self._search.restricted({name: truth(expr) for name, expr in allowed.items()})
        found = search.start
        for more in chained(search.steps, search.faults, search.start):
            self.check()
            found = more
        parts = []
        for part in search.all_states(found):
            self.check()
            parts.append(part)
        return SettledGraph(self._space, search, found), self.diagrams.disjunction(parts)

    def _restricted(self, conditions: Sequence[Node], within: Node) -> SettledGraph:
        new = copy(self)
        new.reached = self.reached & within
        new._steps = [
            step.restricted(condition)
            for step, condition in zip(self._steps, conditions, strict=True)
        ]
        return new

    def _after_moves(self, condition: Node) -> list[Node]:
        """For each move, from which settled states it leads to where `condition` holds."""
        return [self._settling.inlined(move.preimage(condition)) for move in self._settling.moves]

    def starts(self, start: Expr, stay: Expr) -> Node:
        """Settled states in which, or on the way to which, `start` held, and `stay` ever since."""
        both = self._space.encoding.truth(and_(start, stay))
        keeps = self._space.encoding.truth(stay)
        found = self.reached & self._settling.inlined(both)
        for step, begins in zip(self._steps, self._after_moves(both), strict=True):
            self.check()
            found = found | step.restricted(begins).image(self.reached)
        early = self._search.irregular & both
        moved = [
            move.image(early) & self._search.irregular & keeps for move in self._settling.moves
        ]
        early = self.diagrams.disjunction([early, *moved])
        scanned = self._settling.narrowed(self._settling.scan.image(early))
        return (found | scanned) & self.reached & self._settling.inlined(keeps)

    def trapped(self, goal: Expr) -> Node:
        """The settled states from which no state with `goal` can be reached."""
        able = self.leading_to(self._space.encoding.truth(goal))
        return self.reached & ~self.closure_before(able, self.reached)

    def leading_to(self, wanted: Node) -> Node:
        """The settled states that are `wanted`, or from which one move leads to such a state."""
        able = self.reached & self._settling.inlined(wanted)
        for step, leads_there in zip(self._steps, self._after_moves(wanted), strict=True):
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

    def with_those_between(self, trapped: Node, goal: Expr) -> Node:
        """The `trapped` states, and those without `goal` whose scan leads to one of them.

        Not the initial state before its first scan: nothing has struck there.
        """
        settled = self._settling.widened(trapped)
        between = self._settling.scan.preimage(settled) & ~self._settling.settled
        return settled | between & ~self._space.encoding.truth(goal)

    def debts(self) -> list[Debt]:
        """What fairness owes: the scan, and the moves whose condition lasts."""
        owed: list[Debt] = [_EveryStep(self)]
        fair = {move.name: move.fair for move in self._space.system.moves}
        for move, step in zip(self._settling.moves, self._steps, strict=True):
            condition = fair[move.name]
            if condition is not None:
                owed.append(self._debt(step, self._space.encoding.truth(condition)))
        return owed

    def _debt(self, paying: SymbolicMove, condition: Node) -> Debt:
        lasts = self._settling.inlined(condition)
        reads = self._space.encoding.variables_in([condition])
        void_between = []
        for move, step in zip(self._settling.moves, self._steps, strict=True):
            # What does not write what the condition reads leaves it as it was.
            if reads.isdisjoint(move.values):
                continue
            void = self._settling.inlined(move.preimage(~condition)) & step.guard & lasts
            # Where it is void after the scan as well, the next state says so.
            void = void & step.preimage(lasts)
            if void.satisfiable():
                void_between.append((step, void))
        return _StepDebt(paying, ~lasts, tuple(void_between))


def settled_graph(space: Space) -> SettledGraph | None:
    """The settled graph of an explored space; None where it has none or was not searched so."""
    graph = _by_single_steps(space)
    if graph is None or graph.leaves_out_events:
        return None
    (scan,) = (move for move in space.system.moves if move.kind is MoveKind.SCAN)
    return graph if scan.fair in (None, TRUE) else None


def _by_single_steps(space: Space) -> SettledGraph | None:
    """The settled graph without what more than one move or event between two scans leads to."""
    if space.chained is None or not space.is_complete:
        return None
    search, found = space.chained
    if search.settling is None:
        return None
    if (space.encoding.valid & ~search.settling.scan.guard).satisfiable():
        return None
    return SettledGraph(space, search, found)


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
        graph = _by_single_steps(space)
        self._graph = None if graph is None else graph.onward()

    @cached_property
    def _from_home(self) -> Node | None:
        """The settled states that can be reached from one to which all lead back."""
        graph = self._graph
        if graph is None:
            return None
        space = self._space
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


def staying_for_ever(whole: SettledGraph, tame: SettledGraph, start: Expr, stay: Expr) -> Node:
    """Where runs on which `stay` holds for ever since a `start` end up: their loops.

    The way there may use every step of `whole`, the loops only those of `tame`.
    """
    inside = whole.staying(stay)
    within = inside.closure_after(whole.starts(start, stay), inside.reached)
    return fair_core(tame.staying(stay), within)
