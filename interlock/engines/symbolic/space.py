"""The reachable states of a system as one diagram.

First breadth first: each ring holds the states at one distance, so depth, level sizes and
shortest runs come for free. Rings of a large system with many independent parts grow far bigger
than their union, so beyond a fixed amount of work (counted in nodes, never in seconds: the same
system must give the same answer twice) the rest is found by chaining: every move works at once
on all that the moves before it have found. Chaining gives the same set without distances.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from typing import TYPE_CHECKING

from interlock.base.errors import InternalError
from interlock.engines.budget import Budget
from interlock.engines.symbolic.chaining import Search, chained
from interlock.engines.symbolic.encoding import Encoding
from interlock.engines.symbolic.graph import Graph, MoveDebt
from interlock.engines.symbolic.moves import SymbolicMove, copied_variables
from interlock.kernel.expr import Expr
from interlock.kernel.query import TooManyValuesError, TooMuchWorkError
from interlock.kernel.system import System

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node

BREADTH_FIRST_WORK = 30_000_000
"""Nodes of rings and unions, times moves, before breadth first gives way to chaining: some 1 s."""


_WATCHED = 1024


class LimitError(Exception):
    """Time, memory or states ran out; the budget names which."""


class Space(Graph):
    """Reachable states, explored when built, up to the limits.

    Parameters
    ----------
    system : System
    budget : Budget
    breadth_first_work : int
        When to go over from breadth first to chaining; kept, as a measure for other searches.
    most_joined : int or None
        How many sets may be joined before the search is declined: a variable makes one of each of
        its values.
    most_work : int or None
        When to decline to go on chaining.
    order : sequence of int or None
        As for `Encoding`.

    Attributes
    ----------
    rings : list of Node
        The states at each distance from the initial state, as far as searched breadth first.
    reached : Node
        All states found.
    n_reached : int
        How many they are.
    is_complete : bool
        Everything reachable was found.
    has_all_rings : bool
        Every state found is in a ring.
    favour_ahead : int
        How many times as large as one from a goal a ring from power-up may be to be gone on from.
    chained : tuple of Search and Node, or None
        How the states were searched for by chaining, and what that found.
    broken_off : tuple of Search and Node, or None
        How far chaining had come when it was declined to go on; exploring anew goes on from there.
    """

    def __init__(
        self,
        system: System,
        budget: Budget,
        breadth_first_work: int = BREADTH_FIRST_WORK,
        most_work: int | None = None,
        most_joined: int | None = None,
        order: Sequence[int] | None = None,
    ) -> None:
        self.system = system
        self.budget = budget
        self.encoding = Encoding(system, copied_variables(system), budget.limits.max_bytes, order)
        self.diagrams = self.encoding.diagrams
        self.reached = self.encoding.is_state(system.initial)
        self.n_reached = 1
        self.rings = [self.reached]
        self._in_rings = self.reached
        self.level_sizes = [1]
        self.is_complete = False
        self.has_all_rings = True
        self.breadth_first_work = self._work_left = breadth_first_work
        self._most_work = most_work
        self._most_joined = most_joined
        self._n_joined = 0
        self.moves: list[SymbolicMove] = []
        self.favour_ahead = 1
        self.chained: tuple[Search, Node] | None = None
        self.broken_off: tuple[Search, Node] | None = None

    def explore(self) -> None:
        """Find the reachable states.

        Raises
        ------
        LimitError
            If a limit was hit; what was found so far stays.
        """
        self.diagrams.watch = self._watch
        try:
            self.moves = [SymbolicMove.of(self.encoding, move) for move in self.system.moves]
            self._breadth_first()
            if not self.is_complete:
                self.has_all_rings = False
                if self.broken_off is None:
                    search = self.search()
                    self._chain(search, search.start)
                else:
                    self._chain(*self.broken_off)
        finally:
            self.diagrams.watch = None

    def _watch(self) -> None:
        """Raise LimitError where time is over, DeclinedError where too many sets were joined."""
        self._n_joined += 1
        if self._n_joined % _WATCHED:
            return
        if self._most_joined is not None and self._n_joined > self._most_joined:
            raise TooManyValuesError(f"more than {self._most_joined:,} sets to join")
        if self.budget.out_of_time():
            raise LimitError

    def check(self) -> None:
        """Raise LimitError if time or memory ran out; drop unused nodes."""
        self.diagrams.tidy()
        most = self.budget.limits.max_bytes
        n_bytes = self.diagrams.n_bytes if most is not None else 0
        self.budget.spent(n_bytes)
        # Too many states end the exploration, but not the answers about those that were found.
        if self.budget.out_of_time() or (most is not None and n_bytes > most):
            raise LimitError

    def _grow(self, states: Node) -> None:
        """Take `states`, which contain those found so far, as found."""
        self.n_reached = self._bounded(self.encoding.count(states))
        self.reached = states

    def _bounded(self, n_states: int) -> int:
        most = self.budget.limits.max_states
        if most is not None and n_states > most:
            self.budget.refuse_state(most)
            raise LimitError
        return n_states

    def _breadth_first(self) -> None:
        while self._work_left > 0:
            self.budget.report("exploring", self.n_reached, len(self.rings) - 1)
            ring = self._next_ring()
            if not ring.satisfiable():
                self.is_complete = True
                return
            before = self.n_reached
            self._grow(self.reached | ring)
            self._take(ring)
            self.level_sizes.append(self.n_reached - before)
            n_nodes = ring.node_count() + self.reached.node_count()
            self._work_left -= n_nodes * len(self.moves)

    def _next_ring(self) -> Node:
        images = []
        for move in self.moves:
            self.check()
            images.append(move.image(self.rings[-1]) & ~self._in_rings)
        return self.diagrams.disjunction(images)

    def _take(self, ring: Node) -> None:
        self.rings.append(ring)
        self._in_rings = self._in_rings | ring

    def extend_rings(self) -> None:
        """Find the ring behind the last one, which must not be the very last."""
        ring = self._next_ring()
        if not ring.satisfiable():
            raise InternalError("symbolic: a state that was reached is in no ring")
        self._take(ring)

    def forget_rings(self) -> None:
        """Start anew with what is found breadth first; only what is reached stays."""
        self.rings = [self.encoding.is_state(self.system.initial)]
        self._in_rings, self.level_sizes = self.rings[0], [1]
        self.has_all_rings = False

    def _chain(self, search: Search, start: Node) -> None:
        n_nodes = n_found = n_here = 0
        kept = start
        try:
            for found in chained(search.levels, start):
                # Most steps find nothing new, and counting takes as long as a step.
                if not n_found or found != kept:
                    n_found, n_here = self._bounded(search.count(found)), found.node_count()
                    kept = found
                n_nodes += n_here
                if self._most_work is not None and n_nodes > self._most_work:
                    self.broken_off = search, kept
                    said = f"diagrams of more than {self._most_work:,} nodes in all"
                    raise TooMuchWorkError(said, n_found)
                self.budget.report("exploring", max(n_found, self.n_reached), 0)
                self.check()
            parts = []
            for part in search.all_states(kept):
                parts.append(part)
                self.check()
        except LimitError:
            self._grow(self.reached | search.some_states(kept))
            raise
        self._grow(self.diagrams.disjunction(parts))
        self.is_complete = True
        self.chained = (search, kept)

    def go_on(self, budget: Budget, breadth_first_work: int, most_work: int | None) -> None:
        """Be ready to explore further what was broken off, with other limits."""
        self.budget = budget
        self.breadth_first_work = self._work_left = breadth_first_work
        self._most_work = most_work
        self.has_all_rings = True

    def changed(self, encoding: Encoding, moves: list[SymbolicMove], budget: Budget) -> Space:
        """A changed system over the same bits, by its moves; nothing of it explored."""
        space = copy(self)
        space.system, space.encoding, space.moves = encoding.system, encoding, moves
        space.budget = budget
        space.reached = space._in_rings = encoding.is_state(encoding.system.initial)
        space.rings, space.level_sizes = [space.reached], [1]
        space.n_reached, space.chained = 1, None
        space.is_complete = space.has_all_rings = False
        return space

    def search(self) -> Search:
        """A search for all that is reached."""
        return Search(self.encoding, self.moves, self.check)

    def explore_by(self, search: Search, beside: Space | None = None) -> None:
        """Find all that is reached, and beside that maybe more: what another space holds.

        Raises
        ------
        LimitError
            If a limit was hit.
        """
        start = search.start
        if beside is not None and beside.chained is not None:
            start = search.beside(*beside.chained)
        self._chain(search, start)

    @property
    def is_outrun(self) -> bool:
        """Whether it was found that more than one move may come before a scan."""
        settling = None if self.chained is None else self.chained[0].settling
        return settling is not None and settling.is_outrun

    def onward(self) -> Space:
        """The same states, with the moves that a way back may use: no strike and no clearing."""
        space = copy(self)
        space.moves = [move for move in self.moves if move.name in self.system.onward]
        return space

    def lasting(self, start: Expr, stay: Expr, among: Node | None = None) -> tuple[Node, Node]:
        """The states with `start` and `stay`, and all that is reached from there with `stay`.

        Only those `among` others start, where such are given.
        """
        inside = self.reached & self.encoding.truth(stay)
        starts = inside & self.encoding.truth(start)
        starts = starts if among is None else starts & among
        return starts, self.closure_after(starts, inside)

    def debts(self) -> list[MoveDebt]:
        """The moves that fairness owes."""
        return [
            MoveDebt(symbolic, ~self.encoding.truth(move.fair))
            for symbolic, move in zip(self.moves, self.system.moves, strict=True)
            if move.fair is not None
        ]

    def standstill(self) -> Node:
        """The states without an enabled move."""
        guards = (self.encoding.truth(move.guard) for move in self.system.moves)
        return ~self.diagrams.disjunction(guards)
