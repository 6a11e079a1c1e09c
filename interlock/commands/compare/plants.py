"""The plants of two models: whether they are one, and what of one the other's names stand for."""

from __future__ import annotations

from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr, var
from interlock.kernel.system import MoveKind
from interlock.model.build import Built
from interlock.model.clocks import going_on, periods_of, stays_of, without_clocks
from interlock.model.model import Machine


def same_plant(old: Built, new: Built) -> bool:
    """Whether the plants of two models are one: machines, controls and their moves.

    To run both controllers on the one plant is then to run them on the other.
    """
    return _plant_of(old) == _plant_of(new)


def _plant_of(built: Built) -> tuple[object, ...]:
    system, machines = without_clocks(built.system), built.model.machines
    variables = {(v.name, v.domain, v.initial) for v in system.variables if v.name in machines}
    moves = {
        (m.name, m.guard, frozenset(m.updates.items()))
        for m in system.moves
        if m.kind not in (MoveKind.SCAN, MoveKind.TIMER)
    }
    model = built.model
    names = {move.name for move in model.moves}
    periods = {n: p for n, p in periods_of(model).items() if n in names}
    # How late a signal is counted by time itself, which is no move here.
    late = {(s.name, s.age, s.delay) for s in model.late_sensors}
    late |= {(output.name, 0, output.delay) for output in model.delayed_outputs}
    time = model.timing, periods, going_on(model), stays_of(model), late
    return model.between_scans, variables, moves, time


def variables_read(built: Built) -> set[str]:
    """Variables that a move of the plant or a signal reads."""
    roots: list[Expr] = list(built.signals.values())
    for move in built.system.moves:
        if move.kind is not MoveKind.SCAN:
            roots += [move.guard, *move.updates.values()]
    return set(ex.variables_of(roots))


def translated(old: Machine | None, new: Machine) -> Expr | None:
    """The state of the old machine, numbered as the new one numbers it; None if it cannot be."""
    if old is None or old.is_bool != new.is_bool:
        return None
    numbers = {state.casefold(): number for number, state in enumerate(new.states)}
    found = [numbers.get(state.casefold()) for state in old.states]
    if found == list(range(len(old.states))):
        return var(old.name)
    value = ex.const(0)
    for number, translated in enumerate(found):
        if translated is None:
            return None
        value = ex.ite(ex.eq(var(old.name), ex.const(number)), ex.const(translated), value)
    return value
