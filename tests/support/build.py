"""Short ways to write small systems down."""

from __future__ import annotations

from collections.abc import Mapping

from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr
from interlock.kernel.system import Domain, Move, MoveKind, System, Variable

Value = Expr | int


def as_expr(value: Value) -> Expr:
    """An integer as a constant; an expression as it is."""
    return ex.const(value) if isinstance(value, int) else value


def move(
    name: str, guard: Expr, updates: Mapping[str, Value] | None = None, fair: Expr | None = None
) -> Move:
    """A plant move."""
    new = {target: as_expr(value) for target, value in (updates or {}).items()}
    return Move(name, MoveKind.PLANT, guard, new, fair)


def system(variables: Mapping[str, tuple[int, int, int]], *moves: Move) -> System:
    """A system; each variable is given by its least, greatest and initial value."""
    listed = tuple(
        Variable(name, Domain(lo, hi), initial) for name, (lo, hi, initial) in variables.items()
    )
    return System(listed, moves)


def is_(name: str, value: int) -> Expr:
    """The variable called `name` has `value`."""
    return ex.eq(ex.var(name), ex.const(value))


def stands_still(of: System) -> Expr:
    """No move is enabled."""
    return ex.not_(ex.or_(*(m.guard for m in of.moves)))
