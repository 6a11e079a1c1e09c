"""Syntax trees back to text, with as few parentheses as the precedence allows."""

from __future__ import annotations

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
}
_UNARY, _ATOM = 8, 9
_INDENT = "  "


def write_expression(expression: sx.Expression) -> str:
    """The text of `expression`; read again, it gives an equal tree."""
    return _write(expression)[0]


def _write(e: sx.Expression) -> tuple[str, int]:
    match e:
        case sx.Number():
            return (f"{e.prefix}#{e.value}" if e.prefix else str(e.value)), _ATOM
        case sx.Truth():
            return ("TRUE" if e.value else "FALSE"), _ATOM
        case sx.Duration():
            return _duration(e.ms), _ATOM
        case sx.Name():
            return e.text, _ATOM
        case sx.Qualified():
            return f"{e.type_name}#{e.label}", _ATOM
        case sx.Call():
            return f"{e.function}({', '.join(map(write_expression, e.arguments))})", _ATOM
        case sx.Unary():
            gap = " " if e.op == "NOT" else ""
            return e.op + gap + _within(e.operand, _UNARY), _UNARY
        case sx.Junction():
            level = _LEVELS[e.op]
            return f" {e.op} ".join(_within(o, level + 1) for o in e.operands), level
        case _:
            level = _LEVELS[e.op]
            return f"{_within(e.left, level)} {e.op} {_within(e.right, level + 1)}", level


def _within(e: sx.Expression, level: int) -> str:
    text, own = _write(e)
    return text if own >= level else f"({text})"


def _duration(ms: int) -> str:
    return f"T#{ms // 1000}s" if ms % 1000 == 0 else f"T#{ms}ms"


def write_program(program: sx.Program) -> str:
    """The text of `program`; read again, it gives an equal tree. Comments are lost."""
    lines = [line for type_def in program.types for line in _type_def(type_def)]
    lines.append(f"PROGRAM {program.name}")
    section = ""
    for declaration in program.declarations:
        head = declaration.kind + (" RETAIN" if declaration.retain else "")
        if head != section:
            lines += ["END_VAR"] * bool(section) + [head]
            section = head
        lines.append(_INDENT + _declaration(declaration))
    lines += ["END_VAR"] * bool(section)
    lines += _body(program.body, "")
    lines.append("END_PROGRAM")
    return "\n".join(lines) + "\n"


def _type_def(t: sx.TypeDef) -> list[str]:
    labels = ", ".join(label.name for label in t.type.labels)
    initial = f" := {write_expression(t.initial)}" if t.initial else ""
    return ["TYPE", f"{_INDENT}{t.name} : ({labels}){initial};", "END_TYPE"]


def _declaration(d: sx.Declaration) -> str:
    text = ", ".join(name.text for name in d.names) + f" : {d.type.name}"
    if d.type.lo is not None and d.type.hi is not None:
        text += f" ({write_expression(d.type.lo)}..{write_expression(d.type.hi)})"
    return text + (f" := {write_expression(d.initial)};" if d.initial else ";")


def _body(body: Iterable[sx.Statement], indent: str) -> list[str]:
    return [line for statement in body for line in _statement(statement, indent)]


def _statement(s: sx.Statement, indent: str) -> list[str]:
    inner = indent + _INDENT
    match s:
        case sx.Empty():
            return [indent + ";"]
        case sx.Assign():
            return [f"{indent}{s.target.text} := {write_expression(s.value)};"]
        case sx.Invoke():
            given = [f"{a.name} := {write_expression(a.value)}" for a in s.inputs]
            taken = [f"{a.name} => {a.target.text}" for a in s.outputs]
            return [f"{indent}{s.instance.text}({', '.join(given + taken)});"]
        case sx.If():
            lines = []
            for word, branch in zip(["IF"] + ["ELSIF"] * len(s.branches), s.branches, strict=False):
                lines.append(f"{indent}{word} {write_expression(branch.condition)} THEN")
                lines += _body(branch.body, inner)
            return lines + _else(s.otherwise, indent) + [f"{indent}END_IF;"]
        case _:
            lines = [f"{indent}CASE {write_expression(s.selector)} OF"]
            for case in s.branches:
                lines.append(f"{inner}{', '.join(map(_label, case.labels))}:")
                lines += _body(case.body, inner + _INDENT)
            return lines + _else(s.otherwise, indent) + [f"{indent}END_CASE;"]


def _else(body: tuple[sx.Statement, ...], indent: str) -> list[str]:
    return [f"{indent}ELSE", *_body(body, indent + _INDENT)] if body else []


def _label(label: sx.Label) -> str:
    first = write_expression(label.first)
    return first if label.last is None else f"{first}..{write_expression(label.last)}"
