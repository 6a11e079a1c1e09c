"""States seen through some variables, whether or not flags of them are told as one variable.

Where `exclusive` has made one variable of many flags, each of its values is one flag alone, or none
of them: rows say so of every flag, and minimal sets are those with none and, for each flag, those
that it adds.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import islice, zip_longest
from typing import TYPE_CHECKING

from interlock.engines.symbolic.cutsets import list_minimal, upwards
from interlock.engines.symbolic.encoding import Encoding
from interlock.engines.symbolic.exclusive import Merged
from interlock.engines.symbolic.order import WHICH
from interlock.kernel.evaluate import State

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node

Sets = tuple[tuple[tuple[str, ...], ...], tuple[int, ...]]
"""Some of the minimal sets, and how many there are of 0, 1, 2, … flags."""


class Projection:
    """What is left of sets of states where all but some variables are forgotten.

    Parameters
    ----------
    encoding : Encoding
        Of the merged system, if there is one.
    merged : Merged or None
    """

    def __init__(self, encoding: Encoding, merged: Merged | None) -> None:
        self._encoding = encoding
        self._dd = encoding.diagrams
        self._index = encoding.system.index
        self._number = {} if merged is None else merged.number

    def forgotten(self, states: Node, names: Iterable[str]) -> Node:
        """`states` with everything but these variables forgotten."""
        return states.exists(self._dd.positive(set(range(self._dd.n_bits)) - self.bits_of(names)))

    def bits_of(self, names: Iterable[str]) -> set[int]:
        """The bits that tell the values of these variables."""
        return {bit for name in names for bit in self._encoding.bits[self._place(name)]}

    def rows(self, states: Node, names: Sequence[str]) -> tuple[tuple[int, ...], ...]:
        """Which values these variables take together, sorted."""
        places = list(dict.fromkeys(map(self._place, names)))
        column = {place: n for n, place in enumerate(places)}
        found = set()
        for values, _ in self._encoding.split(self.forgotten(states, names), places):
            row = []
            for name in names:
                value, number = values[column[self._place(name)]], self._number.get(name)
                row.append(value if number is None else int(value == number))
            found.add(tuple(row))
        return tuple(sorted(found))

    def one_of_each(self, states: Node, names: Sequence[str], most: int) -> list[State]:
        """A state for each combination of values that these variables take, at most so many."""
        places = list(dict.fromkeys(map(self._place, names)))
        found = []
        combined = self._encoding.split(self.forgotten(states, names), places)
        for values, _ in islice(combined, most):
            own = (self._encoding.is_value(*pair) for pair in zip(places, values, strict=True))
            found.append(self._encoding.pick(states & self._dd.conjunction(own)))
        return found

    def unset(self, flags: Iterable[str]) -> Node:
        """Where none of these flags is set."""
        return self._dd.conjunction(~self._is_set(flag) for flag in flags)

    def has(self, states: Node, flag: str) -> bool:
        """Whether this flag is set in some of the states."""
        return (states & self._is_set(flag)).satisfiable()

    def minimal_sets(self, states: Node, flags: Sequence[str], most_sets: int) -> Sets:
        """The minimal sets of these flags in `states`, whatever others are set, at most so many."""
        family = self.forgotten(states, flags)
        plain = [flag for flag in flags if flag not in self._number]
        if len(plain) == len(flags):
            return self._listed(family, plain, most_sets)
        alone = {flag: family & self._is_set(flag) for flag in flags if flag in self._number}
        rest = family & ~self._dd.disjunction(map(self._is_set, alone))
        parts = [self._listed(rest := self.forgotten(rest, plain), plain, most_sets)]
        enough = upwards(self._dd, rest, [self._bit(flag) for flag in plain])
        for flag, with_it in alone.items():
            # What is enough without it is no minimal set with it, and nor is anything larger.
            more = upwards(
                self._dd, self.forgotten(with_it, plain), [self._bit(name) for name in plain]
            )
            sets, counts = self._listed(more & ~enough, plain, most_sets)
            parts.append((tuple((flag, *one) for one in sets), (0, *counts) if counts else ()))
        place = {flag: n for n, flag in enumerate(flags)}
        listed = [tuple(sorted(one, key=place.__getitem__)) for part, _ in parts for one in part]
        listed.sort(key=lambda one: (len(one), [place[flag] for flag in one]))
        by_order = zip_longest(*(n_by_order for _, n_by_order in parts), fillvalue=0)
        return tuple(listed[:most_sets]), tuple(map(sum, by_order))

    def _listed(self, family: Node, flags: Sequence[str], most_sets: int) -> Sets:
        bits = [self._bit(flag) for flag in flags]
        return list_minimal(self._dd, family, bits, flags, most_sets)

    def _place(self, name: str) -> int:
        return self._index[WHICH if name in self._number else name]

    def _bit(self, flag: str) -> int:
        (bit,) = self._encoding.bits[self._place(flag)]
        return bit

    def _is_set(self, flag: str) -> Node:
        return self._encoding.is_value(self._place(flag), self._number.get(flag, 1))
