"""Random systems in which a scan answers every move, with latched faults."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import strategies as st

from interlock.kernel.expr import TRUE, Expr, add, and_, clamp, const, eq, lt, not_, or_, var
from interlock.kernel.system import BOOL, PHASE, Domain, Move, MoveKind, Role, System, Variable
from interlock.model.turns import Turns
from tests.support.choices import Choices
from tests.support.strategies import Intervals, a_number, a_truth

ENVIRONMENT: Intervals = {"at": (0, 2), "lever": (-1, 1), "door": (0, 1)}
MEMORY: Intervals = {"count": (0, 3), "latch": (0, 1), "last": (-1, 1)}
OUTPUTS: Intervals = {"valve": (0, 1), "lamp": (0, 1)}
FLAGS = ("f0", "f1", "f2")
KNOWN: Intervals = {**ENVIRONMENT, **MEMORY, **OUTPUTS, **dict.fromkeys(FLAGS, (0, 1))}


def any_turns(data: st.DataObject) -> System:
    """A system that takes turns in any of the ways."""
    most_pending = data.draw(st.sampled_from([1, 2, None]))
    return data.draw(taking_turns(most_pending, data.draw(st.booleans())))


@st.composite
def taking_turns(
    draw: st.DrawFn, most_pending: int | None = 1, at_any_moment: bool = False
) -> System:
    """A plant, levers, faults, and a scan with outputs, a latch, a counter and a memory.

    The scan answers every `most_pending` moves at the latest; None limits some of the machines by
    themselves, as often as is drawn. Faults take turns with the others, or strike `at_any_moment`,
    as those of models do.
    """
    by = Choices(draw)
    pending = var(PHASE)
    most: dict[str, int] = {}
    if most_pending is None:
        limited = by.some(sorted(ENVIRONMENT), most=len(ENVIRONMENT))
        most = {machine: by.pick([1, 1, 2]) for machine in limited}
    turns = Turns(most_pending, most)

    def turn(name: str, kind: MoveKind, guard: Expr, updates: dict[str, Expr]) -> Move:
        (machine,) = updates
        return turns.taking_one(Move(name, kind, guard, updates, _maybe(by, guard)), machine)

    moves = []
    for number in range(by.between(1, 5)):
        name = by.pick(sorted(ENVIRONMENT))
        new = clamp(a_number(by, KNOWN), *ENVIRONMENT[name])
        moves.append(turn(f"m{number}", MoveKind.PLANT, a_truth(by, KNOWN, 2), {name: new}))
    for flag in FLAGS:
        guard = and_(not_(var(flag)), a_truth(by, KNOWN, 1) if by.maybe() else TRUE)
        strike = Move(f"strike {flag}", MoveKind.FAULT, guard, {flag: const(1)})
        if at_any_moment:
            moves.append(turns.taking_none(strike))
        else:
            moves.append(turn(strike.name, strike.kind, guard, dict(strike.updates)))
    waiting = lt(const(0), pending)
    counts = turns.variables(has_events=at_any_moment)
    scan = {**{count.name: const(0) for count in counts}, **_program(by)}
    # A controller may also scan on while nothing happens.
    due = by.pick([waiting, TRUE])
    moves.append(Move("scan", MoveKind.SCAN, due, scan, due))
    phase, *counts = counts
    variables = [replace(phase, initial=by.below(2)), *counts]
    variables += [
        Variable(name, Domain(*KNOWN[name]), by.between(*KNOWN[name]))
        for name in by.shuffled([*ENVIRONMENT, *MEMORY, *OUTPUTS])
    ]
    variables += [Variable(flag, BOOL, 0, Role.FAULT) for flag in FLAGS]
    return System(tuple(variables), tuple(moves))


def two_that_rise() -> System:
    """Two machines, `a` and `b`, that rise once each between two scans, and fall at the scan.

    That keeps in mind, as `seen`, that it has seen `a` up without `b`.
    """
    turns = Turns(None, {"a": 1, "b": 1})
    moves = []
    for name in ("a", "b"):
        rise = Move(f"{name} rises", MoveKind.PLANT, not_(var(name)), {name: const(1)})
        moves.append(turns.taking_one(rise, name))
    counts = turns.variables(has_events=False)
    seen = or_(var("seen"), and_(var("a"), not_(var("b"))))
    left = {count.name: const(0) for count in counts}
    scan = {**left, "a": const(0), "b": const(0), "seen": seen}
    moves.append(Move("scan", MoveKind.SCAN, TRUE, scan, TRUE))
    plant = [Variable(name, BOOL, 0) for name in ("a", "b", "seen")]
    return System((*counts, *plant), tuple(moves))


def _maybe(by: Choices, condition: Expr) -> Expr | None:
    return condition if by.maybe() else None


def _program(by: Choices) -> dict[str, Expr]:
    """What a scan writes: of every kind of memory that programs have, and outputs of it."""
    inputs = {**ENVIRONMENT, **dict.fromkeys(FLAGS, (0, 1))}
    fault = a_truth(by, inputs, 2)
    step = and_(a_truth(by, KNOWN, 1), lt(var("count"), const(3)))
    latched = or_(var("latch"), fault)
    counted = [clamp(add(var("count"), step), 0, 3), clamp(a_number(by, KNOWN), 0, 3)]
    choices = {
        "latch": latched,
        "count": by.pick(counted),
        "last": by.pick([var("lever"), clamp(a_number(by, KNOWN), -1, 1)]),
        "valve": and_(a_truth(by, inputs, 2), not_(latched)),
        "lamp": by.pick([eq(var("last"), var("lever")), a_truth(by, KNOWN, 2)]),
    }
    return {name: choices[name] for name in by.some(sorted(choices), most=len(choices))}
