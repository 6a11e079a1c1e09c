"""The reachable states of a system as one diagram.

First breadth first: each ring holds the states at one distance, so depth, level sizes and
shortest runs come for free. Rings of a large system with many independent parts grow far bigger
than their union, so beyond a fixed amount of work (counted in nodes, never in seconds: the same
system must give the same answer twice) the rest is found by chaining: every move works at once
on all that the moves before it have found. Chaining gives the same set without distances.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from interlock.engines.budget import Budget
from interlock.engines.symbolic.encoding import Encoding
from interlock.engines.symbolic.moves import SymbolicMove, copied_variables
from interlock.kernel.system import MoveKind, System

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node

BREADTH_FIRST_NODES = 1_000_000
"""Nodes of all rings and unions that breadth-first search may build before chaining."""


class LimitError(Exception):
    """Time, memory or states ran out; the budget names which."""


class Space:
    """Reachable states, explored when built, up to the limits.

    Parameters
    ----------
    system : System
    budget : Budget
    breadth_first_nodes : int
        When to go over from breadth first to chaining.

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
    """

    def __init__(
        self,
        system: System,
        budget: Budget,
        breadth_first_nodes: int = BREADTH_FIRST_NODES,
    ) -> None:
        self.system = system
        self.budget = budget
        self.encoding = Encoding(system, copied_variables(system), budget.limits.max_bytes)
        self.diagrams = self.encoding.diagrams
        self.reached = self.encoding.is_state(system.initial)
        self.n_reached = 1
        self.rings = [self.reached]
        self.level_sizes = [1]
        self.is_complete = False
        self.has_all_rings = True
        self._nodes_left = breadth_first_nodes
        self.moves: list[SymbolicMove] = []

    def explore(self) -> None:
        """Find the reachable states.

        Raises
        ------
        LimitError
            If a limit was hit; what was found so far stays.
        """
        self.moves = [SymbolicMove(self.encoding, move) for move in self.system.moves]
        self._breadth_first()
        if not self.is_complete:
            self.has_all_rings = False
            self._chain()

    def check(self) -> None:
        """Raise LimitError if time or memory ran out; drop unused nodes."""
        self.diagrams.tidy()
        most = self.budget.limits.max_bytes
        n_bytes = self.diagrams.n_bytes if most is not None else 0
        if self.budget.spent(n_bytes):
            raise LimitError

    def _grow(self, states: Node) -> None:
        """Take `states`, which contain those found so far, as found."""
        n_states = self.encoding.count(states)
        most = self.budget.limits.max_states
        if most is not None and n_states > most:
            self.budget.refuse_state(most)
            raise LimitError
        self.reached, self.n_reached = states, n_states

    def _breadth_first(self) -> None:
        frontier = self.reached
        while self._nodes_left > 0:
            self.budget.report("exploring", self.n_reached, len(self.rings) - 1)
            images = []
            for move in self.moves:
                self.check()
                images.append(move.image(frontier) & ~self.reached)
            frontier = self.diagrams.disjunction(images)
            if not frontier.satisfiable():
                self.is_complete = True
                return
            before = self.n_reached
            self._grow(self.reached | frontier)
            self.rings.append(frontier)
            self.level_sizes.append(self.n_reached - before)
            self._nodes_left -= frontier.node_count() + self.reached.node_count()

    def _chain(self) -> None:
        scans = [move for move in self.moves if move.move.kind is MoveKind.SCAN]
        others = [move for move in self.moves if move.move.kind is not MoveKind.SCAN]
        self._scan(scans, self.reached)
        while not self.is_complete:
            before = self.reached
            for move in others:
                self.check()
                self.budget.report("exploring", self.n_reached, 0)
                new = move.image(self.reached) & ~self.reached
                if new.satisfiable():
                    self._scan(scans, new)
            self.is_complete = self.reached == before

    def _scan(self, scans: Sequence[SymbolicMove], new: Node) -> None:
        """Take `new` states as found, with all that scans make of them.

        A move by the environment only gets further after its scan. So the scan follows at once,
        on the few states that are new.
        """
        while new.satisfiable():
            self._grow(self.reached | new)
            images = [scan.image(new) for scan in scans]
            new = self.diagrams.disjunction(images) & ~self.reached

    def closure_before(self, goal: Node, within: Node) -> Node:
        """The states of `within` from which `goal` can be reached inside `within`."""
        able = goal & within
        while True:
            before = able
            for move in self.moves:
                self.check()
                able = able | move.preimage(able) & within
            if able == before:
                return able

    def closure_after(self, start: Node, within: Node) -> Node:
        """The states of `within` that can be reached from `start` inside `within`."""
        found = start & within
        while True:
            before = found
            for move in self.moves:
                self.check()
                found = found | move.image(found) & within
            if found == before:
                return found

    def before(self, states: Node) -> Node:
        """The states from which one move leads into `states`."""
        return self.diagrams.disjunction(move.preimage(states) for move in self.moves)

    def standstill(self) -> Node:
        """The states without an enabled move."""
        return ~self.diagrams.disjunction(move.guard for move in self.moves)
