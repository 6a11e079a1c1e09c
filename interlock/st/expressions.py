"""The checker of expressions: names, types and ranges."""

from __future__ import annotations

from collections.abc import Callable

from interlock.base.errors import Mistake, Place, nearest
from interlock.st import ranges
from interlock.st import syntax as sx
from interlock.st import typed as ty
from interlock.st.blocks import BLOCKS, FUNCTIONS
from interlock.st.evaluate import constant_of, reads_of
from interlock.st.types import (
    BOOL,
    INT_MAX,
    INT_MIN,
    TIME,
    BoolType,
    EnumType,
    IntType,
    Scope,
    Type,
)
from interlock.st.write import write_expression

_ORDER = frozenset(("<", ">", "<=", ">="))
_EQUALITY = frozenset(("=", "<>"))


class ExpressionChecker:
    """Types expressions in a scope; mistakes are collected, never raised.

    A method that finds a mistake in an expression returns None for it.

    Parameters
    ----------
    scope : Scope
    mistakes : list of Mistake
        Receives the mistakes.
    is_excused : callable, optional
        Whether a name that is not in the scope needs no message, because its declaration has one.
    divides_surely : bool
        Whether a divisor with zero in its range is a mistake; no operator is skipped, so what
        stands before it does not keep it from zero.
    """

    def __init__(
        self,
        scope: Scope,
        mistakes: list[Mistake],
        is_excused: Callable[[str], bool] = lambda _name: False,
        divides_surely: bool = False,
    ) -> None:
        self.scope = scope
        self.mistakes = mistakes
        self._is_excused = is_excused
        self._divides_surely = divides_surely
        self.elapsed_reads: list[Place] = []

    def refuse(self, place: Place, says: str) -> None:
        """Note a mistake."""
        self.mistakes.append(Mistake(place, says))

    def check(self, e: sx.Expression, expected: Type | None) -> ty.Expression | None:
        """`e` typed, of the type `expected` if one is given; an INT may have any range."""
        found = self._infer(e, expected)
        if found is None or expected is None or self._agree(found.type, expected):
            return found
        self.refuse(
            e.place,
            f"{write_expression(e)[:60]} is of type {found.type}; expected {expected}"
            + self._hint(e, found.type, expected),
        )
        return None

    @staticmethod
    def _agree(a: Type, b: Type) -> bool:
        return a == b or (isinstance(a, IntType) and isinstance(b, IntType))

    @staticmethod
    def _hint(e: sx.Expression, found: Type, expected: Type) -> str:
        if isinstance(found, IntType) and isinstance(expected, BoolType):
            return "; compare it, or write TRUE or FALSE"
        if isinstance(e, sx.Name) and isinstance(found, EnumType) and expected == BOOL:
            return f"; compare it, as in {e.text} = {found.labels[0]}"
        return ""

    def _infer(self, e: sx.Expression, expected: Type | None) -> ty.Expression | None:
        match e:
            case sx.Number():
                return self._number(e)
            case sx.Truth():
                return ty.Constant(int(e.value), BOOL, write_expression(e), e.place)
            case sx.Duration():
                return ty.Constant(e.ms, TIME, write_expression(e), e.place)
            case sx.Name():
                return self._name(e, expected)
            case sx.Qualified():
                return self._qualified(e)
            case sx.Unary():
                return self._unary(e)
            case sx.Junction():
                return self._junction(e)
            case sx.Binary():
                return self._binary(e)
            case sx.Call():
                return self._call(e, expected)
            case _:
                self.refuse(e.place, "this expression is not supported here yet")
                return None

    def _number(self, e: sx.Number) -> ty.Expression | None:
        if not INT_MIN <= e.value <= INT_MAX:
            self.refuse(e.place, f"{e.value} is outside INT ({INT_MIN}..{INT_MAX})")
            return None
        return ty.Constant(e.value, IntType(e.value, e.value), write_expression(e), e.place)

    # Names

    def _name(self, e: sx.Name, expected: Type | None) -> ty.Expression | None:
        variable = self.scope.find(e.text)
        enum = expected if isinstance(expected, EnumType) else None
        value = enum.value_of(e.text) if enum else None
        if enum is not None and value is not None:
            if variable is not None and variable.type == enum:
                self.refuse(
                    e.place,
                    f"'{e.text}' is both a variable and a value of {enum.name}; "
                    f"write {enum.name}#{e.text} for the value, or rename the variable",
                )
                return None
            return ty.Constant(value, enum, enum.labels[value], e.place)
        if variable is not None:
            if e.text.upper().endswith(".ET") and variable.type == TIME:
                self.elapsed_reads.append(e.place)
            return ty.Read(variable.name, variable.type, e.place)
        return self._bare_label(e, enum)

    def _bare_label(self, e: sx.Name, enum: EnumType | None) -> ty.Expression | None:
        if self._is_excused(e.text):
            return None
        owners = self.scope.owners_of(e.text)
        if enum is not None and (owners or "." not in e.text):
            known = nearest(e.text, enum.labels)
            what = "no value of" if owners else "neither declared nor a value of"
            self.refuse(e.place, f"'{e.text}' is {what} {enum.name}{known}")
            return None
        if len(owners) == 1:
            value = owners[0].value_of(e.text) or 0
            return ty.Constant(value, owners[0], owners[0].labels[value], e.place)
        if owners:
            names = ", ".join(sorted(owner.name for owner in owners))
            qualified = f"{sorted(owner.name for owner in owners)[0]}#{e.text}"
            self.refuse(
                e.place, f"'{e.text}' is a value of several types ({names}); write {qualified}"
            )
            return None
        self.refuse(e.place, self._undeclared(e.text))
        return None

    def _undeclared(self, text: str) -> str:
        instance, dot, member = text.partition(".")
        if dot:
            prefix = instance.casefold() + "."
            outputs = [
                v.name.partition(".")[2]
                for key, v in self.scope.variables.items()
                if key.startswith(prefix)
            ]
            if outputs:
                return f"'{instance}' has no output '{member}'{nearest(member, outputs)}"
        names = self.scope.known_names()
        if not dot:
            names = [name for name in names if "." not in name]
        return f"'{text}' is not declared{nearest(text, names)}"

    def _qualified(self, e: sx.Qualified) -> ty.Expression | None:
        enum = self.scope.enums.get(e.type_name.casefold())
        if enum is None:
            names = [known.name for known in self.scope.enums.values()]
            self.refuse(e.place, f"'{e.type_name}' is no enumeration{nearest(e.type_name, names)}")
            return None
        value = enum.value_of(e.label)
        if value is None:
            self.refuse(
                e.place, f"'{e.label}' is no value of {enum.name}{nearest(e.label, enum.labels)}"
            )
            return None
        return ty.Constant(value, enum, f"{enum.name}#{enum.labels[value]}", e.place)

    # Operators

    def _unary(self, e: sx.Unary) -> ty.Expression | None:
        if e.op == "NOT":
            operand = self.check(e.operand, BOOL)
            return operand and ty.Unary("NOT", operand, BOOL, e.place)
        if e.op == "+":
            return self._integer(e.operand, "+")
        if isinstance(e.operand, sx.Number) and not e.operand.prefix:
            # -32768 is an INT although 32768 is not.
            return self._number(sx.Number(-e.operand.value, e.place))
        value = self._integer(e.operand, "-")
        if value is None:
            return None
        range_ = ranges.negated(_range(value))
        return self._in_int(ty.Unary("-", value, range_, e.place), e)

    def _junction(self, e: sx.Junction) -> ty.Expression | None:
        operands = [self.check(operand, BOOL) for operand in e.operands]
        whole = tuple(operand for operand in operands if operand is not None)
        return ty.Junction(e.op, whole, BOOL, e.place) if len(whole) == len(operands) else None

    def _binary(self, e: sx.Binary) -> ty.Expression | None:
        if e.op == "XOR":
            left, right = self.check(e.left, BOOL), self.check(e.right, BOOL)
            return ty.Binary("XOR", left, right, BOOL, e.place) if left and right else None
        if e.op in _EQUALITY or e.op in _ORDER:
            return self._comparison(e)
        a, b = self._integer(e.left, e.op), self._integer(e.right, e.op)
        if a is None or b is None:
            return None
        divisor = _range(b)
        if e.op == "/" and (divisor == IntType(0, 0) or constant_of(b) == 0):
            self.refuse(e.right.place, "division by zero")
            return None
        if e.op == "/" and self._divides_surely and divisor.lo <= 0 <= divisor.hi:
            text = write_expression(e.right)[:60]
            sure = f"; MAX({text}, 1) is never 0" if divisor.lo == 0 else ""
            says = f"may divide by zero: {text} may be {divisor.lo}..{divisor.hi}{sure}"
            self.refuse(e.right.place, says)
            return None
        range_ = ranges.ARITHMETIC[e.op](_range(a), divisor)
        return self._in_int(ty.Binary(e.op, a, b, range_, e.place), e)

    def _integer(self, e: sx.Expression, operator: str) -> ty.Expression | None:
        found = self._infer(e, None)
        if found is None or isinstance(found.type, IntType):
            return found
        self.refuse(
            e.place,
            f"{write_expression(e)[:60]} is of type {found.type}; {operator} needs INT",
        )
        return None

    def _in_int(self, found: ty.Expression, e: sx.Expression) -> ty.Expression | None:
        range_ = _range(found)
        if ranges.fits_int(range_):
            return found
        span = f"is {range_.lo}" if range_.lo == range_.hi else f"may be {range_.lo}..{range_.hi}"
        counts = [read.name for read in reads_of(found) if read.name.endswith(".CV")]
        self.refuse(
            e.place,
            f"{write_expression(e)[:60]} {span}, outside INT ({INT_MIN}..{INT_MAX})"
            + (f"; limit the count, as in MIN({counts[0]}, 9)" if counts else ""),
        )
        return None

    def _comparison(self, e: sx.Binary) -> ty.Expression | None:
        pair = self._pair(e.left, e.right)
        if pair is None:
            return None
        left, right = pair
        if e.op in _ORDER and not isinstance(left.type, IntType) and left.type != TIME:
            self.refuse(
                e.place,
                f"{e.op} cannot order values of type {left.type}; only = and <> can",
            )
            return None
        return ty.Binary(e.op, left, right, BOOL, e.place)

    def _pair(
        self, left: sx.Expression, right: sx.Expression
    ) -> tuple[ty.Expression, ty.Expression] | None:
        """Two operands of one type; a value of an enumeration follows the other operand."""
        if self._is_bare_label(left) and not self._is_bare_label(right):
            b = self._infer(right, None)
            a = self.check(left, b.type) if b else None
        else:
            a = self._infer(left, None)
            # Without a type to go by, a label would be reported as ambiguous or undeclared.
            lost = a is None and self._is_bare_label(right)
            b = None if lost else self.check(right, a.type if a else None)
        return (a, b) if a and b else None

    def _is_bare_label(self, e: sx.Expression) -> bool:
        return isinstance(e, sx.Name) and self.scope.find(e.text) is None

    # Functions

    def _call(self, e: sx.Call, expected: Type | None) -> ty.Expression | None:
        name = e.function.upper()
        limits = FUNCTIONS.get(name)
        if limits is None:
            self.refuse(e.place, self._no_function(e.function))
            return None
        if not limits[0] <= len(e.arguments) <= limits[1]:
            count = str(limits[0]) if limits[0] == limits[1] else f"{limits[0]} or more"
            self.refuse(e.place, f"{name} takes {count} arguments, not {len(e.arguments)}")
            return None
        if name == "SEL":
            return self._select(e, expected)
        values = [self._integer(argument, name) for argument in e.arguments]
        whole = tuple(value for value in values if value is not None)
        if len(whole) < len(values):
            return None
        range_ = ranges.called(name, [_range(value) for value in whole])
        return self._in_int(ty.Call(name, whole, range_, e.place), e)

    def _no_function(self, name: str) -> str:
        if name.upper() in BLOCKS:
            return (
                f"{name.upper()} is a function block: declare an instance in VAR, call that, and "
                "read its output"
            )
        known = ", ".join(FUNCTIONS)
        return f"function '{name}' is not supported; supported functions: {known}"

    def _select(self, e: sx.Call, expected: Type | None) -> ty.Expression | None:
        chooser = self.check(e.arguments[0], BOOL)
        if isinstance(expected, EnumType):
            a, b = self.check(e.arguments[1], expected), self.check(e.arguments[2], expected)
            pair = (a, b) if a and b else None
        else:
            pair = self._pair(e.arguments[1], e.arguments[2])
        if chooser is None or pair is None:
            return None
        type_ = pair[0].type
        if isinstance(type_, IntType):
            type_ = ranges.join(type_, _range(pair[1]))
        return ty.Call("SEL", (chooser, *pair), type_, e.place)


def _range(e: ty.Expression) -> IntType:
    assert isinstance(e.type, IntType)
    return e.type
