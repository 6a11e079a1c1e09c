"""From the type in a declaration to the shape of a variable."""

from __future__ import annotations

import re
from dataclasses import replace
from math import prod

from interlock.base.errors import Mistake, is_slip, meant, nearest
from interlock.st import syntax as sx
from interlock.st.blocks import BLOCKS, TIMERS
from interlock.st.elaborate.constants import constant_integer
from interlock.st.elaborate.shapes import (
    Array,
    Block,
    Bound,
    Constant,
    Field,
    Scalar,
    Shape,
    Standard,
    Structure,
    Unknown,
)
from interlock.st.elaborate.state import Frame, Reading

INTEGERS = ("SINT", "INT", "DINT", "LINT", "USINT", "UINT", "UDINT", "ULINT")
BIT_STRINGS = ("BYTE", "WORD", "DWORD", "LWORD")
ELEMENTARY = frozenset((*INTEGERS, *BIT_STRINGS, "BOOL", "TIME", "LTIME", "REAL", "LREAL"))

A_POINTER = "a pointer"
A_REFERENCE = "a reference"
POINTING = (A_POINTER, A_REFERENCE)
"""Why variables are unknown that lead to others."""

TEXTS = {
    **dict.fromkeys(("STRING", "WSTRING", "CHAR", "WCHAR"), "a text"),
    **dict.fromkeys(("DATE", "LDATE"), "a date"),
    **dict.fromkeys(("DT", "LDT", "DATE_AND_TIME", "LDATE_AND_TIME"), "a date"),
    **dict.fromkeys(("TOD", "LTOD", "TIME_OF_DAY", "LTIME_OF_DAY"), "a time of day"),
    **dict.fromkeys(("POINTER", "REF_TO"), A_POINTER),
    "REFERENCE": A_REFERENCE,
    "ANY": "a value of any type",
}

# More variables than that nobody wants to see explored.
MOST_ELEMENTS = 4096
_MOST_NESTED = 40


