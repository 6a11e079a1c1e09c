"""From the parser's tree to the syntax tree, with the checks that a grammar cannot make."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from interlock.base.errors import Mistake, MistakeList, Place
from interlock.st import syntax as sx

Locate = Callable[[int], Place]

# Far beyond what a reader can follow, far below what Python's stack can.
MAX_DEPTH = 80

_DECIMAL = re.compile(r"\d+(_\d+)*")
_BASED = re.compile(r"(2|8|16)#([0-9A-Fa-f]+(?:_[0-9A-Fa-f]+)*)")
_UNITS_MS = {"d": 86_400_000, "h": 3_600_000, "m": 60_000, "s": 1000, "ms": 1}
_PART = re.compile(r"(\d+)(?:\.(\d+))?(ms|[dhms])")


def first_offset(node: Any) -> int:
    """Offset of the first character of `node` in its text."""
    while not isinstance(node, str):
        node = node.children[0]
    return int(node.start_pos)  # type: ignore[attr-defined]


def find_too_deep(tree: Any) -> int | None:
    """Offset of a part of `tree` nested deeper than `MAX_DEPTH`, or None."""
    stack = [(tree, 0)]
    while stack:
        node, depth = stack.pop()
        if isinstance(node, str):
            continue
        flat = node.data.startswith("expr_") and node.data not in ("expr_and", "expr_or")
        # A chain such as a + b + c nests to the left, one level for each operator.
        depth += len(node.children) // 2 if flat else 1
        if depth > MAX_DEPTH:
            return first_offset(node)
        stack.extend((child, depth) for child in node.children)
    return None


class Builder:
    """Builds syntax trees; mistakes are collected, never raised.

    Parameters
    ----------
    locate : callable
        Place of an offset of the text.
    """

    def __init__(self, locate: Locate) -> None:
        self._locate = locate
        self.mistakes = MistakeList()

    def _place(self, node: Any) -> Place:
        return self._locate(first_offset(node))

    def _refuse(self, node: Any, says: str) -> None:
        self.mistakes.append(Mistake(self._place(node), says))

    # Expressions

    def expression(self, node: Any) -> sx.Expression:
        """The expression at `node`."""
        match node.data:
            case "expression" | "argument":
                return self.expression(node.children[0])
            case "paren":
                return self.expression(node.children[1])
            case "literal":
                return self._literal(node.children[0])
            case "name":
                return self._name(node)
            case "invocation":
                return self._function(node)
            case "expr_and" | "expr_or":
                operands = tuple(self.expression(child) for child in node.children[::2])
                return sx.Junction(node.data[5:].upper(), operands, self._place(node))
            case "expr_unary":
                sign, operand = node.children
                return sx.Unary(str(sign).upper(), self.expression(operand), self._place(node))
            case _:
                return self._chain(node)

    def _chain(self, node: Any) -> sx.Expression:
        place = self._place(node)
        result = self.expression(node.children[0])
        for sign, operand in zip(node.children[1::2], node.children[2::2], strict=True):
            result = sx.Binary(str(sign).upper(), result, self.expression(operand), place)
        return result

    def _name(self, node: Any) -> sx.Name:
        return sx.Name("".join(node.children), self._place(node))

    def _function(self, node: Any) -> sx.Expression:
        name = self._name(node.children[0])
        arguments = node.children[2:-1:2]
        if any(argument.data != "argument" for argument in arguments):
            self._refuse(
                node,
                f"in an expression {name.text} must be a function with plain arguments; call a "
                "block as a statement of its own and read its output, as in t1.Q",
            )
            return sx.Truth(False, name.place)
        values = tuple(self.expression(argument) for argument in arguments)
        return sx.Call(name.text, values, name.place)

    def _literal(self, token: Any) -> sx.Expression:
        place = self._place(token)
        match token.type:
            case "TRUE" | "FALSE":
                return sx.Truth(token.type == "TRUE", place)
            case "NUMBER":
                return sx.Number(self._number(token, str(token)), place)
            case "DURATION":
                return sx.Duration(self._duration(token), place)
            case _:
                return self._typed(token, place)

    def _typed(self, token: Any, place: Place) -> sx.Expression:
        prefix, _, rest = str(token).partition("#")
        kind = prefix.upper()
        if kind == "BOOL" and rest.upper() in ("0", "1", "TRUE", "FALSE"):
            return sx.Truth(rest.upper() in ("1", "TRUE"), place)
        if not (rest[0].isdigit() or rest[0] in "+-"):
            return sx.Qualified(prefix, rest, place)
        if kind != "INT":
            self._refuse(token, f"'{token}' is not supported; supported prefixes: INT#, BOOL#")
            return sx.Number(0, place)
        value = self._number(token, rest.lstrip("+-"))
        return sx.Number(-value if rest[0] == "-" else value, place, "INT")

    def _number(self, token: Any, text: str) -> int:
        if _DECIMAL.fullmatch(text) and len(text) < 100:
            return int(text.replace("_", ""))
        based = _BASED.fullmatch(text)
        if based and len(text) < 100:
            try:
                return int(based[2].replace("_", ""), int(based[1]))
            except ValueError:
                pass  # a digit that the base does not have
        self._refuse(token, f"'{text[:40]}' is not an integer; write 10, 1_000, 2#1010 or 16#FF")
        return 0

    def _duration(self, token: Any) -> int:
        text = str(token).partition("#")[2].replace("_", "").lower()
        advice = "write a TIME such as T#5s, T#1m30s or T#250ms, in whole milliseconds"
        parts = list(_PART.finditer(text)) if len(text) < 100 else []
        sizes = [_UNITS_MS[part[3]] for part in parts]
        whole = "".join(part[0] for part in parts) == text
        ordered = sizes == sorted(set(sizes), reverse=True)
        if not (parts and whole and ordered and all(part[2] is None for part in parts[:-1])):
            self._refuse(token, f"'{str(token)[:40]}' is not a duration; {advice}")
            return 0
        ms = sum(int(part[1]) * size for part, size in zip(parts, sizes, strict=True))
        fraction = parts[-1][2] or "0"
        scale: int = 10 ** len(fraction)
        thousandths, rest = divmod(int(fraction) * sizes[-1], scale)
        if rest:
            self._refuse(token, f"'{str(token)[:40]}' is no whole number of milliseconds; {advice}")
        return ms + thousandths

    # Statements

    def body(self, node: Any) -> tuple[sx.Statement, ...]:
        """The statements at `node`."""
        return tuple(self._statement(child) for child in node.children)

    def _statement(self, node: Any) -> sx.Statement:
        place = self._place(node)
        match node.data:
            case "empty":
                return sx.Empty(place)
            case "assignment":
                target, _, value, _ = node.children
                return sx.Assign(self._name(target), self.expression(value), place)
            case "call":
                return self._invoke(node.children[0])
            case "if":
                return self._if(node)
            case _:
                return self._case(node)

    def _invoke(self, node: Any) -> sx.Statement:
        instance = self._name(node.children[0])
        inputs: list[sx.InputArgument] = []
        outputs: list[sx.OutputArgument] = []
        for argument in node.children[2:-1:2]:
            place = self._place(argument)
            if argument.data == "input":
                name, _, value = argument.children
                inputs.append(sx.InputArgument(str(name), self.expression(value), place))
            elif argument.data == "output":
                name, _, target = argument.children
                outputs.append(sx.OutputArgument(str(name), self._name(target), place))
            else:
                self._refuse(argument, "name the input, as in t1(IN := x, PT := T#5s)")
        return sx.Invoke(instance, tuple(inputs), tuple(outputs), instance.place)

    def _if(self, node: Any) -> sx.If:
        branches: list[sx.Branch] = []
        otherwise: tuple[sx.Statement, ...] = ()
        parts = node.children
        at = 0
        while parts[at].type in ("IF", "ELSIF"):
            condition, _, body = parts[at + 1 : at + 4]
            place = self._place(parts[at])
            branches.append(sx.Branch(self.expression(condition), self.body(body), place))
            at += 4
        if parts[at].type == "ELSE":
            otherwise = self.body(parts[at + 1])
        return sx.If(tuple(branches), otherwise, self._place(node))

    def _case(self, node: Any) -> sx.Case:
        selector = self.expression(node.children[1])
        groups: list[tuple[Any, list[Any]]] = []
        otherwise: tuple[sx.Statement, ...] = ()
        for child in node.children[3:-2]:
            if isinstance(child, str):
                continue
            if child.data == "labels":
                groups.append((child, []))
            elif child.data == "body":
                otherwise = self.body(child)
            else:
                groups[-1][1].append(child)
        branches = tuple(
            sx.CaseBranch(
                tuple(self._label(label) for label in labels.children[::2]),
                tuple(self._statement(statement) for statement in statements),
                self._place(labels),
            )
            for labels, statements in groups
        )
        return sx.Case(selector, branches, otherwise, self._place(node))

    def _label(self, node: Any) -> sx.Label:
        first = self.expression(node.children[0])
        last = self.expression(node.children[2]) if len(node.children) == 3 else None
        return sx.Label(first, last, self._place(node))

    # Declarations

    def program(self, node: Any) -> sx.Program:
        """The program at `node`."""
        parts = [child for child in node.children if not isinstance(child, str)]
        name = next(child for child in node.children if getattr(child, "type", "") == "IDENT")
        types = [self._type_def(d) for p in parts if p.data == "types" for d in p.children[1:-1]]
        declarations = [d for p in parts if p.data == "vars" for d in self._vars(p)]
        return sx.Program(
            str(name), tuple(types), tuple(declarations), self.body(parts[-1]), self._place(name)
        )

    def _type_def(self, node: Any) -> sx.TypeDef:
        tokens = [child for child in node.children if isinstance(child, str)]
        idents = [token for token in tokens if token.type == "IDENT"]  # type: ignore[attr-defined]
        labels = tuple(sx.EnumLabel(str(token), None, self._place(token)) for token in idents[1:])
        trees = [child for child in node.children if not isinstance(child, str)]
        initial = self.expression(trees[0]) if trees else None
        type_ = sx.TypeRef("", None, None, self._place(node), labels=labels)
        return sx.TypeDef(str(idents[0]), type_, initial, self._place(node))

    def _vars(self, node: Any) -> list[sx.Declaration]:
        words = [token.type for token in node.children[0].children]
        return [self._declaration(d, words[0], "RETAIN" in words) for d in node.children[1:-1]]

    def _declaration(self, node: Any, kind: str, retain: bool) -> sx.Declaration:
        names = tuple(
            sx.Name(str(token), self._place(token)) for token in node.children[0].children[::2]
        )
        ref = node.children[2]
        has_range = len(ref.children) > 1
        type_ref = sx.TypeRef(
            str(ref.children[0]),
            self.expression(ref.children[2]) if has_range else None,
            self.expression(ref.children[4]) if has_range else None,
            self._place(ref),
        )
        initial = self.expression(node.children[4]) if len(node.children) > 4 else None
        return sx.Declaration(kind, retain, names, type_ref, initial, self._place(node))
