"""Types, declarations, charts, units and files of Structured Text, as written."""

from __future__ import annotations

from dataclasses import dataclass, field

from interlock.base.errors import Place
from interlock.st.syntax_expressions import (
    Expression,
    InputArgument,
    Name,
    OutputArgument,
)
from interlock.st.syntax_statements import (
    Statement,
)


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

    @property
    def says_of_events(self) -> str:
        """What is told where it waits for events, which no cyclic scan does."""
        return (
            f"the task {self.name} waits for events (SINGLE); assumed: its programs are scanned "
            "again and again without them"
        )


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
    quotes_names : bool
        Whether some names stand in quotes, or behind a ``#``.
    undeclared : tuple of str
        Names in quotes for which a global was added, since no file declares them.
    """

    name: str
    types: tuple[TypeDef, ...]
    units: tuple[Unit, ...]
    globals: tuple[Declaration, ...]
    tasks: tuple[Task, ...]
    instances: tuple[ProgramInstance, ...]
    notes: tuple[Note, ...] = field(default=(), compare=False)
    quotes_names: bool = field(default=False, compare=False)
    undeclared: tuple[str, ...] = field(default=(), compare=False)


@dataclass(frozen=True)
class Program:
    """One program of scalars, as the checker takes it: what elaboration makes of a project."""

    name: str
    types: tuple[TypeDef, ...]
    declarations: tuple[Declaration, ...]
    body: tuple[Statement, ...]
    place: Place = field(compare=False)
