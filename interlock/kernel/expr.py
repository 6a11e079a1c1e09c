"""Expressions: an immutable, hash-consed graph over small integers.

A truth value is the integer 0 or 1. Equal expressions are the same object, so identity is
equality and every pass over a graph visits a shared part once. Build expressions only with the
functions of this module: they fold constants and keep the graph small.

Division truncates towards zero, as in IEC 61131-3, and a remainder by zero is 0. Division by zero
gives 0 here; whoever builds a system must guard it (see ``interlock.st.lower``).
"""

from __future__ import annotations

import weakref
from collections.abc import Callable, Container, Iterable, Mapping, Sequence
from enum import Enum
from itertools import count


class Op(Enum):
    """What an expression does with its arguments."""

    CONST = "const"
    VAR = "var"
    NOT = "not"
    AND = "and"
    OR = "or"
    EQ = "="
    LT = "<"
    ITE = "if"
    ADD = "+"
    SUB = "-"
    MUL = "*"
    DIV = "/"
    MOD = "mod"
    MIN = "min"
    MAX = "max"

    # There is one of each, and every node is looked up by it: an enumeration hashes names.
    __hash__ = object.__hash__


class Expr:
    """One node of the graph. Compare with ``is``; never construct it directly."""

    __slots__ = ("__weakref__", "args", "name", "op", "serial", "value")

    op: Op
    args: tuple[Expr, ...]
    value: int
    name: str
    serial: int

    def __repr__(self) -> str:
        return show(self)

    def __bool__(self) -> bool:
        raise TypeError("an expression has no truth value by itself; compare with 'is'")


_Key = tuple[Op, tuple[int, ...], int, str]
_known: weakref.WeakValueDictionary[_Key, Expr] = weakref.WeakValueDictionary()
_serials = count()


def _make(op: Op, args: tuple[Expr, ...] = (), value: int = 0, name: str = "") -> Expr:
    # Arguments are alive while the node is, so their serials identify them.
    key = (op, tuple(a.serial for a in args), value, name)
    node = _known.get(key)
    if node is None:
        node = Expr()
        node.op, node.args, node.value, node.name = op, args, value, name
        node.serial = next(_serials)
        _known[key] = node
    return node


def const(value: int) -> Expr:
    """The constant `value`."""
    return _make(Op.CONST, value=int(value))


FALSE = const(0)
TRUE = const(1)


def truth(value: bool) -> Expr:
    """`TRUE` or `FALSE`."""
    return TRUE if value else FALSE


def var(name: str) -> Expr:
    """The variable called `name`."""
    return _make(Op.VAR, name=name)


def not_(a: Expr) -> Expr:
    """Negation of a truth value."""
    if a.op is Op.CONST:
        return FALSE if a.value else TRUE
    if a.op is Op.NOT:
        return a.args[0]
    return _make(Op.NOT, (a,))


def _junction(op: Op, items: Iterable[Expr], neutral: Expr, absorbing: Expr) -> Expr:
    kept: dict[Expr, None] = {}
    for item in items:
        for part in item.args if item.op is op else (item,):
            if part is absorbing or not_(part) in kept:
                return absorbing
            if part is not neutral:
                kept[part] = None
    if not kept:
        return neutral
    if len(kept) == 1:
        return next(iter(kept))
    return _make(op, tuple(kept))


def and_(*items: Expr) -> Expr:
    """Conjunction of any number of truth values."""
    return _junction(Op.AND, items, TRUE, FALSE)


def or_(*items: Expr) -> Expr:
    """Disjunction of any number of truth values."""
    return _junction(Op.OR, items, FALSE, TRUE)


def implies(a: Expr, b: Expr) -> Expr:
    """`b` holds wherever `a` does."""
    return or_(not_(a), b)


def xor(a: Expr, b: Expr) -> Expr:
    """Exactly one of two truth values holds."""
    return not_(eq(a, b))


def eq(a: Expr, b: Expr) -> Expr:
    """Both have the same value."""
    if a is b:
        return TRUE
    if a.op is Op.CONST and b.op is Op.CONST:
        return truth(a.value == b.value)
    if a.op is Op.CONST:
        a, b = b, a
    return _make(Op.EQ, (a, b))


def ne(a: Expr, b: Expr) -> Expr:
    """The values differ."""
    return not_(eq(a, b))


def lt(a: Expr, b: Expr) -> Expr:
    """`a` is less than `b`."""
    if a is b:
        return FALSE
    if a.op is Op.CONST and b.op is Op.CONST:
        return truth(a.value < b.value)
    return _make(Op.LT, (a, b))


def le(a: Expr, b: Expr) -> Expr:
    """`a` is at most `b`."""
    return not_(lt(b, a))


def ite(condition: Expr, then: Expr, otherwise: Expr) -> Expr:
    """`then` where `condition` holds, `otherwise` elsewhere."""
    if condition.op is Op.CONST:
        return then if condition.value else otherwise
    if then is otherwise:
        return then
    if condition.op is Op.NOT:
        return ite(condition.args[0], otherwise, then)
    if then is TRUE and otherwise is FALSE:
        return condition
    if then is FALSE and otherwise is TRUE:
        return not_(condition)
    return _make(Op.ITE, (condition, then, otherwise))


def quotient(a: int, b: int) -> int:
    """Integer quotient truncated towards zero; 0 where `b` is 0.

    >>> quotient(-7, 2), quotient(7, 0)
    (-3, 0)
    """
    if b == 0:
        return 0
    q = abs(a) // abs(b)
    return q if (a < 0) == (b < 0) else -q


