"""Types of Structured Text and the scopes that names are looked up in."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from interlock.kernel import system as kernel

# IEC 61131-3, table of elementary types: width in bits of each integer and bit string.
SIGNED = {"SINT": 8, "INT": 16, "DINT": 32, "LINT": 64}
UNSIGNED = {"USINT": 8, "UINT": 16, "UDINT": 32, "ULINT": 64}
BIT_STRINGS = {"BYTE": 8, "WORD": 16, "DWORD": 32, "LWORD": 64}
TIMES = {"TIME": 32, "LTIME": 64}
REALS = {"REAL": 32, "LREAL": 64}

LIMITS: dict[str, tuple[int, int]] = {
    **{name: (-(1 << (n - 1)), (1 << (n - 1)) - 1) for name, n in (SIGNED | TIMES).items()},
    **{name: (0, (1 << n) - 1) for name, n in (UNSIGNED | BIT_STRINGS).items()},
}
"""Least and greatest value of each type of whole numbers; of a TIME in milliseconds."""

INT_MIN, INT_MAX = LIMITS["INT"]

# The engines compute with integers of 64 bits; so far from their limits sums still fit.
GREATEST = 1 << 62


@dataclass(frozen=True)
class BoolType:
    """BOOL, the integers 0 and 1."""

    def __str__(self) -> str:
        return "BOOL"


@dataclass(frozen=True)
class TimeType:
    """TIME or LTIME, in whole milliseconds; what is known of the value does not make the type."""

    base: str = "TIME"
    lo: int = field(default=LIMITS["TIME"][0], compare=False)
    hi: int = field(default=LIMITS["TIME"][1], compare=False)

    def __str__(self) -> str:
        return self.base


@dataclass(frozen=True)
class BitsType:
    """BYTE, WORD, DWORD or LWORD: a string of bits, as the unsigned number that they make."""

    base: str

    def __str__(self) -> str:
        return self.base

    @property
    def width(self) -> int:
        """How many bits it has."""
        return BIT_STRINGS[self.base]


@dataclass(frozen=True)
class RealType:
    """REAL or LREAL: IEEE 754 binary32 or binary64.

    Attributes
    ----------
    table : tuple of float
        The values of a variable, in order; the kernel's variable is the place in it.
    """

    base: str = "REAL"
    table: tuple[float, ...] = field(default=(0.0,), compare=False)

    def __str__(self) -> str:
        return self.base or "REAL"


@dataclass(frozen=True)
class NumberClasses:
    """The numbers that each value of a choice stands for.

    Attributes
    ----------
    base : str
        ``REAL`` or ``LREAL``; empty where they are whole.
    spans : tuple of (float, float)
        The least and the greatest number of each class.
    is_passed : bool
        Whether what has them goes through all numbers between those that it has, so that only the
        first and the last of all are ever asked for as such.
    """

    base: str
    spans: tuple[tuple[float, float], ...]
    is_passed: bool = False


@dataclass(frozen=True)
class EnumType:
    """An enumeration; values are counted from 0 in the order of `labels`.

    Attributes
    ----------
    initial : int
        Value of a variable declared without one.
    numbers : tuple of int
        The integer that each value stands for where an integer is wanted; empty for 0, 1, …
    base : str
        The type of these integers.
    classes : NumberClasses or None
        Of an input that takes the number of a class in place of a value.
    """

    name: str
    labels: tuple[str, ...]
    initial: int = field(default=0, compare=False)
    numbers: tuple[int, ...] = ()
    base: str = "INT"
    classes: NumberClasses | None = field(default=None, compare=False)

    def __str__(self) -> str:
        return self.name

    @cached_property
    def _numbers(self) -> dict[str, int]:
        return {label.casefold(): number for number, label in enumerate(self.labels)}

    def value_of(self, label: str) -> int | None:
        """The value called `label`, in any case of letters, or None."""
        return self._numbers.get(label.casefold())

    def number_at(self, value: int) -> int:
        """The integer that a value stands for."""
        return self.numbers[value] if self.numbers else value


@dataclass(frozen=True)
class IntType:
    """An integer type limited to ``lo..hi``.

    Attributes
    ----------
    base : str
        The elementary type, such as ``DINT``. Empty for a literal, which takes the type of what
        it meets.
    """

    lo: int
    hi: int
    base: str = "INT"

    def __str__(self) -> str:
        if self.is_whole:
            return self.base
        return f"{self.base or 'INT'} ({self.lo}..{self.hi})"

    @property
    def limits(self) -> tuple[int, int]:
        """Those of the elementary type; a literal has its own."""
        return LIMITS.get(self.base, (self.lo, self.hi))

    @property
    def is_whole(self) -> bool:
        """Whether every value of the elementary type is meant."""
        return bool(self.base) and (self.lo, self.hi) == LIMITS[self.base]


Type = BoolType | TimeType | EnumType | IntType | BitsType | RealType

BOOL = BoolType()
TIME = TimeType()
LTIME = TimeType("LTIME", *LIMITS["LTIME"])
_ELEMENTARY: dict[str, Type] = {
    "BOOL": BOOL,
    "TIME": TIME,
    "LTIME": LTIME,
    **{name: IntType(*LIMITS[name], name) for name in SIGNED | UNSIGNED},
    **{name: BitsType(name) for name in BIT_STRINGS},
    **{name: RealType(name) for name in REALS},
}


def elementary(name: str) -> Type | None:
    """The elementary type called `name`, in any case of letters, or None.

    >>> str(elementary("dint")), elementary("STRING")
    ('DINT', None)
    """
    return _ELEMENTARY.get(name.upper())


def elementary_names() -> tuple[str, ...]:
    """The elementary types that variables may have."""
    return tuple(_ELEMENTARY)


def span_of(type_: Type) -> tuple[int, int]:
    """Least and greatest value of a type, as the kernel counts values."""
    match type_:
        case EnumType():
            return 0, len(type_.labels) - 1
        case IntType() | TimeType():
            return type_.lo, type_.hi
        case BitsType():
            return LIMITS[type_.base]
        case RealType():
            return 0, len(type_.table) - 1
        case _:
            return 0, 1


def base_of(type_: Type) -> str:
    """The elementary type of whole numbers that `type_` is, by name."""
    assert isinstance(type_, IntType | TimeType | BitsType)
    return type_.base


def domain_of(type_: Type) -> kernel.Domain:
    """The kernel's domain for variables of `type_`."""
    match type_:
        case EnumType():
            return kernel.enumeration(*type_.labels)
        case BoolType():
            return kernel.BOOL
        case RealType():
            return kernel.enumeration(*map(repr, type_.table))
        case _:
            return kernel.Domain(*span_of(type_))


