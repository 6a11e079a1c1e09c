"""What of the language is left to the checker: the rest is refused by name, with its place."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from typing import Any

from interlock.base.errors import InputError, Mistake, Place
from interlock.st import syntax as sx
from interlock.st.words import TYPES

_STATEMENTS = "supported statements: assignment, IF, CASE, function block call"
_SECTIONS = "supported declarations: VAR_INPUT, VAR_OUTPUT, VAR, each but VAR_INPUT also RETAIN"


def refuse_beyond_core(tree: sx.Program | sx.Expression) -> None:
    """Refuse what the checker does not take.

    Raises
    ------
    InputError
        With each construct that it does not take.
    """
    mistakes = [Mistake(place, says) for place, says in _beyond(tree)]
    if mistakes:
        raise InputError(mistakes)


def _beyond(tree: object) -> Iterator[tuple[Place, str]]:
    stack: list[Any] = [tree]
    while stack:
        node = stack.pop()
        if isinstance(node, tuple):
            stack.extend(node)
        elif is_dataclass(node) and not isinstance(node, Place | type):
            says = _why_refused(node)
            if says:
                yield getattr(node, "place"), says  # noqa: B009
            else:
                stack.extend(getattr(node, f.name) for f in fields(node))


def _why_refused(node: Any) -> str:
    match node:
        case sx.TypeRef():
            return _type(node)
        case sx.TypeDef() if not (node.type.labels or _type(node.type)) or node.extends:
            return f"this type is not supported here yet; {TYPES}"
        case sx.EnumLabel() if node.value is not None:
            return "numbers of an enumeration's values are not supported here yet"
        case sx.Declaration():
            return _declaration(node)
        case sx.Call() | sx.Invoke():
            return _call(node)
        case sx.InputArgument() if not node.name:
            return "name the input, as in t1(IN := x, PT := T#5s)"
        case sx.OutputArgument() if node.negated:
            return "NOT before an output is not supported here yet"
        case sx.Refused():
            return node.says
        case sx.For() | sx.While() | sx.Repeat():
            return f"{type(node).__name__.upper()} is not supported; {_STATEMENTS}"
        case sx.Leave():
            return f"{node.word} is not supported; {_STATEMENTS}"
        case _:
            return _expression(node)


def _expression(node: Any) -> str:
    match node:
        case sx.Real():
            return "REAL numbers are not supported; supported numbers: integers"
        case sx.Opaque():
            what = "strings" if "STRING" in node.kind else "dates and times of day"
            return f"{what} are not supported; {TYPES}"
        case sx.Number() if node.prefix not in ("", "INT"):
            return f"'{node.prefix}#{node.value}' is not supported; supported prefixes: INT#, BOOL#"
        case sx.Duration() if node.prefix or node.ms < 0:
            return "this kind of TIME is not supported; write a TIME such as T#5s"
        case sx.Element() | sx.ArrayValue():
            return f"arrays are not supported; {TYPES}"
        case sx.Member() | sx.StructValue():
            return f"structures are not supported; {TYPES}"
        case sx.Pointed():
            return f"pointers are not supported; {TYPES}"
        case sx.Direct():
            return (
                "direct addresses are not supported; declare inputs in VAR_INPUT, outputs in "
                "VAR_OUTPUT"
            )
        case sx.Binary() if node.op == "**":
            return "'**' (power) is not supported; supported operators: + - * / MOD"
        case _:
            return ""


def _type(ref: sx.TypeRef) -> str:
    if ref.fields:
        return f"{ref.name or 'STRUCT'} is not supported; {TYPES}"
    if ref.of is not None or ref.name in ("STRING", "WSTRING"):
        return f"{ref.name} is not supported; {TYPES}"
    if ref.base:
        return "the base type of an enumeration is not supported here yet"
    return ""


def _declaration(d: sx.Declaration) -> str:
    if d.kind not in ("VAR_INPUT", "VAR_OUTPUT", "VAR"):
        return f"{d.kind} is not supported; {_SECTIONS}"
    if d.constant or (d.retain and d.kind == "VAR_INPUT"):
        return f"{'CONSTANT' if d.constant else 'RETAIN'} is not supported here; {_SECTIONS}"
    if d.address:
        return f"AT {d.address} is not supported here yet"
    if d.edge:
        return f"{d.edge} is not supported here yet"
    if d.type.labels:
        return "name this enumeration in a TYPE block; its values cannot stand here yet"
    return ""


def _call(node: sx.Call | sx.Invoke) -> str:
    name = node.function if isinstance(node, sx.Call) else node.instance.text
    if node.on is not None or "." in name:
        return "the call of a member is not supported here yet"
    if isinstance(node, sx.Call) and (node.named or node.outputs):
        return (
            f"in an expression {name} must be a function with plain arguments; call a block as a "
            "statement of its own and read its output, as in t1.Q"
        )
    return ""
