"""The door to the decision-diagram library: the only file that imports it.

Diagrams with complement edges are used, because a set and its complement then share every node.
The library grows its node table as it fills, so a generous capacity costs nothing at the start;
only the cache of operations is laid out at once (measured: 0.01 s for 2**20 entries, 0.15 s for
2**22, 20 bytes each). A node takes about 34 bytes with its place in the table (measured).
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import reduce
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from oxidd.bcdd import BCDDFunction, BCDDSubstitution

    Node: TypeAlias = BCDDFunction
    Substitution: TypeAlias = BCDDSubstitution

BYTES_PER_NODE = 34
BYTES_PER_CACHE_ENTRY = 20
DEFAULT_BYTES = 2 << 30
MOST_NODES = 1 << 30


class Diagrams:
    """A table of decision diagrams over `n_bits` bits; bit 0 is decided first.

    Parameters
    ----------
    n_bits : int
    max_bytes : int or None
        Memory for nodes and cache; every operation raises MemoryError beyond it.

    Attributes
    ----------
    watch : callable or None
        Called for each set that is joined with others; it may raise.
    """

    def __init__(self, n_bits: int, max_bytes: int | None = None) -> None:
        from oxidd.bcdd import BCDDManager, BCDDSubstitution
        from oxidd.util import BooleanOperator

        n_bytes = min(DEFAULT_BYTES if max_bytes is None else max_bytes, _installed_bytes())
        n_cached = _power_of_two(n_bytes // 8 // BYTES_PER_CACHE_ENTRY, 1 << 10, 1 << 20)
        n_nodes = max((n_bytes - n_cached * BYTES_PER_CACHE_ENTRY) // BYTES_PER_NODE, 1 << 10)
        self.n_bits = n_bits
        self._manager = BCDDManager(min(n_nodes, MOST_NODES), n_cached, 1)
        self._cache_bytes = n_cached * BYTES_PER_CACHE_ENTRY
        self._substitution = BCDDSubstitution
        self._and = BooleanOperator.AND
        self._manager.add_vars(n_bits)
        self.true = self._manager.true()
        self.false = self._manager.false()
        self.bits = [self._manager.var(bit) for bit in range(n_bits)]
        # Dropping nodes empties the cache as well: below this, some 140 MB, it costs more than it
        # frees. Measured on the demo vehicle, everything asked of one fault and of any one of two,
        # seconds of CPU: 20 and 59 with 2**20 nodes, 12 and 42 with 2**22.
        self._least_gc_at = min(1 << 22, max(n_nodes // 4, 1 << 10))
        self._gc_at = self._least_gc_at
        self.watch: Callable[[], None] | None = None

    @property
    def n_bytes(self) -> int:
        """Memory taken by the nodes now in the table and by the cache."""
        return self._cache_bytes + BYTES_PER_NODE * int(self._manager.num_inner_nodes())

    def tidy(self) -> None:
        """Drop unused nodes where many may have gathered; call between big operations."""
        if self._manager.approx_num_inner_nodes() > self._gc_at:
            self._manager.gc()
            # Dropping nodes empties the cache, so it must not happen before the table doubled.
            self._gc_at = max(self._least_gc_at, 2 * int(self._manager.num_inner_nodes()))

    def conjunction(self, items: Iterable[Node]) -> Node:
        """All of `items`."""
        return reduce(lambda a, b: a & b, items, self.true)

    def disjunction(self, items: Iterable[Node]) -> Node:
        """Any of `items`, joined in pairs so that the diagrams in between stay small."""
        level = []
        for item in items:
            # A variable of many values takes long; whoever waits for it may give up.
            if self.watch is not None:
                self.watch()
            level.append(item)
        while len(level) > 1:
            paired = [a | b for a, b in zip(level[::2], level[1::2], strict=False)]
            level = paired + level[len(paired) * 2 :]
        return level[0] if level else self.false

    def positive(self, bits: Iterable[int]) -> Node:
        """The conjunction of `bits`, which also names them as a set to quantify."""
        # From the last decided bit upwards each step only adds one node on top.
        return self.conjunction(self.bits[bit] for bit in sorted(bits, reverse=True))

    def cube(self, values: Mapping[int, int]) -> Node:
        """The assignments in which each bit of `values` has its value."""
        result = self.true
        for bit in sorted(values, reverse=True):
            result = (self.bits[bit] if values[bit] else ~self.bits[bit]) & result
        return result

    def and_exists(self, a: Node, b: Node, bits: Node) -> Node:
        """``a AND b`` with `bits` (see `positive`) forgotten."""
        return a.apply_exists(self._and, b, bits)

    def simplified(self, node: Node, care: Node) -> Node:
        """A set with the same states inside `care`, which must not be empty; mostly a smaller one.

        Source: the operator *restrict* of O. Coudert, J. C. Madre, "A unified framework for the
        formal verification of sequential circuits", ICCAD 1990.
        """
        known: dict[tuple[Node, Node], Node] = {}

        def answer(f: Node, c: Node) -> Node | None:
            return f if f.node_var() is None or c == self.true else known.get((f, c))

        todo = [(node, care)]
        while todo:
            f, c = todo[-1]
            bit, pairs = self._narrowed(f, c)
            parts = [part for part in (answer(*pair) for pair in pairs) if part is not None]
            if answer(f, c) is None and len(parts) < len(pairs):
                todo += pairs
                continue
            todo.pop()
            if answer(f, c) is None:
                known[f, c] = parts[0] if bit is None else self.bits[bit].ite(*parts)
        found = answer(node, care)
        assert found is not None
        return found

    def _narrowed(self, f: Node, c: Node) -> tuple[int | None, list[tuple[Node, Node]]]:
        """What the topmost bit makes of a set and what it matters in: high and low, or one."""
        if f.node_var() is None or c == self.true:
            return None, []
        level, other = f.node_level(), c.node_level()
        assert level is not None
        assert other is not None
        c_high, c_low = _halves(c) if other <= level else (c, c)
        if other < level:
            return None, [(f, c_high | c_low)]
        f_high, f_low = _halves(f)
        if not c_high.satisfiable():
            return None, [(f_low, c_low)]
        if not c_low.satisfiable():
            return None, [(f_high, c_high)]
        return f.node_var(), [(f_high, c_high), (f_low, c_low)]

    def support(self, nodes: Iterable[Node]) -> frozenset[int]:
        """The bits that `nodes` depend on."""
        seen: set[Node] = set()
        bits: set[int] = set()
        todo = list(nodes)
        while todo:
            node = todo.pop()
            cofactors = node.cofactors()
            if cofactors is not None and node not in seen:
                seen.add(node)
                bit = node.node_var()
                assert bit is not None
                bits.add(bit)
                todo.extend(cofactors)
        return frozenset(bits)

    def substitution(self, pairs: Iterable[tuple[int, Node]]) -> Substitution:
        """A simultaneous replacement of bits, for `Node.substitute`."""
        return self._substitution(pairs)

    def count(self, node: Node, n_unused: int) -> int:
        """How many assignments satisfy `node`, where `n_unused` bits never matter to it."""
        return int(node.sat_count(self.n_bits)) >> n_unused

    def pick(self, node: Node) -> Sequence[bool | None]:
        """One assignment of a satisfiable `node`, None where a bit does not matter."""
        cube = node.pick_cube()
        assert cube is not None
        return cube


def _halves(node: Node) -> tuple[Node, Node]:
    """What a set is where its topmost bit is 1, and where it is 0."""
    cofactors = node.cofactors()
    assert cofactors is not None
    return cofactors


def _power_of_two(wanted: int, least: int, most: int) -> int:
    return 1 << (max(least, min(most, wanted)).bit_length() - 1)


def _installed_bytes() -> int:
    """The machine's memory. The library ends the process where it cannot even reserve it."""
    try:
        return os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")
    except (AttributeError, ValueError, OSError):  # not every system tells
        return DEFAULT_BYTES
