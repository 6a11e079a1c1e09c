"""The syntax tree of a project in Structured Text, as written: names unresolved, types unknown.

Places are left out of comparisons, so trees are equal when they say the same. Front ends make
this tree; `interlock.st.elaborate` makes one program of scalars from it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from interlock.base.errors import Place

# Expressions


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
    """

    text: str
    place: Place = field(compare=False)


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

# Statements


@dataclass(frozen=True)
class Assign:
    """``target := value;``."""

    target: Target
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
class For:
    """``FOR i := first TO last BY step DO … END_FOR;``."""

    variable: Name
    first: Expression
    last: Expression
    step: Expression | None
    body: tuple[Statement, ...]
    place: Place = field(compare=False)


@dataclass(frozen=True)
class While:
    """``WHILE condition DO … END_WHILE;``."""

    condition: Expression
    body: tuple[Statement, ...]
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Repeat:
    """``REPEAT … UNTIL condition END_REPEAT;``."""

    body: tuple[Statement, ...]
    until: Expression
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Leave:
    """``EXIT``, ``CONTINUE`` or ``RETURN``, as `word` says."""

    word: str
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Invoke:
    """The call of a function block's instance, of a function, a method or an action.

    Attributes
    ----------
    instance : Name
        What is called, as written; what follows `on` where that is given. An action or a method
        called without brackets is an Invoke without arguments, `bare`.
    on : Expression or None
        What it is called on where it is no plain name: ``legs[1]()`` has the Element and an
        instance with empty text, ``legs[1].Do()`` the Element and the instance ``Do``.
    """

    instance: Name
    inputs: tuple[InputArgument, ...]
    outputs: tuple[OutputArgument, ...]
    place: Place = field(compare=False)
    on: Expression | None = None
    bare: bool = False


@dataclass(frozen=True)
class Empty:
    """A semicolon by itself."""

    place: Place = field(compare=False)


@dataclass(frozen=True)
class Refused:
    """A statement that is well formed and has no meaning here, such as JMP.

    Attributes
    ----------
    says : str
        Why it is refused.
    text : str
        The statement, as written.
    """

    says: str
    place: Place = field(compare=False)
    text: str = ""


@dataclass(frozen=True)
class Defect:
    """To come here is a defect of the program; made by elaboration, never written.

    Attributes
    ----------
    says : str
        What is wrong, as in ``the loop runs more than 1000 times``.
    """

    says: str
    place: Place = field(compare=False)


Statement = Assign | If | Case | For | While | Repeat | Leave | Invoke | Empty | Refused | Defect

# Types and declarations


@dataclass(frozen=True)
class EnumLabel:
    """A value of an enumeration, with its number where one is given."""

    name: str
    value: Expression | None
    place: Place = field(compare=False)


@dataclass(frozen=True)
class TypeRef:
    """The type in a declaration.

    Attributes
    ----------
    name : str
        Of an elementary or a user's type, as written (with the namespace's name before a dot).
        Empty where `labels` or `fields` say what it is; ``UNION`` with `fields`, which has no
        meaning here; ``ARRAY`` with `dimensions` and `of`;
        ``POINTER`` or ``REFERENCE`` with `of` for the several spellings of these.
    lo, hi : Expression or None
        Limits of a subrange; `lo` alone is the length of a string.
    dimensions : tuple of pairs of Expression
        Limits of the indexes of an array; an array of any length, ``[*]``, has a None.
    of : TypeRef or None
    labels : tuple of EnumLabel
        The values of an enumeration; `base` is its base type where one is given.
    fields : tuple of Declaration
        The members of a structure.
    """

    name: str
    lo: Expression | None
    hi: Expression | None
    place: Place = field(compare=False)
    dimensions: tuple[tuple[Expression, Expression] | None, ...] = ()
    of: TypeRef | None = None
    labels: tuple[EnumLabel, ...] = ()
    base: str = ""
    fields: tuple[Declaration, ...] = ()
    initial: Expression | None = None


@dataclass(frozen=True)
class TypeDef:
    """A type with a name; its initial value is that of variables declared without one.

    Attributes
    ----------
    extends : str
        The structure whose members come first; usually empty.
    namespace : str
        Names of the enclosing namespaces, with dots; usually empty.
    """

    name: str
    type: TypeRef
    initial: Expression | None
    place: Place = field(compare=False)
    extends: str = ""
    namespace: str = ""


