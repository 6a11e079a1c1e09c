"""What is reached without any flag, and some scans after power-up, as a condition on variables."""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from typing import TYPE_CHECKING

from interlock.engines.symbolic.encoding import Encoding
from interlock.engines.symbolic.projection import Projection
from interlock.engines.symbolic.space import Space
from interlock.kernel.expr import FALSE, TRUE, Expr, const, eq, ite, or_, var
from interlock.kernel.system import MoveKind

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node


class Unflagged:
    """What is reached in an explored space without any flag.

    Parameters
    ----------
    space : Space
        Explored.
    seen : Projection
        Of its encoding.
    flags : sequence of str
    """

    def __init__(self, space: Space, seen: Projection, flags: Sequence[str]) -> None:
        self._space = space
        self._seen = seen
        self._free = space.reached & seen.unset(flags)
        self._behind: dict[int, Node] = {}
        self._known: dict[tuple[Expr, tuple[str, ...], int], Expr] = {}

    def condition(self, where: Expr, names: Sequence[str], n_scans: int) -> Expr:
        """As `kernel.projected.Projected.without_flags`."""
        asked = where, tuple(names), n_scans
        if asked not in self._known:
            if n_scans not in self._behind:
                self._behind[n_scans] = self._behind_scans(n_scans)
            states = self._behind[n_scans] & self._space.encoding.truth(where)
            found = self._seen.forgotten(states, names)
            self._known[asked] = as_condition(self._space.encoding, found)
        return self._known[asked]

    def _behind_scans(self, n_scans: int) -> Node:
        """What is left of all states where those with fewer scans before them are left out.

        These are few, and what is lost with the next scan follows those that were lost with the
        last: so all others need not be followed once more.
        """
        space, kinds = self._space, {move.name: move.kind for move in self._space.system.moves}
        scans = [move for move in space.moves if kinds[move.name] is MoveKind.SCAN]
        any_of, between = space.diagrams.disjunction, copy(space)
        between.moves = [move for move in space.moves if kinds[move.name] is not MoveKind.SCAN]
        found, start = self._free, space.encoding.is_state(space.system.initial)
        for _ in range(n_scans):
            scanned = any_of(scan.image(found) for scan in scans)
            doubtful = between.closure_after(start & ~scanned, found)
            others = found & ~doubtful
            again = scanned | any_of(
                move.image(move.preimage(doubtful) & others) for move in between.moves
            )
            lost = doubtful & ~between.closure_after(again & doubtful, doubtful)
            if not lost.satisfiable():
                break
            found = found & ~lost
            start = any_of(scan.image(lost) for scan in scans) & found
        return found


def as_condition(encoding: Encoding, states: Node) -> Expr:
    """The expression that is true in exactly these states, as far as codes have a value."""
    of = {bit: v for v, own in enumerate(encoding.bits) for bit in own}
    known = {encoding.diagrams.true: TRUE, encoding.diagrams.false: FALSE}
    todo = [states]
    while todo:
        node = todo[-1]
        parts = node.cofactors() if node not in known else None
        if parts is None:
            todo.pop()
        elif any(part not in known for part in parts):
            todo += [part for part in parts if part not in known]
        else:
            todo.pop()
            bit = node.node_var()
            assert bit is not None
            known[node] = ite(_is_set(encoding, of[bit], bit), known[parts[0]], known[parts[1]])
    return known[states]


def _is_set(encoding: Encoding, v: int, bit: int) -> Expr:
    """Where a bit of the variable at position `v` is set."""
    variable, bits = encoding.system.variables[v], encoding.bits[v]
    domain, place = variable.domain, len(bits) - 1 - bits.index(bit)
    values = [x for x in range(domain.lo, domain.hi + 1) if (x - domain.lo) >> place & 1]
    if (domain.lo, domain.hi) == (0, 1):
        return var(variable.name)
    return or_(*(eq(var(variable.name), const(value)) for value in values))
