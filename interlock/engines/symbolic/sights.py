"""Sets of states as sets of what is seen of them, and the weakest permit over that."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from interlock.engines.symbolic.covers import Cube, cover
from interlock.engines.symbolic.diagrams import Diagrams
from interlock.engines.symbolic.order import variable_order
from interlock.engines.symbolic.space import Space
from interlock.kernel.evaluate import State
from interlock.kernel.expr import Expr
from interlock.kernel.permitted import Permit

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node

# Sights are small functions; their table need not reserve what a state space may take.
_SIGHT_BYTES = 256 << 20


def _own_order(space: Space, n_seen: int) -> Sequence[int]:
    """The order of variables that a space has, or would have if it had bits of its own."""
    # Of up to two truth values a cover is the same in any order.
    return space.encoding.order if n_seen <= 2 else variable_order(space.system)


class Sight:
    """Sets of states as sets of what is seen of them."""

    def __init__(self, space: Space, seen: Sequence[Expr]) -> None:
        self._space = space
        encoding = space.encoding
        truths = [encoding.truth(expr) for expr in seen]
        supports = [space.diagrams.support([truth]) for truth in truths]
        # In an order of the states' bits, so that what is decided can soon be forgotten; in the
        # system's own one, since a cover hangs on it.
        bits = [bit for v in _own_order(space, len(seen)) for bit in encoding.bits[v]]
        place = {bit: n for n, bit in enumerate(bits)}
        first = [min((place[bit] for bit in support), default=0) for support in supports]
        self._order = sorted(range(len(seen)), key=first.__getitem__)
        self._truths = [truths[n] for n in self._order]
        everything = frozenset(range(space.diagrams.n_bits))
        self._forget = []
        for depth in range(len(seen) + 1):
            needed = frozenset[int]().union(*(supports[n] for n in self._order[depth:]))
            self._forget.append(space.diagrams.positive(everything - needed))
        self._dd = Diagrams(len(seen), _SIGHT_BYTES)
        self._known: dict[tuple[int, Node], Node] = {}

    def permit(self, safe: Node, unsafe: Node) -> Permit:
        """The permit that is given exactly where what is seen belongs to safe states only."""
        seen_safe, seen_unsafe = self._of(safe, 0), self._of(unsafe, 0)
        both = seen_safe & seen_unsafe
        cubes = cover(self._dd, seen_safe & ~seen_unsafe, ~seen_unsafe)
        named = [tuple(sorted((self._order[n], value) for n, value in cube)) for cube in cubes]
        count = self._dd.count
        return Permit(
            tuple(sorted(named)),
            self._two_alike(both, safe, unsafe) if both.satisfiable() else None,
            count(seen_safe | seen_unsafe, 0),
            count(both, 0),
            self._space.encoding.count(safe & ~self._states_of(cubes)),
        )

    def _states_of(self, cubes: Sequence[Cube]) -> Node:
        """The states of which something in `cubes` is seen."""
        dd = self._space.diagrams
        return dd.disjunction(
            dd.conjunction(self._truths[n] if value else ~self._truths[n] for n, value in cube)
            for cube in cubes
        )

    def _of(self, states: Node, depth: int) -> Node:
        if not states.satisfiable():
            return self._dd.false
        if depth == len(self._truths):
            return self._dd.true
        states = states.exists(self._forget[depth])
        key = (depth, states)
        if key not in self._known:
            self._space.check()
            truth = self._truths[depth]
            with_it = self._of(states & truth, depth + 1)
            without = self._of(states & ~truth, depth + 1)
            bit = self._dd.bits[depth]
            self._known[key] = bit & with_it | ~bit & without
        return self._known[key]

    def _two_alike(self, sights: Node, safe: Node, unsafe: Node) -> tuple[State, State]:
        """A safe and an unsafe state with one of `sights`, differing in little besides."""
        encoding = self._space.encoding
        for value, truth in zip(self._dd.pick(sights), self._truths, strict=True):
            same = truth if value else ~truth
            safe, unsafe = safe & same, unsafe & same
        one = encoding.pick(safe)
        for position, its_value in enumerate(one):
            nearer = unsafe & encoding.is_value(position, its_value)
            unsafe = nearer if nearer.satisfiable() else unsafe
        return one, encoding.pick(unsafe)
