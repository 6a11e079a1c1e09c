"""Where runs go on from, and what one step makes of that.

**All states.** An invariant may be one of all states: it holds initially, and every move keeps it.

**Scanned states.** Where a scan answers every move, an invariant of the states behind a scan is
enough, and far smaller. Such a state is what the scan makes of any state at all; that stands in
the obligations as the scan's own updates, so outputs need no sets. A step is a move with the scan
behind it. What lies between the two is what the move makes of a scanned state. Why nothing is
left out: the initial state and what its moves lead to are looked at by themselves; from a scanned
state a move leads to where only the scan is possible (`turns`), and that leads to a scanned state.

An invariant in *cases* has fixed values for some variables in each: there the moves are
simplified first, and what cannot happen at all drops out.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from interlock.kernel import expr as ex
from interlock.kernel.certificate import Case, Invariant
from interlock.kernel.expr import Expr, Op
from interlock.kernel.system import PHASE, Move, MoveKind, System

Values = Mapping[str, Expr]
"""A state: the value of each variable, by those of others."""


@dataclass(frozen=True)
class Step:
    """A move, with the scan that answers it where the invariant is of scanned states.

    Attributes
    ----------
    written : frozenset of str
        What the move alone may change.
    guard : Expr
    between : mapping of str to Expr, or None
        The state between the move and that scan.
    after : mapping of str to Expr
    """

    written: frozenset[str]
    guard: Expr
    between: Values | None
    after: Values


@dataclass(frozen=True)
class Situation:
    """States to go on from.

    Attributes
    ----------
    name : str
        Empty where it is the only one.
    says : str
    assumed : Expr
        What is sure of the variables in which `state` is written.
    case : Case or None
        The case of the invariant that `state` is of; None for the initial state.
    state : mapping of str to Expr
    steps : mapping of str to Step
        By the name of the move; without those that are never possible here.
    """

    name: str
    says: str
    assumed: Expr
    case: Case | None
    state: Values
    steps: Mapping[str, Step]


def moved(updates: Values, state: Values) -> dict[str, Expr]:
    """The state that `updates` make of `state`."""
    new = ex.substitute(list(updates.values()), state)
    return {**state, **dict(zip(updates, new, strict=True))}


def possible(system: System) -> Expr:
    """Whether every variable has one of its values; not every code of bits is one."""
    return ex.and_(
        *(
            ex.le(ex.var(v.name), ex.const(v.domain.hi))
            for v in system.variables
            if v.domain.size & (v.domain.size - 1)
        )
    )


def scan_of(system: System) -> Move | None:
    """The scan, if there is exactly one and moves count themselves until it comes."""
    scans = [move for move in system.moves if move.kind is MoveKind.SCAN]
    return scans[0] if len(scans) == 1 and PHASE in system.index else None


def turns(system: System) -> Iterator[tuple[str, Expr]]:
    """What must never be, so that every move is followed by the scan and by nothing else."""
    scan = scan_of(system)
    assert scan is not None
    is_scanned = ex.eq(ex.var(PHASE), ex.const(0))
    others = [move for move in system.moves if move is not scan]
    behind = (ex.and_(m.guard, ex.substitute([is_scanned], m.updates)[0]) for m in others)
    early = (ex.and_(m.guard, ex.not_(is_scanned)) for m in others)
    yield "a scan is always possible", ex.not_(scan.guard)
    yield "every move waits for the scan", ex.or_(*early)
    yield "after every move a scan is due", ex.or_(*behind)


def situations(system: System, invariant: Invariant) -> Iterator[Situation]:
    """Every situation that the invariant speaks of, the initial state first."""
    same: dict[str, Expr] = {v.name: ex.var(v.name) for v in system.variables}
    first: dict[str, Expr] = {v.name: ex.const(v.initial) for v in system.variables}
    scan = scan_of(system) if invariant.is_scanned else None
    steps = {} if scan is None else _steps(system.moves, scan, first, {})
    yield Situation("initially", "", ex.TRUE, None, first, steps)
    written = frozenset() if scan is None else frozenset(scan.updates)
    for number, case in enumerate(invariant.cases, 1):
        fixed: dict[str, Expr] = {
            name: ex.const(value)
            for name, value in zip(invariant.split, case.values, strict=True)
            if name not in written
        }
        free = {**same, **fixed}
        moves = [_fixed(move, fixed) for move in system.moves]
        state, assumed = free, ex.TRUE
        if scan is not None:
            state = moved(_fixed(scan, fixed).updates, free)
            (assumed,) = ex.substitute([possible(system)], fixed)
        name = f"case {number}" if len(invariant.cases) > 1 else ""
        steps = _steps(moves, scan, state, fixed)
        yield Situation(name, _told(system, invariant, case), assumed, case, state, steps)


def _fixed(move: Move, values: Values) -> Move:
    """The move where some variables have fixed values."""
    if not values:
        return move
    guard, *new = ex.substitute([move.guard, *move.updates.values()], values)
    updates = dict(zip(move.updates, new, strict=True))
    return replace(move, guard=guard, updates=updates, fair=None)


def _steps(
    moves: Sequence[Move], scan: Move | None, state: Values, fixed: Values
) -> dict[str, Step]:
    """The steps of `moves`, which are already simplified by what is `fixed`."""
    steps = {}
    answer = None if scan is None else _Answer(_fixed(scan, fixed).updates, state)
    for move in moves:
        (guard,) = ex.substitute([move.guard], state)
        if guard is ex.FALSE:
            continue
        written = frozenset(move.updates)
        after = moved(move.updates, state)
        if scan is None or answer is None or move.name == scan.name:
            steps[move.name] = Step(written, guard, None, after)
        # Where a fault has struck only now, the scan is not the one of this case.
        elif all(after[name] is value for name, value in fixed.items()):
            steps[move.name] = Step(written, guard, after, answer.to(after, written))
        else:
            steps[move.name] = Step(written, guard, after, moved(scan.updates, after))
    return steps


class _Answer:
    """What a scan makes of states that differ in a few variables from one.

    A move changes few variables and most of a program does not read them, directly or not; that
    part is the same after every move.
    """

    def __init__(self, updates: Values, state: Values) -> None:
        self._updates = updates
        self._order = ex.topological(updates.values())
        names = sorted(n.name for n in self._order if n.op is Op.VAR)
        self._bits = {name: 1 << number for number, name in enumerate(names)}
        self._reads: dict[Expr, int] = {}
        for node in self._order:
            reads = self._bits[node.name] if node.op is Op.VAR else 0
            for arg in node.args:
                reads |= self._reads[arg]
            self._reads[node] = reads
        self._same = dict(zip(self._order, ex.substitute(self._order, state), strict=True))

    def to(self, state: Values, changed: Collection[str]) -> dict[str, Expr]:
        """The state after the scan of `state`, which differs in `changed` at most."""
        bits = sum(self._bits.get(name, 0) for name in set(changed))
        affected = [node for node in self._order if self._reads[node] & bits]
        new: dict[Expr, Expr] = {}
        for node in affected:
            if node.op is Op.VAR:
                new[node] = state[node.name]
            else:
                args = [new[arg] if arg in new else self._same[arg] for arg in node.args]
                new[node] = ex.rebuild(node.op, args)
        return {
            **state,
            **{n: new[e] if e in new else self._same[e] for n, e in self._updates.items()},
        }


def _told(system: System, invariant: Invariant, case: Case) -> str:
    """How a case differs from how the system begins."""
    different = [
        f"{name} = {value}"
        for name, value in zip(invariant.split, case.values, strict=True)
        if value != system.variable(name).initial
    ]
    return ", ".join(different)
