"""What a variable is made of, and where a name leads.

A shape is a type with everything resolved: which members, which limits, which unit. A reference
says where a value is kept: at one place, or, with a computed index, at one of several.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from interlock.base.errors import Place
from interlock.st import syntax as sx


@dataclass(frozen=True)
class Scalar:
    """One value; `type` names an elementary type, with a subrange where one is given, or an
    enumeration."""

    type: sx.TypeRef
    initial: sx.Expression | None = field(default=None, compare=False)


@dataclass(frozen=True)
class Array:
    """Elements of one shape; `limits` are the least and the greatest index of each dimension."""

    limits: tuple[tuple[int, int], ...]
    of: Shape


@dataclass(frozen=True)
class Field:
    """A member of a structure."""

    name: str
    shape: Shape
    initial: sx.Expression | None = field(compare=False)
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Structure:
    """Members in order."""

    name: str
    fields: tuple[Field, ...] = field(compare=False)


@dataclass(frozen=True)
class Block:
    """An instance of a user's FUNCTION_BLOCK or CLASS; `line` is the unit and those it extends,
    its own first."""

    name: str
    line: tuple[sx.Unit, ...] = field(compare=False)


@dataclass(frozen=True)
class Standard:
    """An instance of a standard function block."""

    name: str


@dataclass(frozen=True)
class Bound:
    """A variable of an interface: it stands for the instance that a call gives it."""

    name: str


@dataclass(frozen=True)
class Unknown:
    """Something without a finite meaning; `why` completes 'it depends on …'.

    Of a type that is not in the files given, what is read of it is a value all the same.
    """

    why: str
    is_foreign: bool = False


Shape = Scalar | Array | Structure | Block | Standard | Bound | Unknown


@dataclass(frozen=True)
class Located:
    """A value kept at one place, called `path` in the program of scalars."""

    path: str
    shape: Shape


@dataclass(frozen=True)
class Constant:
    """A value known while reading the text, of an elementary type."""

    value: sx.Expression
    shape: Scalar


@dataclass(frozen=True)
class Indexed:
    """One of several, by a computed index; the first of `choices` has the index `first`."""

    index: sx.Expression
    first: int
    choices: tuple[Reference, ...]
    place: Place

    @property
    def shape(self) -> Shape:
        """The shape of each choice."""
        return self.choices[0].shape


@dataclass(frozen=True)
class Bit:
    """A bit of a bit string."""

    base: Reference
    number: str
    shape: Scalar


Reference = Located | Constant | Indexed | Bit


def located(reference: Reference) -> Iterator[Located]:
    """Every place that `reference` may lead to."""
    match reference:
        case Located():
            yield reference
        case Indexed():
            for choice in reference.choices:
                yield from located(choice)
        case Bit():
            yield from located(reference.base)
        case Constant():
            pass


def element_path(path: str, indexes: tuple[int, ...]) -> str:
    """The name of an element of an array."""
    return f"{path}[{','.join(map(str, indexes))}]"


def with_choices(reference: Indexed, choices: tuple[Reference, ...]) -> Indexed:
    """`reference` to other choices by the same index."""
    return replace(reference, choices=choices)


def leaves(path: str, shape: Shape) -> Iterator[Located]:
    """The scalars and instances that a variable of `shape` at `path` consists of."""
    match shape:
        case Array():
            for indexes in every_index(shape.limits):
                yield from leaves(element_path(path, indexes), shape.of)
        case Structure():
            for member in shape.fields:
                yield from leaves(f"{path}.{member.name}", member.shape)
        case _:
            yield Located(path, shape)


def every_index(limits: tuple[tuple[int, int], ...]) -> Iterator[tuple[int, ...]]:
    """Every combination of indexes, the last running fastest."""
    if not limits:
        yield ()
        return
    lo, hi = limits[0]
    for index in range(lo, hi + 1):
        for rest in every_index(limits[1:]):
            yield (index, *rest)


def integer_literal(value: int, place: Place) -> sx.Expression:
    """An integer as it is written."""
    number = sx.Number(abs(value), place)
    return number if value >= 0 else sx.Unary("-", number, place)


def bool_scalar(place: Place) -> Scalar:
    """The shape of a BOOL."""
    return Scalar(sx.TypeRef("BOOL", None, None, place))
