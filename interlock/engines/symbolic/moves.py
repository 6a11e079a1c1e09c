"""Moves on sets of states: what a move makes of a set, and what it makes a set of.

Forwards, a move writes its variables one after the other in place: the old value is forgotten
and the new one joined on. No variable is written before the others have read it; only where
variables read each other in a circle, one of them is copied first. So a move needs no second
set of bits, and a scan is as many small steps as it has updates. Backwards, all updates are
substituted at once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from interlock.engines.symbolic.encoding import Encoding, Partition, moved
from interlock.kernel.expr import Op, variables_of
from interlock.kernel.system import Move, System

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node, Substitution


@dataclass(frozen=True)
class Plan:
    """In which order a move writes its variables, all by position.

    Attributes
    ----------
    copied : tuple of int
        Variables copied before anything is written.
    written : tuple of int
        Variables with a calculated value, in the order of writing.
    constant : tuple of int
        Variables that are set to a constant, after all others.
    reads : mapping of int to frozenset of int
        What the update of each variable reads.
    """

    copied: tuple[int, ...]
    written: tuple[int, ...]
    constant: tuple[int, ...]
    reads: Mapping[int, frozenset[int]]


def plan(system: System, move: Move) -> Plan:
    """Choose the order of writing for `move`, with few copies."""
    constant = []
    reads: dict[int, frozenset[int]] = {}
    for name, update in move.updates.items():
        v = system.index[name]
        if update.op is Op.CONST:
            constant.append(v)
        elif not (update.op is Op.VAR and update.name == name):
            reads[v] = frozenset(system.index[n] for n in variables_of([update]))
    copied: list[int] = []
    written: list[int] = []
    waiting = sorted(reads)
    while waiting:
        readers = {v: sum(v in reads[w] for w in waiting if w != v) for v in waiting}
        free = [v for v in waiting if not readers[v]]
        if free:
            written.extend(free)
            waiting = [v for v in waiting if v not in free]
        else:
            # Its readers take the copy from now on, so it may be written next.
            victim = max(waiting, key=lambda v: (readers[v], -v))
            copied.append(victim)
            written.append(victim)
            waiting.remove(victim)
    return Plan(tuple(copied), tuple(written), tuple(sorted(constant)), reads)


def copied_variables(system: System) -> set[int]:
    """Positions of the variables that some move has to copy."""
    return {v for move in system.moves for v in plan(system, move).copied}


@dataclass(frozen=True)
class _Write:
    """One variable's new value: the bits to forget, and where which value comes in."""

    forgotten: Node
    joined: Node | None
    cases: tuple[tuple[Node, Node], ...]


class SymbolicMove:
    """A move of a system, working on diagrams.

    Parameters
    ----------
    encoding : Encoding
        With copies of all `copied_variables`.
    move : Move
    """

    def __init__(self, encoding: Encoding, move: Move) -> None:
        self.move = move
        self._encoding = encoding
        self._dd = encoding.diagrams
        self.guard = encoding.truth(move.guard)
        system = encoding.system
        chosen = plan(system, move)
        values = {
            system.index[name]: encoding.partition(update) for name, update in move.updates.items()
        }
        self._copy_first = self._dd.conjunction(
            self._dd.bits[a].equiv(self._dd.bits[b])
            for v in reversed(chosen.copied)
            for a, b in zip(encoding.bits[v], encoding.copies[v], strict=True)
        )
        self._copy_bits = self._dd.positive(b for v in chosen.copied for b in encoding.copies[v])
        self._has_copies = bool(chosen.copied)
        self._writes = self._plan_writes(chosen, values)
        self._constant_bits = self._dd.positive(
            b for v in chosen.constant for b in encoding.bits[v]
        )
        self._constants = self._dd.conjunction(
            encoding.is_value(v, next(iter(values[v]))) for v in reversed(chosen.constant)
        )
        self._backwards = self._substitution(values)

    def _plan_writes(self, chosen: Plan, values: Mapping[int, Partition]) -> list[_Write]:
        return [
            self._write(v, values[v], chosen, chosen.written[place + 1 :])
            for place, v in enumerate(chosen.written)
        ]

    def _write(self, v: int, partition: Partition, chosen: Plan, later: Sequence[int]) -> _Write:
        # A copied variable that is already written must be read from its copy; one that is not
        # yet written may be read from either.
        done = [c for c in chosen.copied if c not in later and c != v]
        pairs = {
            a: b
            for c in done
            if c in chosen.reads[v]
            for a, b in zip(self._encoding.bits[c], self._encoding.copies[c], strict=True)
        }
        cases = [
            (moved(self._encoding, where, pairs) if pairs else where, value)
            for value, where in sorted(partition.items())
        ]
        into = [(where, self._encoding.is_value(v, value)) for where, value in cases]
        forgotten = self._dd.positive(self._encoding.bits[v])
        if v in chosen.reads[v]:
            return _Write(forgotten, None, tuple(into))
        return _Write(forgotten, self._dd.disjunction(a & b for a, b in into), ())

    def _substitution(self, values: Mapping[int, Partition]) -> Substitution:
        pairs = []
        for v, partition in values.items():
            lo = self._encoding.system.variables[v].domain.lo
            bits = self._encoding.bits[v]
            for i, bit in enumerate(reversed(bits)):
                ones = [where for value, where in partition.items() if (value - lo) >> i & 1]
                pairs.append((bit, self._dd.disjunction(ones)))
        return self._dd.substitution(pairs)

    def image(self, states: Node) -> Node:
        """Where the move leads to from `states`."""
        dd = self._dd
        if not self._writes:
            return dd.and_exists(states, self.guard, self._constant_bits) & self._constants
        states = states & self.guard
        if not states.satisfiable():
            return states
        if self._has_copies:
            states = states & self._copy_first
        for write in self._writes:
            if write.joined is not None:
                states = states.exists(write.forgotten) & write.joined
            else:
                states = dd.disjunction(
                    dd.and_exists(states, where, write.forgotten) & value
                    for where, value in write.cases
                )
        if self._has_copies:
            states = states.exists(self._copy_bits)
        return states.exists(self._constant_bits) & self._constants

    def preimage(self, states: Node) -> Node:
        """From where the move leads into `states`."""
        return states.substitute(self._backwards) & self.guard
