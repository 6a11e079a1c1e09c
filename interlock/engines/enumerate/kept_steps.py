"""The steps of an explored space in memory, for many searches through it.

A search makes the moves of a state and looks their ends up, each time it comes to it. Where many
are to be made, all steps are worked out once: for each state, one after the other, the moves and
the numbers of the states that they lead to. Then a step costs two reads.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Self

from interlock.engines.enumerate.context import Routine
from interlock.engines.enumerate.ir import Value, Variable
from interlock.engines.enumerate.runtime import Tables

STEPS = ("step_ends", "step_targets", "step_moves")


def keeping_text(n_words: int) -> str:
    """``keep_steps(shared, first, stop)``: append the steps of these states to those kept."""
    fn = Routine("keep_steps", ["i64", "i64"])
    tables = Tables.of(fn, n_words)
    _, first, stop = fn.args
    ends, targets, moves = (fn.pointer(name) for name in STEPS)
    backward = fn.const("i64", 0)
    with tables.in_batches(first, stop, backward, lambda n: n < stop) as (number, j, end):
        with fn.while_(j.below(end)):
            n_steps = fn.word("n_steps")
            fn.store(tables.found(j.get()).to("i32"), targets, n_steps)
            fn.store(tables.move(j.get()).to("i16"), moves, n_steps)
            fn.put("n_steps", n_steps + 1)
            j.add(1)
        fn.store(fn.word("n_steps").to("i32"), ends, number + 1)
    fn.leave(0)
    return fn.text()


@dataclass(frozen=True)
class KeptTables(Tables):
    """The tables of a space whose steps are kept; every step leads to a known state."""

    step_ends: Value
    step_targets: Value
    step_moves: Value
    base: Variable

    @classmethod
    def of(cls, fn: Routine, n_words: int, **more: Any) -> Self:
        """Read them."""
        kept = {name: fn.pointer(name) for name in STEPS}
        return super().of(fn, n_words, base=fn.variable("i64", 0), **kept, **more)

    def expanded(self, number: Value, _count: Value | int) -> Value:
        """How many steps a state has; the numbers of steps count from its first one."""
        first = self._end(number)
        self.base.set(first)
        return self._end(number + 1) - first

    def fetch_ahead(self, first: Value | int, stop: Value) -> None:
        """Ask for what is known of the states that these steps lead to."""
        fn = self.fn
        flags, marks = fn.pointer("flags"), fn.pointer("marks")
        with fn.count(first, stop) as j:
            target = self.found(j)
            fn.prefetch(fn.at("i8", flags, target))
            fn.prefetch(fn.at("i32", marks, target))

    def found(self, j: Value) -> Value:
        """The state that a step leads to."""
        return self.fn.load("i32", self.step_targets, self.base.get() + j).to("i64")

    def move(self, j: Value) -> Value:
        """The move of a step."""
        return self.fn.load("i16", self.step_moves, self.base.get() + j).to("i64")

    def leads_back(self, number: Value, j: Value) -> Value:
        """Whether a step leads to the state itself."""
        return self.found(j).is_(number)

    @contextmanager
    def in_batches(
        self, first: Value, stop: Value, backward: Value, wanted: Callable[[Value], Value]
    ) -> Iterator[tuple[Value, Variable, Value]]:
        """As for tables without kept steps, one state at a time."""
        fn = self.fn
        with fn.count(first, stop) as ahead:
            number = (first + stop - 1 - ahead).or_else(backward.is_not(0), ahead)
            with fn.if_(wanted(number)):
                count = self.expanded(number, 0)
                yield number, fn.variable("i64", 0), count

    def _end(self, number: Value) -> Value:
        return self.fn.load("i32", self.step_ends, number).to("i64")
