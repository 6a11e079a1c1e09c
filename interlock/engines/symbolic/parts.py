"""What of an explored space is reached where some moves are made only where they are allowed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from copy import copy
from dataclasses import replace
from typing import TYPE_CHECKING

from interlock.engines.symbolic.chaining import Search, chained
from interlock.engines.symbolic.moves import SymbolicMove
from interlock.engines.symbolic.space import Space
from interlock.kernel.expr import Expr, and_
from interlock.kernel.system import System

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node


def reached_where(
    space: Space,
    allowed: Mapping[str, Node],
    made: Mapping[str, Node],
    unset: Node,
    among: Node,
    inside: Iterable[tuple[Search, Node]] = (),
) -> tuple[Node, tuple[Search, Node] | None]:
    """What is reached by moves that are made only in some states, and how it was searched for.

    Parameters
    ----------
    space : Space
        Explored.
    allowed, made : mapping of str to Node
        By move; all others are made anywhere. Where some are made in fewer states than they are
        allowed in, that is because they set flags.
    unset : Node
        Where no flag is set.
    among : Node
        Where none is set that no move sets now.
    inside : iterable of Search and Node
        How some of it was searched for, moves being allowed in fewer states, and what that found.
    """
    search = None if space.chained is None else space.chained[0].only_where(made)
    if not allowed:
        # What is reached with some flags alone is what has no other set.
        found = None if space.chained is None else space.chained[1] & among
        return space.reached & among, None if search is None or found is None else (search, found)
    if search is None or space.chained is None:
        within = copy(space)
        within.moves = only_where(made, space.moves)
        start = space.encoding.is_state(space.system.initial)
        return within.closure_after(start, space.reached), None
    dd = space.diagrams
    found = search.start
    # What is allowed while no flag is set leads to all that is reached without any.
    free = space.reached & unset
    if not any(
        (free & ~allowed[move.name] & move.preimage(unset)).satisfiable()
        for move in space.moves
        if move.name in allowed
    ):
        found = found | space.chained[1] & unset
    for known, states in inside:
        found = found | search.beside(known, states, among)
    for grown in chained(search.levels, found):
        space.check()
        found = grown
    return dd.disjunction(search.all_states(found)), (search, found)


def only_where(made: Mapping[str, Node], moves: Iterable[SymbolicMove]) -> list[SymbolicMove]:
    """The moves, some of them only where they are made."""
    return [move.restricted(made[move.name]) if move.name in made else move for move in moves]


class SearchedParts:
    """The parts of a space that were searched, for the searches of larger ones to start from."""

    def __init__(self) -> None:
        self._known: list[tuple[Mapping[str, Node], Search, Node]] = []

    def note(self, allowed: Mapping[str, Node], part: Space) -> None:
        """Keep how a part was searched in which moves are allowed there."""
        if part.chained is not None:
            self._known.append((allowed, *part.chained))

    def inside(self, allowed: Mapping[str, Node]) -> list[tuple[Search, Node]]:
        """The searches in which each move is allowed in fewer states, or as many."""
        return [
            (search, found)
            for before, search, found in self._known
            if all(
                name in before and not (before[name] & ~where).satisfiable()
                for name, where in allowed.items()
            )
        ]


def made_under(space: Space, system: System, conditions: Mapping[str, Expr]) -> Space:
    """The space and its system, each move made only under its condition."""
    new = copy(space)
    new.system = replace(
        system,
        moves=tuple(
            replace(move, guard=and_(move.guard, conditions[move.name])) for move in system.moves
        ),
    )
    truth = space.encoding.truth
    new.moves = [move.restricted(truth(conditions[move.name])) for move in space.moves]
    return new
