"""The checked tree: names resolved, every expression typed, constants as integers.

A truth value is 0 or 1, a value of an enumeration its number, a TIME its milliseconds. The
lowering and the interpreter both start from here and share nothing behind it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from interlock.base.errors import Mistake, Place
from interlock.st.syntax import Note
from interlock.st.types import BOOL, EnumType, Type


@dataclass(frozen=True)
class Constant:
    """A value; `text` is how it was written, `real` the value of a REAL."""

    value: int
    type: Type
    text: str
    place: Place = field(compare=False)
    real: float = 0.0


@dataclass(frozen=True)
class Read:
    """A variable, or the output of a block as in ``t1.Q``, spelled as declared."""

    name: str
    type: Type
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Unary:
    """``NOT`` or ``-``; of bit strings NOT turns every bit."""

    op: str
    operand: Expression
    type: Type
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Binary:
    """``XOR = <> < > <= >= + - * / MOD **``.

    Numbers are combined in `type`: what does not fit it wraps or saturates.
    """

    op: str
    left: Expression
    right: Expression
    type: Type
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Junction:
    """``AND`` or ``OR`` of two or more; of bit strings bit by bit."""

    op: str
    operands: tuple[Expression, ...]
    type: Type
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Call:
    """A function of the standard that is no operator, or one of these.

    ``CHOICE(index, first, v0, v1, …)`` is the value at `index`, counted from the constant `first`;
    ``VALUE`` is the same of the values of an enumeration by their numbers, or the first of them;
    ``NUMBER(e)`` the number of an enumeration's value; ``BIT(w, 3)`` a bit, ``WITH_BIT(w, 3, b)``
    `w` with another bit; ``TO_REAL(n)`` a whole number among reals; ``DEFECT(says)`` is FALSE, and
    to come to it a defect. Conversions have the name
    written: what they do follows from the types.
    """

    function: str
    arguments: tuple[Expression, ...]
    type: Type
    place: Place = field(compare=False)


Expression = Constant | Read | Unary | Binary | Junction | Call


@dataclass(frozen=True)
class Assign:
    """``target := value``."""

    target: str
    type: Type
    value: Expression
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Branch:
    """A condition and its statements."""

    condition: Expression
    body: tuple[Statement, ...]
    place: Place = field(compare=False)


@dataclass(frozen=True)
class If:
    """The first branch whose condition holds, else `otherwise`."""

    branches: tuple[Branch, ...]
    otherwise: tuple[Statement, ...]
    place: Place = field(compare=False)


@dataclass(frozen=True)
class CaseBranch:
    """Closed ranges of values and the statements for them."""

    ranges: tuple[tuple[int, int], ...]
    body: tuple[Statement, ...]
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Case:
    """The branch whose ranges hold the selector's value, else `otherwise`."""

    selector: Expression
    branches: tuple[CaseBranch, ...]
    otherwise: tuple[Statement, ...]
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Taken:
    """An output of a block given to a variable, ``Q => target``."""

    output: str
    target: str
    type: Type
    source_type: Type
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Invoke:
    """A call of an instance; its inputs in upper case, PT only where the preset time varies."""

    instance: str
    inputs: tuple[tuple[str, Expression], ...]
    outputs: tuple[Taken, ...]
    place: Place = field(compare=False)


Statement = Assign | If | Case | Invoke


def defect(says: str, place: Place) -> If:
    """A statement that does nothing; to come to it is a defect of the program."""
    text = Constant(0, BOOL, says, place)
    condition = Call("DEFECT", (text,), BOOL, place)
    return If((Branch(condition, (), place),), (), place)


@dataclass(frozen=True)
class Declared:
    """A variable of the program.

    Attributes
    ----------
    kind : str
        ``VAR_INPUT``, ``VAR_OUTPUT``, ``VAR`` or ``VAR_TEMP``, which has its initial value at the
        start of every scan.
    real : float
        Initial value of a REAL.
    """

    name: str
    type: Type
    initial: int
    kind: str
    retain: bool
    place: Place = field(compare=False)
    real: float = 0.0


@dataclass(frozen=True)
class Instance:
    """A function block's instance.

    Attributes
    ----------
    preset_ms : int
        Preset time of a timer, in milliseconds; the greatest where it varies.
    varies : bool
        Whether each call gives the preset time as an expression.
    counted : str
        The type that a counter counts in.
    """

    name: str
    block: str
    retain: bool
    preset_ms: int
    place: Place = field(compare=False)
    varies: bool = False
    counted: str = "INT"


@dataclass(frozen=True)
class LeftOut:
    """An output or input that is no part of the program; where and why it cannot be known."""

    name: str
    why: Mistake


@dataclass(frozen=True)
class AnyValue:
    """An input that took the place of what is computed of several: it has any value in each scan.

    Attributes
    ----------
    input : str
    says : str
        What was computed, in words; empty where code that is not in the files has its place.
    flaws : tuple of Mistake
        What the arithmetic that it took the place of may come to; nobody judges it.
    taken : str
        How it was taken.
    """

    input: str
    says: str
    place: Place = field(compare=False)
    flaws: tuple[Mistake, ...] = ()
    taken: str = "it was taken as any value in each scan"


@dataclass(frozen=True)
class Program:
    """A checked program.

    Attributes
    ----------
    elapsed_reads : tuple of Place
        Where the elapsed time ET of a timer is read; this needs counted timers.
    left_out : tuple of LeftOut
    stand_ins : dict of str to tuple of float
        By the casefolded name of an input that takes the number of a class: for each class the
        number that stands for it.
    any_values : tuple of AnyValue
        More behaviour than the program has comes of these.
    unjudged : tuple of Mistake
        The flaws that what was left out may have.
    notes : tuple of syntax.Note
        What is worth knowing of how the text was understood.
    """

    name: str
    enums: tuple[EnumType, ...]
    variables: tuple[Declared, ...]
    instances: tuple[Instance, ...]
    body: tuple[Statement, ...]
    elapsed_reads: tuple[Place, ...] = field(compare=False)
    place: Place = field(compare=False)
    left_out: tuple[LeftOut, ...] = field(default=(), compare=False)
    stand_ins: Mapping[str, tuple[float, ...]] = field(default_factory=dict, compare=False)
    any_values: tuple[AnyValue, ...] = field(default=(), compare=False)
    unjudged: tuple[Mistake, ...] = field(default=(), compare=False)
    notes: tuple[Note, ...] = field(default=(), compare=False)

    @property
    def inputs(self) -> tuple[Declared, ...]:
        """The declared inputs, in order."""
        return tuple(v for v in self.variables if v.kind == "VAR_INPUT")
