"""States and moves between them, as diagrams, and the fixpoints that every such graph has."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from interlock.engines.symbolic.diagrams import Diagrams
from interlock.engines.symbolic.moves import SymbolicMove

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node


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

    def before(self, states: Node) -> Node:
        """The states from which one move leads into `states`."""
        return self.diagrams.disjunction(move.preimage(states) for move in self.moves)

    def closure_before(self, goal: Node, within: Node) -> Node:
        """The states of `within` from which `goal` can be reached inside `within`."""
        able = goal & within
        left = within & ~able
        seen = dict.fromkeys(self.moves, self.diagrams.false)
        # The scan stands last, and most ways end with it. What a round has found far back
        # is followed on from there, so each round takes the moves the other way about.
        moves = list(reversed(self.moves))
        while True:
            before = able
            for move in moves:
                if seen[move] == able or not (left & move.guard).satisfiable():
                    continue
                # Backwards, what a move has led into before is better left out.
                unseen, seen[move] = able & ~seen[move], able
                self.check()
                found = move.preimage(unseen) & left
                if found.satisfiable():
                    able, left = able | found, left & ~found
            if able == before:
                return able
            moves.reverse()

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
