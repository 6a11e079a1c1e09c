"""Flags of which no two are ever set together, told as one variable: which of them is set.

Where one of many faults may strike, most of what is reached is the same under most of them. Flags
that stand among the other variables hide that: each set has to say of every flag in between that
it is not set. One variable decided first splits a set into one part for each fault, and parts that
are the same are kept, and worked on, once. Measured on the demo vehicle with any one of 75 faults,
each machine moving once between two scans: 232,000 nodes as flags, 128,000 as one variable, and
nine times fewer nodes in all while they were found.
"""

from __future__ import annotations

from collections.abc import Mapping, Set
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import cached_property
from typing import TypeVar

from interlock.engines.symbolic.order import WHICH
from interlock.kernel.evaluate import State
from interlock.kernel.expr import (
    FALSE,
    TRUE,
    Expr,
    Op,
    const,
    eq,
    ite,
    not_,
    or_,
    substitute,
    topological,
    var,
)
from interlock.kernel.query import Answer
from interlock.kernel.system import BOOL, Domain, Move, Role, System, Variable
from interlock.kernel.witness import Step, Witness

_Asked = TypeVar("_Asked")

FEWEST = 2
"""Fewer flags than these are left alone."""


def exclusive_flags(system: System) -> tuple[str, ...]:
    """Fault flags of which at most one is set in any reachable state.

    Seen from the guards alone: whatever sets one of them asks that none of the others is set. So
    there may be more such flags than are found.
    """
    flags = {v.name for v in system.variables if _is_flag(v)}
    natural = {v.name for v in system.variables if v.domain.lo >= 0}
    asked: dict[str, frozenset[str]] = {}
    for move in system.moves:
        changed = flags & move.updates.keys()
        flags -= {name for name in changed if move.updates[name] not in (TRUE, FALSE)}
        set_here = {name for name in changed if move.updates[name] is TRUE}
        if not set_here or move.guard is FALSE:
            continue
        unset = _unset(move.guard, natural) - set_here
        for name in set_here:
            asked[name] = asked.get(name, unset) & unset
    shut_out = {
        name: {other for other in asked[name] if name in asked.get(other, ())}
        for name in system.index
        if name in flags and name in asked
    }
    found: set[str] = set()
    # One that shuts out few would keep many others from being taken.
    for name in sorted(shut_out, key=lambda name: -len(shut_out[name])):
        if found <= shut_out[name]:
            found.add(name)
    return tuple(name for name in system.index if name in found)


def _is_flag(variable: Variable) -> bool:
    return variable.role is Role.FAULT and variable.domain == BOOL and variable.initial == 0


def _unset(guard: Expr, natural: Set[str]) -> frozenset[str]:
    """Variables that are surely 0 where `guard` holds, as far as its shape tells.

    A sum below 1 tells it only where none of its variables is negative, as `natural` ones are not.
    """
    found: set[str] = set()
    parts = [guard]
    while parts:
        part = parts.pop()
        match part.op:
            case Op.AND:
                parts += part.args
            case Op.NOT if part.args[0].op is Op.VAR:
                found.add(part.args[0].name)
            case Op.NOT if part.args[0].op is Op.OR:
                parts += [not_(either) for either in part.args[0].args]
            case Op.LT if part.args[1] is const(1):
                summed = _summed(part.args[0])
                found |= summed if summed <= natural else set()
            case _:
                pass
    return frozenset(found)


def _summed(total: Expr) -> set[str]:
    """The variables of a sum of nothing but variables, else none."""
    nodes = topological([total])
    if any(node.op not in (Op.ADD, Op.VAR) for node in nodes):
        return set()
    return {node.name for node in nodes if node.op is Op.VAR}


@dataclass(frozen=True)
class Merged:
    """A system whose exclusive flags are one variable.

    Attributes
    ----------
    original : System
    flags : tuple of str
        Those of `exclusive_flags`; the n-th is set where the variable is n, counted from 1.
    """

    original: System
    flags: tuple[str, ...]

    @cached_property
    def number(self) -> dict[str, int]:
        """For each flag the value of the variable where it is set."""
        return {flag: n for n, flag in enumerate(self.flags, start=1)}

    @cached_property
    def _instead(self) -> dict[str, Expr]:
        which = var(WHICH)
        return {flag: eq(which, const(n)) for flag, n in self.number.items()}

    @cached_property
    def system(self) -> System:
        """The system over the one variable."""
        domain = Domain(0, len(self.flags))
        merged = Variable(WHICH, domain, 0, Role.FAULT)
        variables = tuple(v for v in self.original.variables if v.name not in self._instead)
        moves = tuple(self._move(move) for move in self.original.moves)
        return replace(self.original, variables=(merged, *variables), moves=moves)

    def _move(self, move: Move) -> Move:
        updates = {n: self.expr(u) for n, u in move.updates.items() if n not in self._instead}
        changed = {n: u for n, u in move.updates.items() if n in self._instead}
        which = _struck(self.flags, changed)
        if which is None and changed:
            cleared = or_(*(self._instead[name] for name in changed))
            which = ite(cleared, const(0), var(WHICH))
        if which is not None:
            updates[WHICH] = which
        fair = None if move.fair is None else self.expr(move.fair)
        return replace(move, guard=self.expr(move.guard), updates=updates, fair=fair)

    def expr(self, expr: Expr) -> Expr:
        """`expr` over the one variable."""
        return substitute([expr], self._instead)[0]

    def asked(self, query: _Asked) -> _Asked:
        """A query, or a part of one, over the one variable."""
        if isinstance(query, Expr):
            return self.expr(query)  # type: ignore[return-value]
        if isinstance(query, tuple):
            return tuple(self.asked(part) for part in query)  # type: ignore[return-value]
        if not is_dataclass(query) or isinstance(query, type):
            return query
        return replace(query, **{f.name: self.asked(getattr(query, f.name)) for f in fields(query)})

    def told(self, answer: Answer) -> Answer:
        """An answer about the merged system as one about the original."""
        witness = answer.witness
        return answer if witness is None else replace(answer, witness=self.run(witness))

    def run(self, witness: Witness) -> Witness:
        """A run of the merged system as one of the original."""
        steps = tuple(Step(step.move, self._state(step.state)) for step in witness.steps)
        return replace(witness, initial=self._state(witness.initial), steps=steps)

    def _state(self, state: State) -> State:
        named = self.system.named(state)
        which = named[WHICH]
        named |= {flag: int(n == which) for flag, n in self.number.items()}
        return tuple(named[name] for name in self.original.index)


def _struck(flags: tuple[str, ...], changed: Mapping[str, Expr]) -> Expr | None:
    """Which flag is set; none of them where it is None."""
    numbers = [n for n, flag in enumerate(flags, start=1) if changed.get(flag) is TRUE]
    return const(numbers[0]) if numbers else None


def merged(system: System) -> Merged | None:
    """The system with its exclusive flags as one variable; None where that is no gain."""
    flags = exclusive_flags(system)
    return Merged(system, flags) if len(flags) >= FEWEST else None
