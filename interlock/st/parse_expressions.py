"""Expressions: by the precedence of IEC 61131-3, operators of one level from left to right."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from typing import Any

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st.cursor import MAX_DEPTH, Cursor, UnexpectedTokenError
from interlock.st.parse_literals import literal
from interlock.st.tokens import Token
from interlock.st.words import OPERATOR_WORDS, RESERVED

# Higher binds tighter. AND_THEN and OR_ELSE have the value of AND and OR, and no operator is
# skipped in either.
_LEVELS = {
    **dict.fromkeys(("OR", "OR_ELSE"), 1),
    "XOR": 2,
    **dict.fromkeys(("AND", "&", "AND_THEN"), 3),
    **dict.fromkeys(("=", "<>"), 4),
    **dict.fromkeys(("<", ">", "<=", ">="), 5),
    **dict.fromkeys(("+", "-"), 6),
    **dict.fromkeys(("*", "/", "MOD"), 7),
    "**": 8,
}
_JUNCTIONS = {1: "OR", 3: "AND"}
_LABELS = 6
_LITERALS = frozenset(("number", "typed", "duration", "date", "string"))
_OPERATOR_FUNCTIONS = frozenset(("AND", "OR", "XOR", "MOD"))
_MEMBER_OF_A_CALL = (
    "a member of a call's result cannot be used; assign the result to a variable first"
)

Arguments = tuple[list[sx.InputArgument], list[sx.OutputArgument]]


class ExpressionParser(Cursor):
    """Reads expressions, and what is assigned to."""

    def expression(self) -> sx.Expression:
        """One expression.

        Raises
        ------
        UnexpectedTokenError, EndOfReadingError
            With the mistake noted.
        """
        return self._shallow(1)

    def label_value(self) -> sx.Expression:
        """An expression as it may be a CASE label or an index's limit: without comparisons."""
        return self._shallow(_LABELS)

    def _shallow(self, lowest: int) -> sx.Expression:
        first, depth = self.at, self.depth
        found = self._binary(lowest)
        self.depth = depth
        # A tree is no deeper than it has tokens.
        if self.at - first > MAX_DEPTH:
            deep = _too_deep(found, depth)
            if deep is not None:
                self.too_deep(deep)
        return found

    def _binary(self, lowest: int) -> sx.Expression:
        self.deeper()
        place = self.place()
        left = self._unary()
        while True:
            op = self.now.upper
            level = _LEVELS.get(op, 0)
            if level < lowest or not level:
                break
            if level in _JUNCTIONS:
                operands = [left]
                while _LEVELS.get(self.now.upper, 0) == level:
                    self.advance()
                    operands.append(self._binary(level + 1))
                left = sx.Junction(_JUNCTIONS[level], tuple(operands), place)
            else:
                self.advance()
                left = sx.Binary(op, left, self._binary(level + 1), place)
        self.depth -= 1
        return left

    def _unary(self) -> sx.Expression:
        op = self.now.upper
        if op not in ("NOT", "-", "+"):
            return self._primary()
        place = self.place()
        if op == "NOT" and self.ahead().upper == "(" and self.ahead(3).upper in (":=", "=>"):
            return self._operator_function()
        self.deeper()
        self.advance()
        operand = self._unary()
        self.depth -= 1
        return sx.Unary(op, operand, place)

    def _primary(self) -> sx.Expression:
        now = self.now
        if now.kind == "word":
            return self._word(now)
        if now.kind in _LITERALS:
            place = self.place()
            return literal(self.advance(), place, self.refuse)
        if now.kind == "direct":
            return self.direct()
        if now.upper == "(":
            self.advance()
            inner = self._binary(1)
            self.expect(")", "an operator")
            return inner
        return self.fail("an expression")

    def _word(self, now: Token) -> sx.Expression:
        if now.upper in ("TRUE", "FALSE"):
            place = self.place()
            return sx.Truth(self.advance().upper == "TRUE", place)
        if now.upper in _OPERATOR_FUNCTIONS and self.ahead().upper == "(":
            return self._operator_function()
        if now.upper in RESERVED:
            self.fail("an expression")
        found = self.designator()
        return self._call(found) if self.now.upper == "(" else found

    def _operator_function(self) -> sx.Expression:
        place = self.place()
        return self._call(sx.Name(self.advance().upper, place))

    def _call(self, called: sx.Expression) -> sx.Expression:
        on, function = divided(called)
        inputs, outputs = self.arguments()
        positional = tuple(a.value for a in inputs if not a.name)
        named = tuple(a for a in inputs if a.name)
        place = called.place
        self.refuse_member_of_call()
        return sx.Call(function.text, positional, place, named, tuple(outputs), on)

    def refuse_member_of_call(self) -> None:
        """Note a mistake where the result of a call is taken apart."""
        if self.now.upper in (".", "[", "^"):
            self.refuse(self.now, _MEMBER_OF_A_CALL)
            raise UnexpectedTokenError

    # Variables

    def direct(self) -> sx.Direct:
        """A directly represented variable."""
        place = self.place()
        return sx.Direct(self.advance().text.upper(), place)

    def target(self) -> sx.Target:
        """What a value is assigned to."""
        if self.now.kind == "direct":
            return self.direct()
        if not self.is_name():
            self.fail("a variable")
        found = self.designator()
        if isinstance(found, sx.Qualified):
            self.refuse_at(found.place, "a value of an enumeration cannot be assigned")
            raise UnexpectedTokenError
        return found

    def designator(self) -> sx.Target | sx.Qualified:
        """A variable with its members, indexes and dereferences; a word stands here."""
        place = self.place()
        token = self.advance()
        in_quotes = token.upper.startswith('"') and token.start not in self.lexed.own
        base: sx.Target = sx.Name(token.text, place, in_quotes)
        levels = 0
        while True:
            sign = self.now.upper
            if sign == ".":
                if self.ahead().kind == "typed" and isinstance(base, sx.Name):
                    return self._qualified(base)
                member = self._member()
                if isinstance(base, sx.Name):
                    base = sx.Name(f"{base.text}.{member}", place, in_quotes)
                else:
                    base = sx.Member(base, member, place)
            elif sign == "[":
                base = sx.Element(base, self._indexes(), place)
            elif sign == "^":
                self.advance()
                if not (isinstance(base, sx.Name) and base.text.upper() in ("THIS", "SUPER")):
                    base = sx.Pointed(base, place)
            else:
                return base
            levels += 1
            if self.depth + levels > MAX_DEPTH:
                self.too_deep(place)

    def _qualified(self, base: sx.Name) -> sx.Qualified:
        self.advance()
        typed = self.advance()
        prefix, _, label = typed.text.partition("#")
        return sx.Qualified(f"{base.text}.{prefix}", label.strip(), base.place)

    def _member(self) -> str:
        """The name or bit behind a dot."""
        dot = self.advance()
        now = self.now
        # A word of the language may be a member's name, but not where the dot is a slip.
        joined = dot.end == now.start and now.upper not in OPERATOR_WORDS
        if now.kind == "word" and (now.upper not in RESERVED or joined):
            return self.advance().text
        if now.kind == "number" and now.text.isdigit():
            return self.advance().text
        if now.kind == "direct" and now.text[1] in "xX" and now.text[2:].isdigit():
            return self.advance().text[2:]
        if now.kind == "direct":
            self.refuse(now, f"'{now.text}' is not supported; single bits are, as in w.%X3 or w.3")
            raise UnexpectedTokenError
        return self.fail("a name")

    def _indexes(self) -> tuple[sx.Expression, ...]:
        self.advance()
        found = [self._binary(1)]
        while self.take(","):
            found.append(self._binary(1))
        self.expect("]", "','", "an operator")
        return tuple(found)

    # Arguments

    def arguments(self) -> Arguments:
        """The arguments of a call, brackets included."""
        self.advance()
        self.deeper()
        inputs: list[sx.InputArgument] = []
        outputs: list[sx.OutputArgument] = []
        if not self.take(")"):
            self._argument(inputs, outputs)
            while self.take(","):
                self._argument(inputs, outputs)
            self.expect(")", "','", "an operator")
        self.depth -= 1
        return inputs, outputs

    def _argument(self, inputs: list[sx.InputArgument], outputs: list[sx.OutputArgument]) -> None:
        place = self.place()
        negated = self.now.upper == "NOT" and self.ahead(2).upper == "=>"
        if negated:
            self.advance()
        sign = self.ahead().upper if self.now.kind == "word" else ""
        if sign == "=" and inputs and inputs[-1].name:
            self.refuse(self.ahead(), f"'=' compares; use ':=' to give {self.now.text} a value")
            raise UnexpectedTokenError
        if sign not in (":=", "=>"):
            inputs.append(sx.InputArgument("", self._binary(1), place))
            return
        name = self.advance()
        self.advance()
        if self.now.upper in (",", ")"):
            self.note(name, f"nothing is given to {name.text}: read as if it were left out")
        elif sign == ":=":
            inputs.append(sx.InputArgument(name.text, self.value_item(), place))
        else:
            outputs.append(sx.OutputArgument(name.text, self.target(), place, negated))

    # Values of arrays and structures

    def value_item(self) -> sx.Expression:
        """A value that may be one of an array or a structure."""
        if self.now.upper == "[":
            return self._array_value()
        if self.now.upper == "(" and self.ahead().kind == "word" and self.ahead(2).upper == ":=":
            return self._struct_value()
        return self._shallow(1)

    def initial_value(self) -> sx.Expression:
        """A value behind ``:=`` in a declaration; that of an array may go without brackets."""
        place = self.place()
        items = [self._counted()]
        while self.now.upper == "," and not (
            self.ahead().kind == "word" and self.ahead(2).upper in (":=", ":")
        ):
            self.advance()
            items.append(self._counted())
        if len(items) == 1 and not self._is_counted(items[0]):
            value = items[0][0][1]
            assert value is not None
            return value
        return sx.ArrayValue(tuple(pair for item in items for pair in item), place)

    @staticmethod
    def _is_counted(item: list[tuple[int, sx.Expression | None]]) -> bool:
        return len(item) != 1 or item[0][0] != 1 or item[0][1] is None

    def _array_value(self) -> sx.Expression:
        place = self.place()
        self.deeper()
        self.advance()
        items: list[tuple[int, sx.Expression | None]] = []
        while not self.take("]"):
            items += self._counted()
            if self.now.upper != "]":
                self.expect(",", "']'", "an operator")
        self.depth -= 1
        return sx.ArrayValue(tuple(items), place)

    def _counted(self) -> list[tuple[int, sx.Expression | None]]:
        """One item of an array's value, or several that are repeated, as in ``2(0)``."""
        if not (self.now.kind == "number" and self.ahead().upper == "("):
            return [(1, self.value_item())]
        token = self.now
        number = literal(self.advance(), self.locate(token.start), self.refuse)
        count = number.value if isinstance(number, sx.Number) else 0
        self.advance()
        if self.take(")"):
            return [(count, None)]
        self.deeper()
        inner = self._counted()
        while self.take(","):
            inner += self._counted()
        self.expect(")", "','", "an operator")
        self.depth -= 1
        if len(inner) == 1 and inner[0][0] == 1:
            return [(count, inner[0][1])]
        if count * len(inner) > _MOST_REPEATED:
            self.refuse(token, "too many values are repeated; give the array its values in a loop")
            return inner
        return inner * count

    def _struct_value(self) -> sx.Expression:
        place = self.place()
        self.deeper()
        self.advance()
        given: list[sx.InputArgument] = []
        while True:
            at = self.place()
            name = self.name()
            self.expect(":=")
            given.append(sx.InputArgument(name.text, self.initial_value(), at))
            if not self.take(","):
                break
        self.expect(")", "','", "an operator")
        self.depth -= 1
        return sx.StructValue(tuple(given), place)


_MOST_REPEATED = 10_000


def divided(called: sx.Expression) -> tuple[sx.Expression | None, sx.Name]:
    """What is called on, unless it is a plain name, and the name of what is called."""
    match called:
        case sx.Name():
            return None, called
        case sx.Member():
            return called.base, sx.Name(called.name, called.place)
        case _:
            return called, sx.Name("", called.place)


def _too_deep(expression: sx.Expression, depth: int) -> Place | None:
    """Place of a part of `expression` that is nested deeper than allowed, or None."""
    stack: list[tuple[Any, int]] = [(expression, depth + 1)]
    while stack:
        node, level = stack.pop()
        if isinstance(node, tuple):
            stack.extend((item, level) for item in node)
        elif is_dataclass(node) and not isinstance(node, Place):
            if level > MAX_DEPTH:
                place: Place = getattr(node, "place")  # noqa: B009
                return place
            stack.extend((getattr(node, f.name), level + 1) for f in fields(node))
    return None
