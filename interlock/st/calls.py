"""The checker of calls of standard functions and conversions."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from interlock.st import ranges
from interlock.st import syntax as sx
from interlock.st import typed as ty
from interlock.st.blocks import BLOCKS, FUNCTIONS, OPERATORS, REAL_FUNCTIONS, SHIFTS
from interlock.st.types import (
    BOOL,
    LIMITS,
    BitsType,
    BoolType,
    EnumType,
    IntType,
    RealType,
    TimeType,
    Type,
    elementary,
    elementary_names,
    span_of,
)
from interlock.st.typing_expressions import Typer
from interlock.st.unify import adapted, agree, common_type, whole
from interlock.st.write import write_expression

_CONVERSION = re.compile(r"(?:([A-Z]+)_)?TO_([A-Z]+)")
_TRUNCATION = re.compile(r"(?:L?REAL_)?TRUNC_([A-Z]+)")
_CHAINED = frozenset(("GT", "GE", "EQ", "LE", "LT"))


class Calls:
    """Types calls; mistakes go to the checker that it belongs to."""

    def __init__(self, checker: Typer) -> None:
        self._checker = checker
        self._refuse = checker.refuse

    def check(self, e: sx.Call, expected: Type | None) -> ty.Expression | None:
        """The call `e`, of type `expected` where that decides between several readings."""
        name = e.function.upper()
        if name not in FUNCTIONS:
            return self._conversion(e)
        arguments = self._arguments(e)
        if arguments is None:
            return None
        e = replace(e, arguments=arguments, named=())
        if name in OPERATORS or name in ("AND", "OR", "NOT"):
            return self._operator(e, name, expected)
        if name == "SEL":
            return self._select(e, expected)
        if name == "MOVE":
            return self._checker.infer(arguments[0], expected)
        if name == "MUX":
            choice = sx.Choice(arguments[0], 0, arguments[1:], e.place)
            return self.choice(choice, expected)
        if name in SHIFTS:
            return self._shift(e, name)
        if name == "TRUNC":
            return self._converted(e, arguments[0], IntType(*LIMITS["DINT"], "DINT"))
        if name in REAL_FUNCTIONS:
            return self._real_function(e, name)
        return self._numbers(e, name)

    def _arguments(self, e: sx.Call) -> tuple[sx.Expression, ...] | None:
        """The arguments in order, also where they are given by name."""
        name = e.function.upper()
        signature = FUNCTIONS[name]
        if e.outputs or e.on is not None:
            self._refuse(e.place, f"{name} has no outputs to be taken with '=>'")
            return None
        given = dict(enumerate(e.arguments))
        for argument in e.named:
            number = signature.place_of(argument.name)
            if number is None:
                known = ", ".join(signature.names)
                says = f"{name} has no argument '{argument.name}'; arguments: {known}"
                self._refuse(argument.place, says)
                return None
            if number in given:
                self._refuse(argument.place, f"argument {argument.name} is given twice")
                return None
            given[number] = argument.value
        if not signature.least <= len(given) <= signature.most or sorted(given) != list(
            range(len(given))
        ):
            one = signature.least == signature.most
            count = str(signature.least) if one else f"{signature.least} or more"
            self._refuse(e.place, f"{name} takes {count} arguments, not {len(given)}")
            return None
        return tuple(given[number] for number in range(len(given)))

    def _operator(self, e: sx.Call, name: str, expected: Type | None) -> ty.Expression | None:
        arguments = e.arguments
        written: sx.Expression
        if name == "NOT":
            written = sx.Unary("NOT", arguments[0], e.place)
        elif name in ("AND", "OR"):
            written = sx.Junction(name, arguments, e.place)
        elif name in _CHAINED and len(arguments) > 2:
            steps = [sx.Binary(OPERATORS[name], a, b, e.place) for a, b in pairwise(arguments)]
            written = sx.Junction("AND", tuple(steps), e.place)
        else:
            written = arguments[0]
            for argument in arguments[1:]:
                written = sx.Binary(OPERATORS[name], written, argument, e.place)
        return self._checker.infer(written, expected)

    def _numbers(self, e: sx.Call, name: str) -> ty.Expression | None:
        """MIN, MAX, LIMIT or ABS."""
        found = [self._checker.number(argument, name) for argument in e.arguments]
        values = [value for value in found if value is not None]
        if len(values) < len(found):
            return None
        type_ = self._common(e, values)
        if type_ is None:
            return None
        values = [adapted(value, type_, True) for value in values]
        call = ty.Call(name, tuple(values), type_, e.place)
        if not isinstance(type_, IntType | TimeType):
            return call
        span = ranges.called(name, [span_of(value.type) for value in values])
        return self._checker.fitted(call, span, e)

    def _common(self, e: sx.Expression, values: Sequence[ty.Expression]) -> Type | None:
        """The type of several values, or None where they do not belong together."""
        types = [value.type for value in values]
        kinds = {_kind(type_) for type_ in types}
        if kinds == {"number", "real"}:
            kinds = {"real"}
        if len(kinds) == 1:
            return common_type(types)
        shown = " and ".join(dict.fromkeys(str(type_) for type_ in types))
        self._refuse(e.place, f"{write_expression(e)[:60]} mixes {shown}")
        return None

    def _select(self, e: sx.Call, expected: Type | None) -> ty.Expression | None:
        chooser = self._checker.check(e.arguments[0], BOOL)
        pair: tuple[ty.Expression, ty.Expression] | None
        if isinstance(expected, EnumType):
            a = self._checker.check(e.arguments[1], expected)
            b = self._checker.check(e.arguments[2], expected)
            pair = (a, b) if a and b else None
        else:
            pair = self._checker.pair(e.arguments[1], e.arguments[2])
        if chooser is None or pair is None:
            return None
        type_ = common_type([pair[0].type, pair[1].type])
        values = [adapted(value, type_, True) for value in pair]
        return ty.Call("SEL", (chooser, *values), type_, e.place)

    def choice(self, e: sx.Choice, expected: Type | None) -> ty.Expression | None:
        """An element whose index is computed."""
        index = self._checker.check(e.index, IntType(*LIMITS["LINT"], "LINT"))
        found = [self._checker.infer(value, expected) for value in e.values]
        values = [value for value in found if value is not None]
        if index is None or len(values) < len(found):
            return None
        if expected is not None:
            values = [adapted(value, expected, self._checker.is_program) for value in values]
        type_ = self._common(e, values)
        if type_ is None:
            return None
        values = [adapted(value, type_, True) for value in values]
        first = ty.Constant(e.first, IntType(e.first, e.first, ""), str(e.first), e.index.place)
        # An index outside is told where the index stands.
        return ty.Call("CHOICE", (index, first, *values), type_, e.place)

    def _shift(self, e: sx.Call, name: str) -> ty.Expression | None:
        bits = self._checker.infer(e.arguments[0], None)
        count = self._checker.number(e.arguments[1], name)
        if bits is None or count is None:
            return None
        known = isinstance(bits.type, BitsType | IntType) and bool(bits.type.base)
        if not known or whole(count.type) is None:
            wrong = e.arguments[0] if not known else e.arguments[1]
            type_ = bits.type if not known else count.type
            needs = "a bit string" if not known else "a number of places"
            text = write_expression(wrong)[:60]
            self._refuse(wrong.place, f"{text} is of type {type_}; {name} needs {needs}")
            return None
        assert isinstance(bits.type, BitsType | IntType)
        return ty.Call(name, (bits, count), elementary(bits.type.base) or bits.type, e.place)

    def _real_function(self, e: sx.Call, name: str) -> ty.Expression | None:
        value = self._checker.number(e.arguments[0], name)
        if value is None:
            return None
        if isinstance(value.type, TimeType):
            text = write_expression(e.arguments[0])[:60]
            self._refuse(e.place, f"{text} is of type {value.type}; {name} needs REAL")
            return None
        base = value.type.base if isinstance(value.type, RealType) else "REAL"
        type_ = RealType(base or "LREAL")
        return ty.Call(name, (adapted(value, type_, True),), type_, e.place)

    # Conversions

    def _conversion(self, e: sx.Call) -> ty.Expression | None:
        name = e.function.upper()
        written = _CONVERSION.fullmatch(name)
        cut = _TRUNCATION.fullmatch(name)
        target = elementary(written[2] if written else cut[1] if cut else "")
        source = elementary(written[1]) if written and written[1] else None
        unknown = bool(written and written[1]) and source is None
        if target is None or unknown:
            self._refuse(e.place, self._no_function(e.function))
            return None
        arguments = e.arguments or tuple(a.value for a in e.named if a.name.upper() == "IN")
        if len(arguments) != 1 or (e.arguments and e.named):
            self._refuse(e.place, f"{name} takes 1 arguments, not {len(arguments) + len(e.named)}")
            return None
        return self._converted(e, arguments[0], target, source)

    def _converted(
        self, e: sx.Call, argument: sx.Expression, target: Type, source: Type | None = None
    ) -> ty.Expression | None:
        value = self._checker.infer(argument, source)
        if value is None:
            return None
        if isinstance(value.type, EnumType):
            value = adapted(value, IntType(0, 0), True)
        if source is not None:
            value = adapted(value, source, True)
            if not agree(value.type, source):
                text = write_expression(argument)[:60]
                says = f"{text} is of type {value.type}; {e.function.upper()} needs {source}"
                self._refuse(argument.place, says)
                return None
        if value.type == target and not isinstance(target, IntType):
            return value
        type_ = target
        if isinstance(target, IntType | TimeType) and not isinstance(value.type, RealType):
            span = span_of(value.type)
            if ranges.within(span, LIMITS[target.base]):
                type_ = replace(target, lo=span[0], hi=span[1])
        return ty.Call(e.function.upper(), (value,), type_, e.place)

    @staticmethod
    def _no_function(name: str) -> str:
        if name.upper() in BLOCKS:
            return (
                f"{name.upper()} is a function block: declare an instance in VAR, call that, and "
                "read its output"
            )
        if "TO_" in name.upper():
            known = ", ".join(elementary_names())
            return f"function '{name}' is not supported; conversions are X_TO_Y among {known}"
        known = ", ".join(FUNCTIONS)
        return f"function '{name}' is not supported; supported functions: {known}"


def _kind(type_: Type) -> str:
    if whole(type_) is not None:
        return "number"
    if isinstance(type_, RealType):
        return "real"
    if isinstance(type_, TimeType):
        return "time"
    return "BOOL" if isinstance(type_, BoolType) else str(type_)
