"""When may one move be allowed so that nothing bad can follow? Backward induction on diagrams.

One move can be withheld, all others cannot: they happen when they may. A state is *lost* if the
others alone can lead from it to a bad one. The move is unsafe where it leads to a lost state, and
safe elsewhere. Source: P. J. Ramadge, W. M. Wonham, "Supervisory control of a class of discrete
event processes", SIAM J. Control Optim. 25(1), 1987: the supremal controllable behaviour.

Whoever decides sees only some truth values of the state. Where two states look the same and the
move is safe in one of them only, it must be withheld in both: F. Lin, W. M. Wonham, "On
observability of discrete-event systems", Information Sciences 44, 1988 (from memory). Judged are
all states that can be reached when the move is withheld only where it is unsafe.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from interlock.engines.budget import NO_LIMITS, Budget
from interlock.engines.symbolic.chaining import Search, chained
from interlock.engines.symbolic.covers import Cube, cover
from interlock.engines.symbolic.diagrams import Diagrams
from interlock.engines.symbolic.moves import SymbolicMove
from interlock.engines.symbolic.space import LimitError, Space
from interlock.kernel.evaluate import State
from interlock.kernel.expr import Expr
from interlock.kernel.permitted import Permit
from interlock.kernel.query import Limits, ProgressSink
from interlock.kernel.system import System

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node

# Sights are small functions; their table need not reserve what a state space may take.
_SIGHT_BYTES = 256 << 20


class Permits:
    """The states of a system in which one of its moves is safe.

    Parameters
    ----------
    system : System
    move : str
        The move that can be withheld; its guard must be true everywhere.
    bad : sequence of Expr
        What must never be. One that the other moves lead to from the initial state by themselves
        cannot be kept and is left out.
    limits : Limits
    progress : callable, optional

    Attributes
    ----------
    kept : tuple of bool
        For each of `bad`, whether it can be kept at all.
    limit : str or None
        The limit that was hit; then there is nothing else.
    n_states, n_safe, n_unsafe : int
        Reachable states with the move withheld only where it is unsafe; and those of them in
        which it is safe and unsafe.
    """

    def __init__(
        self,
        system: System,
        move: str,
        bad: Sequence[Expr],
        limits: Limits = NO_LIMITS,
        progress: ProgressSink | None = None,
    ) -> None:
        self._budget = Budget(limits, progress)
        self.kept: tuple[bool, ...] = ()
        self.n_states = self.n_safe = self.n_unsafe = 0
        try:
            # Rings are for runs; what is asked here needs only the set.
            self._space = Space(system, self._budget, breadth_first_work=0)
            self._space.explore()
            self._decide(move, bad)
        except LimitError:
            pass
        except MemoryError:
            self._budget.limit = self._budget.limit or "memory"

    @property
    def limit(self) -> str | None:
        """The limit that was hit, here or in a permit since."""
        return self._budget.limit

    def _decide(self, name: str, bad: Sequence[Expr]) -> None:
        space = self._space
        others = [move for move in space.moves if move.name != name]
        (allowed,) = [move for move in space.moves if move.name == name]
        by_themselves = self._after(others)
        targets = [space.encoding.truth(expr) for expr in bad]
        self.kept = tuple(not (by_themselves & target).satisfiable() for target in targets)
        lost = space.reached & space.diagrams.disjunction(
            target for target, can_be in zip(targets, self.kept, strict=True) if can_be
        )
        lost = self._before(lost, others)
        unsafe = allowed.preimage(lost)
        # The others lead into what is lost only from there.
        reached = self._after([*others, allowed.restricted(~unsafe)])
        self._unsafe = reached & unsafe
        self._safe = reached & ~self._unsafe
        count = space.encoding.count
        self.n_states = count(reached)
        self.n_safe, self.n_unsafe = count(self._safe), count(self._unsafe)

    def _after(self, moves: Sequence[SymbolicMove]) -> Node:
        """All that some moves lead to from the initial state."""
        search = Search(self._space.encoding, moves, self._space.check)
        found = search.start
        for more in chained(search.levels, search.start):
            self._space.check()
            found = more
        return self._space.diagrams.disjunction(search.all_states(found))

    def _before(self, states: Node, moves: Sequence[SymbolicMove]) -> Node:
        """All that leads to some states by some moves."""
        while True:
            behind = states
            for move in moves:
                self._space.check()
                states = states | move.preimage(states) & self._space.reached
            if states == behind:
                return states

    def seen_through(self, seen: Sequence[Expr]) -> Permit | None:
        """The weakest permit over some truth values of the state; None where a limit was hit."""
        try:
            return _Sight(self._space, seen).permit(self._safe, self._unsafe)
        except LimitError:
            return None
        except MemoryError:
            self._budget.limit = self._budget.limit or "memory"
            return None


class _Sight:
    """Sets of states as sets of what is seen of them."""

    def __init__(self, space: Space, seen: Sequence[Expr]) -> None:
        self._space = space
        encoding = space.encoding
        truths = [encoding.truth(expr) for expr in seen]
        supports = [space.diagrams.support([truth]) for truth in truths]
        # In the order of the states' own bits, so that what is decided can soon be forgotten.
        self._order = sorted(range(len(seen)), key=lambda n: min(supports[n], default=0))
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
