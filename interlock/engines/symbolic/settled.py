"""The graph of settled states: what goes on for ever, and what is lost for good, asked of it.

A step is a move together with the scan that answers it, see `settling`. What holds only between
the two is read off the step, so the answers are the same as in the graph of all states; they
come faster since a step substitutes two or three variables instead of a whole scan.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
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
        self._between = self._settling.moves
        self._steps = self._settling.steps
        self._repeat = self._settling.repeat
        self._scan = self._settling.scan
        self._early = search.irregular

    @property
    def moves(self) -> Sequence[SymbolicMove]:  # type: ignore[override]
        """The steps, and the scan of an unchanged state."""
        return [*self._steps, self._repeat]

    def check(self) -> None:
        """Raise LimitError if time or memory ran out; drop unused nodes."""
        self._space.check()

    def _truth(self, condition: Expr) -> Node:
        return self._space.encoding.truth(condition)

    def _inlined(self, condition: Node) -> Node:
        return self._settling.inlined(condition)

    def tamed(self, flags: Iterable[int]) -> SettledGraph:
        """Without the steps that set one of `flags` (bits) that is not set already."""
        flags = frozenset(flags)
        bits = self._space.encoding.bits
        conditions = [
            self.diagrams.positive(flags.intersection(b for v in move.values for b in bits[v]))
            for move in self._between
        ]
        return self._restricted(conditions, self.diagrams.true)

    def staying(self, stay: Expr) -> SettledGraph:
        """Without the states in which `stay` fails, those between a move and its scan, too."""
        keeps = self._truth(stay)
        return self._restricted(self._after_moves(keeps), self._inlined(keeps))

    def only(self, allowed: Mapping[str, Expr]) -> tuple[SettledGraph, Node]:
        """As much as is reached by moves, scans included, that are made where they are allowed.

        Returns
        -------
        SettledGraph
        Node
            All states, those between a move and its scan included.
        """
        truth = {name: self._truth(where) for name, where in allowed.items()}
        inlined = self._inlined
        may_scan = truth.get(self._scan.name, self.diagrams.true)
        new = copy(self)
        new._scan = self._scan.restricted(may_scan)
        new._between = [
            move.restricted(truth[move.name]) if move.name in truth else move
            for move in self._between
        ]
        after = [inlined(move.preimage(may_scan)) for move in new._between]
        new._steps = [
            step.restricted(where) for step, where in zip(self._steps, after, strict=True)
        ]
        new._repeat = self._repeat.restricted(inlined(may_scan))
        start = self._search.start
        if self._early.satisfiable():
            initial = self._space.encoding.is_state(self._space.system.initial)
            moved = (move.image(initial) for move in new._between)
            new._early = self.diagrams.disjunction([initial, *moved])
            start = self._settling.narrowed(new._scan.image(new._early))
        new.reached = new._closed_from(start)
        settled = self._settling.widened(new.reached)
        parts = [new._early, settled]
        for move in new._between:
            self.check()
            parts.append(move.image(settled))
        return new, self.diagrams.disjunction(parts)

    def _closed_from(self, start: Node) -> Node:
        kinds = {move.name: move.kind for move in self._space.system.moves}
        often = [m.image for m in self.moves if kinds[m.name] is not MoveKind.FAULT]
        seldom = [m.image for m in self.moves if kinds[m.name] is MoveKind.FAULT]
        found = start
        for more in chained(often, seldom, start):
            self.check()
            found = more
        return found

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
        return [self._inlined(move.preimage(condition)) for move in self._between]

    def starts(self, start: Expr, stay: Expr) -> Node:
        """Settled states in which, or on the way to which, `start` held, and `stay` ever since."""
        both = self._truth(and_(start, stay))
        keeps = self._truth(stay)
        found = self.reached & self._inlined(both)
        for step, begins in zip(self._steps, self._after_moves(both), strict=True):
            self.check()
            found = found | step.restricted(begins).image(self.reached)
        early = self._early & both
        moved = [move.image(early) & self._early & keeps for move in self._between]
        early = self.diagrams.disjunction([early, *moved])
        scanned = self._settling.narrowed(self._scan.image(early))
        return (found | scanned) & self.reached & self._inlined(keeps)

    def trapped(self, goal: Expr) -> Node:
        """The settled states from which no state with `goal` can be reached."""
        wanted = self._truth(goal)
        able = self.reached & self._inlined(wanted)
        for step, leads_there in zip(self._steps, self._after_moves(wanted), strict=True):
            able = able | self.reached & step.guard & leads_there
        return self.reached & ~self.closure_before(able, self.reached)

    def debts(self) -> list[Debt]:
        """What fairness owes: the scan, and the moves whose condition lasts."""
        owed: list[Debt] = [_EveryStep(self)]
        fair = {move.name: move.fair for move in self._space.system.moves}
        for move, step in zip(self._between, self._steps, strict=True):
            condition = fair[move.name]
            if condition is not None:
                owed.append(self._debt(step, self._truth(condition)))
        return owed

    def _debt(self, paying: SymbolicMove, condition: Node) -> Debt:
        lasts = self._inlined(condition)
        reads = self._space.encoding.variables_in([condition])
        void_between = []
        for move, step in zip(self._between, self._steps, strict=True):
            # What does not write what the condition reads leaves it as it was.
            if reads.isdisjoint(move.values):
                continue
            void = self._inlined(move.preimage(~condition)) & step.guard & lasts
            # Where it is void after the scan as well, the next state says so.
            void = void & step.preimage(lasts)
            if void.satisfiable():
                void_between.append((step, void))
        return _StepDebt(paying, ~lasts, tuple(void_between))


def settled_graph(space: Space) -> SettledGraph | None:
    """The settled graph of an explored space; None where it has none or was not searched so."""
    if space.chained is None or not space.is_complete:
        return None
    search, found = space.chained
    if search.settling is None:
        return None
    (scan,) = (move for move in space.system.moves if move.kind is MoveKind.SCAN)
    always = not (space.encoding.valid & ~search.settling.scan.guard).satisfiable()
    if not always or scan.fair not in (None, TRUE):
        return None
    return SettledGraph(space, search, found)


def staying_for_ever(whole: SettledGraph, tame: SettledGraph, start: Expr, stay: Expr) -> Node:
    """Where runs on which `stay` holds for ever since a `start` end up: their loops.

    The way there may use every step of `whole`, the loops only those of `tame`.
    """
    inside = whole.staying(stay)
    within = inside.closure_after(whole.starts(start, stay), inside.reached)
    return fair_core(tame.staying(stay), within)
