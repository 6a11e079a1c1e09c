"""From typed trees to the kernel's expressions."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from interlock.base.errors import Place
from interlock.kernel import expr as ex
from interlock.kernel.evaluate import bounds
from interlock.kernel.expr import Expr, and_, const, ite, or_
from interlock.st import flaws as told
from interlock.st import lower_reals as lr
from interlock.st import ranges
from interlock.st import typed as ty
from interlock.st.lower_bits import BitStrings, shifted_by
from interlock.st.lower_real_terms import RealTerms
from interlock.st.lower_reals import NoteFlaw, Real
from interlock.st.types import (
    LIMITS,
    BitsType,
    BoolType,
    EnumType,
    IntType,
    RealType,
    TimeType,
    Type,
    base_of,
    span_of,
)

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
_SHIFTS = frozenset(("SHL", "SHR", "ROL", "ROR"))


def lower_expression(
    expression: ty.Expression,
    env: Mapping[str, Expr],
    flaws: list[tuple[Place, str, Expr]] | None = None,
) -> Expr:
    """The kernel's expression for `expression`, which is no REAL.

    Parameters
    ----------
    expression : typed.Expression
    env : mapping of str to Expr
        What each name stands for; keys are casefolded.
    flaws : list, optional
        Receives the place, the text and the condition of what must not happen: a divisor that is
        zero (m MOD 0 is 0 and no error, IEC 61131-3), a number that does not fit its type. No
        operator is skipped at run time: AND and OR evaluate both sides.
    """

    def note(place: Place, says: str, when: Expr) -> None:
        if flaws is not None:
            flaws.append((place, says, when))

    return Terms(env, note).whole(expression)


class Terms:
    """Lowers expressions over the same names.

    Parameters
    ----------
    env : mapping of str to Expr
        What each name stands for; keys are casefolded. Of a REAL, the place in its table.
    note : callable
        Receives flaws.
    tables : mapping of str to tuple of float
        The values of each REAL, by casefolded name.
    bound : callable, optional
        Least and greatest value of an expression; else only types tell.
    bit_strings : BitStrings, optional
    saturates : bool
        Whether numbers stop at the limits of their types; else they wrap.
    """

    def __init__(
        self,
        env: Mapping[str, Expr],
        note: NoteFlaw,
        tables: Mapping[str, tuple[float, ...]] | None = None,
        bound: Callable[[Expr], tuple[int, int]] | None = None,
        bit_strings: BitStrings | None = None,
        saturates: bool = False,
    ) -> None:
        self._env = env
        self.note = note
        self._tables = tables or {}
        self._bound = bound
        self._bits = bit_strings or BitStrings(self._free_bound)
        self._saturates = saturates
        self._types: dict[Expr, tuple[int, int]] = {}
        self._reals = RealTerms(self)

    def _free_bound(self, e: Expr) -> tuple[int, int]:
        names = {name: self._types.get(ex.var(name)) for name in ex.variables_of([e])}
        unknown = (-(1 << 62), 1 << 62)
        return bounds([e], {name: span or unknown for name, span in names.items()})[e]

    def whole(self, e: ty.Expression) -> Expr:
        """The expression for `e`, which is no REAL."""
        found = self.lower(e)
        assert isinstance(found, Expr), "a REAL is no expression by itself"
        return found

    def real(self, e: ty.Expression) -> Real:
        """The number that `e`, a REAL, is."""
        found = self.lower(e)
        assert isinstance(found, Real)
        return found

    def lower(self, e: ty.Expression) -> Expr | Real:
        """The expression, or the real number, for `e`."""
        match e:
            case ty.Constant():
                return lr.constant(e.real) if isinstance(e.type, RealType) else const(e.value)
            case ty.Read():
                return self._read(e)
            case ty.Unary():
                return self._unary(e)
            case ty.Junction():
                return self._junction(e, [self.whole(operand) for operand in e.operands])
            case ty.Binary():
                if isinstance(e.left.type, RealType):
                    return self._reals.binary(e)
                return self._binary(e, self.whole(e.left), self.whole(e.right))
            case _:
                return self._call(e)

    def _read(self, e: ty.Read) -> Expr | Real:
        found = self._env[e.name.casefold()]
        if isinstance(e.type, RealType):
            table = self._tables[e.name.casefold()]
            return lr.of_integer(found, (0, len(table) - 1), lambda n: table[n], e.place)
        if self._bound is None:
            self._types.setdefault(found, span_of(e.type))
        return found

    def _unary(self, e: ty.Unary) -> Expr | Real:
        operand = self.lower(e.operand)
        if isinstance(operand, Real):
            return lr.applied([operand], lambda value: 0.0 - value, e.place)
        if e.op == "-":
            span = ranges.negated(span_of(e.operand.type))
            return self.fitted(ex.sub(const(0), operand), span, e.type, e.place)
        if isinstance(e.type, BoolType):
            return ex.not_(operand)
        bits = self._bits.bits(operand, _width(e.type))
        return self._number([ex.not_(bit) for bit in bits], e.type)

    def _junction(self, e: ty.Junction, parts: Sequence[Expr]) -> Expr:
        join = and_ if e.op == "AND" else or_
        if isinstance(e.type, BoolType):
            return join(*parts)
        apart = [self._bits.bits(part, _width(e.type)) for part in parts]
        return self._number([join(*bits) for bits in zip(*apart, strict=True)], e.type)

    def _number(self, bits: Sequence[Expr], type_: Type) -> Expr:
        return self._bits.number(bits, LIMITS[base_of(type_)][0] < 0)

    def _binary(self, e: ty.Binary, left: Expr, right: Expr) -> Expr:
        if e.op == "XOR" and not isinstance(e.type, BoolType):
            a, b = (self._bits.bits(part, _width(e.type)) for part in (left, right))
            return self._number([ex.xor(x, y) for x, y in zip(a, b, strict=True)], e.type)
        spans = span_of(e.left.type), span_of(e.right.type)
        if e.op == "**":
            return self._power(e, left, right)
        if e.op == "/" and spans[1][0] <= 0 <= spans[1][1]:
            self.note(e.right.place, told.DIVISION, ex.eq(right, const(0)))
        result = _BINARY[e.op](left, right)
        if e.op not in ranges.ARITHMETIC:
            return result
        return self.fitted(result, ranges.ARITHMETIC[e.op](*spans), e.type, e.place)

    def _power(self, e: ty.Binary, base: Expr, exponent: Expr) -> Expr:
        """A power by multiplying: the exponent has few values."""
        lo, hi = self.span(exponent, span_of(e.right.type))
        if lo < 0:
            nothing = and_(ex.eq(base, const(0)), ex.lt(exponent, const(0)))
            self.note(e.right.place, told.DIVISION, nothing)
        powers = [const(1)]
        for _ in range(min(max(hi, 0), 64)):
            powers.append(ex.mul(powers[-1], base))
        even = ex.eq(ex.mod(exponent, const(2)), const(0))
        inverse = ite(ex.eq(base, const(1)), const(1), const(0))
        inverse = ite(ex.eq(base, const(-1)), ite(even, const(1), const(-1)), inverse)
        result = powers[-1]
        for number in range(len(powers) - 2, max(lo, 0) - 1, -1):
            result = ite(ex.le(exponent, const(number)), powers[number], result)
        if lo < 0:
            result = ite(ex.lt(exponent, const(0)), inverse, result)
        span = ranges.ARITHMETIC["**"](span_of(e.left.type), (lo, hi))
        return self.fitted(result, span, e.type, e.place)

    def span(self, e: Expr, by_type: tuple[int, int]) -> tuple[int, int]:
        """Least and greatest value of `e`, which its type limits, too."""
        if self._bound is None:
            return by_type
        lo, hi = self._bound(e)
        return max(lo, by_type[0]), min(hi, by_type[1])

    def fitted(self, e: Expr, span: tuple[int, int], type_: Type, place: Place) -> Expr:
        """A number as its type holds it; `span` is where it lies as far as types tell."""
        base = type_.base if isinstance(type_, IntType | TimeType) else ""
        if not base or ranges.within(span, LIMITS[base]):
            return e
        lo, hi = LIMITS[base]
        if self._bound is not None:
            span = self._bound(e)
        return kept_within(e, span, (lo, hi), self._saturates, self._teller(place, base))

    def _teller(self, place: Place, base: str) -> Callable[[Expr], None]:
        return lambda when: self.note(place, told.misfit(base), when)

    # Calls

    def _call(self, e: ty.Call) -> Expr | Real:
        types = [argument.type for argument in e.arguments]
        if isinstance(e.type, RealType) or any(isinstance(t, RealType) for t in types):
            return self._reals.call(e)
        arguments = [self.whole(argument) for argument in e.arguments]
        match e.function:
            case "SEL":  # SEL(G, IN0, IN1): IN1 where G holds
                return ite(arguments[0], arguments[2], arguments[1])
            case "LIMIT":  # LIMIT(MN, IN, MX)
                return ex.minimum(ex.maximum(arguments[1], arguments[0]), arguments[2])
            case "ABS":
                size = ex.maximum(arguments[0], ex.sub(const(0), arguments[0]))
                span = ranges.called("ABS", [span_of(types[0])])
                return self.fitted(ex.maximum(const(0), size), span, e.type, e.place)
            case "MIN" | "MAX":
                fold = ex.minimum if e.function == "MIN" else ex.maximum
                result = arguments[0]
                for argument in arguments[1:]:
                    result = fold(result, argument)
                return result
            case "CHOICE" | "VALUE":
                return self._chosen(e, arguments[0], arguments[2:])
            case "DEFECT":
                said = e.arguments[0]
                assert isinstance(said, ty.Constant)
                self.note(e.place, said.text, ex.TRUE)
                return ex.FALSE
            case "NUMBER":
                return _numbered(types[0], arguments[0])
            case _:
                return self._bit_call(e, arguments)

    def _bit_call(self, e: ty.Call, arguments: Sequence[Expr]) -> Expr:
        source = e.arguments[0].type
        match e.function:
            case "BIT":
                return self._bits.bits(arguments[0], _width(source))[arguments[1].value]
            case "WITH_BIT":
                bits = list(self._bits.bits(arguments[0], _width(e.type)))
                bits[arguments[1].value] = arguments[2]
                return self._number(bits, e.type)
            case name if name in _SHIFTS:
                bits_before = self._bits.bits(arguments[0], _width(e.type))
                span = self.span(arguments[1], span_of(e.arguments[1].type))
                return self._number(shifted_by(name, bits_before, arguments[1], span), e.type)
            case _:
                return self._converted(e, arguments[0], source)

    def _chosen(self, e: ty.Call, index: Expr, values: Sequence[Expr]) -> Expr:
        first = self.first_of(e, index, len(values))
        result = values[-1]
        for number in range(len(values) - 2, -1, -1):
            result = ite(ex.le(index, const(first + number)), values[number], result)
        return result

    def first_of(self, e: ty.Call, index: Expr, n_values: int) -> int:
        """The index of the first value; an index outside is noted."""
        start = e.arguments[1]
        assert isinstance(start, ty.Constant)
        first, last = start.value, start.value + n_values - 1
        lo, hi = self.span(index, span_of(e.arguments[0].type))
        sides = []
        if lo < first:
            sides.append(ex.lt(index, const(first)))
        if hi > last:
            sides.append(ex.lt(const(last), index))
        if sides:
            says = told.none_at(e.function, e.type, first, last)
            self.note(start.place, says, or_(*sides))
        return first

    def _converted(self, e: ty.Call, value: Expr, source: Type) -> Expr:
        if isinstance(e.type, BoolType):
            return value if isinstance(source, BoolType) else ex.ne(value, const(0))
        lo, hi = LIMITS[base_of(e.type)]
        span = span_of(source)
        if not (isinstance(source, BitsType) or isinstance(e.type, BitsType)):
            return self.fitted(value, span, e.type, e.place)
        if ranges.within(self.span(value, span), (lo, hi)):
            return value
        return self._number(self._bits.bits(value, _width(e.type)), e.type)


def _width(type_: Type) -> int:
    lo, hi = LIMITS[base_of(type_)]
    return (hi - lo).bit_length()


def _numbered(enum: Type, value: Expr) -> Expr:
    """The number of an enumeration's value."""
    assert isinstance(enum, EnumType)
    if not enum.numbers:
        return value
    result = const(enum.numbers[-1])
    for place in range(len(enum.numbers) - 2, -1, -1):
        result = ite(ex.eq(value, const(place)), const(enum.numbers[place]), result)
    return result


