"""The expressions of Structured Text, as written: names unresolved, types unknown."""

from __future__ import annotations

from dataclasses import dataclass, field

from interlock.base.errors import Place


@dataclass(frozen=True)
class Number:
    """An integer literal; `prefix` is its type where one is written, as in ``INT#5``."""

    value: int
    place: Place = field(compare=False)
    prefix: str = ""


@dataclass(frozen=True)
class Real:
    """A literal with a decimal point or an exponent.

    Attributes
    ----------
    text : str
        Its digits without underlines, as Python's ``float`` reads them.
    prefix : str
        ``REAL`` or ``LREAL`` where one is written.
    """

    text: str
    place: Place = field(compare=False)
    prefix: str = ""


@dataclass(frozen=True)
class Truth:
    """``TRUE`` or ``FALSE``."""

    value: bool
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Duration:
    """A TIME literal, in milliseconds; `prefix` is ``LTIME`` where that is written."""

    ms: int
    place: Place = field(compare=False)
    prefix: str = ""


@dataclass(frozen=True)
class Opaque:
    """A literal that has no finite meaning here: a string, a date or a time of day, as written.

    Attributes
    ----------
    text : str
    kind : str
        ``STRING``, ``WSTRING``, ``DATE``, ``DT`` or ``TOD``.
    """

    text: str
    kind: str
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Name:
    """A name, or names joined by dots without an index, as in ``t1.Q`` or ``w.3``.

    Also an enumeration's value; ``E.V`` reads like ``t1.Q`` until it is resolved. ``THIS^.x`` is
    the name ``THIS.x``, ``SUPER^.x`` the name ``SUPER.x``; a bit written ``w.%X3`` is ``w.3``.

    Attributes
    ----------
    in_quotes : bool
        Whether its first part stands in quotes and is no variable of its own unit.
    """

    text: str
    place: Place = field(compare=False)
    in_quotes: bool = field(default=False, compare=False)


@dataclass(frozen=True)
class Element:
    """An element of an array, ``base[i, j]``."""

    base: Expression
    indexes: tuple[Expression, ...]
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Member:
    """A member of what is no plain name, as in ``a[1].x``; a bit has its number as name."""

    base: Expression
    name: str
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Direct:
    """A directly represented variable, ``%IX1.0``, in upper case."""

    address: str
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Pointed:
    """What a pointer points to, ``p^``."""

    base: Expression
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Qualified:
    """An enumeration's value with its type, as in ``lift#UP``."""

    type_name: str
    label: str
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Unary:
    """``NOT``, or ``-`` or ``+`` before a number."""

    op: str
    operand: Expression
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Binary:
    """``XOR = <> < > <= >= + - * / MOD **`` of two operands."""

    op: str
    left: Expression
    right: Expression
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Junction:
    """``AND`` or ``OR`` of two operands or more."""

    op: str
    operands: tuple[Expression, ...]
    place: Place = field(compare=False)


@dataclass(frozen=True)
class InputArgument:
    """``IN := x`` in a call; without a name where it is given by its position."""

    name: str
    value: Expression
    place: Place = field(compare=False)


@dataclass(frozen=True)
class OutputArgument:
    """``Q => x`` in a call, or ``NOT Q => x``."""

    name: str
    target: Target
    place: Place = field(compare=False)
    negated: bool = False


@dataclass(frozen=True)
class Call:
    """A function or a method that gives a value.

    Attributes
    ----------
    function : str
        As written, with dots where it is a member or in a namespace; what follows `on` where that
        is given.
    arguments : tuple of Expression
        Those given by position.
    named : tuple of InputArgument
        Those given by name.
    outputs : tuple of OutputArgument
    on : Expression or None
        What the method is called on where it is no plain name, as in ``a[1].Do()``.
    """

    function: str
    arguments: tuple[Expression, ...]
    place: Place = field(compare=False)
    named: tuple[InputArgument, ...] = ()
    outputs: tuple[OutputArgument, ...] = ()
    on: Expression | None = None


@dataclass(frozen=True)
class ArrayValue:
    """``[1, 2(0), …]``: an initial value; each item with how often it comes."""

    items: tuple[tuple[int, Expression | None], ...]
    place: Place = field(compare=False)


@dataclass(frozen=True)
class StructValue:
    """``(x := 1, y := 2)``: an initial value."""

    fields: tuple[InputArgument, ...]
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Choice:
    """An element of an array whose index is computed; made by elaboration, never written.

    Attributes
    ----------
    index : Expression
    first : int
        The index of the first of `values`. An index outside is a defect and gives the nearest.
    """

    index: Expression
    first: int
    values: tuple[Expression, ...]
    place: Place = field(compare=False)


Expression = (
    Number
    | Real
    | Truth
    | Duration
    | Opaque
    | Name
    | Element
    | Member
    | Direct
    | Pointed
    | Qualified
    | Unary
    | Binary
    | Junction
    | Call
    | ArrayValue
    | StructValue
    | Choice
)

Target = Name | Element | Member | Direct | Pointed
