"""From typed trees to the kernel's expressions."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr
from interlock.st import typed as ty
from interlock.st.types import IntType

_BINARY: dict[str, Callable[[Expr, Expr], Expr]] = {
    "XOR": ex.xor,
    "=": ex.eq,
    "<>": ex.ne,
    "<": ex.lt,
    ">": lambda a, b: ex.lt(b, a),
    "<=": ex.le,
    ">=": lambda a, b: ex.le(b, a),
    "+": ex.add,
    "-": ex.sub,
    "*": ex.mul,
    "/": ex.div,
    "MOD": ex.mod,
}


def lower_expression(
    expression: ty.Expression,
    env: Mapping[str, Expr],
    zero_divisors: list[tuple[ty.Expression, Expr]] | None = None,
) -> Expr:
    """The kernel's expression for `expression`.

    Parameters
    ----------
    expression : typed.Expression
    env : mapping of str to Expr
        What each name stands for; keys are casefolded.
    zero_divisors : list, optional
        Receives, for each division whose divisor may be zero, the divisor and the condition that
        it is zero; m MOD 0 is 0 and no error (IEC 61131-3). No operator is skipped at run time:
        AND and OR evaluate both sides.
    """

    def lower(e: ty.Expression) -> Expr:
        match e:
            case ty.Constant():
                return ex.const(e.value)
            case ty.Read():
                return env[e.name.casefold()]
            case ty.Unary():
                operand = lower(e.operand)
                return ex.not_(operand) if e.op == "NOT" else ex.sub(ex.const(0), operand)
            case ty.Junction():
                parts = [lower(operand) for operand in e.operands]
                return ex.and_(*parts) if e.op == "AND" else ex.or_(*parts)
            case ty.Binary():
                left, right = lower(e.left), lower(e.right)
                if e.op == "/" and zero_divisors is not None:
                    divisor = e.right.type
                    if isinstance(divisor, IntType) and divisor.lo <= 0 <= divisor.hi:
                        zero_divisors.append((e.right, ex.eq(right, ex.const(0))))
                return _BINARY[e.op](left, right)
            case _:
                return _lower_call(e.function, [lower(argument) for argument in e.arguments])

    return lower(expression)


def _lower_call(function: str, arguments: list[Expr]) -> Expr:
    match function:
        case "SEL":  # SEL(G, IN0, IN1): IN1 where G holds
            return ex.ite(arguments[0], arguments[2], arguments[1])
        case "LIMIT":  # LIMIT(MN, IN, MX)
            return ex.maximum(arguments[0], ex.minimum(arguments[1], arguments[2]))
        case "ABS":
            size = ex.maximum(arguments[0], ex.sub(ex.const(0), arguments[0]))
            return ex.maximum(ex.const(0), size)
        case _:
            fold = ex.minimum if function == "MIN" else ex.maximum
            result = arguments[0]
            for argument in arguments[1:]:
                result = fold(result, argument)
            return result
