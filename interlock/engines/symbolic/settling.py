"""A system between its scans: a move together with the scan that answers it as one step.

What counts moves between two scans is forgotten by the scan, so the states after a scan (settled
states) are all that a search has to keep; the others follow from them in the end. One move and its
scan is the step that a search takes; where more may happen before a scan, `Between` follows it.
And in settled states most of what a scan writes says nothing new: an output is a function of
the inputs it was just calculated from. Such variables are left out of the search; where a guard
reads them, their function is read instead. What is left of a scan are latches and other
memory, and only in the steps that may change them. So a step writes two or three neighbouring
variables instead of thirty.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from copy import copy
from typing import TYPE_CHECKING

from interlock.engines.symbolic.encoding import Encoding, Partition
from interlock.engines.symbolic.moves import SymbolicMove, plan
from interlock.kernel.system import PHASE, MoveKind, Role

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Diagrams, Node, Substitution


class _CircleError(Exception):
    """Variables read each other in a circle, and none of them has a copy."""


class Settling:
    """The steps between settled states; make it with `settling`.

    A step holds one move and the scan. Where more may come between two scans, see `Between`.

    Attributes
    ----------
    steps : list of SymbolicMove
        One for each move of the environment, its scan included, without the variables left out.
    repeat : SymbolicMove
        One more scan, where nothing has happened since the last.
    moves : list of SymbolicMove
        The moves themselves, made after a scan, in the same order as `steps`.
    anywhere : list of SymbolicMove
        The same, wherever they may be made.
    scan : SymbolicMove
    settled : Node
        The states that a scan leads to.
    functions : dict of int to Partition
        The variables left out, by position: their values by those of others.
    strikes : frozenset of str
        Names of the moves that faults make.
    has_free_strikes : bool
        Whether one is made whatever other faults have struck, so that they may gather.
    is_outrun : bool
        Whether a move may follow another without a scan in between.
    is_outrun_by_moves : bool
        Whether one may that no fault makes.
    """

    def __init__(
        self, encoding: Encoding, moves: Sequence[SymbolicMove], scan: SymbolicMove
    ) -> None:
        self._encoding = encoding
        self._dd = encoding.diagrams
        self.settled = _after_scan(encoding)
        self.moves = [_made_in(encoding, move, self.settled) for move in moves]
        self.anywhere = [_made_in(encoding, move, self._dd.true) for move in moves]
        self.scan = scan
        kinds = {move.name: move.kind for move in encoding.system.moves}
        self.strikes = frozenset(m.name for m in moves if kinds[m.name] is MoveKind.FAULT)
        self.has_free_strikes = self._have_free_strikes(moves)
        self.is_outrun = self._may_follow(self.moves)
        self.is_outrun_by_moves = self._may_follow(
            [move for move in self.moves if move.name not in self.strikes]
        )
        self._after = {v: self._after_scan(v) for v in scan.values}
        self.functions = self._find_functions()
        self._inline = self._dd.substitution(encoding.bit_functions(self.functions))
        self._left_out = self._dd.positive(b for v in self.functions for b in encoding.bits[v])
        self._defined = [
            self._dd.disjunction(where & encoding.is_value(v, x) for x, where in function.items())
            for v, function in self.functions.items()
        ]
        kept = [v for v in scan.values if v not in self.functions]
        self._known = {v: self.inlined(self._after[v]) for v in kept}
        # What a scan writes where the move before it touched nothing that it reads.
        self._reads = {v: encoding.variables_in(scan.values[v].values()) for v in kept}
        self._unmoved = {v: _substituted(scan.values[v], self._inline) for v in kept}
        self._restless = {v: self._changing(v, self._unmoved[v]) for v in kept}
        self.steps = [self._step(move.name, move.guard, move.values) for move in self.moves]
        self.repeat = self._step(scan.name, encoding.diagrams.true, {})

    def _have_free_strikes(self, moves: Sequence[SymbolicMove]) -> bool:
        system = self._encoding.system
        flags = {v for v, variable in enumerate(system.variables) if variable.role is Role.FAULT}
        strikes = [move for move in moves if move.name in self.strikes]
        writers = Counter(v for move in strikes for v in flags & move.values.keys())
        return any(
            all(v in move.values and writers[v] == 1 for v in read)
            for move in strikes
            if (read := flags & self._encoding.variables_in([move.guard]))
        )

    def _may_follow(self, moves: Sequence[SymbolicMove]) -> bool:
        """Whether one of `moves` may be made behind another, or behind itself, without a scan."""
        names = {move.name for move in moves}
        ready = self._dd.disjunction(m.guard for m in self.anywhere if m.name in names)
        return any(_may_lead(self._encoding, move, self.settled, ready) for move in moves)

    def _after_scan(self, v: int) -> Node:
        """What is surely true of the variable `v` and what it was calculated from after a scan."""
        values = self.scan.values
        reads = self._encoding.variables_in(values[v].values())
        some = {w: values[w] for w in sorted({v, *(w for w in reads if w in values)})}
        try:
            part = _move(self._encoding, "part", self.scan.guard & self._encoding.valid, some)
        except _CircleError:
            return self._dd.true
        others = self._dd.positive(
            b for w in values if w not in some for b in self._encoding.bits[w]
        )
        return part.image(self._dd.true).exists(others)

    def _find_functions(self) -> dict[int, Partition]:
        """The variables that are functions of others in settled states, none of another found."""
        found: dict[int, Partition] = {}
        # What no update reads is an output; outputs first, so that memory stays to define them.
        read = self._encoding.variables_in(
            part for partition in self.scan.values.values() for part in partition.values()
        )
        for v in sorted(self.scan.values, key=lambda v: (v in read, v)):
            function = self._function(v)
            if function is None:
                continue
            function = self._replaced(function, found)
            if v in self._encoding.variables_in(function.values()):
                continue
            for other in found:
                found[other] = self._replaced(found[other], {v: function})
            found[v] = function
        return found

    def _function(self, v: int) -> Partition | None:
        """The value of `v` by other variables, if what is known after a scan leaves no choice."""
        calculated = self.scan.values[v]
        if self._encoding.variables_in(calculated.values()).isdisjoint(self.scan.values):
            return dict(calculated)
        bits = self._dd.positive(self._encoding.bits[v])
        domain = self._encoding.system.variables[v].domain
        function: Partition = {}
        seen = self._dd.false
        for value in range(domain.lo, domain.hi + 1):
            where = self._dd.and_exists(self._after[v], self._encoding.is_value(v, value), bits)
            if (where & seen).satisfiable():
                return None
            seen = seen | where
            if where.satisfiable():
                function[value] = where
        return function

    def _replaced(self, partition: Partition, functions: Mapping[int, Partition]) -> Partition:
        return _substituted(
            partition, self._dd.substitution(self._encoding.bit_functions(functions))
        )

    def _step(self, name: str, guard: Node, moved: Mapping[int, Partition]) -> SymbolicMove:
        """What a move with `guard` and the new values `moved` comes to when scanned."""
        between = {v: _substituted(p, self._inline) for v, p in moved.items()}
        # The scan reads what the move has left: its new values, and outputs as they were.
        left = self._dd.substitution(self._encoding.bit_functions({**self.functions, **between}))
        guard = guard.substitute(self._inline) & self.scan.guard.substitute(left)
        values = {v: p for v, p in between.items() if v not in self.scan.values}
        for v, reads in self._reads.items():
            new, changing = self._unmoved[v], self._restless[v]
            if not reads.isdisjoint(between):
                new = _substituted(self.scan.values[v], left)
                changing = self._changing(v, new)
            if (guard & changing).satisfiable():
                values[v] = new
        return _move(self._encoding, name, guard, _simplified(self._dd, values, guard))

    def _changing(self, v: int, new: Partition) -> Node:
        """The settled states in which `v` gets another value by `new`."""
        return self._known[v] & self._dd.disjunction(
            where & ~self._encoding.is_value(v, value) for value, where in new.items()
        )

    def only_where(self, allowed: Mapping[str, Node]) -> Settling:
        """The same, with some moves made only where they are allowed, by their names."""
        anywhere = self._dd.true
        new = copy(self)

        def made(moves: Sequence[SymbolicMove]) -> list[SymbolicMove]:
            return [m.restricted(allowed[m.name]) if m.name in allowed else m for m in moves]

        new.moves, new.anywhere = made(self.moves), made(self.anywhere)
        (new.scan,) = made([self.scan])
        scanned = allowed.get(self.scan.name, anywhere)
        new.steps = [
            step.restricted(self.inlined(move.preimage(scanned)))
            for move, step in zip(new.moves, self.steps, strict=True)
        ]
        new.repeat = self.repeat.restricted(self.inlined(scanned))
        return new

    def narrowed(self, states: Node) -> Node:
        """Settled states without the variables left out."""
        return states.exists(self._left_out)

    def widened(self, states: Node) -> Node:
        """Settled states with all their variables."""
        for defined in self._defined:
            states = states & defined
        return states

    def inlined(self, condition: Node) -> Node:
        """A condition on settled states without the variables left out."""
        return condition.substitute(self._inline)

    def count(self, narrowed: Node) -> int:
        """How many settled states there are in a set without the variables left out."""
        return self._encoding.count(narrowed) >> sum(
            len(self._encoding.bits[v]) for v in self.functions
        )

    def are_regular(self, states: Node) -> bool:
        """Whether all of some states could have come out of a scan."""
        conditions = [self.settled, *self._after.values()]
        return not any((states & ~condition).satisfiable() for condition in conditions)


class Between:
    """The states that a search has found between its scans, and behind them.

    Each move works on what the others have found, and only on what is new to it: the diagrams are
    much larger than those of settled states, and a move that is taken again finds little.
    Measured on the demo vehicle with each machine moving once between two scans, seconds of CPU:
    moves on all that was found 13, on what is new 7; letting faults strike only when nothing else
    leads further, and keeping what was found from one set of settled states to the next, takes it
    from 250 to 115 with any one of 75 faults. Letting none strike before the first scan either, and
    scanning what they strike in before anything else is followed, with one variable for all flags
    (see `exclusive`), takes the search alone to 37.

    Parameters
    ----------
    settling : Settling
    begun : Node
        States before the first scan to go on from, beside the settled ones.
    check : callable
        Called after each move; it may raise.

    Attributes
    ----------
    found : Node
        Settled and unsettled states.
    """

    def __init__(self, settling: Settling, begun: Node, check: Callable[[], None]) -> None:
        self._settling = settling
        self._check = check
        self._seen = dict.fromkeys(settling.anywhere, begun & ~begun)
        self._strikes = [m for m in settling.anywhere if m.name in settling.strikes]
        self._others = [m for m in settling.anywhere if m.name not in settling.strikes]
        self.found = begun

    def follow(self, settled: Node, with_strikes: bool) -> Node:
        """What the scan makes of all that comes behind `settled` states, narrowed as these are."""
        self.found = self.found | self._settling.widened(settled)
        while self._taken(self._others) or (with_strikes and self._taken(self._strikes)):
            pass
        return self._settling.narrowed(self._settling.scan.image(self.found))

    def struck(self, settled: Node) -> Node:
        """What the scan makes of all that faults strike in, before anything else comes.

        What follows a strike is mostly what goes before it, and found sooner from settled states.
        """
        self.found = self.found | self._settling.widened(settled)
        self._taken(self._strikes)
        return self._settling.narrowed(self._settling.scan.image(self.found))

    def _taken(self, moves: Sequence[SymbolicMove]) -> bool:
        before = self.found
        for move in moves:
            new, self._seen[move] = self.found & ~self._seen[move], self.found
            if new.satisfiable():
                self.found = self.found | move.image(new)
                self._check()
        return self.found != before


def _after_scan(encoding: Encoding) -> Node:
    index = encoding.system.index
    return encoding.diagrams.conjunction(
        encoding.is_value(index[name], 0) for name in encoding.system.turns
    )


def settling(encoding: Encoding, moves: Sequence[SymbolicMove]) -> Settling | None:
    """The steps between settled states, or None where scans alone do not lead to these."""
    kinds = {move.name: move.kind for move in encoding.system.moves}
    scans = [move for move in moves if kinds[move.name] is MoveKind.SCAN]
    if len(scans) != 1 or PHASE not in encoding.system.index:
        return None
    (scan,) = scans
    others = [move for move in moves if move is not scan]
    settled = _after_scan(encoding)
    if (encoding.valid & ~scan.guard).satisfiable():
        return None  # A scan that has to wait for its time answers no move at once.
    if _may_lead(encoding, scan, encoding.valid, ~settled):
        return None
    if any(_may_lead(encoding, move, encoding.valid, settled) for move in others):
        return None
    try:
        return Settling(encoding, others, scan)
    except _CircleError:
        return None


def _may_lead(encoding: Encoding, move: SymbolicMove, source: Node, target: Node) -> bool:
    """Whether a move leads from some state of `source` into `target`."""
    return (source & encoding.valid & move.preimage(target & encoding.valid)).satisfiable()


def _move(
    encoding: Encoding, name: str, guard: Node, values: Mapping[int, Partition]
) -> SymbolicMove:
    reads = {v: encoding.variables_in(partition.values()) for v, partition in values.items()}
    if not encoding.copies.keys() >= set(plan(reads, encoding.copies).copied):
        raise _CircleError
    return SymbolicMove(encoding, name, guard, values, reads)


def _made_in(encoding: Encoding, move: SymbolicMove, where: Node) -> SymbolicMove:
    """The move, only in `where`, with what it writes there."""
    guard = move.guard & encoding.valid & where
    try:
        return _move(encoding, move.name, guard, _simplified(encoding.diagrams, move.values, guard))
    except _CircleError:
        # Simplified, it would need other copies than there are.
        return move.restricted(where)


def _substituted(partition: Partition, substitution: Substitution) -> Partition:
    new = {value: where.substitute(substitution) for value, where in partition.items()}
    return {value: where for value, where in new.items() if where.satisfiable()}


def _simplified(dd: Diagrams, values: Mapping[int, Partition], guard: Node) -> dict[int, Partition]:
    """The same updates wherever `guard` holds; where only one value is possible, that constant."""
    result = {}
    for v, partition in values.items():
        possible = {x: where for x, where in partition.items() if (where & guard).satisfiable()}
        result[v] = dict.fromkeys(possible, dd.true) if len(possible) == 1 else possible
    return result
