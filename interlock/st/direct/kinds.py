"""Elementary types, and values that carry theirs with them.

Source: IEC 61131-3, elementary data types and their widths.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from interlock.base.errors import InputError, Mistake, Place


class Family(Enum):
    """What is done with values of a type."""

    BOOL = "truths"
    INTEGER = "integers"
    BITS = "bit strings"
    REAL = "real numbers"
    TIME = "durations"
    ENUM = "values of an enumeration"
    TEXT = "texts and dates"
    REFERENCE = "references"


@dataclass(frozen=True)
class Kind:
    """An elementary type or an enumeration.

    Attributes
    ----------
    name : str
    family : Family
    bits : int
        Width; 0 for a literal without a type, which has any size.
    signed : bool
    labels : tuple of pairs of str and int
        Of an enumeration: its values with their numbers, in the order declared. A variable holds
        the place in this list.
    base : str
        Of an enumeration: the type that its numbers have.
    """

    name: str
    family: Family
    bits: int = 0
    signed: bool = False
    labels: tuple[tuple[str, int], ...] = ()
    base: str = ""

    @property
    def lo(self) -> int:
        """The least value of an integer, bit string or duration."""
        return -(1 << self.bits - 1) if self.signed else 0

    @property
    def hi(self) -> int:
        """The greatest value of an integer, bit string or duration."""
        return (1 << self.bits - 1) - 1 if self.signed else (1 << self.bits) - 1

    @property
    def is_literal(self) -> bool:
        """Whether it is the type of a number written without one."""
        return self in (LITERAL, REAL_LITERAL)

    def place_of(self, label: str) -> int | None:
        """Where an enumeration's value stands among all, in any case of letters, or None."""
        names = [name.casefold() for name, _ in self.labels]
        return names.index(label.casefold()) if label.casefold() in names else None


Content = int | float | str | object
"""What a variable holds: a number, a text, or what a reference points to."""


@dataclass(frozen=True)
class Value:
    """A value with its type."""

    kind: Kind
    content: Content

    @property
    def number(self) -> int:
        """The whole number that it is; of an enumeration's value the one it stands for."""
        assert isinstance(self.content, int)
        if self.kind.family is Family.ENUM:
            return self.kind.labels[self.content][1]
        return self.content

    @property
    def real(self) -> float:
        """The number as a floating-point number."""
        return self.content if isinstance(self.content, float) else float(self.number)


BOOL = Kind("BOOL", Family.BOOL, 1)
TIME = Kind("TIME", Family.TIME, 32, True)
LTIME = Kind("LTIME", Family.TIME, 64, True)
REAL = Kind("REAL", Family.REAL, 32, True)
LREAL = Kind("LREAL", Family.REAL, 64, True)
LITERAL = Kind("an integer", Family.INTEGER, 0, True)
REAL_LITERAL = Kind("a real number", Family.REAL, 0, True)
STRING = Kind("STRING", Family.TEXT)
REFERENCE = Kind("a reference", Family.REFERENCE)

SIGNED = tuple(
    Kind(name, Family.INTEGER, bits, True)
    for name, bits in (("SINT", 8), ("INT", 16), ("DINT", 32), ("LINT", 64))
)
UNSIGNED = tuple(
    Kind(name, Family.INTEGER, bits)
    for name, bits in (("USINT", 8), ("UINT", 16), ("UDINT", 32), ("ULINT", 64))
)
BITS = tuple(
    Kind(name, Family.BITS, bits)
    for name, bits in (("BYTE", 8), ("WORD", 16), ("DWORD", 32), ("LWORD", 64))
)
_TEXTS = ("WSTRING", "CHAR", "WCHAR", "DATE", "LDATE", "DT", "LDT", "TOD", "LTOD")
_OTHER_NAMES = {
    "DATE_AND_TIME": "DT",
    "TIME_OF_DAY": "TOD",
    "LDATE_AND_TIME": "LDT",
    "LTIME_OF_DAY": "LTOD",
}
ELEMENTARY: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        *(BOOL, TIME, LTIME, REAL, LREAL, STRING),
        *SIGNED,
        *UNSIGNED,
        *BITS,
        *(Kind(name, Family.TEXT) for name in _TEXTS),
    )
}
ELEMENTARY |= {other: ELEMENTARY[name] for other, name in _OTHER_NAMES.items()}

INT = ELEMENTARY["INT"]


def truth(value: bool | int) -> Value:
    """A BOOL."""
    return Value(BOOL, int(bool(value)))


def refusal(place: Place, says: str) -> InputError:
    """What tells that something cannot be executed."""
    return InputError([Mistake(place, says)])


def integer_kind(kind: Kind) -> Kind | None:
    """The integer type that a value of `kind` is calculated in, or None where it is no number."""
    match kind.family:
        case Family.INTEGER:
            return kind
        case Family.BITS:
            return next(u for u in UNSIGNED if u.bits == kind.bits)
        case Family.ENUM:
            base = ELEMENTARY.get(kind.base.upper(), INT)
            return integer_kind(base)
        case _:
            return None


def smallest_kind(number: int) -> Kind:
    """The smallest integer type that holds `number`, signed where one is."""
    fitting = (k for pair in zip(SIGNED, UNSIGNED, strict=True) for k in pair)
    return next((k for k in fitting if k.lo <= number <= k.hi), SIGNED[-1])


def wider(a: Kind, b: Kind) -> Kind:
    """The integer type in which values of two integer types are calculated."""
    if a.signed == b.signed:
        return a if a.bits >= b.bits else b
    signed, unsigned = (a, b) if a.signed else (b, a)
    return next((s for s in SIGNED if s.bits > unsigned.bits and s.bits >= signed.bits), SIGNED[-1])
