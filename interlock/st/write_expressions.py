"""Expressions back to text, with as few parentheses as the precedence allows."""

from __future__ import annotations

import re
from collections.abc import Iterable

from interlock.st import syntax as sx

# IEC 61131-3 precedence, higher binds tighter.
_LEVELS = {
    "OR": 1,
    "XOR": 2,
    "AND": 3,
    **dict.fromkeys(("=", "<>"), 4),
    **dict.fromkeys(("<", ">", "<=", ">="), 5),
    **dict.fromkeys(("+", "-"), 6),
    **dict.fromkeys(("*", "/", "MOD"), 7),
    "**": 8,
}
_UNARY, _ATOM = 9, 10

_NUMBERED = re.compile(r"@\d+")


def write_expression(expression: sx.Expression) -> str:
    """The text of `expression`; read again, it gives an equal tree."""
    return _write(expression)[0]


def _write(e: sx.Expression) -> tuple[str, int]:
    match e:
        case sx.Unary():
            gap = " " if e.op == "NOT" else ""
            return e.op + gap + _within(e.operand, _UNARY), _UNARY
        case sx.Junction():
            level = _LEVELS[e.op]
            return f" {e.op} ".join(_within(o, level + 1) for o in e.operands), level
        case sx.Binary():
            level = _LEVELS[e.op]
            return f"{_within(e.left, level)} {e.op} {_within(e.right, level + 1)}", level
        case sx.Call():
            name = written_call(e.on, e.function)
            positional = [sx.InputArgument("", value, e.place) for value in e.arguments]
            return name + written_arguments([*positional, *e.named], e.outputs), _ATOM
        case sx.Name() | sx.Element() | sx.Member() | sx.Direct() | sx.Pointed():
            return written_target(e), _ATOM
        case sx.ArrayValue():
            return f"[{', '.join(_counted(*item) for item in e.items)}]", _ATOM
        case sx.StructValue():
            return written_arguments(e.fields, ()), _ATOM
        case sx.Choice():
            index, values = write_expression(e.index), map(write_expression, e.values)
            return f"[{', '.join(values)}][{index} - {e.first}]", _ATOM
        case _:
            return _literal(e), _ATOM


def _literal(e: sx.Number | sx.Real | sx.Truth | sx.Duration | sx.Opaque | sx.Qualified) -> str:
    match e:
        case sx.Number():
            return f"{e.prefix}#{e.value}" if e.prefix else str(e.value)
        case sx.Real():
            return f"{e.prefix}#{e.text}" if e.prefix else e.text
        case sx.Truth():
            return "TRUE" if e.value else "FALSE"
        case sx.Duration():
            prefix = e.prefix or "T"
            return f"{prefix}#{e.ms // 1000}s" if e.ms % 1000 == 0 else f"{prefix}#{e.ms}ms"
        case sx.Opaque():
            return e.text
        case _:
            return f"{e.type_name}#{e.label}"


def written_target(e: sx.Expression) -> str:
    """The text of a variable or a part of one."""
    match e:
        case sx.Element():
            return f"{written_target(e.base)}[{', '.join(map(write_expression, e.indexes))}]"
        case sx.Member():
            return f"{written_target(e.base)}.{e.name}"
        case sx.Pointed():
            return f"{written_target(e.base)}^"
        case sx.Name():
            # Elaboration numbers its temporaries; a reader knows the function's own names.
            return _NUMBERED.sub("", e.text)
        case sx.Direct():
            return e.address
        case _:
            return f"({write_expression(e)})"


def written_call(on: sx.Expression | None, name: str) -> str:
    """What is called, without its arguments."""
    return ".".join(filter(None, (written_target(on) if on is not None else "", name)))


def written_arguments(
    inputs: Iterable[sx.InputArgument], outputs: Iterable[sx.OutputArgument]
) -> str:
    """Arguments with their brackets."""
    given = [(f"{a.name} := " if a.name else "") + write_expression(a.value) for a in inputs]
    taken = [
        f"{'NOT ' if a.negated else ''}{a.name} => {written_target(a.target)}" for a in outputs
    ]
    return f"({', '.join(given + taken)})"


def _counted(times: int, value: sx.Expression | None) -> str:
    if value is None:
        return f"{times}()"
    text = write_expression(value)
    return text if times == 1 else f"{times}({text})"


def _within(e: sx.Expression, level: int) -> str:
    text, own = _write(e)
    return text if own >= level else f"({text})"