def remainder(a: int, b: int) -> int:
    """Remainder with the sign of `a`; 0 where `b` is 0.

    >>> remainder(-7, 2)
    -1
    """
    return 0 if b == 0 else a - b * quotient(a, b)


ARITHMETIC: dict[Op, Callable[[int, int], int]] = {
    Op.ADD: lambda a, b: a + b,
    Op.SUB: lambda a, b: a - b,
    Op.MUL: lambda a, b: a * b,
    Op.DIV: quotient,
    Op.MOD: remainder,
    Op.MIN: min,
    Op.MAX: max,
}


def _arithmetic(op: Op, a: Expr, b: Expr) -> Expr:
    if a.op is Op.CONST and b.op is Op.CONST:
        return const(ARITHMETIC[op](a.value, b.value))
    return _make(op, (a, b))


def add(a: Expr, b: Expr) -> Expr:
    """Sum."""
    if a.op is Op.CONST and a.value == 0:
        return b
    if b.op is Op.CONST and b.value == 0:
        return a
    return _arithmetic(Op.ADD, a, b)


def sub(a: Expr, b: Expr) -> Expr:
    """Difference."""
    if b.op is Op.CONST and b.value == 0:
        return a
    return _arithmetic(Op.SUB, a, b)


def mul(a: Expr, b: Expr) -> Expr:
    """Product."""
    return _arithmetic(Op.MUL, a, b)


def div(a: Expr, b: Expr) -> Expr:
    """Quotient truncated towards zero."""
    return _arithmetic(Op.DIV, a, b)


def mod(a: Expr, b: Expr) -> Expr:
    """Remainder with the sign of the dividend."""
    return _arithmetic(Op.MOD, a, b)


def minimum(a: Expr, b: Expr) -> Expr:
    """The lesser value."""
    return a if a is b else _arithmetic(Op.MIN, a, b)


def maximum(a: Expr, b: Expr) -> Expr:
    """The greater value."""
    return a if a is b else _arithmetic(Op.MAX, a, b)


def clamp(a: Expr, lo: int, hi: int) -> Expr:
    """`a` limited to ``lo..hi``."""
    return maximum(const(lo), minimum(a, const(hi)))


def total(items: Iterable[Expr]) -> Expr:
    """Sum of any number of values; with truth values, how many hold."""
    result = const(0)
    for item in items:
        result = add(result, item)
    return result


def topological(roots: Iterable[Expr], known: Container[Expr] = ()) -> list[Expr]:
    """Every node below `roots` once, arguments before the nodes that use them.

    Without those that are `known` and what is only below them.
    """
    order: list[Expr] = []
    done: set[Expr] = set()
    # A node below a None has its arguments behind it when it is met again.
    stack: list[Expr | None] = [*list(roots)[::-1]]
    while stack:
        node = stack.pop()
        if node is None:
            node = stack.pop()
            assert node is not None
        elif node in done or node in known:
            continue
        elif node.args:
            stack += (node, None, *node.args[::-1])
            continue
        done.add(node)
        order.append(node)
    return order


def variables_of(roots: Iterable[Expr]) -> list[str]:
    """Names of the variables below `roots`, in order of first occurrence."""
    return [node.name for node in topological(roots) if node.op is Op.VAR]


_BUILD: dict[Op, Callable[..., Expr]] = {
    Op.NOT: not_,
    Op.AND: and_,
    Op.OR: or_,
    Op.EQ: eq,
    Op.LT: lt,
    Op.ITE: ite,
    Op.ADD: add,
    Op.SUB: sub,
    Op.MUL: mul,
    Op.DIV: div,
    Op.MOD: mod,
    Op.MIN: minimum,
    Op.MAX: maximum,
}


def rebuild(op: Op, args: Sequence[Expr]) -> Expr:
    """The node `op` over `args`, simplified like any other."""
    return _BUILD[op](*args)


def substitute(roots: Sequence[Expr], replacements: Mapping[str, Expr]) -> list[Expr]:
    """Replace variables by expressions, all at once, in each of `roots`.

    >>> substitute([and_(var("a"), var("b"))], {"a": var("b"), "b": TRUE})
    [b]
    """
    new: dict[Expr, Expr] = {}
    for node in topological(roots):
        if node.op is Op.VAR:
            new[node] = replacements.get(node.name, node)
        elif not node.args:
            new[node] = node
        else:
            args = [new[arg] for arg in node.args]
            same = all(a is b for a, b in zip(args, node.args, strict=True))
            new[node] = node if same else rebuild(node.op, args)
    return [new[root] for root in roots]


def show(expr: Expr) -> str:
    """A compact text of the expression, for messages and debugging."""
    texts: dict[Expr, str] = {}
    for node in topological([expr]):
        args = [texts[arg] for arg in node.args]
        match node.op:
            case Op.CONST:
                texts[node] = str(node.value)
            case Op.VAR:
                texts[node] = node.name
            case Op.NOT:
                texts[node] = f"NOT {args[0]}"
            case Op.ITE | Op.MIN | Op.MAX:
                texts[node] = f"{node.op.value}({', '.join(args)})"
            case _:
                texts[node] = "(" + f" {node.op.value.upper()} ".join(args) + ")"
        if len(texts[node]) > 4000:
            texts[node] = texts[node][:4000] + "…"
    return texts[expr]
