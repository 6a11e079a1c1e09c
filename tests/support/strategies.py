"""Random systems, small enough for the reference engine and odd enough to matter."""

from __future__ import annotations

from hypothesis import strategies as st

from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr
from interlock.kernel.query import (
    Count,
    Leg,
    Legs,
    MostScans,
    Occurs,
    Query,
    Reach,
    Stay,
    Trap,
    Values,
)
from interlock.kernel.system import Domain, Move, MoveKind, System, Variable

Intervals = dict[str, tuple[int, int]]

_ARITHMETIC = (ex.add, ex.sub, ex.mul, ex.div, ex.mod, ex.minimum, ex.maximum)


@st.composite
def numbers(draw: st.DrawFn, domains: Intervals, depth: int = 2) -> Expr:
    """An integer expression over the variables of `domains`."""
    kind = draw(st.integers(0, 3 if depth else 1))
    if kind == 0 or not domains:
        return ex.const(draw(st.integers(-4, 6)))
    if kind == 1:
        return ex.var(draw(st.sampled_from(sorted(domains))))
    a, b = draw(numbers(domains, depth - 1)), draw(numbers(domains, depth - 1))
    if kind == 2:
        return draw(st.sampled_from(_ARITHMETIC))(a, b)
    return ex.ite(draw(truths(domains, depth - 1)), a, b)


@st.composite
def truths(draw: st.DrawFn, domains: Intervals, depth: int = 3) -> Expr:
    """A truth value over the variables of `domains`."""
    booleans = sorted(name for name, interval in domains.items() if interval == (0, 1))
    kind = draw(st.integers(0, 6 if depth else 2))
    if kind == 0 and booleans:
        return ex.var(draw(st.sampled_from(booleans)))
    if kind <= 2:
        relation = draw(st.sampled_from((ex.eq, ex.lt, ex.le, ex.ne)))
        return relation(draw(numbers(domains, 1)), draw(numbers(domains, 1)))
    parts = [draw(truths(domains, depth - 1)) for _ in range(2)]
    if kind == 3:
        return ex.not_(parts[0])
    if kind == 6:
        return ex.ite(draw(truths(domains, depth - 1)), *parts)
    return (ex.and_ if kind == 4 else ex.or_)(*parts)


@st.composite
def _domains(draw: st.DrawFn) -> Intervals:
    kinds = st.sampled_from([(0, 1), (0, 1), (0, 2), (0, 5), (-2, 1), (3, 3), (-3, -1), (0, 15)])
    return {f"v{n}": draw(kinds) for n in range(draw(st.integers(1, 5)))}


@st.composite
def random_system(draw: st.DrawFn, most_moves: int = 7) -> System:
    """A system of up to five variables, with guards, updates and fairness of every kind."""
    domains = draw(_domains())
    variables = tuple(
        Variable(name, Domain(lo, hi), draw(st.integers(lo, hi)))
        for name, (lo, hi) in domains.items()
    )
    moves = []
    for n in range(draw(st.integers(0, most_moves))):
        targets = draw(st.lists(st.sampled_from(sorted(domains)), max_size=3, unique=True))
        updates = {name: ex.clamp(draw(numbers(domains)), *domains[name]) for name in targets}
        guard = draw(st.just(ex.TRUE) | truths(domains))
        fair = draw(st.none() | st.just(guard) | truths(domains, 1))
        kind = draw(st.sampled_from([MoveKind.PLANT, MoveKind.PLANT, MoveKind.SCAN]))
        moves.append(Move(f"m{n}", kind, guard, updates, fair))
    return System(variables, tuple(moves))


def conditions(system: System, depth: int = 2) -> st.SearchStrategy[Expr]:
    """A condition on the states of `system`."""
    return truths(system.intervals, depth)


@st.composite
def legs(draw: st.DrawFn, system: System) -> Legs:
    """One to three legs, most of which hold to something, some with scans; maybe from anywhere."""
    found = [Leg()] if draw(st.booleans()) else []
    for _ in range(draw(st.integers(1, 3))):
        a, b = (draw(st.just(ex.TRUE) | conditions(system)) for _ in range(2))
        found.append(Leg(a, b, draw(st.sampled_from([0, 0, 0, 1, 2, 9]))))
    return tuple(found)


@st.composite
def questions(draw: st.DrawFn, system: System, with_legs: bool = True) -> list[Query]:
    """A few queries of every kind."""
    found: list[Query] = []
    for _ in range(draw(st.integers(1, 3))):
        a, b = draw(conditions(system)), draw(conditions(system))
        found += [Reach(a), Count(b), Trap(a), Stay(a, ex.or_(a, b)), Stay(ex.TRUE, b)]
    for _ in range(2 if with_legs else 0):
        along, a = draw(legs(system)), draw(conditions(system))
        stay = ex.or_(a, draw(conditions(system)))
        found += [Reach(a, along), Occurs(a, along), MostScans(a, along), Stay(a, stay, along)]
    sums = (draw(numbers(system.intervals)), draw(conditions(system)))
    return [*found, Values(sums, draw(conditions(system)))]
