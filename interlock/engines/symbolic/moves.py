"""Moves on sets of states: what a move makes of a set, and what it makes a set of.

Forwards, a move writes its variables in place: an old value is forgotten and the new one joined
on. Variables that no update reads, such as the outputs of a scan, are all forgotten at the start
and joined on as late as what they read allows; the others are written one after the other, none
before the rest have read it. Only where variables read each other in a circle is one of them
copied first. So a move needs no second set of bits. Backwards, few updates are undone one after
the other, which is the faster (measured on a vehicle model: a third of the time), and many are
substituted at once.
"""

from __future__ import annotations

from collections.abc import Container, Mapping
from copy import copy
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from interlock.engines.symbolic.encoding import Encoding, Partition
from interlock.kernel.evaluate import State
from interlock.kernel.expr import Op, variables_of
from interlock.kernel.system import Move, System

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node, Substitution

MOST_JOINED_NODES = 5000
"""How large the new values of several variables may grow as one diagram."""

MOST_UNDONE = 8
"""How many variables are put back one after the other; more are substituted at once."""


@dataclass(frozen=True)
class Plan:
    """In which order a move writes its variables, all by position.

    Attributes
    ----------
    copied : tuple of int
        Variables copied before anything is written.
    steps : tuple of tuple of int
        What is written after what. A step is either one variable that some update reads or some
        variables that none does.
    reads : mapping of int to frozenset of int
        What the update of each written variable reads.
    """

    copied: tuple[int, ...]
    steps: tuple[tuple[int, ...], ...]
    reads: Mapping[int, frozenset[int]]

    @cached_property
    def unread(self) -> frozenset[int]:
        """The written variables that no update reads."""
        return frozenset(self.reads) - frozenset[int]().union(*self.reads.values())


def plan(reads: Mapping[int, frozenset[int]], liked: Container[int] = ()) -> Plan:
    """Choose an order of writing with few copies, given what the update of each variable reads.

    Where a choice remains, copies are taken of `liked` variables.
    """
    read = frozenset[int]().union(*reads.values())
    unread = [v for v in sorted(reads) if v not in read]
    waiting = [v for v in sorted(reads) if v in read]
    copied: list[int] = []
    steps: list[tuple[int, ...]] = []
    while waiting:
        readers = {v: sum(v in reads[w] for w in waiting if w != v) for v in waiting}
        # A copy only helps of a variable that others wait for and that waits itself.
        blocked = {v for v in waiting if any(w in reads[v] for w in waiting if w != v)}
        chosen = min(
            waiting,
            key=lambda v: (readers[v] > 0, v not in blocked, v not in liked, -readers[v], v),
        )
        if readers[chosen]:
            # Its readers take the copy from now on, so it may be written next.
            copied.append(chosen)
        if due := tuple(v for v in unread if chosen in reads[v]):
            steps.append(due)
            unread = [v for v in unread if v not in due]
        steps.append((chosen,))
        waiting.remove(chosen)
    if unread:
        steps.append(tuple(unread))
    return Plan(tuple(copied), tuple(steps), reads)


def _reads(system: System, move: Move) -> dict[int, frozenset[int]]:
    return {
        system.index[name]: frozenset(system.index[n] for n in variables_of([update]))
        for name, update in move.updates.items()
        if not (update.op is Op.VAR and update.name == name)
    }


def copied_variables(system: System) -> set[int]:
    """Positions of the variables that some move has to copy."""
    return {v for move in system.moves for v in plan(_reads(system, move)).copied}


@dataclass(frozen=True)
class _Write:
    """A step: either new values to join on, or by which old values a new one comes about."""

    joined: tuple[Node, ...] = ()
    forgotten: Node | None = None
    cases: tuple[tuple[Node, Node], ...] = ()


