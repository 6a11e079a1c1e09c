"""Durations left free: a system that does all that a model does in time, and more, with few clocks.

Each clock multiplies the states, and most of what is claimed holds however long things take. A
clock that is not kept is forgotten: what it is the clock of may happen wherever its guard holds, is
owed as long as that lasts, and keeps no time from passing. So a run of the model in its time is a
run of this system, and what holds of every run here holds in time, too. What is violated here may
take a run that time rules out.

One thing is left of the durations. What takes longer than two scans are ever apart waits for
something that was so at the last scan already; and where each move of a machine leaves the state
that it waits in, nothing has moved it since. ``scan.moved.<machine>`` says so: 1 behind moves that
take their time, 2 behind one that takes a turn. That is so in true time, and with units that are
finer than the time between two scans a clock says no more; a coarse unit, which lets several moves
follow each other within a scan, says less. So what holds here may be violated with the coarse unit
alone.

Where no clock is kept time does not pass at all: nothing would depend on it.

A move that is owed counts as owed here from when its guard holds. In time it is not before its
least duration is over; but time goes on for ever where every greatest duration is a unit or more,
so what lasts for ever lasts that long.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr, and_, const, eq, ite, lt, var
from interlock.kernel.system import MOVED, Domain, Move, MoveKind, Role, System, Variable
from interlock.model.clocks import may_stand_still, periods_of
from interlock.model.model import Model, ModelMove
from interlock.model.timing import BEGUN, CLOCK, ms_of

BEHIND_OTHERS, BEHIND_A_TURN = 1, 2


def can_be_freed(model: Model) -> bool:
    """Whether the runs of a model in time are known to be among those of its freed systems.

    Not where time may have to stand still, which what is owed leans on, nor where something other
    than a clock counts it: the age of a signal, the effect of an output, the band of a quantity. Of
    several controllers each would need its own word on what was so at its last scan.
    """
    if model.timing is None or model.several or model.quantities:
        return False
    counts = any(s.delay is not None and s.delay.in_time for s in model.late_sensors)
    if counts or model.delayed_outputs:
        return False
    return not may_stand_still(model, periods_of(model))


def clocks_of(system: System) -> frozenset[str]:
    """The moves of a system that have clocks."""
    names = (v.name for v in system.variables if v.name.startswith(CLOCK))
    return frozenset(name.removeprefix(CLOCK) for name in names)


@dataclass(frozen=True)
class Freed:
    """A freed system, and what stands in it for variables that it has no more, or counts anew."""

    system: System
    instead: Mapping[str, Expr]

    def seen(self, condition: Expr) -> Expr:
        """A condition on states of the model, such as a move's guard, wherever time might be."""
        return ex.substitute([condition], self.instead)[0]


def freed(model: Model, system: System, kept: Collection[str]) -> Freed:
    """The system of a model in time with the clocks of the moves `kept` alone.

    Parameters
    ----------
    model : Model
        One that `can_be_freed`.
    system : System
        As it is built in time.
    kept : collection of str
        Names of moves, the scan's among them.
    """
    clocks = [v for v in system.variables if v.name.startswith((CLOCK, BEGUN))]
    gone = {v.name: v for v in clocks if v.name.partition(".")[2] not in kept}
    over: dict[str, Expr] = {name: const(v.domain.hi) for name, v in gone.items()}
    just_begun: dict[str, Expr] = dict.fromkeys(gone, const(0))
    moves = []
    for move in system.moves:
        if move.kind is not MoveKind.TIME:
            moves.append(_without(move, over))
        elif kept:
            # Nothing is up for want of whose clock time would stand still.
            moves.append(_without(move, just_begun))
    variables = [v for v in system.variables if v.name not in gone]
    left = replace(system, variables=tuple(variables), moves=tuple(moves))
    counts = _counts(model, left)
    return Freed(_waiting_for_scans(model, left, counts), over | _turns_seen(counts))


def _without(move: Move, values: Mapping[str, Expr]) -> Move:
    """The move where some clocks have these values and are written no more."""
    (guard,) = ex.substitute([move.guard], values)
    fair = None if move.fair is None else ex.substitute([move.fair], values)[0]
    updates = {name: new for name, new in move.updates.items() if name not in values}
    return replace(move, guard=guard, fair=fair, updates=updates)


@dataclass(frozen=True)
class _Count:
    """What tells whether a machine has moved since the scan, and by whom.

    Attributes
    ----------
    name : str
    has_turns : bool
        Whether it counted turns before.
    """

    name: str
    has_turns: bool

    @property
    def most(self) -> int:
        return BEHIND_A_TURN if self.has_turns else BEHIND_OTHERS

    @property
    def unmoved(self) -> Expr:
        return eq(var(self.name), const(0))

    @property
    def turns(self) -> Expr:
        """The turns as they were counted before."""
        return ite(lt(const(BEHIND_OTHERS), var(self.name)), const(1), const(0))

    def behind(self, takes_turn: bool) -> Expr:
        """Its value behind a move of the machine."""
        if takes_turn:
            return const(self.most)
        return ite(self.unmoved, const(BEHIND_OTHERS), var(self.name))


def _counts(model: Model, system: System) -> dict[str, _Count]:
    """What is counted of each machine that makes slow moves, by its name."""
    counts = {}
    # What stays where it is waits on through it.
    stay = {move.machine for move in model.moves if move.source == move.target}
    for machine in {move.machine: None for move in slow_moves(model).values()}:
        name = MOVED + machine
        has_turns = name in system.index
        # Where turns are more than one nothing is said of the machine, which lets more happen.
        is_counted_by_one = not has_turns or system.variable(name).domain.hi == 1
        if machine not in stay and is_counted_by_one:
            counts[machine] = _Count(name, has_turns)
    return counts


def _turns_seen(counts: Mapping[str, _Count]) -> dict[str, Expr]:
    return {one.name: one.turns for one in counts.values() if one.has_turns}


def _waiting_for_scans(model: Model, system: System, counts: Mapping[str, _Count]) -> System:
    """The system in which what takes longer than scans are apart waits for one."""
    slow, seen = slow_moves(model), _turns_seen(counts)
    of = {move.name: move for move in model.moves}
    moves = []
    for move in system.moves:
        guard, *new = ex.substitute([move.guard, *move.updates.values()], seen)
        updates = dict(zip(move.updates, new, strict=True))
        if move.kind is MoveKind.SCAN:
            updates |= {one.name: const(0) for one in counts.values()}
        own = of.get(move.name)
        if own is not None and own.machine in counts:
            count = counts[own.machine]
            updates[count.name] = count.behind(model.takes_turn(own))
            if move.name in slow:
                guard = and_(guard, count.unmoved)
        moves.append(replace(move, guard=guard, updates=updates))
    domains = {one.name: Domain(0, one.most) for one in counts.values()}
    # Power-up is over in no time, so nothing slow comes before the first scan.
    variables = [
        replace(v, domain=domains.pop(v.name), initial=BEHIND_OTHERS) if v.name in domains else v
        for v in system.variables
    ]
    variables += [
        Variable(name, domain, BEHIND_OTHERS, Role.PHASE) for name, domain in domains.items()
    ]
    return replace(system, variables=tuple(variables), moves=tuple(moves))


def slow_moves(model: Model) -> dict[str, ModelMove]:
    """The moves that take longer than two scans are ever apart, out of a state that they leave."""
    assert model.timing is not None
    most_ms = model.timing.scan_greatest_ms
    return {
        move.name: move
        for move in model.moves
        if move.takes is not None
        and move.source is not None
        and move.source != move.target
        and ms_of(move.takes.least) > most_ms
    }