class Types:
    """Shapes of types.

    Parameters
    ----------
    reading : Reading
    """

    def __init__(self, reading: Reading) -> None:
        self.reading = reading
        self.project = reading.project
        self._open: list[str] = []

    def shape(self, type_: sx.TypeRef, frame: Frame, owner: str) -> Shape:
        """The shape of `type_`.

        Parameters
        ----------
        type_ : syntax.TypeRef
        frame : Frame
            Where its constants are looked up.
        owner : str
            Name of what is declared; a type without a name is called after it.

        Raises
        ------
        ToldError
        """
        if type_.labels:
            return self._enumeration(self._unnamed(owner, type_))
        if type_.name.upper() == "UNION":
            # Its members share memory: to take it as a structure would say what is not so.
            return Unknown("a union")
        if type_.fields:
            return self._structure(owner, type_, "", frame)
        name = type_.name.upper()
        if name == "ARRAY":
            return self._array(type_, frame, owner)
        if name in ELEMENTARY:
            return Scalar(self._ranged(type_, frame))
        if name in TEXTS:
            return Unknown(TEXTS[name])
        type_def = self.project.type(type_.name)
        if type_def is not None:
            return self._of_type(type_def, type_, frame)
        unit = self.project.unit(type_.name)
        if unit is not None:
            return self._instance(unit, type_)
        # A timer may say which TIME it counts in; here both have milliseconds.
        name = name.removesuffix("_TIME") if name.removesuffix("_TIME") in TIMERS else name
        if name in BLOCKS:
            return Standard(name)
        return self._missing(type_)

    def _missing(self, type_: sx.TypeRef) -> Shape:
        known = self.project.known_types()
        is_typed = type_.name.upper().rpartition("_")[0] in BLOCKS
        if is_typed or is_slip(type_.name, known):
            says = f"type '{type_.name}' is not declared{nearest(type_.name, known)}"
            raise self.reading.refuse(type_.place, says)
        says = f"a variable of the type {type_.name}, which is not in the files given"
        self.reading.note(type_.place, f"the type {type_.name} is not in the files given")
        missing = f"the type {type_.name} is not in the files given{meant(type_.name, known)}"
        self.reading.found.missing.setdefault(says, Mistake(type_.place, missing))
        return Unknown(says, is_foreign=True)

    def _of_type(self, type_def: sx.TypeDef, type_: sx.TypeRef, frame: Frame) -> Shape:
        key = type_def.name.casefold()
        if key in self._open or len(self._open) > _MOST_NESTED:
            raise self.reading.refuse(type_def.place, f"type '{type_def.name}' contains itself")
        if type_def.type.labels:
            return self._enumeration(type_def)
        self._open.append(key)
        try:
            shape = (
                self._structure(type_def.name, type_def.type, type_def.extends, frame)
                if type_def.type.name.upper() != "UNION"
                and (type_def.type.fields or type_def.extends)
                else self.shape(type_def.type, frame, type_def.name)
            )
        finally:
            self._open.pop()
        if isinstance(shape, Scalar) and type_.lo is not None:
            shape = Scalar(self._ranged(replace(type_, name=shape.type.name), frame))
        if isinstance(shape, Scalar) and type_def.initial is not None:
            return replace(shape, initial=type_def.initial)
        return shape

    def _enumeration(self, type_def: sx.TypeDef) -> Scalar:
        known = self.reading.enums.setdefault(type_def.name.casefold(), type_def)
        return Scalar(sx.TypeRef(known.name, None, None, type_def.place))

    def _unnamed(self, owner: str, type_: sx.TypeRef) -> sx.TypeDef:
        """The type of a variable that lists its values itself; called after the variable."""
        name = re.sub(r"\W", "_", owner) + "_VALUES"
        while True:
            known = self.reading.enums.get(name.casefold())
            if known is not None and known.place == type_.place:
                return known
            if known is None and self.project.type(name) is None:
                return sx.TypeDef(name, type_, type_.initial, type_.place)
            name += "_"

    def _structure(self, name: str, type_: sx.TypeRef, extends: str, frame: Frame) -> Structure:
        fields: list[Field] = []
        if extends:
            base = self.shape(sx.TypeRef(extends, None, None, type_.place), frame, extends)
            if not isinstance(base, Structure):
                raise self.reading.refuse(type_.place, f"'{extends}' is no structure")
            fields += base.fields
        for declaration in type_.fields:
            for member in declaration.names:
                shape = self.shape(declaration.type, frame, f"{name}.{member.text}")
                fields.append(Field(member.text, shape, declaration.initial, member.place))
        return Structure(name, tuple(fields))

    def _array(self, type_: sx.TypeRef, frame: Frame, owner: str) -> Shape:
        assert type_.of is not None
        limits = []
        for pair in type_.dimensions:
            if pair is None:
                return Unknown("an array of any length")
            lo, hi = self.integer(pair[0], frame), self.integer(pair[1], frame)
            if lo is None or hi is None:
                place = (pair[0] if lo is None else pair[1]).place
                raise self.reading.refuse(place, "a limit of an array must be a constant integer")
            if hi < lo:
                raise self.reading.refuse(pair[0].place, f"the limits {lo}..{hi} are empty")
            limits.append((lo, hi))
        count = prod(hi - lo + 1 for lo, hi in limits)
        if count > MOST_ELEMENTS:
            says = f"the array has {count} elements; at most {MOST_ELEMENTS} can be explored"
            raise self.reading.refuse(type_.place, says)
        return Array(tuple(limits), self.shape(type_.of, frame, owner))

    def _instance(self, unit: sx.Unit, type_: sx.TypeRef) -> Shape:
        if unit.kind == "INTERFACE":
            return Bound(unit.name)
        if unit.kind not in ("FUNCTION_BLOCK", "CLASS"):
            raise self.reading.refuse(type_.place, f"'{unit.name}' is a {unit.kind} and no type")
        return Block(unit.name, self.line(unit))

    def line(self, unit: sx.Unit) -> tuple[sx.Unit, ...]:
        """`unit` and the units that it extends, its own first."""
        found = [unit]
        while found[-1].extends:
            base = self.project.unit(found[-1].extends)
            if base is None or base in found:
                last = found[-1]
                says = f"'{last.extends}', which {last.name} extends, is not in the files given"
                if base is not None:
                    says = f"'{base.name}' extends itself"
                raise self.reading.refuse(found[-1].place, says)
            found.append(base)
        return tuple(found)

    def _ranged(self, type_: sx.TypeRef, frame: Frame) -> sx.TypeRef:
        return replace(
            type_,
            name=type_.name.upper(),
            lo=self._limit(type_.lo, frame),
            hi=self._limit(type_.hi, frame),
        )

    def _limit(self, e: sx.Expression | None, frame: Frame) -> sx.Expression | None:
        if not isinstance(e, sx.Name | sx.Binary):
            return e
        value = self.integer(e, frame)
        if value is None:
            return e
        number = sx.Number(abs(value), e.place)
        return sx.Unary("-", number, e.place) if value < 0 else number

    def integer(self, e: sx.Expression, frame: Frame) -> int | None:
        """The integer that `e`, as written, is where it is constant."""

        def value_of(name: str) -> sx.Expression | None:
            found = frame.find(name) or self.constant_global(name)
            return found.value if isinstance(found, Constant) else None

        return constant_integer(e, value_of)

    def known_integer(self, e: sx.Expression) -> int | None:
        """The integer that `e`, over scalars, is in the pass that is being read, if it is known."""

        def value_of(path: str) -> sx.Expression | None:
            number = self.reading.passing.get(path)
            return None if number is None else sx.Number(number, e.place)

        return constant_integer(e, value_of)

    def is_the_same_in_each_pass(self, e: sx.Expression) -> bool:
        """Whether `e`, over scalars, is a constant, whatever a loop counts with."""
        return constant_integer(e, lambda _path: None) is not None

    def constant_global(self, name: str) -> Constant | None:
        """The global constant called `name`, with or without its list."""
        raise NotImplementedError