class SymbolicMove:
    """A guarded update of some variables, working on diagrams.

    Parameters
    ----------
    encoding : Encoding
    name : str
    guard : Node
    values : mapping of int to Partition
        New values of variables, by position.
    reads : mapping of int to frozenset of int
        What each of them depends on. No circle may be among them but through variables with
        copies.
    """

    def __init__(
        self,
        encoding: Encoding,
        name: str,
        guard: Node,
        values: Mapping[int, Partition],
        reads: Mapping[int, frozenset[int]],
    ) -> None:
        self.name = name
        self.guard = guard
        self.values = values
        self._encoding = encoding
        self._dd = encoding.diagrams
        chosen = plan(reads, encoding.copies)
        self._copies = [
            self._dd.bits[a].equiv(self._dd.bits[b])
            for v in chosen.copied
            for a, b in zip(encoding.bits[v], encoding.copies[v], strict=True)
        ]
        self._copy_bits = self._dd.positive(b for v in chosen.copied for b in encoding.copies[v])
        self._unread = self._dd.positive(b for v in chosen.unread for b in encoding.bits[v])
        self._plan = chosen

    @classmethod
    def of(cls, encoding: Encoding, move: Move) -> SymbolicMove:
        """The symbolic form of `move`; `encoding` must copy all `copied_variables`."""
        reads = _reads(encoding.system, move)
        values = {v: encoding.partition(move.updates[encoding.name(v)]) for v in reads}
        return cls(encoding, move.name, encoding.truth(move.guard), values, reads)

    def restricted(self, condition: Node) -> SymbolicMove:
        """The same move, only where `condition` holds before it."""
        move = copy(self)
        move.guard = self.guard & condition
        return move

    @cached_property
    def _writes(self) -> list[_Write]:
        chosen, values = self._plan, self.values
        writes = []
        overwritten: set[int] = set()
        for step in chosen.steps:
            cases = {}
            for v in step:
                from_copies = [c for c in chosen.copied if c in overwritten & chosen.reads[v]]
                cases[v] = [
                    (self._read_copies(where, from_copies), self._encoding.is_value(v, value))
                    for value, where in sorted(values[v].items())
                ]
            if chosen.unread.issuperset(step):
                writes.append(_Write(joined=self._join(cases)))
            else:
                (v,) = step
                writes.append(self._write(v, cases[v], is_counter=v in chosen.reads[v]))
                overwritten.add(v)
        return writes

    @cached_property
    def _undone(self) -> list[tuple[Node, list[tuple[Node, Node]]]]:
        """The last written variable first: its bits, and where it gets which of its values."""
        return [
            (
                self._dd.positive(self._encoding.bits[v]),
                [
                    (where, self._encoding.is_value(v, value))
                    for value, where in self.values[v].items()
                ],
            )
            for step in reversed(self._plan.steps)
            for v in step
        ]

    @cached_property
    def _backwards(self) -> Substitution:
        return self._dd.substitution(self._encoding.bit_functions(self.values))

    def _write(self, v: int, cases: list[tuple[Node, Node]], is_counter: bool) -> _Write:
        forgotten = self._dd.positive(self._encoding.bits[v])
        if is_counter:
            return _Write(forgotten=forgotten, cases=tuple(cases))
        # The new value does not depend on the old one, so one piece is enough.
        return _Write(self._join({v: cases}), forgotten)

    def _read_copies(self, node: Node, variables: list[int]) -> Node:
        if not variables:
            return node
        bits, copies = self._encoding.bits, self._encoding.copies
        pairs = [
            (a, self._dd.bits[b])
            for v in variables
            for a, b in zip(bits[v], copies[v], strict=True)
        ]
        return node.substitute(self._dd.substitution(pairs))

    def _join(self, cases: Mapping[int, list[tuple[Node, Node]]]) -> tuple[Node, ...]:
        """New values, of several variables in one diagram while that stays small."""
        joined: list[Node] = []
        bits = self._encoding.bits
        for v in sorted(cases, key=lambda v: bits[v][:1], reverse=True):
            part = self._dd.disjunction(where & value for where, value in cases[v])
            if joined:
                both = joined[-1] & part
                if both.node_count() <= MOST_JOINED_NODES:
                    joined[-1] = both
                    continue
            joined.append(part)
        return tuple(joined)

    def image(self, states: Node) -> Node:
        """Where the move leads to from `states`."""
        dd = self._dd
        states = dd.and_exists(states, self.guard, self._unread)
        if not states.satisfiable():
            return states
        for same in self._copies:
            states = states & same
        for write in self._writes:
            if write.cases:
                assert write.forgotten is not None
                states = dd.disjunction(
                    dd.and_exists(states, where, write.forgotten) & value
                    for where, value in write.cases
                )
            elif write.forgotten is not None:
                states = states.exists(write.forgotten)
            for joined in write.joined:
                states = states & joined
        return states.exists(self._copy_bits) if self._copies else states

    def idle_in(self, states: Node) -> Node:
        """Those of `states` in which the move is made and changes nothing."""
        found = states & self.guard
        for v, cases in self.values.items():
            if not found.satisfiable():
                break
            found = self._dd.disjunction(
                found & where & self._encoding.is_value(v, value) for value, where in cases.items()
            )
        return found

    def may_leave(self, state: State) -> bool:
        """Whether each variable has a value in `state` that the move writes somewhere."""
        return all(state[v] in partition for v, partition in self.values.items())

    def preimage(self, states: Node) -> Node:
        """From where the move leads into `states`."""
        if self._copies or len(self.values) > MOST_UNDONE:
            return states.substitute(self._backwards) & self.guard
        for bits, cases in self._undone:
            states = self._dd.disjunction(
                where & self._dd.and_exists(states, value, bits) for where, value in cases
            )
        return states & self.guard
