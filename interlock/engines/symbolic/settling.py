"""A system between its scans: a move together with the scan that answers it as one step.

Where the environment makes one move and then a scan comes, the states after a scan (settled
states) are all that a search has to keep; the others follow from them in the end.
And in settled states most of what a scan writes says nothing new: an output is a function of
the inputs it was just calculated from. Such variables are left out of the search; where a guard
reads them, their function is read instead. What is left of a scan are latches and other
memory, and only in the steps that may change them. So a step writes two or three neighbouring
variables instead of thirty.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from copy import copy
from typing import TYPE_CHECKING

from interlock.engines.symbolic.encoding import Encoding, Partition
from interlock.engines.symbolic.moves import SymbolicMove, plan
from interlock.kernel.system import PHASE, MoveKind

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Diagrams, Node, Substitution


class _CircleError(Exception):
    """Variables read each other in a circle, and none of them has a copy."""


class Settling:
    """The steps between settled states; make it with `settling`.

    Events, such as the strike of a fault, take no turn: any number of them may come before and
    after the one move between two scans, and without it. A step holds one move or one event and
    the scan; all that has more than one between two scans is `mixed`.

    Attributes
    ----------
    steps : list of SymbolicMove
        One for each move of the environment, its scan included, without the variables left out.
    repeat : SymbolicMove
        One more scan, where nothing has happened since the last.
    moves : list of SymbolicMove
        The moves and events themselves, made after a scan, in the same order as `steps`.
    later : list of SymbolicMove
        The moves, where an event has come since the scan.
    events : list of SymbolicMove
        Wherever they may come.
    scan : SymbolicMove
    settled : Node
        The states that a scan leads to.
    functions : dict of int to Partition
        The variables left out, by position: their values by those of others.
    """

    def __init__(
        self,
        encoding: Encoding,
        moves: Sequence[SymbolicMove],
        events: Sequence[SymbolicMove],
        scan: SymbolicMove,
    ) -> None:
        self._encoding = encoding
        self._dd = encoding.diagrams
        self.settled = _after_scan(encoding)
        self.moves = [_made_in(encoding, move, self.settled) for move in (*moves, *events)]
        self.later = [_made_in(encoding, m, ~self.settled) for m in moves] if events else []
        self.events = list(events)
        self.scan = scan
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

        new.moves, new.later, new.events = made(self.moves), made(self.later), made(self.events)
        (new.scan,) = made([self.scan])
        scanned = allowed.get(self.scan.name, anywhere)
        new.steps = [
            step.restricted(self.inlined(move.preimage(scanned)))
            for move, step in zip(new.moves, self.steps, strict=True)
        ]
        new.repeat = self.repeat.restricted(self.inlined(scanned))
        return new

    def mixed(self, states: Node) -> Node:
        """The unsettled states behind settled `states` that no single move or event leads to.

        Parameters
        ----------
        states : Node
            With all their variables.
        """
        if not self.events:
            return self._dd.false
        struck = self.after_events(states)
        single = self._dd.disjunction([event.image(states) for event in self.events])
        moved = [move.image(struck) for move in self.later]
        # Moves write nothing that decides whether an event may come, so it can be asked before.
        ready = states & self._dd.disjunction([event.guard for event in self.events])
        at_once = [move.image(ready) for move in self.moves[: len(self.later)]]
        behind = self._dd.disjunction(moved)
        behind = behind | self.after_events(behind | self._dd.disjunction(at_once))
        return (struck & ~single) | behind

    def after_events(self, states: Node) -> Node:
        """What one event or several in a row lead to."""
        # One after the other, each also from what those before it led to: their order hardly
        # matters, and there are far fewer such rounds than events in a row.
        nothing = self._dd.false
        found = states
        seen = dict.fromkeys(self.events, nothing)
        led_to = dict.fromkeys(self.events, nothing)
        while True:
            before = found
            for event in self.events:
                new, seen[event] = found & ~seen[event], found
                if new.satisfiable():
                    led_to[event] = led_to[event] | event.image(new)
                    found = found | led_to[event]
            if found == before:
                return self._dd.disjunction(led_to.values())

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

    def is_regular(self, state: Node) -> bool:
        """Whether a single state could have come out of a scan."""
        conditions = [self.settled, *self._after.values()]
        return all((state & condition).satisfiable() for condition in conditions)


def _after_scan(encoding: Encoding) -> Node:
    return encoding.is_value(encoding.system.index[PHASE], 0)


def settling(encoding: Encoding, moves: Sequence[SymbolicMove]) -> Settling | None:
    """The steps between settled states, or None where moves and scans do not take turns."""
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
    turns = [move for move in others if _takes_a_turn(encoding, move)]
    events = [move for move in others if move not in turns]
    if not all(_takes_none(encoding, event, turns) for event in events):
        return None
    try:
        return Settling(encoding, turns, events, scan)
    except _CircleError:
        return None


def _may_lead(encoding: Encoding, move: SymbolicMove, source: Node, target: Node) -> bool:
    """Whether a move leads from some state of `source` into `target`."""
    return (source & encoding.valid & move.preimage(target & encoding.valid)).satisfiable()


def _phases(encoding: Encoding) -> list[Node]:
    place = encoding.system.index[PHASE]
    domain = encoding.system.variables[place].domain
    return [encoding.is_value(place, value) for value in range(domain.lo, domain.hi + 1)]


def _takes_a_turn(encoding: Encoding, move: SymbolicMove) -> bool:
    """Whether a move is made once between two scans: it ends in phase 1 and none is made there."""
    phases = _phases(encoding)
    if len(phases) < 2:
        return False
    moved = phases[1]
    here = move.guard & encoding.valid & moved
    return not here.satisfiable() and not _may_lead(encoding, move, encoding.valid, ~moved)


def _takes_none(encoding: Encoding, event: SymbolicMove, turns: Sequence[SymbolicMove]) -> bool:
    """Whether an event may come at any moment, and no move decides whether it may."""
    phases = _phases(encoding)
    if len(phases) != 3:
        return False
    settled, moved, struck = phases
    keeps = not any(
        _may_lead(encoding, event, source, ~target)
        for source, target in ((settled, struck), (moved, moved), (struck, struck))
    )
    decided = encoding.variables_in([event.guard])
    pending = {encoding.system.index[PHASE]}
    return (
        keeps
        and all(decided.isdisjoint(set(move.values) - pending) for move in turns)
        and (decided.isdisjoint(pending))
    )


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
