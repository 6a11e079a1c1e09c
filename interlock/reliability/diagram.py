"""Binary decision diagrams and families of sets, as small as fault trees need them.

Nodes are numbers; a node's children always have smaller numbers, so passes over a diagram run
through the numbers upwards and need no recursion. The operations that do recurse are generators
run by `_run`, because a tree of a thousand events is deeper than Python's stack.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Sequence
from typing import Any

MAX_NODES = 2_000_000

_Call = Generator[Any, int, int]


class TooLargeError(Exception):
    """An analysis hit its limit; nothing is known of the result."""


def _run(call: _Call) -> int:
    """Run a generator that yields the calls whose values it needs."""
    stack = [call]
    started = False
    value = 0
    while stack:
        try:
            nested = stack[-1].send(value) if started else next(stack[-1])
        except StopIteration as finished:
            stack.pop()
            value, started = finished.value, True
        else:
            stack.append(nested)
            started = False
    return value


class _Nodes:
    """A table of unique nodes. Nodes 0 and 1 are the ends, below every level."""

    def __init__(self, n_levels: int, max_nodes: int = MAX_NODES) -> None:
        self.n_levels = n_levels
        self.level = [n_levels, n_levels]
        self.low = [0, 1]
        self.high = [0, 1]
        self._max_nodes = max_nodes
        self._unique: dict[tuple[int, int, int], int] = {}

    def _intern(self, level: int, low: int, high: int) -> int:
        key = (level, low, high)
        found = self._unique.get(key)
        if found is not None:
            return found
        if len(self.level) >= self._max_nodes:
            raise TooLargeError(f"the analysis needs more than {self._max_nodes} diagram nodes")
        self.level.append(level)
        self.low.append(low)
        self.high.append(high)
        self._unique[key] = len(self.level) - 1
        return len(self.level) - 1

    def below(self, root: int) -> list[int]:
        """The inner nodes reachable from `root`, children first."""
        seen: set[int] = set()
        todo = [root]
        while todo:
            node = todo.pop()
            if node > 1 and node not in seen:
                seen.add(node)
                todo += (self.low[node], self.high[node])
        return sorted(seen)


class Diagram(_Nodes):
    """Truth functions of the variables 0, 1, … in this order, reduced and unique."""

    FALSE, TRUE = 0, 1

    def __init__(self, n_levels: int, max_nodes: int = MAX_NODES) -> None:
        super().__init__(n_levels, max_nodes)
        self._memo: dict[tuple[int, int, int], int] = {}

    def variable(self, level: int) -> int:
        """The function that is true where the variable is."""
        return self._node(level, 0, 1)

    def ite(self, f: int, g: int, h: int) -> int:
        """The function: if `f` then `g` else `h`."""
        return _run(self._ite(f, g, h))

    def and_(self, f: int, g: int) -> int:
        """Both."""
        return self.ite(f, g, 0)

    def or_(self, f: int, g: int) -> int:
        """At least one."""
        return self.ite(f, 1, g)

    def not_(self, f: int) -> int:
        """The opposite."""
        return self.ite(f, 0, 1)

    def at_least(self, k: int, functions: Sequence[int]) -> int:
        """At least `k` of `functions`."""
        # reached[j]: at least j of the functions looked at so far.
        reached = [1] + [0] * k
        # From the deepest one up: what lies below a function's first variable is not rebuilt.
        for f in sorted(functions, key=self._depth, reverse=True):
            for j in range(k, 0, -1):
                reached[j] = self.ite(f, reached[j - 1], reached[j])
        return reached[k]

    def _node(self, level: int, low: int, high: int) -> int:
        return low if low == high else self._intern(level, low, high)

    def _depth(self, f: int) -> tuple[int, int]:
        return self.level[f], self.level[self.high[f]]

    def _cofactor(self, f: int, level: int, value: int) -> int:
        if self.level[f] != level:
            return f
        return self.high[f] if value else self.low[f]

    def _ite(self, f: int, g: int, h: int) -> _Call:
        if f < 2:
            return g if f else h
        if g == h:
            return g
        if (g, h) == (1, 0):
            return f
        key = (f, g, h)
        if key not in self._memo:
            level = min(self.level[f], self.level[g], self.level[h])
            low = yield self._ite(*(self._cofactor(x, level, 0) for x in key))
            high = yield self._ite(*(self._cofactor(x, level, 1) for x in key))
            self._memo[key] = self._node(level, low, high)
        return self._memo[key]

    def probability(self, root: int, chances: Sequence[float]) -> float:
        """Probability of the function if its variables are independent (Shannon expansion).

        Parameters
        ----------
        chances : sequence of float
            Probability of each variable, by level.
        """
        value = {0: 0.0, 1: 1.0}
        for node in self.below(root):
            p = chances[self.level[node]]
            value[node] = p * value[self.high[node]] + (1 - p) * value[self.low[node]]
        return value[root]


class Families(_Nodes):
    """Families of sets of literals, as zero-suppressed diagrams.

    Variable ``v`` has the literals ``2v`` (it is true) and ``2v + 1`` (it is false). Node 0 is
    the empty family, node 1 the family of the empty set alone.
    """

    def __init__(self, n_variables: int, max_nodes: int = MAX_NODES) -> None:
        super().__init__(2 * n_variables, max_nodes)
        self._minus: dict[tuple[int, int], int] = {}

    def _node(self, literal: int, low: int, high: int) -> int:
        return low if high == 0 else self._intern(literal, low, high)

    def primes(self, diagram: Diagram, root: int) -> int:
        """All prime implicants of a function: for one that is monotone, its minimal cut sets.

        Source
        ------
        Coudert and Madre, 'Implicit and incremental computation of primes and essential primes
        of Boolean functions', DAC 1992.
        """
        return _run(self._primes(diagram, root, {0: 0, 1: 1}))

    def _primes(self, diagram: Diagram, f: int, memo: dict[int, int]) -> _Call:
        if f not in memo:
            without, with_ = diagram.low[f], diagram.high[f]
            either = yield self._primes(diagram, diagram.and_(without, with_), memo)
            needs_true = yield self._primes(diagram, with_, memo)
            needs_false = yield self._primes(diagram, without, memo)
            literal = 2 * diagram.level[f]
            rest = self._node(literal + 1, either, self.minus(needs_false, either))
            memo[f] = self._node(literal, rest, self.minus(needs_true, either))
        return memo[f]

    def minus(self, f: int, g: int) -> int:
        """The sets of `f` that are not in `g`."""
        return _run(self._difference(f, g))

    def _difference(self, f: int, g: int) -> _Call:
        if f == 0 or f == g:
            return 0
        if g == 0:
            return f
        key = (f, g)
        if key not in self._minus:
            if self.level[f] < self.level[g]:
                low = yield self._difference(self.low[f], g)
                result = self._node(self.level[f], low, self.high[f])
            elif self.level[f] > self.level[g]:
                result = yield self._difference(f, self.low[g])
            else:
                low = yield self._difference(self.low[f], self.low[g])
                high = yield self._difference(self.high[f], self.high[g])
                result = self._node(self.level[f], low, high)
            self._minus[key] = result
        return self._minus[key]

    def containing(self, root: int, literal: int) -> int:
        """The sets of a family that have `literal`."""
        result = {0: 0, 1: 0}
        for node in self.below(root):
            if self.level[node] == literal:
                result[node] = self._node(literal, 0, self.high[node])
            elif self.level[node] > literal:
                result[node] = 0
            else:
                low, high = result[self.low[node]], result[self.high[node]]
                result[node] = self._node(self.level[node], low, high)
        return result[root]

    def literals(self, root: int) -> set[int]:
        """Every literal that occurs in a family."""
        return {self.level[node] for node in self.below(root)}

    def union(self, root: int, diagram: Diagram) -> int:
        """The function that is true where at least one set of the family occurs."""
        result = {0: 0, 1: 1}
        for node in self.below(root):
            variable, is_false = divmod(self.level[node], 2)
            occurs = diagram.variable(variable)
            literal = diagram.not_(occurs) if is_false else occurs
            with_ = diagram.and_(literal, result[self.high[node]])
            result[node] = diagram.or_(with_, result[self.low[node]])
        return result[root]

    def total(self, root: int, weight: Callable[[int], float]) -> float:
        """Sum over the sets of a family of the product of their literals' weights."""
        value = {0: 0.0, 1: 1.0}
        for node in self.below(root):
            with_ = weight(self.level[node]) * value[self.high[node]]
            value[node] = value[self.low[node]] + with_
        return value[root]

    def counts(self, root: int) -> list[int]:
        """How many sets of each size a family has, from size 0 on."""
        value: dict[int, list[int]] = {0: [], 1: [1]}
        for node in self.below(root):
            low, high = value[self.low[node]], [0, *value[self.high[node]]]
            size = max(len(low), len(high))
            padded = [row + [0] * (size - len(row)) for row in (low, high)]
            value[node] = [a + b for a, b in zip(*padded, strict=True)]
        return value[root]

    def sets(self, root: int, max_size: int) -> list[frozenset[int]]:
        """The sets of a family with at most `max_size` literals."""
        least = {0: self.n_levels + 1, 1: 0}
        for node in self.below(root):
            least[node] = min(least[self.low[node]], least[self.high[node]] + 1)
        found: list[frozenset[int]] = []
        todo: list[tuple[int, tuple[int, ...]]] = [(root, ())]
        while todo:
            node, chosen = todo.pop()
            if len(chosen) + least[node] > max_size or node == 0:
                continue
            if node == 1:
                found.append(frozenset(chosen))
            else:
                todo.append((self.low[node], chosen))
                todo.append((self.high[node], (*chosen, self.level[node])))
        return found
