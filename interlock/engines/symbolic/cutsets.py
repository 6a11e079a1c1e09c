"""The minimal sets of a family of sets of flags.

A combination of flags is enough for an accident, and so is every larger one, as a fault may also
not strike. The minimal ones are those from which no flag can be taken away.

Source: A. Rauzy, "New algorithms for fault trees analysis", Reliability Engineering and System
Safety 40 (1993), for minimal solutions of a diagram; with the family closed upwards they are told
by one condition for each flag.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import islice
from typing import TYPE_CHECKING

from interlock.kernel.expr import TRUE
from interlock.kernel.query import DeclinedError
from interlock.kernel.system import MoveKind, System

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Diagrams, Node


def list_minimal(
    dd: Diagrams, accidents: Node, bits: Sequence[int], flags: Sequence[str], most_sets: int
) -> tuple[tuple[tuple[str, ...], ...], tuple[int, ...]]:
    """The minimal sets of a family over `bits`, at most so many, and how many of each order."""
    minimal = minimal_of(dd, accidents, bits)
    listing = Listing(minimal, dict(zip(bits, flags, strict=True)))
    return _sorted(islice(listing.sets(), most_sets), flags), listing.n_by_order


def check_flags(system: System, flags: Sequence[str]) -> None:
    """Raise DeclinedError for a variable that does not tell what struck."""
    for flag in flags:
        variable = system.variable(flag)
        setting = [move for move in system.moves if flag in move.updates]
        if (variable.domain.lo, variable.domain.hi, variable.initial) != (0, 1, 0):
            raise DeclinedError(f"cut sets: {flag} is no flag that is FALSE at first")
        if any(move.updates[flag] is not TRUE for move in setting):
            raise DeclinedError(f"cut sets: {flag} may be reset, so it does not tell what struck")
        if any(move.kind is MoveKind.SCAN for move in setting):
            raise DeclinedError(f"cut sets: {flag} is set by the scan, so it is no fault")


def _without(dd: Diagrams, node: Node, bit: int) -> Node:
    return node.substitute(dd.substitution([(bit, dd.false)]))


def upwards(dd: Diagrams, family: Node, bits: Sequence[int]) -> Node:
    """The sets that contain one of `family`."""
    for bit in sorted(bits, reverse=True):
        family = family | dd.bits[bit] & _without(dd, family, bit)
    return family


def minimal_of(dd: Diagrams, family: Node, bits: Sequence[int]) -> Node:
    """The minimal elements of a family of sets; every bit is decided in each of them."""
    enough = upwards(dd, family, bits)
    minimal = enough
    for bit in sorted(bits, reverse=True):
        minimal = minimal & ~(dd.bits[bit] & _without(dd, enough, bit))
    return minimal


class Listing:
    """Counts and lists the sets of a family in which every flag is decided."""

    def __init__(self, family: Node, flags: dict[int, str]) -> None:
        self._family = family
        self._flags = flags
        self._counts: dict[Node, tuple[int, ...]] = {}

    @property
    def n_by_order(self) -> tuple[int, ...]:
        """How many sets have 0, 1, 2, … members."""
        return self._count(self._family)

    def _count(self, node: Node) -> tuple[int, ...]:
        if node not in self._counts:
            cofactors = node.cofactors()
            if cofactors is None:
                self._counts[node] = (1,) if node.satisfiable() else ()
            else:
                with_it, without = (self._count(cofactor) for cofactor in cofactors)
                shifted = (0, *with_it) if with_it else ()
                n = max(len(shifted), len(without))
                padded = [(*counts, *(0,) * (n - len(counts))) for counts in (shifted, without)]
                self._counts[node] = tuple(map(sum, zip(*padded, strict=True)))
        return self._counts[node]

    def sets(self) -> Iterator[tuple[str, ...]]:
        """The sets, those with the fewest members first."""
        for order, n_sets in enumerate(self.n_by_order):
            if n_sets:
                yield from self._of_order(self._family, order)

    def _of_order(self, node: Node, order: int) -> Iterator[tuple[str, ...]]:
        counts = self._count(node)
        if order >= len(counts) or not counts[order]:
            return
        cofactors = node.cofactors()
        if cofactors is None:
            yield ()
            return
        bit = node.node_var()
        assert bit is not None
        if order:
            for rest in self._of_order(cofactors[0], order - 1):
                yield (self._flags[bit], *rest)
        yield from self._of_order(cofactors[1], order)


def _sorted(sets: Iterator[tuple[str, ...]], flags: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    place = {flag: number for number, flag in enumerate(flags)}
    ordered = (tuple(sorted(one, key=place.__getitem__)) for one in sets)
    return tuple(sorted(ordered, key=lambda one: (len(one), [place[flag] for flag in one])))
