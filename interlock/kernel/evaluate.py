"""The meaning of expressions in plain Python, and the intervals that their values stay in."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr, Op

State = tuple[int, ...]
Interval = tuple[int, int]

_NONE_KNOWN: Mapping[Expr, Interval] = {}


def evaluate(expr: Expr, values: Mapping[str, int]) -> int:
    """The value of `expr` where each variable has the value in `values`.

    >>> evaluate(ex.add(ex.var("n"), ex.const(1)), {"n": 2})
    3
    """
    results: dict[Expr, int] = {}
    for node in ex.topological([expr]):
        results[node] = _apply(node, [results[arg] for arg in node.args], values)
    return results[expr]


def _apply(node: Expr, args: list[int], values: Mapping[str, int]) -> int:
    match node.op:
        case Op.CONST:
            return node.value
        case Op.VAR:
            return values[node.name]
        case Op.NOT:
            return 1 - args[0]
        case Op.AND:
            return int(all(args))
        case Op.OR:
            return int(any(args))
        case Op.EQ:
            return int(args[0] == args[1])
        case Op.LT:
            return int(args[0] < args[1])
        case Op.ITE:
            return args[1] if args[0] else args[2]
        case _:
            return ex.ARITHMETIC[node.op](args[0], args[1])


_PYTHON = {
    Op.NOT: "1 - {0}",
    Op.EQ: "1 if {0} == {1} else 0",
    Op.LT: "1 if {0} < {1} else 0",
    Op.ITE: "{1} if {0} else {2}",
    Op.ADD: "{0} + {1}",
    Op.SUB: "{0} - {1}",
    Op.MUL: "{0} * {1}",
    Op.DIV: "quotient({0}, {1})",
    Op.MOD: "remainder({0}, {1})",
    Op.MIN: "min({0}, {1})",
    Op.MAX: "max({0}, {1})",
}


def python_function(
    roots: Sequence[Expr], index: Mapping[str, int]
) -> Callable[[State], tuple[int, ...]]:
    """Compile `roots` to one Python function of a state.

    Parameters
    ----------
    roots : sequence of Expr
    index : mapping of str to int
        Position of each variable in the state tuple.

    Returns
    -------
    callable
        Takes a state, returns the values of `roots` in order.
    """
    lines: list[str] = []
    names: dict[Expr, str] = {}
    for number, node in enumerate(ex.topological(roots)):
        args = [names[arg] for arg in node.args]
        if node.op is Op.CONST:
            names[node] = repr(node.value)
            continue
        if node.op is Op.VAR:
            text = f"s[{index[node.name]}]"
        elif node.op is Op.AND:
            text = " & ".join(args)
        elif node.op is Op.OR:
            text = " | ".join(args)
        else:
            text = _PYTHON[node.op].format(*args)
        names[node] = f"t{number}"
        lines.append(f"    t{number} = {text}")
    values = "".join(names[root] + ", " for root in roots)
    source = "\n".join(["def f(s):", *lines, f"    return ({values})"])
    scope: dict[str, object] = {"quotient": ex.quotient, "remainder": ex.remainder}
    # Only names and integers made above reach the source; no text of a user does.
    exec(compile(source, "<expressions>", "exec"), scope)
    return scope["f"]  # type: ignore[return-value]


def bounds(
    roots: Sequence[Expr],
    domains: Mapping[str, Interval],
    known: Mapping[Expr, Interval] = _NONE_KNOWN,
) -> dict[Expr, Interval]:
    """An interval for every node below `roots` that surely contains its value.

    Parameters
    ----------
    roots : sequence of Expr
    domains : mapping of str to (int, int)
        Least and greatest value of each variable.
    known : mapping of Expr to (int, int)
        Intervals found before; those nodes are left out of the result.
    """
    found: dict[Expr, Interval] = {}
    for node in ex.topological(roots, known):
        args = [found[arg] if arg in found else known[arg] for arg in node.args]
        found[node] = _interval(node, args, domains)
    return found


def _interval(node: Expr, args: list[Interval], domains: Mapping[str, Interval]) -> Interval:
    match node.op:
        case Op.CONST:
            return (node.value, node.value)
        case Op.VAR:
            return domains[node.name]
        case Op.NOT | Op.AND | Op.OR | Op.EQ | Op.LT:
            return _truth_interval(node.op, args)
        case Op.ITE:
            if args[0][0] == args[0][1]:
                return args[1] if args[0][0] else args[2]
            return (min(args[1][0], args[2][0]), max(args[1][1], args[2][1]))
        case Op.ADD:
            return (args[0][0] + args[1][0], args[0][1] + args[1][1])
        case Op.SUB:
            return (args[0][0] - args[1][1], args[0][1] - args[1][0])
        case Op.MUL:
            products = [x * y for x in args[0] for y in args[1]]
            return (min(products), max(products))
        case Op.MIN:
            return (min(args[0][0], args[1][0]), min(args[0][1], args[1][1]))
        case Op.MAX:
            return (max(args[0][0], args[1][0]), max(args[0][1], args[1][1]))
        case Op.DIV:
            return quotients(*args)
        case _:
            return remainders(*args)


def _truth_interval(op: Op, args: list[Interval]) -> Interval:
    """The truth values that a comparison or a junction can have."""
    match op:
        case Op.NOT:
            return (1 - args[0][1], 1 - args[0][0])
        case Op.AND:
            return (min(lo for lo, _ in args), min(hi for _, hi in args))
        case Op.OR:
            return (max(lo for lo, _ in args), max(hi for _, hi in args))
        case _:
            (a, b), (c, d) = args
            if op is Op.LT:
                return (int(b < c), int(a < d))
            return (int(a == b == c == d), int(a <= d and c <= b))


def quotients(dividend: Interval, divisor: Interval) -> Interval:
    """The least interval around every quotient, truncated towards zero; a quotient by 0 is 0.

    >>> quotients((-3, 5), (-4, -2)), quotients((6, 9), (0, 3))
    ((-2, 1), (0, 9))
    """
    low, high = divisor
    # With a divisor of one sign a quotient only grows or only falls with either operand.
    negative = (low, min(high, -1)) if low < 0 else ()
    positive = (max(low, 1), high) if high > 0 else ()
    found = [ex.quotient(a, b) for a in dividend for b in (*negative, *positive)]
    if low <= 0 <= high:
        found.append(0)
    return min(found), max(found)


def remainders(dividend: Interval, divisor: Interval) -> Interval:
    """An interval around every remainder, which has the dividend's sign; one by 0 is 0.

    It is no greater than the dividend and smaller than the divisor.
    """
    low, high = dividend
    size = max(abs(divisor[0]), abs(divisor[1]), 1) - 1
    return (max(low, -size) if low < 0 else 0, min(high, size) if high > 0 else 0)
