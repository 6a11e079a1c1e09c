"""The checker of names: variables, constants, bits, and values of enumerations."""

from __future__ import annotations

from collections.abc import Callable

from interlock.base.errors import Place, nearest
from interlock.st import syntax as sx
from interlock.st import typed as ty
from interlock.st.types import BOOL, LIMITS, TIME, BitsType, EnumType, IntType, Type
from interlock.st.typing_expressions import Typer
from interlock.st.unify import constant_at
from interlock.st.write import write_expression


def bit_number(type_: Type, name: str) -> int | None:
    """The bit called `name` of a value of `type_`, or None where it has no such bit."""
    width = 0
    if isinstance(type_, IntType | BitsType) and type_.base:
        lo, hi = LIMITS[type_.base]
        width = (hi - lo).bit_length()
    return int(name) if name.isdigit() and int(name) < width else None


def flat_name(e: sx.Expression) -> str | None:
    """The name that elaboration gives to a variable or a part of one, such as ``a[1,-2].x``.

    None where an index is no literal, and for what is no variable.

    Examples
    --------
    >>> from interlock.st.parser import parse_expression
    >>> flat_name(parse_expression("legs[ 1 ].timer.Q"))
    'legs[1].timer.Q'
    """
    match e:
        case sx.Name():
            return e.text
        case sx.Member():
            base = flat_name(e.base)
            return base and f"{base}.{e.name}"
        case sx.Element():
            base, indexes = flat_name(e.base), [_literal(index) for index in e.indexes]
            if base is None or None in indexes:
                return None
            return f"{base}[{','.join(map(str, indexes))}]"
    return None


def _literal(index: sx.Expression) -> int | None:
    if isinstance(index, sx.Unary) and index.op == "-" and isinstance(index.operand, sx.Number):
        return -index.operand.value
    return index.value if isinstance(index, sx.Number) else None


class Names:
    """Types names; mistakes go to the checker that it belongs to.

    Parameters
    ----------
    checker : Typer
    is_excused : callable
        Whether a name that is not in the scope needs no message, because its declaration has one.

    Attributes
    ----------
    elapsed_reads : list of Place
        Where the elapsed time of a timer is read.
    """

    def __init__(self, checker: Typer, is_excused: Callable[[str], bool]) -> None:
        self._checker = checker
        self._is_excused = is_excused
        self.elapsed_reads: list[Place] = []

    def name(
        self, e: sx.Name | sx.Member | sx.Element, expected: Type | None
    ) -> ty.Expression | None:
        """What a name, an element or a member of one, or a bit of one means."""
        if not isinstance(e, sx.Name):
            text = flat_name(e)
            if text is not None:
                return self.name(sx.Name(text, e.place), expected)
            if isinstance(e, sx.Member):
                return self._bit(e.base, e.name, e)
            self._checker.refuse(e.place, "an index must be a number here, as in legs[2].firm")
            return None
        variable = self._checker.scope.find(e.text)
        enum = expected if isinstance(expected, EnumType) else None
        value = enum.value_of(e.text) if enum else None
        if enum is not None and value is not None:
            if variable is not None and variable.type == enum:
                self._checker.refuse(
                    e.place,
                    f"'{e.text}' is both a variable and a value of {enum.name}; "
                    f"write {enum.name}#{e.text} for the value, or rename the variable",
                )
                return None
            return ty.Constant(value, enum, enum.labels[value], e.place)
        if variable is not None:
            return self._read(variable.name, variable.type, variable.constant, e.place)
        owner, dot, last = e.text.rpartition(".")
        if dot and last.isdigit():
            return self._bit(sx.Name(owner, e.place), last, e)
        if dot and owner.casefold() in self._checker.scope.enums:
            return self.qualified(sx.Qualified(owner, last, e.place))
        return self._bare_label(e, enum)

    def _read(
        self, name: str, type_: Type, constant: float | None, place: Place
    ) -> ty.Expression | None:
        if constant is not None:
            return constant_at(type_, constant, name, place)
        if name.upper().endswith(".ET") and type_ == TIME:
            self.elapsed_reads.append(place)
        return ty.Read(name, type_, place)

    def _bit(self, base: sx.Expression, name: str, e: sx.Expression) -> ty.Expression | None:
        """Bit `name` of a bit string or an integer."""
        whole_string = self._checker.infer(base, None)
        if whole_string is None:
            return None
        number = bit_number(whole_string.type, name)
        if number is None:
            says = f"{write_expression(base)[:60]} is of type {whole_string.type}; it has no"
            self._checker.refuse(e.place, f"{says} {'bit' if name.isdigit() else 'member'} {name}")
            return None
        constant = ty.Constant(number, IntType(number, number, ""), name, e.place)
        return ty.Call("BIT", (whole_string, constant), BOOL, e.place)

    def _bare_label(self, e: sx.Name, enum: EnumType | None) -> ty.Expression | None:
        if self._is_excused(e.text):
            return None
        owners = self._checker.scope.owners_of(e.text)
        if enum is not None and (owners or "." not in e.text):
            known = nearest(e.text, enum.labels)
            what = "no value of" if owners else "neither declared nor a value of"
            self._checker.refuse(e.place, f"'{e.text}' is {what} {enum.name}{known}")
            return None
        if len(owners) == 1:
            value = owners[0].value_of(e.text) or 0
            return ty.Constant(value, owners[0], owners[0].labels[value], e.place)
        if owners:
            names = ", ".join(sorted(owner.name for owner in owners))
            qualified = f"{sorted(owner.name for owner in owners)[0]}#{e.text}"
            self._checker.refuse(
                e.place, f"'{e.text}' is a value of several types ({names}); write {qualified}"
            )
            return None
        self._checker.refuse(e.place, self._undeclared(e.text))
        return None

    def _undeclared(self, text: str) -> str:
        instance, dot, member = text.rpartition(".")
        if dot:
            prefix = instance.casefold() + "."
            outputs = [
                v.name[len(prefix) - len(key) :]
                for key, v in self._checker.scope.variables.items()
                if key.startswith(prefix)
            ]
            if outputs:
                return f"'{instance}' has no output '{member}'{nearest(member, outputs)}"
        # What elaboration has made stands in no text.
        names = [name for name in self._checker.scope.known_names() if "@" not in name]
        if not dot:
            names = [name for name in names if "." not in name]
        return f"'{text}' is not declared{nearest(text, names)}"

    def qualified(self, e: sx.Qualified) -> ty.Expression | None:
        """A value of an enumeration, named with its type."""
        enum = self._checker.scope.enums.get(e.type_name.casefold())
        if enum is None:
            names = [known.name for known in self._checker.scope.enums.values()]
            self._checker.refuse(
                e.place, f"'{e.type_name}' is no enumeration{nearest(e.type_name, names)}"
            )
            return None
        value = enum.value_of(e.label)
        if value is None:
            self._checker.refuse(
                e.place, f"'{e.label}' is no value of {enum.name}{nearest(e.label, enum.labels)}"
            )
            return None
        return ty.Constant(value, enum, f"{enum.name}#{enum.labels[value]}", e.place)
