"""What must hold of the sets of a certificate, as one SMT-LIB script.

The script defines the system and the sets and then asserts, one after the other, the negation of
each obligation: every ``check-sat`` must answer ``unsat``.

* An invariant: it holds *initially*; every move *keeps* it; it *implies* the requirement.
* No fair endless run stays somewhere: what a run would have to stay in *begins* with what the
  starts lead to and is *closed*; *nothing stands still* there; and step by step it gets smaller,
  since a run that lingers in what a step leaves out would owe a move for ever: the move is *owed*
  there, taking it *leaves*, and there is *no way back* but out.
* A goal can always be reached: the first set *is the goal*, or a state from which a run leads
  there; each *rung* has a move into the set below, and the last *covers* the invariant.

Source of the second: the elimination by which fair cycles are searched, read backwards; E. A.
Emerson, C.-L. Lei, LICS 1986. Why it is enough: inside the first set a run that stays can never
enter what the first step leaves out, for from there it could only stay in it and would owe the
move for ever; so it stays inside the second set, and so on, until none is left.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from interlock.kernel import expr as ex
from interlock.kernel.certificate import Ladder, Shrinking
from interlock.kernel.evaluate import State
from interlock.kernel.query import Reach, Stay, Trap
from interlock.kernel.system import Move, System
from interlock.recheck.sets import SetFunction
from interlock.recheck.translate import Translator, symbol, value_term


@dataclass(frozen=True)
class Outline:
    """What a certificate claims of which sets.

    Attributes
    ----------
    reaches : mapping of str to Reach
        Targets that the invariant excludes, by what they are called.
    stays : mapping of str to (Stay, tuple of Shrinking)
    traps : mapping of str to (Trap, Ladder)
        Those with a home: its ladder only once.
    dead_ends : mapping of str to (Trap, int, State)
        The number of a set that no move leaves, and the state that it must hold.
    """

    reaches: Mapping[str, Reach] = field(default_factory=dict)
    stays: Mapping[str, tuple[Stay, tuple[Shrinking, ...]]] = field(default_factory=dict)
    traps: Mapping[str, tuple[Trap, Ladder]] = field(default_factory=dict)
    dead_ends: Mapping[str, tuple[Trap, int, State]] = field(default_factory=dict)


@dataclass(frozen=True)
class Obligation:
    """One obligation.

    Attributes
    ----------
    name : str
    unsatisfiable : str
        The term that no state may satisfy.
    queries : tuple of str
        What falls with it; empty where all of the script does.
    """

    name: str
    unsatisfiable: str
    queries: tuple[str, ...] = ()


SETS = "; the sets\n"
OBLIGATIONS = "\n; the obligations\n"


@dataclass(frozen=True)
class Script:
    """The text of a script in its parts.

    Attributes
    ----------
    system : str
        Everything before the sets.
    sets : str
    obligations : tuple of Obligation
    """

    system: str
    sets: str
    obligations: tuple[Obligation, ...]

    @property
    def text(self) -> str:
        """The whole script."""
        return "".join([self.system, self.sets, *map(show, self.obligations)])


def show(obligation: Obligation) -> str:
    """An obligation as it stands in a script."""
    asked = f"(assert {obligation.unsatisfiable})\n(check-sat)"
    return f"; {obligation.name}\n(push 1)\n{asked}\n(pop 1)\n"


class _Terms:
    """The moves of a system as terms."""

    def __init__(self, system: System, outline: Outline) -> None:
        self.system = system
        self.translator = Translator(system)
        domains = {v.name: v.domain for v in system.variables}
        self.guards = {m.name: self.translator.truth(m.guard) for m in system.moves}
        self.after = {
            move.name: {
                name: self.translator.code(update, domains[name])
                for name, update in move.updates.items()
                if domains[name].size > 1 and update is not ex.var(name)
            }
            for move in system.moves
        }
        self.fair = {
            m.name: self.translator.truth(m.fair) for m in system.moves if m.fair is not None
        }
        self.initial = {v.name: value_term(v.domain, v.initial) for v in system.variables}
        self.targets = {n: self.translator.truth(r.target) for n, r in outline.reaches.items()}
        self.goals = {n: self.translator.truth(t.goal) for n, (t, _) in outline.traps.items()}
        self.goals |= {n: self.translator.truth(e[0].goal) for n, e in outline.dead_ends.items()}
        self.starts = {
            n: self.translator.truth(ex.and_(s.start, s.stay))
            for n, (s, _) in outline.stays.items()
        }
        self.stays_after = {
            n: {m.name: self._stays_after(stay, m) for m in system.moves}
            for n, (stay, _) in outline.stays.items()
        }

    def is_state(self, state: State) -> str:
        """The states that are `state`."""
        parts = [
            f"(= {symbol(v.name)} {value_term(v.domain, value)})"
            for v, value in zip(self.system.variables, state, strict=True)
            if v.domain.size > 1
        ]
        return f"(and {' '.join(parts)} true)"

    def _stays_after(self, stay: Stay, move: Move) -> str:
        return self.translator.truth(ex.substitute([stay.stay], move.updates)[0])


def script(system: System, outline: Outline, sets: str, functions: Sequence[SetFunction]) -> Script:
    """The script that asks of `functions`, whose definitions are `sets`, what `outline` claims."""
    terms = _Terms(system, outline)
    head = ["; Generated by interlock. Every check-sat must answer unsat.", "(set-logic QF_BV)"]
    lines = [*head, *terms.translator.declarations(), *terms.translator.lines, ""]
    found = tuple(_obligations(terms, outline, functions))
    return Script("\n".join(lines), SETS + sets + OBLIGATIONS, found)


def _obligations(
    terms: _Terms, outline: Outline, sets: Sequence[SetFunction]
) -> Iterator[Obligation]:
    invariant = sets[0]
    yield Obligation("the invariant holds initially", f"(not {invariant.of(terms.initial)})")
    yield from _kept(terms, "the invariant", invariant)
    for name, target in terms.targets.items():
        implied = f"(and {invariant.of({})} {target})"
        yield Obligation(f"the invariant implies {name}", implied, (name,))
    for name, (_, steps) in outline.stays.items():
        yield from _concerning([name], _shrinking(terms, name, steps, sets))
    for name, (_, number, end) in outline.dead_ends.items():
        yield from _concerning([name], _dead_end(terms, name, sets[number], end))
    homes: set[State] = set()
    for name, (_, ladder) in outline.traps.items():
        if ladder.home is None:
            yield from _concerning([name], _ladder(terms, name, ladder, sets))
        elif ladder.home not in homes:
            homes.add(ladder.home)
            names = [n for n, (_, other) in outline.traps.items() if other.home == ladder.home]
            yield from _concerning(names, _ladder(terms, f"home {len(homes)}", ladder, sets))


def _concerning(queries: Sequence[str], found: Iterable[Obligation]) -> Iterator[Obligation]:
    for obligation in found:
        yield replace(obligation, queries=tuple(queries))


def _kept(terms: _Terms, what: str, kept: SetFunction) -> Iterator[Obligation]:
    for move in terms.system.moves:
        after = kept.of(terms.after[move.name])
        yield Obligation(
            f"{what} is kept by: {move.name}",
            f"(and {kept.of({})} {terms.guards[move.name]} (not {after}))",
        )


def _dead_end(terms: _Terms, name: str, dead: SetFunction, end: State) -> Iterator[Obligation]:
    where = f"(and {terms.is_state(end)} (not {dead.of({})}))"
    yield Obligation(f"{name}: the dead end holds the end of the run", where)
    yield from _kept(terms, f"{name}: the dead end", dead)
    yield Obligation(
        f"{name}: the dead end has no goal", f"(and {dead.of({})} {terms.goals[name]})"
    )


def _shrinking(
    terms: _Terms, name: str, steps: Sequence[Shrinking], sets: Sequence[SetFunction]
) -> Iterator[Obligation]:
    start = f"(and {sets[0].of({})} {terms.starts[name]})"
    inside = [sets[step.inside] for step in steps]
    first = inside[0].of({}) if steps else "false"
    yield Obligation(f"{name}: begins", f"(and {start} (not {first}))")
    if not steps:
        return
    moves = [move.name for move in terms.system.moves]
    leaving = [
        f"(and {terms.guards[m]} {terms.stays_after[name][m]} (not {inside[0].of(terms.after[m])}))"
        for m in moves
    ]
    yield Obligation(f"{name}: is closed", f"(and {first} {_any(leaving)})")
    moving = _any([terms.guards[m] for m in moves])
    yield Obligation(f"{name}: nothing stands still", f"(and {first} (not {moving}))")
    for number, step in enumerate(steps):
        here = inside[number]
        below = inside[number + 1] if number + 1 < len(steps) else None
        lost = here.of({}) if below is None else f"(and {here.of({})} (not {below.of({})}))"
        called = f"{name}: step {number + 1}"
        if not step.debt:
            staying = [f"(and {terms.guards[m]} {here.of(terms.after[m])})" for m in moves]
            yield Obligation(f"{called}, every move leaves", f"(and {lost} {_any(staying)})")
            continue
        debt, after = step.debt, here.of(terms.after[step.debt])
        yield Obligation(f"{called}, {debt} is owed", f"(and {lost} (not {terms.fair[debt]}))")
        leaves = f"(and {lost} {terms.guards[debt]} {after})"
        yield Obligation(f"{called}, {debt} leaves", leaves)
        if below is not None:
            back = [
                f"(and {terms.guards[m]} {here.of(terms.after[m])} {below.of(terms.after[m])})"
                for m in moves
            ]
            yield Obligation(f"{called}, no way back", f"(and {lost} {_any(back)})")


def _ladder(
    terms: _Terms, name: str, ladder: Ladder, sets: Sequence[SetFunction]
) -> Iterator[Obligation]:
    able = [sets[rung] for rung in ladder.rungs]
    goal = terms.goals[name] if ladder.home is None else terms.is_state(ladder.home)
    bottom = f"(and {able[0].of({})} (not {goal}))"
    yield Obligation(f"{name}: the first set is the goal", bottom)
    for number, (below, here) in enumerate(pairwise(able), 1):
        ways = [
            f"(and {terms.guards[m.name]} {below.of(terms.after[m.name])})"
            for m in terms.system.moves
        ]
        yield Obligation(
            f"{name}: rung {number}",
            f"(and {here.of({})} (not {below.of({})}) (not {_any(ways)}))",
        )
    covers = f"(and {sets[0].of({})} (not {able[-1].of({})}))"
    yield Obligation(f"{name}: the last set covers the invariant", covers)


def _any(terms: Sequence[str]) -> str:
    return f"(or {' '.join(terms)} false)"