def initial_of(type_: Type) -> int:
    """The value of a variable declared without one.

    Source: IEC 61131-3: 0 and FALSE, the first value of an enumeration unless its type says
    otherwise, the lower limit of a subrange (from memory).
    """
    match type_:
        case EnumType():
            return type_.initial
        case IntType() if not type_.is_whole:
            return type_.lo
        case _:
            return 0


def label_of(type_: Type, value: int) -> str:
    """A value as it is shown and as `number_of` reads it.

    >>> label_of(BOOL, 1), label_of(EnumType("lift", ("DOWN", "UP")), 1), label_of(IntType(0, 9), 7)
    ('TRUE', 'UP', '7')
    """
    match type_:
        case EnumType():
            return type_.labels[value]
        case BoolType():
            return "TRUE" if value else "FALSE"
        case RealType():
            return repr(type_.table[value])
        case _:
            return str(value)


def number_of(type_: Type, label: str) -> int | None:
    """The value that is shown as `label`, in any case of letters, or None.

    >>> number_of(BOOL, "true"), number_of(IntType(0, 9), "12")
    (1, None)
    """
    match type_:
        case EnumType():
            return type_.value_of(label)
        case BoolType():
            return {"FALSE": 0, "TRUE": 1}.get(label.upper())
        case RealType():
            shown = [repr(value) for value in type_.table]
            return shown.index(label) if label in shown else None
        case _:
            number = int(label) if re.fullmatch(r"-?[0-9]{1,20}", label) else None
            lo, hi = span_of(type_)
            return number if number is not None and lo <= number <= hi else None


@dataclass(frozen=True)
class Variable:
    """A name that can be read, spelled as declared.

    Attributes
    ----------
    constant : int or float or None
        The value of a constant; None for what has a value of its own in every scan.
    """

    name: str
    type: Type
    constant: float | None = None


@dataclass(frozen=True)
class Scope:
    """What names mean: variables, and enumerations whose values may be written.

    Attributes
    ----------
    variables : mapping of str to Variable
        Keys are casefolded.
    enums : mapping of str to EnumType
        Keys are casefolded.
    """

    variables: Mapping[str, Variable]
    enums: Mapping[str, EnumType]

    @classmethod
    def of(cls, names: Mapping[str, Type], enums: Iterable[EnumType] = ()) -> Scope:
        """A scope of `names`; the enumerations of their types come with them.

        >>> scope = Scope.of({"lift": EnumType("lift", ("DOWN", "UP"))})
        >>> scope.find("LIFT").name
        'lift'
        """
        known = {e.name.casefold(): e for e in enums}
        for type_ in names.values():
            if isinstance(type_, EnumType):
                known.setdefault(type_.name.casefold(), type_)
        return cls({n.casefold(): Variable(n, t) for n, t in names.items()}, known)

    def find(self, name: str) -> Variable | None:
        """The variable called `name`, in any case of letters."""
        return self.variables.get(name.casefold())

    @cached_property
    def _owners(self) -> dict[str, list[EnumType]]:
        owners: dict[str, list[EnumType]] = {}
        for enum in self.enums.values():
            for label in enum.labels:
                owners.setdefault(label.casefold(), []).append(enum)
        return owners

    def owners_of(self, label: str) -> list[EnumType]:
        """The enumerations that have a value called `label`."""
        return self._owners.get(label.casefold(), [])

    def known_names(self) -> list[str]:
        """Names worth suggesting for one that is not known."""
        labels = [label for enum in self.enums.values() for label in enum.labels]
        return list(dict.fromkeys(v.name for v in self.variables.values())) + labels
