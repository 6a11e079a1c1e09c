"""Random systems, small enough for the reference engine and odd enough to matter."""

from __future__ import annotations

from hypothesis import strategies as st

from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr
from interlock.kernel.query import (
    Count,
    FewestScans,
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
from tests.support.choices import Choices

Intervals = dict[str, tuple[int, int]]

_ARITHMETIC = (ex.add, ex.sub, ex.mul, ex.div, ex.mod, ex.minimum, ex.maximum)


def a_number(by: Choices, domains: Intervals, depth: int = 2) -> Expr:
    """An integer expression over the variables of `domains`."""
    kind = by.below(4 if depth else 2)
    if kind == 0 or not domains:
        return ex.const(by.between(-4, 6))
    if kind == 1:
        return ex.var(by.pick(sorted(domains)))
    a, b = a_number(by, domains, depth - 1), a_number(by, domains, depth - 1)
    if kind == 2:
        return by.pick(_ARITHMETIC)(a, b)
    return ex.ite(a_truth(by, domains, depth - 1), a, b)


def a_truth(by: Choices, domains: Intervals, depth: int = 3) -> Expr:
    """A truth value over the variables of `domains`."""
    booleans = sorted(name for name, interval in domains.items() if interval == (0, 1))
    kind = by.below(7 if depth else 3)
    if kind == 0 and booleans:
        return ex.var(by.pick(booleans))
    if kind <= 2:
        relation = by.pick((ex.eq, ex.lt, ex.le, ex.ne))
        return relation(a_number(by, domains, 1), a_number(by, domains, 1))
    parts = [a_truth(by, domains, depth - 1) for _ in range(2)]
    if kind == 3:
        return ex.not_(parts[0])
    if kind == 6:
        return ex.ite(a_truth(by, domains, depth - 1), *parts)
    return (ex.and_ if kind == 4 else ex.or_)(*parts)


@st.composite
def numbers(draw: st.DrawFn, domains: Intervals, depth: int = 2) -> Expr:
    """An integer expression over the variables of `domains`."""
    return a_number(Choices(draw), domains, depth)


@st.composite
def truths(draw: st.DrawFn, domains: Intervals, depth: int = 3) -> Expr:
    """A truth value over the variables of `domains`."""
    return a_truth(Choices(draw), domains, depth)


def _some_domains(by: Choices) -> Intervals:
    kinds = [(0, 1), (0, 1), (0, 2), (0, 5), (-2, 1), (3, 3), (-3, -1), (0, 15)]
    return {f"v{n}": by.pick(kinds) for n in range(by.between(1, 5))}


@st.composite
def random_system(draw: st.DrawFn, most_moves: int = 7) -> System:
    """A system of up to five variables, with guards, updates and fairness of every kind."""
    by = Choices(draw)
    domains = _some_domains(by)
    variables = tuple(
        Variable(name, Domain(lo, hi), by.between(lo, hi)) for name, (lo, hi) in domains.items()
    )
    moves = []
    for n in range(by.between(0, most_moves)):
        targets = by.some(sorted(domains), most=3)
        updates = {name: ex.clamp(a_number(by, domains), *domains[name]) for name in targets}
        guard = a_truth(by, domains) if by.maybe() else ex.TRUE
        fair = by.pick((None, guard, a_truth(by, domains, 1)))
        kind = by.pick([MoveKind.PLANT, MoveKind.PLANT, MoveKind.SCAN])
        moves.append(Move(f"m{n}", kind, guard, updates, fair))
    return System(variables, tuple(moves))


def conditions(system: System, depth: int = 2) -> st.SearchStrategy[Expr]:
    """A condition on the states of `system`."""
    return truths(system.intervals, depth)


def _condition(by: Choices, system: System) -> Expr:
    return a_truth(by, system.intervals, 2)


def _legs(by: Choices, system: System) -> Legs:
    found = [Leg()] if by.maybe() else []
    for _ in range(by.between(1, 3)):
        a, b = (_condition(by, system) if by.maybe() else ex.TRUE for _ in range(2))
        found.append(Leg(a, b, by.pick([0, 0, 0, 1, 2, 9]), is_short=by.maybe()))
    return tuple(found)


@st.composite
def legs(draw: st.DrawFn, system: System) -> Legs:
    """One to three legs, most of which hold to something, some with scans; maybe from anywhere."""
    return _legs(Choices(draw), system)


@st.composite
def questions(draw: st.DrawFn, system: System, with_legs: bool = True) -> list[Query]:
    """A few queries of every kind."""
    by = Choices(draw)
    found: list[Query] = []
    for _ in range(by.between(1, 3)):
        a, b = _condition(by, system), _condition(by, system)
        found += [Reach(a), Count(b), Trap(a), Stay(a, ex.or_(a, b)), Stay(ex.TRUE, b)]
    for _ in range(2 if with_legs else 0):
        along, a = _legs(by, system), _condition(by, system)
        stay = ex.or_(a, _condition(by, system))
        found += [Reach(a, along), Occurs(a, along), Stay(a, stay, along)]
        of_scans = FewestScans if along[-1].is_short else MostScans
        found.append(of_scans(a, along))
    sums = (a_number(by, system.intervals), _condition(by, system))
    return [*found, Values(sums, _condition(by, system))]
