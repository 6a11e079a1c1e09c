"""Variables as bits, expressions as diagrams.

A variable with n values takes the bits of ``value - lo``, most significant first. Codes without
a value never occur: every set starts from the initial state and grows by updates, which stay in
their domains, and complements are only taken inside such sets.

A truth value becomes one diagram, any other expression a partition: for each value it may have,
the diagram of the states in which it has it. Domains of interlocks are small, and a partition
keeps sums of flags (budgets of faults) linear in their number.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from copy import copy
from functools import cached_property
from typing import TYPE_CHECKING

from interlock.engines.symbolic.diagrams import Diagrams
from interlock.engines.symbolic.order import variable_order
from interlock.kernel import expr as ex
from interlock.kernel.evaluate import State
from interlock.kernel.expr import Expr, Op
from interlock.kernel.query import DeclinedError
from interlock.kernel.system import System

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node

Partition = dict[int, "Node"]
"""For each value, where an expression has it; the parts are disjoint and cover every state."""

MOST_PAIRS = 1 << 18


class Encoding:
    """The bits of a system's variables and the diagrams of expressions over them.

    Parameters
    ----------
    system : System
    copied : iterable of int
        Positions of the variables that need a second set of bits, beside the first.
    max_bytes : int or None
        Memory for the diagrams.
    order : sequence of int or None
        Positions of all variables, the first decided at the front; None chooses.
    """

    def __init__(
        self,
        system: System,
        copied: Iterable[int] = (),
        max_bytes: int | None = None,
        order: Sequence[int] | None = None,
    ) -> None:
        self.system = system
        self.order = list(variable_order(system) if order is None else order)
        self.bits: list[tuple[int, ...]] = [()] * len(system.variables)
        self.copies: dict[int, tuple[int, ...]] = {}
        wanted = set(copied)
        n_bits = 0
        for v in self.order:
            width = (system.variables[v].domain.size - 1).bit_length()
            step = 2 if v in wanted else 1
            self.bits[v] = tuple(range(n_bits, n_bits + step * width, step))
            if v in wanted:
                self.copies[v] = tuple(bit + 1 for bit in self.bits[v])
            n_bits += step * width
        self.n_copied = sum(len(bits) for bits in self.copies.values())
        self.diagrams = Diagrams(n_bits, max_bytes)
        self._known: dict[Expr, Node | Partition] = {}
        self._cubes: dict[tuple[int, int], Node] = {}
        self._read: dict[tuple[Node, ...], frozenset[int]] = {}

    def of(self, system: System) -> Encoding:
        """The same bits and diagrams for another system with the same variables."""
        new = copy(self)
        new.system = system
        return new

    def name(self, v: int) -> str:
        """The name of the variable at position `v`."""
        return self.system.variables[v].name

    @cached_property
    def valid(self) -> Node:
        """Where every variable's code has a value."""
        return self.diagrams.conjunction(self.is_valid(v) for v in reversed(self.order))

    def is_valid(self, v: int) -> Node:
        """Where the code of the variable at position `v` has a value."""
        domain = self.system.variables[v].domain
        if domain.size == 1 << len(self.bits[v]):
            return self.diagrams.true
        return self.diagrams.disjunction(
            self.is_value(v, value) for value in range(domain.lo, domain.hi + 1)
        )

    def bit_functions(self, values: Mapping[int, Partition]) -> list[tuple[int, Node]]:
        """For each bit of the variables in `values`, where it becomes 1."""
        pairs = []
        for v, partition in values.items():
            lo = self.system.variables[v].domain.lo
            for i, bit in enumerate(reversed(self.bits[v])):
                ones = [where for value, where in partition.items() if (value - lo) >> i & 1]
                pairs.append((bit, self.diagrams.disjunction(ones)))
        return pairs

    def variables_in(self, nodes: Iterable[Node]) -> frozenset[int]:
        """Positions of the variables that `nodes` depend on."""
        asked = tuple(nodes)
        # The steps of most moves write what the scan writes, and ask the same of it.
        if asked not in self._read:
            bits = self.diagrams.support(asked)
            own = enumerate(self.bits)
            self._read[asked] = frozenset(v for v, bit in own if not bits.isdisjoint(bit))
        return self._read[asked]

    def split(
        self, states: Node, variables: Sequence[int]
    ) -> Iterator[tuple[tuple[int, ...], Node]]:
        """For each combination of values of `variables` in `states`: the others' values there."""
        # Decided in the order of the diagrams, so that each step only follows its edges.
        order = sorted(range(len(variables)), key=lambda n: self.bits[variables[n]])
        values = [0] * len(variables)

        def walk(depth: int, here: Node) -> Iterator[tuple[tuple[int, ...], Node]]:
            if not here.satisfiable():
                return
            if depth == len(order):
                yield tuple(values), here
                return
            v = variables[order[depth]]
            domain = self.system.variables[v].domain
            bits = self.diagrams.positive(self.bits[v])
            for value in range(domain.lo, domain.hi + 1):
                values[order[depth]] = value
                there = self.diagrams.and_exists(here, self.is_value(v, value), bits)
                yield from walk(depth + 1, there)

        return walk(0, states)

    def is_value(self, v: int, value: int) -> Node:
        """Where the variable at position `v` has `value`."""
        key = (v, value)
        if key not in self._cubes:
            self._cubes[key] = self.diagrams.cube(self._code(v, value))
        return self._cubes[key]

    def _code(self, v: int, value: int) -> dict[int, int]:
        bits = self.bits[v]
        code = value - self.system.variables[v].domain.lo
        return {bit: code >> (len(bits) - 1 - i) & 1 for i, bit in enumerate(bits)}

    def codes(self, state: State) -> dict[int, int]:
        """The bits of `state`."""
        return {b: x for v, value in enumerate(state) for b, x in self._code(v, value).items()}

    def is_state(self, state: State) -> Node:
        """The set with `state` alone."""
        return self.diagrams.cube(self.codes(state))

    def holds(self, node: Node, state: State) -> bool:
        """Whether `state` is in the set `node`."""
        return node.eval([(bit, bool(value)) for bit, value in self.codes(state).items()])

    def pick(self, node: Node) -> State:
        """A state of the set `node`, which must not be empty; the same one every time."""
        cube = self.diagrams.pick(node)
        return tuple(
            variable.domain.lo + sum(1 << i for i, bit in enumerate(reversed(bits)) if cube[bit])
            for variable, bits in zip(self.system.variables, self.bits, strict=True)
        )

    def count(self, node: Node) -> int:
        """How many states are in the set `node`."""
        return self.diagrams.count(node, self.n_copied)

    def truth(self, expr: Expr) -> Node:
        """The states in which the truth value `expr` is 1."""
        self._build([expr])
        return self._as_truth(self._known[expr])

    def partition(self, expr: Expr) -> Partition:
        """For each value of `expr`, the states in which it has it; empty parts left out.

        Raises
        ------
        DeclinedError
            If `expr` may have more values than are sensible to tell apart.
        """
        self._build([expr])
        return self._as_partition(self._known[expr])

    def _build(self, roots: Sequence[Expr]) -> None:
        for node in ex.topological(roots):
            if node not in self._known:
                self._known[node] = self._node(node, [self._known[arg] for arg in node.args])

    def _as_truth(self, known: Node | Partition) -> Node:
        return known.get(1, self.diagrams.false) if isinstance(known, dict) else known

    def _as_partition(self, known: Node | Partition) -> Partition:
        if isinstance(known, dict):
            return known
        return {v: part for v, part in ((0, ~known), (1, known)) if part.satisfiable()}

    def _node(self, node: Expr, args: list[Node | Partition]) -> Node | Partition:
        match node.op:
            case Op.CONST:
                return {node.value: self.diagrams.true}
            case Op.VAR:
                return self._variable(node.name)
            case Op.NOT:
                return ~self._as_truth(args[0])
            case Op.AND:
                return self.diagrams.conjunction(self._as_truth(arg) for arg in args)
            case Op.OR:
                return self.diagrams.disjunction(self._as_truth(arg) for arg in args)
            case Op.ITE:
                return self._choice(*args)
            case Op.EQ | Op.LT:
                return self._comparison(node.op, args[0], args[1])
            case _:
                operate = ex.ARITHMETIC[node.op]
                return self._pairs(operate, *map(self._as_partition, args))

    def _variable(self, name: str) -> Node | Partition:
        v = self.system.index[name]
        domain = self.system.variables[v].domain
        if (domain.lo, domain.hi) == (0, 1):
            return self.diagrams.bits[self.bits[v][0]]
        self._bound(domain.size, 1)
        return {value: self.is_value(v, value) for value in range(domain.lo, domain.hi + 1)}

    def _choice(
        self, condition: Node | Partition, then: Node | Partition, otherwise: Node | Partition
    ) -> Node | Partition:
        where = self._as_truth(condition)
        if not isinstance(then, dict) and not isinstance(otherwise, dict):
            return where.ite(then, otherwise)
        a, b, nowhere = self._as_partition(then), self._as_partition(otherwise), self.diagrams.false
        merged = {v: where.ite(a.get(v, nowhere), b.get(v, nowhere)) for v in sorted({*a, *b})}
        return {v: part for v, part in merged.items() if part.satisfiable()}

    def _comparison(self, op: Op, a: Node | Partition, b: Node | Partition) -> Node:
        if op is Op.EQ and not isinstance(a, dict) and not isinstance(b, dict):
            return a.equiv(b)
        left, right = self._as_partition(a), self._as_partition(b)
        self._bound(len(left), len(right))
        holds: Callable[[int, int], bool] = int.__eq__ if op is Op.EQ else int.__lt__
        return self.diagrams.disjunction(
            part & self.diagrams.disjunction(right[y] for y in sorted(right) if holds(x, y))
            for x, part in sorted(left.items())
        )

    def _pairs(self, operate: Callable[[int, int], int], a: Partition, b: Partition) -> Partition:
        self._bound(len(a), len(b))
        parts: dict[int, list[Node]] = {}
        for x, where_x in sorted(a.items()):
            for y, where_y in sorted(b.items()):
                both = where_x & where_y
                if both.satisfiable():
                    parts.setdefault(operate(x, y), []).append(both)
        return {value: self.diagrams.disjunction(found) for value, found in parts.items()}

    def _bound(self, n_left: int, n_right: int) -> None:
        if n_left * n_right > MOST_PAIRS:
            raise DeclinedError(
                f"the symbolic engine tells values apart one by one; "
                f"an expression combines {n_left:,} by {n_right:,} values"
            )
