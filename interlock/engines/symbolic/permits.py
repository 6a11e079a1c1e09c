"""When may one move be allowed so that nothing bad can follow? Backward induction on diagrams.

One move can be withheld, all others cannot: they happen when they may. A state is *lost* if the
others alone can lead from it to a bad one. Where it may be made, the move is unsafe if it leads to
a lost state, and safe if not. Source: P. J. Ramadge, W. M. Wonham, "Supervisory control of a class
of discrete event processes", SIAM J. Control Optim. 25(1), 1987: the supremal controllable
behaviour.

Whoever decides sees only some truth values of the state. Where two states look the same and the
move is safe in one of them only, it must be withheld in both: F. Lin, W. M. Wonham, "On
observability of discrete-event systems", Information Sciences 44, 1988 (from memory). Judged are
all states that can be reached when the move is withheld only where it is unsafe.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property
from itertools import islice
from typing import TYPE_CHECKING

from interlock.engines.budget import NO_LIMITS, Budget
from interlock.engines.symbolic.chaining import Search, chained
from interlock.engines.symbolic.encoding import Encoding
from interlock.engines.symbolic.moves import SymbolicMove, copied_variables
from interlock.engines.symbolic.paths import Paths
from interlock.engines.symbolic.sights import Sight
from interlock.engines.symbolic.space import LimitError, Space
from interlock.kernel.expr import Expr
from interlock.kernel.permitted import Permit
from interlock.kernel.query import Limits, ProgressSink
from interlock.kernel.system import MoveKind, System
from interlock.kernel.witness import Witness

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node

# Each holds what many moves or one scan lead to; few are needed for what can come soon.
_ROUNDS_OF_SOON = 12


class Permitting:
    """As `kernel.permitted.Permitting`.

    Parameters
    ----------
    system : System
    limits : Limits
    progress : callable, optional
    """

    def __init__(
        self, system: System, limits: Limits = NO_LIMITS, progress: ProgressSink | None = None
    ) -> None:
        self._budget = Budget(limits, progress)
        self._space: Space | None = None
        try:
            # Rings are for runs; what is permitted needs only the set.
            space = Space(system, self._budget, breadth_first_work=0)
            space.explore()
            self._space = space
        except LimitError:
            # What is permitted reaches as much, and will say so.
            pass
        except MemoryError:
            self._budget.limit = self._budget.limit or "memory"

    @property
    def n_states(self) -> int:
        """Reachable states; 0 where a limit was hit."""
        return 0 if self._space is None else self._space.n_reached

    def nearest(
        self, targets: Sequence[Expr], limits: Limits = NO_LIMITS
    ) -> list[Witness | None] | str:
        """For each target a run of the fewest moves to it; the limit, where one was hit."""
        if self._space is None:
            return self._budget.limit or "states"
        space = self._space
        space.budget = Budget(limits, None)
        try:
            runs = [Paths(space).to_nearest(space.encoding.truth(target)) for target in targets]
        except LimitError:
            return space.budget.limit or "states"
        except MemoryError:
            return "memory"
        return [None if run is None else Witness(space.system.initial, tuple(run)) for run in runs]

    def permit(
        self,
        system: System,
        move: str,
        bad: Sequence[Expr],
        limits: Limits = NO_LIMITS,
        progress: ProgressSink | None = None,
    ) -> Permits:
        """Tell in which states of another system one of its moves is safe."""
        kept = self._space
        if kept is None or not _has_bits_of(kept, system):
            return Permits(system, move, bad, limits, progress)
        return Permits(system, move, bad, limits, progress, beside=kept)


class Permits:
    """The states of a system in which one of its moves is safe.

    Parameters
    ----------
    system : System
    move : str
        The move that can be withheld.
    bad : sequence of Expr
        What must never be. One that the other moves lead to from the initial state by themselves
        cannot be kept and is left out.
    limits : Limits
    progress : callable, optional
    beside : Space, optional
        An explored system over the same variables. Where each of its moves is one of these moves
        wherever it is made, all that it reaches is reached here and need not be looked for.

    Attributes
    ----------
    kept : tuple of bool
        For each of `bad`, whether it can be kept at all.
    limit : str or None
        The limit that was hit; then there is nothing else.
    n_states, n_safe, n_unsafe : int
        Reachable states with the move withheld only where it is unsafe; and those of them where
        it may be made and is safe, and unsafe.
    """

    def __init__(
        self,
        system: System,
        move: str,
        bad: Sequence[Expr],
        limits: Limits = NO_LIMITS,
        progress: ProgressSink | None = None,
        beside: Space | None = None,
    ) -> None:
        self._budget = Budget(limits, progress)
        self.kept: tuple[bool, ...] = ()
        self.n_states = self.n_safe = self.n_unsafe = 0
        try:
            if beside is None:
                self._space = Space(system, self._budget, breadth_first_work=0)
            else:
                self._space = beside.changed(beside.encoding.of(system), [], self._budget)
            self._space.moves = _moves_of(self._space.encoding, system)
            self._decide(move, bad, beside)
        except LimitError:
            pass
        except MemoryError:
            self._budget.limit = self._budget.limit or "memory"

    @property
    def limit(self) -> str | None:
        """The limit that was hit, here or in a permit since."""
        return self._budget.limit

    def _decide(self, name: str, bad: Sequence[Expr], beside: Space | None) -> None:
        space = self._space
        others = self._others = [move for move in space.moves if move.name != name]
        (allowed,) = [move for move in space.moves if move.name == name]
        self._possible = allowed.guard
        known = space.diagrams.false
        if beside is not None and _does_as_much(beside, space.moves):
            known = beside.reached
        # What is reached beside holds the initial state, and with it what the others do alone.
        start = known if known.satisfiable() else self._by_themselves
        everything = self._closed(start, space.moves, start)
        targets = [space.encoding.truth(expr) for expr in bad]
        lost = self._lost([target & everything for target in targets], everything)
        unsafe = everything & allowed.preimage(lost)
        reached = everything
        if unsafe.satisfiable():
            # The others lead into what is lost only from there. What never comes to a lost state
            # withholds the move where it is unsafe.
            start = self._by_themselves if (known & lost).satisfiable() else start
            reached = self._closed(start, [*others, allowed.restricted(~unsafe)], start)
        self._reached = reached
        self._unsafe = reached & unsafe
        self._safe = reached & allowed.guard & ~self._unsafe
        count = space.encoding.count
        self.n_states = count(reached)
        self.n_safe, self.n_unsafe = count(self._safe), count(self._unsafe)

    def _lost(self, targets: Sequence[Node], everything: Node) -> Node:
        """What leads by the other moves to a target that can be kept; which can is set here."""
        dd, encoding = self._space.diagrams, self._space.encoding
        soon = self._soon[-1] if any(t.satisfiable() for t in targets) else dd.false
        can_be = [not (soon & target).satisfiable() for target in targets]
        while True:
            self.kept = tuple(can_be)
            self._bad = dd.disjunction(
                target for target, is_kept in zip(targets, can_be, strict=True) if is_kept
            )
            lost = self._before(self._bad, self._others, everything)
            if not encoding.holds(lost, encoding.system.initial):
                return lost
            # Seldom: the others alone come to something bad, but late.
            can_be = [not (self._by_themselves & target).satisfiable() for target in targets]

    @cached_property
    def _soon(self) -> tuple[Node, ...]:
        """What the other moves lead to by themselves from power-up, in the first rounds."""
        initial = self._space.encoding.is_state(self._space.system.initial)
        rounds = self._grown(initial, self._others, self._space.diagrams.false)
        return tuple(islice(rounds, _ROUNDS_OF_SOON))

    @cached_property
    def _by_themselves(self) -> Node:
        """All that the other moves lead to from the initial state."""
        search = Search(self._space.encoding, self._others, self._space.check)
        found = search.start
        for more in chained(search.levels, search.start):
            self._space.check()
            found = more
        return self._space.diagrams.disjunction(search.all_states(found))

    def _closed(self, found: Node, moves: Sequence[SymbolicMove], known: Node) -> Node:
        """All that some moves lead to; what moves without a scan make of `known` states is found.

        Two scans, one of which may be withheld, do not settle what is found (see `settling`). But
        most is known at the start, and what is new to a move is little. Measured on the demo
        vehicle, seconds of CPU for each of 29 outputs: 7 from the initial state, 0.4 to 1.7 so.
        """
        for grown in self._grown(found, moves, known):
            self._bound(grown)
            found = grown
        return found

    def _grown(self, found: Node, moves: Sequence[SymbolicMove], known: Node) -> Iterator[Node]:
        """The sets on the way to `_closed`, one for each round of all moves; the last twice."""
        space = self._space
        kinds = {move.name: move.kind for move in space.encoding.system.moves}
        scans = [move for move in moves if kinds[move.name] is MoveKind.SCAN]
        others = [move for move in moves if kinds[move.name] is not MoveKind.SCAN]
        seen = dict.fromkeys(others, known)
        while True:
            yield found
            before = found
            for move in others:
                new, seen[move] = found & ~seen[move], found
                if new.satisfiable():
                    space.check()
                    found = found | move.image(new)
            if found != before:
                continue
            for scan in scans:
                space.check()
                found = found | scan.image(found)
            if found == before:
                return

    def _bound(self, found: Node) -> None:
        """Raise LimitError where too many states were found."""
        n_states, most = self._space.encoding.count(found), self._budget.limits.max_states
        self._budget.report("exploring", n_states, 0)
        if most is not None and n_states > most:
            self._budget.refuse_state(most)
            raise LimitError

    def _before(self, states: Node, moves: Sequence[SymbolicMove], within: Node) -> Node:
        """All states of a set that lead to some states by some moves."""
        while True:
            behind = states
            for move in moves:
                self._space.check()
                states = states | move.preimage(states) & within
            if states == behind:
                return states

    def keeps(self, system: System) -> bool:
        """Whether these states hold all of another system's, and none of them is bad.

        They do where the initial state is one and no move leads out of them, however they were
        found.
        """
        space = self._space
        if not _has_bits_of(space, system) or (self._reached & self._bad).satisfiable():
            return False
        encoding = space.encoding.of(system)
        if not encoding.holds(self._reached, system.initial):
            return False
        try:
            for move in _moves_of(encoding, system):
                space.check()
                if (move.image(self._reached) & ~self._reached).satisfiable():
                    return False
        except (LimitError, MemoryError):
            return False
        return True

    def is_ever_made(self, where: Expr) -> bool | None:
        """Whether the move is made at all where it is made exactly in states with `where`.

        It is made first in a state that the other moves lead to by themselves; mostly they do so
        soon, else it is asked of all that they lead to. None where a limit was hit first.
        """
        try:
            made = self._possible & self._space.encoding.truth(where)
            if not (self._reached & made).satisfiable():
                return False
            if (self._soon[-1] & made).satisfiable():
                return True
            return (self._by_themselves & made).satisfiable()
        except LimitError:
            return None
        except MemoryError:
            self._budget.limit = self._budget.limit or "memory"
            return None

    def seen_through(self, seen: Sequence[Expr]) -> Permit | None:
        """The weakest permit over some truth values of the state; None where a limit was hit."""
        try:
            return Sight(self._space, seen).permit(self._safe, self._unsafe)
        except LimitError:
            return None
        except MemoryError:
            self._budget.limit = self._budget.limit or "memory"
            return None


def _has_bits_of(space: Space, system: System) -> bool:
    """Whether a system is one over the same bits."""
    is_alike = system.variables == space.system.variables
    return is_alike and copied_variables(system) <= space.encoding.copies.keys()


def _moves_of(encoding: Encoding, system: System) -> list[SymbolicMove]:
    return [SymbolicMove.of(encoding, move) for move in system.moves]


def _does_as_much(beside: Space, moves: Sequence[SymbolicMove]) -> bool:
    """Whether each move that is made beside is one of `moves`, in every state by itself."""
    for made in beside.moves:
        where = beside.reached & made.guard
        for move in moves:
            if not where.satisfiable():
                break
            where = where & ~_same(beside.encoding, made, move)
        if where.satisfiable():
            return False
    return True


def _same(encoding: Encoding, one: SymbolicMove, other: SymbolicMove) -> Node:
    """Where `other` may be made and does what `one` does."""
    dd = encoding.diagrams
    if one.values.keys() != other.values.keys():
        return dd.false
    same = other.guard
    for v, partition in one.values.items():
        theirs = other.values[v]
        if partition != theirs:
            both = (where & theirs[x] for x, where in partition.items() if x in theirs)
            same = same & dd.disjunction(both)
    return same
