"""Types of Structured Text and the scopes that names are looked up in."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from interlock.kernel import system as kernel

# IEC 61131-3: INT is a signed integer of 16 bits.
INT_MIN, INT_MAX = -32768, 32767


@dataclass(frozen=True)
class BoolType:
    """BOOL, the integers 0 and 1."""

    def __str__(self) -> str:
        return "BOOL"


@dataclass(frozen=True)
class TimeType:
    """TIME, in whole milliseconds."""

    def __str__(self) -> str:
        return "TIME"


@dataclass(frozen=True)
class EnumType:
    """An enumeration; values are counted from 0 in the order of `labels`.

    Attributes
    ----------
    initial : int
        Value of a variable declared without one.
    """

    name: str
    labels: tuple[str, ...]
    initial: int = field(default=0, compare=False)

    def __str__(self) -> str:
        return self.name

    @cached_property
    def _numbers(self) -> dict[str, int]:
        return {label.casefold(): number for number, label in enumerate(self.labels)}

    def value_of(self, label: str) -> int | None:
        """The value called `label`, in any case of letters, or None."""
        return self._numbers.get(label.casefold())


@dataclass(frozen=True)
class IntType:
    """INT limited to ``lo..hi``."""

    lo: int
    hi: int

    def __str__(self) -> str:
        return f"INT ({self.lo}..{self.hi})"


Type = BoolType | TimeType | EnumType | IntType

BOOL = BoolType()
TIME = TimeType()


def domain_of(type_: Type) -> kernel.Domain:
    """The kernel's domain for variables of `type_`, which is not TIME."""
    match type_:
        case EnumType():
            return kernel.enumeration(*type_.labels)
        case IntType():
            return kernel.Domain(type_.lo, type_.hi)
        case _:
            return kernel.BOOL


def initial_of(type_: Type) -> int:
    """The value of a variable declared without one.

    Source: IEC 61131-3: FALSE, the first value of an enumeration unless its type says otherwise,
    the lower limit of a subrange (from memory).
    """
    match type_:
        case EnumType():
            return type_.initial
        case IntType():
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
        case _:
            number = int(label) if re.fullmatch(r"-?[0-9]{1,9}", label) else None
            in_range = isinstance(type_, TimeType) or (
                number is not None and type_.lo <= number <= type_.hi
            )
            return number if in_range else None


@dataclass(frozen=True)
class Variable:
    """A name that can be read, spelled as declared."""

    name: str
    type: Type


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
        return [v.name for v in self.variables.values()] + labels
