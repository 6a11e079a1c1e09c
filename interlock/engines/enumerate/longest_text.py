"""Compiled search for the longest way through a leg, counted in scans or units of time.

Which runs through a leg make the most counted moves is asked of components, the last ones first:
each state's number is the greatest of those of its successors, and one more behind a counted move.
All states of a component have the same. One with a counted move inside has no greatest number.
"""

from __future__ import annotations

from interlock.engines.enumerate.components import STARTS, STAYS, Search, components_text
from interlock.engines.enumerate.context import Routine
from interlock.engines.enumerate.ir import Value
from interlock.engines.enumerate.legs_text import TARGET
from interlock.engines.enumerate.runtime import Tables

ENDLESS = (1 << 16) - 1
"""So many counted moves or more."""


def longest_text(n_words: int, kind: type[Tables] = Tables) -> str:
    """IR of ``longest(shared, budget)``, which leaves ``most_counted`` and ``most_to_hit``."""
    return components_text(n_words, kind, _Longest())


class _Longest(Search):
    """Visits what can be reached from STARTS through STAYS and numbers it.

    For each state two numbers: the most counted moves behind it, and behind it up to a state with
    TARGET, the latter plus 1; 0 is none.
    """

    name = "longest"

    def is_root(self, _fn: Routine, flags: Value) -> Value:
        return (flags & (STARTS | STAYS)).is_(STARTS | STAYS)

    def enters(self, _fn: Routine, flags: Value) -> Value:
        return (flags & STAYS).is_not(0)

    def hand_over(
        self, fn: Routine, number: Value, move: Value, target: Value, mark: Value
    ) -> None:
        counts_as = fn.load("i8", fn.pointer("counts_as"), move).to("i64")
        step = (counts_as & fn.word("counted_as")).is_not(0).to("i64")
        # A state that was gone into and is in no complete component is in that of `number`.
        is_open = mark.is_not(0) & (mark.to("i64") < fn.word("component"))
        within = is_open & step.is_not(0)
        behind = fn.load("i16", fn.pointer("counted"), target).to("i64") + step
        _raise(fn, "counted", number, fn.const("i64", ENDLESS).or_else(within, behind))
        to_hit = _to_hit(fn, target)
        _raise(fn, "to_hit", number, (to_hit + step).or_else(to_hit.is_not(0), 0))

    def member(self, fn: Routine, number: Value, member: Value) -> None:
        fn.store(fn.load("i16", fn.pointer("counted"), number), fn.pointer("counted"), member)
        fn.store(_to_hit(fn, number).to("i16"), fn.pointer("to_hit"), member)

    def complete(self, fn: Routine, number: Value, _first: Value, _stop: Value) -> None:
        # What is visited lies behind a state that starts, whose numbers are no less.
        counted = fn.load("i16", fn.pointer("counted"), number).to("i64")
        for word, value in (("most_counted", counted), ("most_to_hit", _to_hit(fn, number))):
            with fn.if_(fn.word(word) < value):
                fn.put(word, value)


def _to_hit(fn: Routine, number: Value) -> Value:
    is_hit = (fn.load("i8", fn.pointer("flags"), number) & TARGET).is_not(0).to("i64")
    known = fn.load("i16", fn.pointer("to_hit"), number).to("i64")
    return known.or_else(is_hit < known, is_hit)


def _raise(fn: Routine, name: str, number: Value, value: Value) -> None:
    """Raise a state's number to `value`, at most to `ENDLESS`."""
    with fn.if_(fn.load("i16", fn.pointer(name), number).to("i64") < value):
        fn.store(fn.least(value, fn.const("i64", ENDLESS)).to("i16"), fn.pointer(name), number)
