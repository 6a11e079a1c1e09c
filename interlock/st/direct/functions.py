"""The standard functions.

Source: IEC 61131-3, standard functions (from memory); what happens where a value does not fit is in
"What a model means" of DEVELOPERS.md.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from itertools import pairwise

from interlock.base.errors import Place
from interlock.st.direct.arithmetic import Arithmetic, power
from interlock.st.direct.conversions import converted, truncated
from interlock.st.direct.kinds import (
    ELEMENTARY,
    INT,
    LREAL,
    REAL,
    REAL_LITERAL,
    STRING,
    Family,
    Kind,
    Value,
    refusal,
    truth,
)

_OPERATORS = {
    "ADD": "+",
    "SUB": "-",
    "MUL": "*",
    "DIV": "/",
    "MOD": "MOD",
    "EXPT": "**",
    "ADD_TIME": "+",
    "ADD_LTIME": "+",
    "SUB_TIME": "-",
    "SUB_LTIME": "-",
    "MUL_TIME": "*",
    "MUL_LTIME": "*",
    "MULTIME": "*",
    "DIV_TIME": "/",
    "DIV_LTIME": "/",
    "DIVTIME": "/",
}
_COMPARISONS = {"GT": ">", "GE": ">=", "EQ": "=", "LE": "<=", "LT": "<", "NE": "<>"}
_BITWISE = frozenset(("AND", "OR", "XOR"))
_REAL: dict[str, Callable[[float], float]] = {
    "SQRT": lambda x: math.sqrt(x) if x >= 0 else math.nan,
    "LN": lambda x: math.log(x) if x > 0 else (-math.inf if x == 0 else math.nan),
    "LOG": lambda x: math.log10(x) if x > 0 else (-math.inf if x == 0 else math.nan),
    "EXP": lambda x: power(math.e, x) if x > 700 else math.exp(x),
    "SIN": lambda x: math.sin(x) if math.isfinite(x) else math.nan,
    "COS": lambda x: math.cos(x) if math.isfinite(x) else math.nan,
    "TAN": lambda x: math.tan(x) if math.isfinite(x) else math.nan,
    "ASIN": lambda x: math.asin(x) if abs(x) <= 1 else math.nan,
    "ACOS": lambda x: math.acos(x) if abs(x) <= 1 else math.nan,
    "ATAN": math.atan,
}
_SHIFTS = frozenset(("SHL", "SHR", "ROL", "ROR"))
_TEXT = frozenset(("LEN", "CONCAT", "LEFT", "RIGHT", "MID", "FIND", "INSERT", "DELETE", "REPLACE"))
_OTHERS = frozenset(("ABS", "NOT", "MOVE", "SEL", "MUX", "LIMIT", "MIN", "MAX", "ATAN2", "TRUNC"))
_CONVERSION = re.compile(r"(?:([A-Z_]+?)_)?(TO|TRUNC)_([A-Z]+)")

# In which order arguments stand that are given by name; IN1, IN2 … stand in their own.
NAMES: dict[str, tuple[str, ...]] = {
    "SEL": ("G", "IN0", "IN1"),
    "LIMIT": ("MN", "IN", "MX"),
    "ATAN2": ("Y", "X"),
    "LEFT": ("IN", "L"),
    "RIGHT": ("IN", "L"),
    "MID": ("IN", "L", "P"),
    "DELETE": ("IN", "L", "P"),
    "INSERT": ("IN1", "IN2", "P"),
    "REPLACE": ("IN1", "IN2", "L", "P"),
    **dict.fromkeys(_SHIFTS, ("IN", "N")),
    "MUX": ("K", *(f"IN{n}" for n in range(64))),
}
_BY_NUMBER = ("IN", *(f"IN{n}" for n in range(1, 64)))


def order_of(function: str, name: str) -> int | None:
    """At which position the argument `name` of a standard function stands, or None."""
    names = NAMES.get(function, _BY_NUMBER)
    if name not in names:
        return None
    at = names.index(name)
    return max(at - 1, 0) if names is _BY_NUMBER else at


def conversion_of(function: str) -> tuple[Kind | None, bool, Kind] | None:
    """What ``X_TO_Y``, ``TO_Y`` or ``X_TRUNC_Y`` converts: from, whether it truncates, to."""
    found = _CONVERSION.fullmatch(function)
    if found is None or (found[3] not in ELEMENTARY):
        return None
    if found[1] and found[1] not in ELEMENTARY:
        return None
    source = ELEMENTARY[found[1]] if found[1] else None
    return source, found[2] == "TRUNC", ELEMENTARY[found[3]]


def is_standard(function: str) -> bool:
    """Whether there is a standard function of this name in upper case."""
    known = (_OPERATORS, _COMPARISONS, _BITWISE, _REAL, _SHIFTS, _TEXT, _OTHERS)
    return any(function in names for names in known) or conversion_of(function) is not None


class Functions:
    """The standard functions on values.

    Parameters
    ----------
    arithmetic : Arithmetic
    """

    def __init__(self, arithmetic: Arithmetic) -> None:
        self._arithmetic = arithmetic

    def call(self, function: str, values: Sequence[Value], place: Place) -> Value:
        """The value of a standard function.

        Parameters
        ----------
        function : str
            In upper case.
        values : sequence of Value
            In the order in which arguments are given without names.
        place : Place

        Raises
        ------
        InputError
            For a wrong number or type of arguments.
        """
        try:
            return self._call(function, list(values), place)
        except (IndexError, ValueError):
            raise refusal(place, f"{function} does not take {len(values)} arguments") from None

    def _call(self, function: str, values: list[Value], place: Place) -> Value:
        a = self._arithmetic
        if function in _OPERATORS:
            return self._folded(_OPERATORS[function], values, place)
        if function in _COMPARISONS:
            op = _COMPARISONS[function]
            pairs = pairwise(values)
            return truth(all(a.compare(op, x, y, place).number for x, y in pairs))
        if function in _BITWISE:
            found = values[0]
            for value in values[1:]:
                found = a.bitwise(function, found, value, place)
            return found
        if function in _REAL:
            return self._of_real(function, values, place)
        if function in _SHIFTS:
            return self._shifted(function, values, place)
        if function in _TEXT:
            return _of_texts(function, values)
        if function in _OTHERS:
            return self._other(function, values, place)
        return self._convert(function, values, place)

    def _folded(self, op: str, values: list[Value], place: Place) -> Value:
        found, *rest = values
        for value in rest:
            found = self._arithmetic.calculate(op, found, value, place)
        return found

    def _of_real(self, function: str, values: list[Value], place: Place) -> Value:
        (value,) = values
        number = self._arithmetic.number(value, place)
        kind = number.kind if number.kind.family is Family.REAL else REAL
        kind = LREAL if kind == REAL_LITERAL else kind
        found = _REAL[function](number.real)
        return Value(kind, self._arithmetic.finite(found, kind, place))

    def _shifted(self, function: str, values: list[Value], place: Place) -> Value:
        whole, by = values
        count = max(self._arithmetic.number(by, place).number, 0)
        kind = whole.kind
        if kind.family not in (Family.BITS, Family.INTEGER) or kind.bits == 0:
            raise refusal(place, f"{function} is for bit strings, not {kind.name}")
        mask = (1 << kind.bits) - 1
        bits = whole.number & mask
        if function in ("ROL", "ROR"):
            turn = count % kind.bits if function == "ROL" else -count % kind.bits
            found = (bits << turn | bits >> kind.bits - turn) & mask
        else:
            count = min(count, kind.bits)
            found = bits << count & mask if function == "SHL" else bits >> count
        is_negative = kind.signed and found > kind.hi
        return Value(kind, found - (mask + 1) if is_negative else found)

    def _other(self, function: str, values: list[Value], place: Place) -> Value:
        a = self._arithmetic
        match function:
            case "NOT":
                (value,) = values
                return a.unary("NOT", value, place)
            case "MOVE":
                (value,) = values
                return value
            case "ABS":
                (value,) = values
                is_negative = value.content != value.content or value.real < 0
                return a.unary("-" if is_negative else "+", value, place)
            case "SEL":
                chooser, *both = values
                first, second = self._alike(both, place)
                return second if chooser.number else first
            case "MUX":
                return self._multiplexed(values, place)
            case "LIMIT":
                low, value, high = self._alike(values, place)
                raised = low if _less(value, low) else value
                return high if _less(high, raised) else raised
            case "MIN" | "MAX":
                return self._extreme(function, values, place)
            case "ATAN2":
                kind, (y, x) = a.common(values, place)
                real = kind if kind.family is Family.REAL else REAL
                return Value(real, a.finite(math.atan2(y.real, x.real), real, place))
            case _:
                (value,) = values
                return truncated(value, ELEMENTARY["DINT"], place, a)

    def _extreme(self, function: str, values: list[Value], place: Place) -> Value:
        if len(values) < 2:
            raise ValueError
        found, *rest = self._alike(values, place)
        for value in rest:
            if _less(value, found) if function == "MIN" else _less(found, value):
                found = value
        return found

    def _multiplexed(self, values: list[Value], place: Place) -> Value:
        chooser, *rest = values
        rest = self._alike(rest, place)
        number = self._arithmetic.number(chooser, place).number
        if not 0 <= number < len(rest):
            self._arithmetic.note(place, f"the index is outside 0..{len(rest) - 1}")
        return rest[min(max(number, 0), len(rest) - 1)]

    def _alike(self, values: list[Value], place: Place) -> list[Value]:
        """The values in the one type that they have together."""
        families = {value.kind.family for value in values}
        if Family.REFERENCE in families:
            raise refusal(place, "a single value is expected")
        if len({value.kind for value in values}) == 1:
            return values
        if families <= {Family.INTEGER, Family.REAL, Family.BITS}:
            return self._arithmetic.common(values, place)[1]
        typed = next((v.kind for v in values if not v.kind.is_literal), INT)
        return [Value(typed, value.content) for value in values]

    def _convert(self, function: str, values: list[Value], place: Place) -> Value:
        found = conversion_of(function)
        assert found is not None
        (value,) = values
        source, truncates, kind = found
        if value.kind.is_literal and source is not None:
            value = converted(value, source, place, self._arithmetic)
        if value.kind == REAL_LITERAL:
            value = Value(LREAL, value.content)
        if truncates:
            return truncated(value, kind, place, self._arithmetic)
        return converted(value, kind, place, self._arithmetic)


def _less(a: Value, b: Value) -> bool:
    return bool(a.content < b.content)  # type: ignore[operator]


def _of_texts(function: str, values: list[Value]) -> Value:
    """Texts are carried without a limit of their lengths; nothing that matters may read them."""
    text = str(values[0].content)
    numbers = [v.number for v in values[1:] if isinstance(v.content, int)]
    other = str(values[1].content) if len(values) > 1 else ""
    match function:
        case "LEN":
            return Value(INT, len(text))
        case "CONCAT":
            return Value(STRING, "".join(str(value.content) for value in values))
        case "LEFT":
            return Value(STRING, text[: numbers[0]])
        case "RIGHT":
            return Value(STRING, text[max(len(text) - numbers[0], 0) :])
        case "MID":
            start = numbers[1] - 1
            return Value(STRING, text[start : start + numbers[0]])
        case "FIND":
            return Value(INT, text.find(other) + 1)
        case "INSERT":
            return Value(STRING, text[: numbers[0]] + other + text[numbers[0] :])
        case "DELETE":
            start = numbers[1] - 1
            return Value(STRING, text[:start] + text[start + numbers[0] :])
        case _:
            start = numbers[1] - 1
            return Value(STRING, text[:start] + other + text[start + numbers[0] :])