def kept_within(
    e: Expr,
    span: tuple[int, int],
    limits: tuple[int, int],
    saturates: bool,
    tell: Callable[[Expr], None],
) -> Expr:
    """A number of `span` as a type with `limits` holds it: wrapped, or the nearest.

    Parameters
    ----------
    tell : callable
        Receives the condition under which the number does not fit.
    """
    lo, hi = limits
    sides = []
    if span[0] < lo:
        sides.append(ex.lt(e, const(lo)))
    if span[1] > hi:
        sides.append(ex.lt(const(hi), e))
    if not sides:
        return e
    tell(or_(*sides))
    if saturates:
        return ex.clamp(e, lo, hi)
    size = const(hi - lo + 1)
    if span[0] >= lo - size.value and span[1] <= hi + size.value:
        # At most once around.
        wrapped = ite(ex.lt(e, const(lo)), ex.add(e, size), e)
        wrapped = ite(ex.lt(const(hi), e), ex.sub(e, size), wrapped)
    else:
        rest = ex.mod(ex.sub(e, const(lo)), size)
        wrapped = ex.add(ite(ex.lt(rest, const(0)), ex.add(rest, size), rest), const(lo))
    # It lies within the limits; interval arithmetic does not see it.
    return ex.clamp(wrapped, lo, hi)
