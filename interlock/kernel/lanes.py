"""The meaning of expressions in many states at once: a lane, one bit of a whole number, for each.

Where a state has a truth value, many states have one whole number, with a bit for each that is
true there. Anything else is a mapping from each value that occurs to the lanes that have it. So
one pass over an expression serves all lanes. `interlock.kernel.evaluate` says the same for a
single state.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence

from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr, Op

Truths = int
"""The lanes in which something is true."""

Numbers = Mapping[int, int]
"""The lanes that have each value."""

Lanes = Truths | Numbers


def lanes_function(
    roots: Sequence[tuple[Expr, bool]], index: Mapping[str, int], truths: Collection[str]
) -> Callable[[Sequence[Lanes], int], tuple[Lanes, ...]]:
    """Compile expressions to one Python function of many states.

    Parameters
    ----------
    roots : sequence of (Expr, bool)
        Each with whether it is wanted as `Truths`, which is for what is 0 or 1.
    index : mapping of str to int
        Position of each variable in what the function takes.
    truths : collection of str
        The variables that are given as `Truths`; all others are `Numbers`.

    Returns
    -------
    callable
        Takes the variables, and a number with the bits of all lanes; gives the roots in order.
    """
    writer = _Writer(index, truths)
    for node in ex.topological([root for root, _ in roots]):
        writer.add(node)
    values = "".join(writer.result(root, is_truth) + ", " for root, is_truth in roots)
    source = "\n".join(["def f(s, every):", *writer.lines, f"    return ({values})"])
    scope: dict[str, object] = {
        "numbers": _as_numbers,
        "equal": _equal,
        "less": _less,
        "chosen": _chosen,
        "combined": _combined,
        **{op.name: function for op, function in ex.ARITHMETIC.items()},
    }
    # Only names and integers made above reach the source; no text of a user does.
    exec(compile(source, "<expressions>", "exec"), scope)
    return scope["f"]  # type: ignore[return-value]


class _Writer:
    """Writes one line for each node."""

    def __init__(self, index: Mapping[str, int], truths: Collection[str]) -> None:
        self._index, self._truths = index, truths
        self._names: dict[Expr, str] = {}
        self._is_truth: dict[Expr, bool] = {}
        self.lines: list[str] = []

    def add(self, node: Expr) -> None:
        """Write what `node` is; its arguments were written before."""
        self._is_truth[node] = self._has_truth(node)
        if node.op is Op.CONST:
            return
        name = f"t{len(self._names)}"
        self.lines.append(f"    {name} = {self._text(node)}")
        self._names[node] = name

    def result(self, node: Expr, is_truth: bool) -> str:
        """How the function's result says `node`."""
        return self._truth(node) if is_truth else self._number(node)

    def _has_truth(self, node: Expr) -> bool:
        match node.op:
            case Op.CONST:
                return node.value in (0, 1)
            case Op.VAR:
                return node.name in self._truths
            case Op.ITE:
                return all(self._is_truth[arg] for arg in node.args[1:])
            case _:
                return node.op not in ex.ARITHMETIC

    def _truth(self, node: Expr) -> str:
        if node.op is Op.CONST:
            return "every" if node.value else "0"
        name = self._names[node]
        return name if self._is_truth[node] else f"{name}.get(1, 0)"

    def _number(self, node: Expr) -> str:
        if node.op is Op.CONST:
            return f"{{{node.value}: every}}"
        name = self._names[node]
        return f"numbers({name}, every)" if self._is_truth[node] else name

    def _text(self, node: Expr) -> str:
        args = node.args
        match node.op:
            case Op.VAR:
                return f"s[{self._index[node.name]}]"
            case Op.NOT:
                return f"every ^ {self._truth(args[0])}"
            case Op.AND | Op.OR:
                sign = " & " if node.op is Op.AND else " | "
                return sign.join(map(self._truth, args))
            case Op.EQ:
                return self._equal(*args)
            case Op.LT:
                return f"less({self._number(args[0])}, {self._number(args[1])})"
            case Op.ITE if self._is_truth[node]:
                then, otherwise = map(self._truth, args[1:])
                return f"{otherwise} ^ ({self._truth(args[0])} & ({then} ^ {otherwise}))"
            case Op.ITE:
                then, otherwise = map(self._number, args[1:])
                return f"chosen({self._truth(args[0])}, {then}, {otherwise})"
            case _:
                return f"combined({node.op.name}, {self._number(args[0])}, {self._number(args[1])})"

    def _equal(self, a: Expr, b: Expr) -> str:
        if self._is_truth[a] and self._is_truth[b]:
            return f"every ^ {self._truth(a)} ^ {self._truth(b)}"
        if b.op is Op.CONST:
            return f"{self._number(a)}.get({b.value}, 0)"
        return f"equal({self._number(a)}, {self._number(b)})"


def _as_numbers(truths: Truths, every: int) -> Numbers:
    """A truth value as the numbers 0 and 1."""
    return {0: every & ~truths, 1: truths}


def in_all(value: int, is_truth: bool, every: int) -> Lanes:
    """The same value in each of the lanes `every`."""
    if is_truth:
        return every if value else 0
    return {value: every}


def merged(lanes: int, inside: Lanes, outside: Lanes) -> Lanes:
    """What is `inside` in `lanes`, and what is `outside` elsewhere; both of one sort."""
    if isinstance(inside, int):
        assert isinstance(outside, int)
        return outside ^ (lanes & (inside ^ outside))
    assert not isinstance(outside, int)
    return _chosen(lanes, inside, outside)


def differing(one: Lanes, other: Lanes) -> int:
    """The lanes in which two values differ; both of one sort."""
    if isinstance(one, int):
        assert isinstance(other, int)
        return one ^ other
    assert not isinstance(other, int)
    found = 0
    for value, lanes in one.items():
        found |= lanes & ~other.get(value, 0)
    return found


def bits(lanes: int) -> Iterator[int]:
    """The numbers of the lanes, rising.

    >>> list(bits(0b1010))
    [1, 3]
    """
    while lanes:
        lowest = lanes & -lanes
        yield lowest.bit_length() - 1
        lanes ^= lowest


def _chosen(lanes: int, inside: Numbers, outside: Numbers) -> Numbers:
    found = {value: found for value, there in inside.items() if (found := there & lanes)}
    for value, there in outside.items():
        if left := there & ~lanes:
            found[value] = found.get(value, 0) | left
    return found


def _equal(a: Numbers, b: Numbers) -> Truths:
    found = 0
    for value, lanes in a.items():
        found |= lanes & b.get(value, 0)
    return found


def _less(a: Numbers, b: Numbers) -> Truths:
    found = 0
    for value, lanes in a.items():
        for other, there in b.items():
            if value < other:
                found |= lanes & there
    return found


def _combined(operation: Callable[[int, int], int], a: Numbers, b: Numbers) -> Numbers:
    found: dict[int, int] = {}
    for value, lanes in a.items():
        for other, there in b.items():
            if both := lanes & there:
                result = operation(value, other)
                found[result] = found.get(result, 0) | both
    return found