@dataclass(frozen=True)
class Declaration:
    """One or more variables of one type.

    Attributes
    ----------
    kind : str
        ``VAR_INPUT``, ``VAR_OUTPUT``, ``VAR_IN_OUT``, ``VAR``, ``VAR_TEMP``, ``VAR_STAT``,
        ``VAR_GLOBAL``, ``VAR_EXTERNAL``, ``VAR_INST``, or ``STRUCT`` for a structure's members.
    retain : bool
        RETAIN or PERSISTENT.
    address : str
        Of ``AT %IX1.0``, in upper case; usually empty.
    edge : str
        ``R_EDGE`` or ``F_EDGE``; usually empty.
    """

    kind: str
    retain: bool
    names: tuple[Name, ...]
    type: TypeRef
    initial: Expression | None
    place: Place = field(compare=False)
    constant: bool = False
    address: str = ""
    edge: str = ""
    words: tuple[str, ...] = field(default=(), compare=False)


# Sequential function chart in text


@dataclass(frozen=True)
class ActionUse:
    """An action of a step: its name, qualifier and, where it needs one, its time."""

    name: str
    qualifier: str
    duration: Expression | None
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Step:
    """A step of a chart."""

    name: str
    initial: bool
    actions: tuple[ActionUse, ...]
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Transition:
    """``TRANSITION FROM a TO b := condition``; several steps where it divides or joins."""

    name: str
    sources: tuple[Name, ...]
    targets: tuple[Name, ...]
    condition: Expression
    priority: int | None
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Chart:
    """A sequential function chart in text."""

    steps: tuple[Step, ...]
    transitions: tuple[Transition, ...]
    place: Place = field(compare=False)


# Units


@dataclass(frozen=True)
class Action:
    """Statements with a name, on the variables of their unit."""

    name: str
    body: tuple[Statement, ...]
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Unit:
    """A PROGRAM, FUNCTION_BLOCK, CLASS, FUNCTION, METHOD, INTERFACE or part of a PROPERTY.

    Attributes
    ----------
    kind : str
        ``PROGRAM``, ``FUNCTION_BLOCK``, ``CLASS``, ``FUNCTION``, ``METHOD``, ``INTERFACE``,
        ``GET`` or ``SET``. Statements without a unit's head are a PROGRAM named after the file.
    returns : TypeRef or None
        Of a FUNCTION, METHOD or GET; a SET has the property's type here.
    methods : tuple of Unit
        METHODs, GETs and SETs; a property's are named after it.
    chart : Chart or None
        In place of `body` where the unit is a chart.
    words : tuple of str
        ABSTRACT, FINAL, PUBLIC, PRIVATE and the like, as written.
    namespace : str
        Names of the enclosing namespaces, with dots; usually empty.
    """

    kind: str
    name: str
    declarations: tuple[Declaration, ...]
    body: tuple[Statement, ...]
    place: Place = field(compare=False)
    returns: TypeRef | None = None
    actions: tuple[Action, ...] = ()
    methods: tuple[Unit, ...] = ()
    extends: str = ""
    implements: tuple[str, ...] = ()
    chart: Chart | None = None
    words: tuple[str, ...] = ()
    namespace: str = ""


@dataclass(frozen=True)
class Task:
    """A task of a configuration; its interval in milliseconds, where it has one."""

    name: str
    interval_ms: int | None
    place: Place = field(compare=False)


@dataclass(frozen=True)
class ProgramInstance:
    """``PROGRAM name WITH task : type(x := g, y => h);`` in a configuration."""

    name: str
    task: str
    type_name: str
    place: Place = field(compare=False)
    inputs: tuple[InputArgument, ...] = ()
    outputs: tuple[OutputArgument, ...] = ()


@dataclass(frozen=True)
class Note:
    """Something that was read over because it means nothing here, as it is told to the reader."""

    place: Place
    says: str


@dataclass(frozen=True)
class SourceFile:
    """What one text holds.

    Attributes
    ----------
    name : str
        The file's name without folders and ending: a list of globals may be called by it.
    globals : tuple of Declaration
        Of VAR_GLOBAL outside any unit or in a configuration or resource.
    notes : tuple of Note
        What was read over: wrappers of an export, pragmas, prose, missing ends.
    """

    name: str
    types: tuple[TypeDef, ...]
    units: tuple[Unit, ...]
    globals: tuple[Declaration, ...]
    tasks: tuple[Task, ...]
    instances: tuple[ProgramInstance, ...]
    notes: tuple[Note, ...] = field(default=(), compare=False)


@dataclass(frozen=True)
class Program:
    """One program of scalars, as the checker takes it: what elaboration makes of a project."""

    name: str
    types: tuple[TypeDef, ...]
    declarations: tuple[Declaration, ...]
    body: tuple[Statement, ...]
    place: Place = field(compare=False)
