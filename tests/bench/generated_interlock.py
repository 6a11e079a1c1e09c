"""A made-up interlock of any size, the same for the same seed.

Components travel between home and away. Each has a lever, two outputs and one to four home
switches. Some components conflict: at most one of the two may be away from home, so an output is
given only while every home switch of every conflicting component says home. Components with
several switches also latch a disagreement between them, and then no longer move. Faults stick
switches closed or open and valves open. So an accident takes as many faults as a component has
switches (or valves in series), and they must strike before the disagreement shows.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import zip_longest
from random import Random

from interlock.kernel.expr import Expr, and_, const, eq, ite, not_, or_, var
from interlock.kernel.system import (
    BOOL,
    PHASE,
    Domain,
    Move,
    MoveKind,
    Role,
    System,
    Variable,
    enumeration,
)

HOME, BETWEEN, AWAY = range(3)
RELEASED, FORWARD, BACK = range(3)
POSITION = enumeration("home", "between", "away")
LEVER = enumeration("released", "forward", "back")


@dataclass(frozen=True)
class Interlock:
    """A generated system, what must never happen in it, and its fault flags."""

    system: System
    bad: Expr
    flags: tuple[str, ...]


@dataclass(frozen=True)
class _Component:
    name: str
    n_switches: int
    n_valves: int
    rivals: tuple[str, ...]

    def has(self, place: int) -> Expr:
        return eq(var(f"{self.name}.at"), const(place))

    def flags(self) -> list[str]:
        """Its possible faults, the ones that matter most first."""
        closed = [f"{self.name}.switch{n}.closed" for n in range(self.n_switches)]
        valves = [f"{self.name}.valve{n}.open" for n in range(self.n_valves)]
        opened = [f"{self.name}.switch{n}.opened" for n in range(self.n_switches)]
        return closed + valves + opened


def generate(n_flags: int, n_components: int = 9, seed: int = 1) -> Interlock:
    """An interlock with `n_flags` fault flags, spread evenly over its components."""
    random = Random(seed)
    components = _components(random, n_components)
    by_name = {component.name: component for component in components}
    ranked = zip_longest(*(component.flags() for component in components))
    flags = [flag for rank in ranked for flag in rank if flag is not None][:n_flags]
    if len(flags) < n_flags:
        raise ValueError(f"only {len(flags)} faults are possible in {n_components} components")
    faulty = frozenset(flags)
    variables = [Variable(PHASE, Domain(0, 1), 0, Role.PHASE)]
    moves: list[Move] = []
    scan: dict[str, Expr] = {PHASE: const(0)}
    for component in components:
        variables += _variables(component)
        moves += _plant_moves(component, faulty) + _lever_moves(component)
        scan |= _program(component, by_name, faulty)
    for flag in flags:
        variables.append(Variable(flag, BOOL, 0, Role.FAULT))
        moves.append(_environment(flag, MoveKind.FAULT, not_(var(flag)), {flag: const(1)}))
    waiting = eq(var(PHASE), const(1))
    moves.append(Move("scan", MoveKind.SCAN, waiting, scan, waiting))
    bad = or_(
        *(
            and_(not_(component.has(HOME)), not_(by_name[rival].has(HOME)))
            for component in components
            for rival in component.rivals
            if component.name < rival
        )
    )
    return Interlock(System(tuple(variables), tuple(moves)), bad, tuple(flags))


def _components(random: Random, n: int) -> list[_Component]:
    names = [f"c{number:02}" for number in range(n)]
    pairs: set[tuple[str, str]] = set()
    for number in range(n):
        # Rivals are mostly neighbours, as on a real machine, and now and then far apart.
        near = (number + random.randint(1, 3)) % n
        far = random.randrange(n) if random.random() < 0.25 else near
        pairs |= {(names[number], names[k]) for k in (near, far) if k != number}
    rivals: dict[str, set[str]] = {name: set() for name in names}
    for one, other in pairs:
        rivals[one].add(other)
        rivals[other].add(one)
    return [
        _Component(name, random.choice((1, 2, 2, 3, 4)), random.choice((1, 2)), tuple(sorted(r)))
        for name, r in rivals.items()
    ]


def _variables(component: _Component) -> list[Variable]:
    name = component.name
    made = [
        Variable(f"{name}.at", POSITION, HOME, Role.PLANT),
        Variable(f"{name}.lever", LEVER, RELEASED, Role.CONTROL),
        Variable(f"{name}.forward", BOOL, 0, Role.OUTPUT),
        Variable(f"{name}.back", BOOL, 0, Role.OUTPUT),
    ]
    if component.n_switches > 1:
        made.append(Variable(f"{name}.disagreed", BOOL, 0, Role.MEMORY))
    return made


def _environment(
    name: str, kind: MoveKind, guard: Expr, updates: dict[str, Expr], fair: Expr | None = None
) -> Move:
    return Move(
        name, kind, and_(eq(var(PHASE), const(0)), guard), {**updates, PHASE: const(1)}, fair
    )


def _flag(name: str, faulty: frozenset[str]) -> Expr:
    return var(name) if name in faulty else const(0)


def _plant_moves(component: _Component, faulty: frozenset[str]) -> list[Move]:
    name = component.name
    leaks = and_(*(_flag(f"{name}.valve{n}.open", faulty) for n in range(component.n_valves)))
    forth, back = or_(var(f"{name}.forward"), leaks), var(f"{name}.back")
    ways = [
        ("leaves", HOME, BETWEEN, forth),
        ("arrives", BETWEEN, AWAY, forth),
        ("returns", AWAY, BETWEEN, back),
        ("comes home", BETWEEN, HOME, back),
    ]
    return [
        _environment(
            f"{name} {verb}",
            MoveKind.PLANT,
            and_(component.has(source), driven),
            {f"{name}.at": const(target)},
            and_(component.has(source), driven),
        )
        for verb, source, target, driven in ways
    ]


def _lever_moves(component: _Component) -> list[Move]:
    lever = f"{component.name}.lever"
    return [
        _environment(
            f"{lever} {label}",
            MoveKind.OPERATOR,
            not_(eq(var(lever), const(place))),
            {lever: const(place)},
        )
        for place, label in enumerate(LEVER.labels)
    ]


def _switches(component: _Component, faulty: frozenset[str]) -> list[Expr]:
    signals = []
    for n in range(component.n_switches):
        closed = _flag(f"{component.name}.switch{n}.closed", faulty)
        opened = _flag(f"{component.name}.switch{n}.opened", faulty)
        signals.append(ite(opened, const(0), or_(closed, component.has(HOME))))
    return signals


def _program(
    component: _Component, by_name: dict[str, _Component], faulty: frozenset[str]
) -> dict[str, Expr]:
    name = component.name
    free = and_(*_all_home((by_name[rival] for rival in component.rivals), faulty))
    healthy: Expr = const(1)
    updates: dict[str, Expr] = {}
    if component.n_switches > 1:
        signals = _switches(component, faulty)
        disagree = and_(or_(*signals), not_(and_(*signals)))
        updates[f"{name}.disagreed"] = or_(var(f"{name}.disagreed"), disagree)
        healthy = not_(updates[f"{name}.disagreed"])
    lever = var(f"{name}.lever")
    updates[f"{name}.forward"] = and_(eq(lever, const(FORWARD)), free, healthy)
    updates[f"{name}.back"] = and_(eq(lever, const(BACK)), healthy)
    return updates


def _all_home(components: Iterable[_Component], faulty: frozenset[str]) -> list[Expr]:
    return [signal for component in components for signal in _switches(component, faulty)]
