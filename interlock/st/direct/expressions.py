"""Values of expressions, from left to right, every operand in its turn."""

from __future__ import annotations

from collections.abc import Sequence

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st.direct.arithmetic import rounded, wrapped
from interlock.st.direct.frames import Frame, Property
from interlock.st.direct.kinds import (
    ELEMENTARY,
    LITERAL,
    LTIME,
    REAL_LITERAL,
    REFERENCE,
    TIME,
    Family,
    Kind,
    Value,
    refusal,
    truth,
)
from interlock.st.direct.locate import Locating, Reached
from interlock.st.direct.storage import Bit, Cell

_COMPARING = frozenset(("=", "<>", "<", ">", "<=", ">="))


class Evaluating(Locating):
    """Evaluates expressions."""

    def evaluate(self, e: sx.Expression, frame: Frame, hint: Kind | None = None) -> Value:
        """The value of `e`, with its type.

        Raises
        ------
        InputError
            Where it has none.
        """
        match e:
            case sx.Number() | sx.Real() | sx.Truth() | sx.Duration() | sx.Opaque():
                return self._literal(e)
            case sx.Name() | sx.Element() | sx.Member() | sx.Direct() | sx.Pointed():
                return self._read(e, frame, hint)
            case sx.Qualified():
                return self._qualified(e)
            case sx.Unary():
                return self.arithmetic.unary(e.op, self.evaluate(e.operand, frame), e.place)
            case sx.Binary():
                return self._binary(e, frame)
            case sx.Junction():
                return self._junction(e, frame)
            case sx.Call():
                return self.call(e, frame, hint)
            case _:
                raise refusal(e.place, "this stands for no value here")

    def _literal(self, e: sx.Number | sx.Real | sx.Truth | sx.Duration | sx.Opaque) -> Value:
        match e:
            case sx.Truth():
                return truth(e.value)
            case sx.Duration():
                long = e.prefix.upper() in ("LTIME", "LT") or not TIME.lo <= e.ms <= TIME.hi
                return Value(LTIME if long else TIME, e.ms)
            case sx.Opaque():
                return Value(ELEMENTARY[e.kind], e.text)
            case sx.Real():
                kind = ELEMENTARY[e.prefix.upper()] if e.prefix else REAL_LITERAL
                return Value(kind, rounded(float(e.text), kind))
        if not e.prefix:
            return Value(LITERAL, e.value)
        kind = ELEMENTARY[e.prefix.upper()]
        if kind.family is Family.REAL:
            return Value(kind, rounded(float(e.value), kind))
        if kind.family is Family.BITS:
            return Value(kind, e.value & kind.hi)
        return Value(kind, wrapped(e.value, kind) if kind.bits > 1 else e.value)

    def _qualified(self, e: sx.Qualified) -> Value:
        owner = e.type_name.casefold().rpartition(".")[2]
        for kind in self.labels.get(e.label.casefold(), []):
            if kind.name.casefold().rpartition(".")[2] == owner:
                return Value(kind, kind.place_of(e.label))
        raise refusal(e.place, f"'{e.type_name}#{e.label}' is no value of an enumeration")

    def _read(self, e: sx.Expression, frame: Frame, hint: Kind | None) -> Value:
        others = self.alternatives(e, frame)
        if hint is not None and hint in others and isinstance(e, sx.Name):
            return Value(hint, hint.place_of(e.text))
        return self.value_of(self.reach(e, frame), e.place)

    def value_of(self, found: Reached, place: Place) -> Value:
        """The value of what a name means; of a structure it is a reference to it."""
        if isinstance(found, Property):
            return self.get(found, place)
        if isinstance(found, Cell | Bit):
            return found.read()
        return found if isinstance(found, Value) else Value(REFERENCE, found)

    def together(
        self, operands: Sequence[sx.Expression], frame: Frame, hint: Kind | None = None
    ) -> list[Value]:
        """Values of operands, of which one tells to which enumeration another's name belongs."""
        unclear = [len(self.alternatives(operand, frame)) > 1 for operand in operands]
        values: dict[int, Value] = {}
        for number, operand in enumerate(operands):
            if not unclear[number]:
                values[number] = self.evaluate(operand, frame, hint)
        kinds = [v.kind for v in values.values() if v.kind.family is Family.ENUM]
        known = kinds[0] if kinds else hint
        return [
            values[n] if n in values else self.evaluate(operand, frame, known)
            for n, operand in enumerate(operands)
        ]

    def _binary(self, e: sx.Binary, frame: Frame) -> Value:
        if e.op in _COMPARING:
            left, right = self.together((e.left, e.right), frame)
            return self.arithmetic.compare(e.op, left, right, e.place)
        left, right = self.evaluate(e.left, frame), self.evaluate(e.right, frame)
        if e.op == "XOR":
            return self.arithmetic.bitwise(e.op, left, right, e.place)
        return self.arithmetic.calculate(e.op, left, right, e.place, e.right.place)

    def _junction(self, e: sx.Junction, frame: Frame) -> Value:
        values = [self.evaluate(operand, frame) for operand in e.operands]
        op = "OR" if e.op.startswith("OR") else "AND"
        found = values[0]
        for value in values[1:]:
            found = self.arithmetic.bitwise(op, found, value, e.place)
        return found

    def is_true(self, e: sx.Expression, frame: Frame) -> bool:
        """The value of a condition.

        Raises
        ------
        InputError
            Where it is no BOOL.
        """
        value = self.evaluate(e, frame)
        is_bool = value.kind.family is Family.BOOL
        if not is_bool and not (value.kind.is_literal and value.content in (0, 1)):
            raise refusal(e.place, f"a condition is a BOOL, not {value.kind.name}")
        return bool(value.content)
