"""Whose turn it is between two scans: the part of a system that keeps to `between_scans`.

**What takes a turn**: moves of the plant and of people, human errors among them. A machine or a
control that such a move carries along (`also`) neither needs a turn of its own nor uses it up.

**In all.** `PHASE` is 0 behind a scan and k behind the k-th move since. **Each once, any number.**
`PHASE` is 1 behind a move, and where each may move once, ``scan.moved.<machine>`` counts the moves
of each machine and control since the scan. Either way `PHASE` has a value of its own before the
first scan, which comes before the first move, and one more where only something that takes no turn
has happened since the scan.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from interlock.kernel import expr as ex
from interlock.kernel.expr import TRUE, Expr, and_, eq, lt, not_, or_
from interlock.kernel.system import (
    MOVED,
    PHASE,
    SCANNED_BY,
    Domain,
    Move,
    MoveKind,
    Role,
    Variable,
    enumeration,
)
from interlock.model.between import most_turns
from interlock.model.model import Model, ModelMove

_AFTER_POWER_UP = 2


@dataclass(frozen=True)
class Turns:
    """The turns of a model's moves.

    Attributes
    ----------
    in_all : int or None
        As in `BetweenScans`.
    most : mapping of str to int
        How often each machine may move that is limited by itself.
    may_scan : Expr
        Whether any scan is possible: where none is, nothing waits for one.
    """

    in_all: int | None
    most: Mapping[str, int]
    may_scan: Expr = TRUE

    @property
    def due(self) -> int:
        """The value of `PHASE` in which no move may come before the next scan."""
        return _AFTER_POWER_UP if self.in_all is None else self.in_all

    def variables(self, has_events: bool) -> list[Variable]:
        """What counts; `has_events` tells whether anything takes no turn."""
        # Without events the value that tells of them would only make diagrams larger.
        last = self.due + 1 if has_events else self.due
        counts = [Variable(MOVED + m, Domain(0, n), 0, Role.PHASE) for m, n in self.most.items()]
        return [Variable(PHASE, Domain(0, last), self.due, Role.PHASE), *counts]

    def is_open_to(self, machine: str) -> Expr:
        """Whether a move of `machine` may come before the next scan."""
        is_open = not_(eq(ex.var(PHASE), ex.const(self.due)))
        if machine in self.most:
            is_open = and_(is_open, lt(ex.var(MOVED + machine), ex.const(self.most[machine])))
        return or_(is_open, not_(self.may_scan))

    def taking_one(self, move: Move, machine: str) -> Move:
        """The move of `machine` as one that takes a turn."""
        updates = {**move.updates, PHASE: self._after()}
        if machine in self.most:
            count = MOVED + machine
            one_more = ex.add(ex.var(count), ex.const(1))
            updates[count] = ex.minimum(one_more, ex.const(self.most[machine]))
        return replace(move, guard=and_(move.guard, self.is_open_to(machine)), updates=updates)

    def _after(self) -> Expr:
        """`PHASE` behind a move; one that waited for nobody comes before the first scan still."""
        pending = ex.var(PHASE)
        if self.in_all is None:
            due, moved = ex.const(self.due), ex.const(1)
            return moved if self.may_scan is TRUE else ex.ite(eq(pending, due), due, moved)
        most = ex.const(self.in_all)
        after = ex.minimum(ex.add(pending, ex.const(1)), most)
        return ex.ite(ex.lt(most, pending), ex.const(1), after)

    def taking_none(self, event: Move) -> Move:
        """The event as one that may come at any moment; what it leads to follows no scan."""
        pending = ex.var(PHASE)
        after = ex.ite(eq(pending, ex.const(0)), ex.const(self.due + 1), pending)
        return replace(event, updates={**event.updates, PHASE: after})


def turns_of(model: Model, may_scan: Expr = TRUE) -> Turns:
    """The turns of a model's moves, by what it says of the time between two scans.

    Of several controllers each scan ends that time; how long it may be, the slowest one says.
    """
    scan_ms = max(one.settings.scan_ms for one in model.controllers)
    between = model.between_scans
    most: dict[str, int] = {}
    if between.is_each_once:
        taking = [move for move in model.moves if model.takes_turn(move)]
        for machine in dict.fromkeys(move.machine for move in taking):
            least = _least_seconds(m for m in taking if m.machine == machine)
            n = most_turns(least, scan_ms)
            if n is not None:
                most[machine] = n
    return Turns(between.in_all, most, may_scan)


def who_scanned(model: Model) -> list[Variable]:
    """What tells whose scan a state follows, where the model has several controllers."""
    if not model.several:
        return []
    domain = enumeration("nobody", *(one.name for one in model.several))
    return [Variable(SCANNED_BY, domain, 0, Role.PHASE)]


def noting_who_scans(model: Model, moves: Sequence[Move]) -> list[Move]:
    """The moves with what they make of it: behind anything but a scan nobody has scanned."""
    if not model.several:
        return list(moves)
    numbers = {one.scan: number for number, one in enumerate(model.several, 1)}
    assert all((move.kind is MoveKind.SCAN) == (move.name in numbers) for move in moves)
    return [
        replace(m, updates={**m.updates, SCANNED_BY: ex.const(numbers.get(m.name, 0))})
        for m in moves
    ]


def _least_seconds(moves: Iterable[ModelMove]) -> list[float]:
    return [move.takes.least for move in moves if move.takes is not None]
