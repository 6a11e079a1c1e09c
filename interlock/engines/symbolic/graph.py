"""States and moves between them, as diagrams, and the fixpoints that every such graph has."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from interlock.engines.symbolic.diagrams import Diagrams
from interlock.engines.symbolic.moves import SymbolicMove

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node


class Debt(Protocol):
    """Something that fairness owes on an endless run."""

    @property
    def is_lasting(self) -> bool:
        """It is void nowhere, so who can pay it for ever never comes to an end."""

    def paid(self, core: Node) -> Node:
        """Where in `core` it is void, or a move that pays it stays in `core`."""


@dataclass(frozen=True)
class MoveDebt:
    """A move that is owed, and the states where it is not."""

    move: SymbolicMove
    is_void: Node

    @property
    def is_lasting(self) -> bool:
        """No state makes it void."""
        return not self.is_void.satisfiable()

    def paid(self, core: Node) -> Node:
        """Where it is void, or the move stays in `core`."""
        return core & (self.is_void | self.move.preimage(core))


class Graph:
    """Reached states with the moves between them.

    Attributes
    ----------
    diagrams : Diagrams
    moves : sequence of SymbolicMove
    reached : Node
    """

    diagrams: Diagrams
    moves: Sequence[SymbolicMove]
    reached: Node

    def check(self) -> None:
        """Raise LimitError if time or memory ran out; drop unused nodes."""
        raise NotImplementedError

    def debts(self) -> Sequence[Debt]:
        """What fairness owes on every endless run."""
        raise NotImplementedError

    def before(self, states: Node) -> Node:
        """The states from which one move leads into `states`."""
        return self.diagrams.disjunction(move.preimage(states) for move in self.moves)

    def closure_before(self, goal: Node, within: Node) -> Node:
        """The states of `within` from which `goal` can be reached inside `within`."""
        able = goal & within
        seen = dict.fromkeys(self.moves, self.diagrams.false)
        while True:
            before = able
            for move in self.moves:
                # Backwards, what a move has led into before is better left out.
                unseen = able & ~seen[move]
                if unseen.satisfiable() and (within & ~able & move.guard).satisfiable():
                    seen[move] = able
                    self.check()
                    able = able | move.preimage(unseen) & within
            if able == before:
                return able

    def closure_after(self, start: Node, within: Node) -> Node:
        """The states of `within` that can be reached from `start` inside `within`."""
        found = start & within
        seen: dict[SymbolicMove, Node] = {}
        while True:
            before = found
            for move in self.moves:
                # Forwards, all that was found is better than what is new: the simpler diagram.
                if seen.get(move) != found:
                    seen[move] = found
                    self.check()
                    found = found | move.image(found) & within
            if found == before:
                return found


def fair_core(graph: Graph, within: Node) -> Node:
    """The states of `within` from which inside every debt can be paid for ever.

    They are a greatest fixpoint: from each, every debt can be paid again and again without
    leaving. Source: E. A. Emerson, C.-L. Lei, "Efficient model checking in fragments of the
    propositional mu-calculus", LICS 1986. Here a debt may also be paid by an edge, the move
    itself.
    """
    debts = graph.debts()
    goes_on = any(debt.is_lasting for debt in debts)

    def trimmed(core: Node) -> Node:
        # Without the states from which every move leaves, one after the other.
        while not goes_on:
            graph.check()
            smaller = core & graph.before(core)
            if smaller == core:
                break
            core = smaller
        return core

    core = within
    while True:
        before = core
        core = trimmed(core)
        for debt in debts:
            core = trimmed(graph.closure_before(debt.paid(core), core))
        if core == before:
            return core
