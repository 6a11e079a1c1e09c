"""Which states a system may be in after some moves, as sets: where listing them takes too long."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, TypeAlias

from interlock.base.errors import InternalError
from interlock.engines.symbolic.encoding import Encoding
from interlock.engines.symbolic.moves import SymbolicMove, copied_variables
from interlock.kernel import expr as ex
from interlock.kernel.evaluate import State
from interlock.kernel.expr import Expr
from interlock.kernel.system import UNCOUNTED, Move, Stepper, System

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node

    States: TypeAlias = Node
    """A set of states; equal where they are the same states."""


class Following:
    """Sets of states of a system and where moves lead from them.

    Any number of scans may lie between two moves and behind the last, as far as they are possible.

    Parameters
    ----------
    system : System
    max_bytes : int or None
        Memory for the diagrams; every operation raises MemoryError beyond it.

    Raises
    ------
    DeclinedError
        If an expression has more values than can be told apart one by one.
    """

    def __init__(self, system: System, max_bytes: int | None = None) -> None:
        self.system = system
        self._encoding = Encoding(system, copied_variables(system), max_bytes)
        self._diagrams = self._encoding.diagrams
        moves = [SymbolicMove.of(self._encoding, move) for move in system.moves]
        kinds = [move.kind for move in system.moves]
        self._all_moves = moves
        self._scans = [m for m, k in zip(moves, kinds, strict=True) if k in UNCOUNTED]
        self._others = [m for m, k in zip(moves, kinds, strict=True) if k not in UNCOUNTED]
        self._stepper = Stepper(system)
        self.start: States = self._encoding.is_state(system.initial)

    def within(self, states: States, n_moves: int | None) -> States:
        """What can be reached from `states` by at most `n_moves` moves, or by any number."""
        found = self._scanned(states)
        while n_moves != 0:
            self._diagrams.tidy()
            moved = self._diagrams.disjunction(move.image(found) for move in self._others)
            more = self._scanned(found | moved)
            if more == found:
                break
            found = more
            n_moves = None if n_moves is None else n_moves - 1
        return found

    def _scanned(self, states: States) -> States:
        while True:
            more = self._diagrams.disjunction([states, *(m.image(states) for m in self._scans)])
            if more == states:
                return states
            states = more

    def showing(self, states: States, expr: Expr, value: int) -> States:
        """Those of `states` in which `expr` has `value`."""
        return states & self._encoding.truth(ex.eq(expr, ex.const(value)))

    def count(self, states: States) -> int:
        """How many there are."""
        return self._encoding.count(states)

    def values(self, states: States, name: str) -> Iterator[int]:
        """The values that a variable has in them, from the least on."""
        v = self.system.index[name]
        domain = self.system.variables[v].domain
        for value in range(domain.lo, domain.hi + 1):
            if (states & self._encoding.is_value(v, value)).satisfiable():
                yield value

    def without(self, states: States, others: States) -> States:
        """Those of `states` that are not among `others`."""
        return states & ~others

    def union(self, states: States, others: States) -> States:
        """Both together."""
        return states | others

    def least(self, states: States, expr: Expr) -> tuple[int, States]:
        """The least value of `expr` in `states`, which must not be empty; and where it has that."""
        parts = self._encoding.partition(expr)
        for value, where in sorted(parts.items()):
            if (states & where).satisfiable():
                return value, states & where
        raise ValueError("there is no state")

    def way(self, start: States, target: States) -> list[Move]:
        """The fewest moves and scans from a state of `start` to one of `target`; there is a way."""
        rings = [target]
        seen = target
        while not (rings[-1] & start).satisfiable():
            before = self._diagrams.disjunction(m.preimage(rings[-1]) for m in self._all_moves)
            rings.append(before & ~seen)
            seen = seen | rings[-1]
            if not rings[-1].satisfiable():
                raise InternalError("symbolic: a state that was followed has no way to it")
        return self._descend(self._encoding.pick(rings[-1] & start), rings[-2::-1])

    def _descend(self, state: State, rings: Sequence[States]) -> list[Move]:
        way = []
        for ring in rings:
            for move, after in self._stepper.successors(state):
                if self._encoding.holds(ring, after):
                    way.append(move)
                    state = after
                    break
            else:
                raise InternalError("symbolic: a ring does not lead to the next")
        return way
