"""The syntax tree of Structured Text, as written: names unresolved, types unknown.

Places are left out of comparisons, so trees are equal when they say the same.
"""

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
class Truth:
    """``TRUE`` or ``FALSE``."""

    value: bool
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Duration:
    """A TIME literal, in milliseconds."""

    ms: int
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Name:
    """A variable, an enumeration's value, or an output of a block as in ``t1.Q``."""

    text: str
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
    """``XOR = <> < > <= >= + - * / MOD`` of two operands."""

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
class Call:
    """A standard function."""

    function: str
    arguments: tuple[Expression, ...]
    place: Place = field(compare=False)


Expression = Number | Truth | Duration | Name | Qualified | Unary | Binary | Junction | Call


@dataclass(frozen=True)
class Assign:
    """``target := value;``."""

    target: Name
    value: Expression
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Branch:
    """A condition and what is done where it is the first that holds."""

    condition: Expression
    body: tuple[Statement, ...]
    place: Place = field(compare=False)


@dataclass(frozen=True)
class If:
    """``IF … ELSIF … ELSE … END_IF;``."""

    branches: tuple[Branch, ...]
    otherwise: tuple[Statement, ...]
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Label:
    """One value of a CASE branch, or a range of them."""

    first: Expression
    last: Expression | None
    place: Place = field(compare=False)


@dataclass(frozen=True)
class CaseBranch:
    """The labels of a CASE branch and what is done for them."""

    labels: tuple[Label, ...]
    body: tuple[Statement, ...]
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Case:
    """``CASE … OF … ELSE … END_CASE;``."""

    selector: Expression
    branches: tuple[CaseBranch, ...]
    otherwise: tuple[Statement, ...]
    place: Place = field(compare=False)


@dataclass(frozen=True)
class InputArgument:
    """``IN := x`` in the call of a block."""

    name: str
    value: Expression
    place: Place = field(compare=False)


@dataclass(frozen=True)
class OutputArgument:
    """``Q => x`` in the call of a block."""

    name: str
    target: Name
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Invoke:
    """The call of a function block's instance."""

    instance: Name
    inputs: tuple[InputArgument, ...]
    outputs: tuple[OutputArgument, ...]
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Empty:
    """A semicolon by itself."""

    place: Place = field(compare=False)


Statement = Assign | If | Case | Invoke | Empty


@dataclass(frozen=True)
class TypeDef:
    """An enumeration."""

    name: str
    labels: tuple[Name, ...]
    initial: Expression | None
    place: Place = field(compare=False)


@dataclass(frozen=True)
class TypeRef:
    """The type in a declaration, with its subrange where one is given."""

    name: str
    lo: Expression | None
    hi: Expression | None
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Declaration:
    """One or more variables of one type.

    Attributes
    ----------
    kind : str
        ``VAR_INPUT``, ``VAR_OUTPUT`` or ``VAR``.
    """

    kind: str
    retain: bool
    names: tuple[Name, ...]
    type: TypeRef
    initial: Expression | None
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Program:
    """A file: enumerations and one program."""

    name: str
    types: tuple[TypeDef, ...]
    declarations: tuple[Declaration, ...]
    body: tuple[Statement, ...]
    place: Place = field(compare=False)
