"""Signatures of the standard function blocks and functions of IEC 61131-3."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from interlock.st.types import BOOL, TIME, Type


class Integer(Enum):
    """Stands in a signature for a whole number of any range, in the type that a counter has."""

    INT = "INT"
    DINT = "DINT"
    LINT = "LINT"
    UDINT = "UDINT"
    ULINT = "ULINT"

    def __str__(self) -> str:
        return self.value


@dataclass(frozen=True)
class Block:
    """Names and types of a block's inputs and outputs; `needed` inputs must be given.

    Attributes
    ----------
    base : str
        The block that it is but for the type that it counts in.
    counted : str
        The type that a counter counts in.
    """

    name: str
    inputs: dict[str, Type | Integer]
    outputs: dict[str, Type | Integer]
    needed: frozenset[str]
    base: str
    counted: str = "INT"


def _block(
    name: str,
    inputs: dict[str, Type | Integer],
    outputs: dict[str, Type | Integer],
    *optional: str,
) -> Block:
    return Block(name, inputs, outputs, frozenset(inputs) - set(optional), name)


def _counters(in_: Integer, ending: str) -> Iterator[Block]:
    """The counters that count in one type; IEC 61131-3 has them with its name and, of INT, bare."""
    kinds: tuple[tuple[str, tuple[str, ...], tuple[str, ...], tuple[str, ...]], ...] = (
        ("CTU", ("CU", "R"), ("Q",), ("R",)),
        ("CTD", ("CD", "LD"), ("Q",), ("LD",)),
        ("CTUD", ("CU", "CD", "R", "LD"), ("QU", "QD"), ("R", "LD")),
    )
    for base, given, outputs, optional in kinds:
        inputs: dict[str, Type | Integer] = {**dict.fromkeys(given, BOOL), "PV": in_}
        needed = frozenset(inputs) - set(optional)
        gives: dict[str, Type | Integer] = {**dict.fromkeys(outputs, BOOL), "CV": in_}
        yield Block(base + ending, inputs, gives, needed, base, str(in_))


_TIMER: tuple[dict[str, Type | Integer], dict[str, Type | Integer]] = (
    {"IN": BOOL, "PT": TIME},
    {"Q": BOOL, "ET": TIME},
)

BLOCKS: dict[str, Block] = {
    block.name: block
    for block in (
        _block("SR", {"S1": BOOL, "R": BOOL}, {"Q1": BOOL}),
        _block("RS", {"S": BOOL, "R1": BOOL}, {"Q1": BOOL}),
        _block("R_TRIG", {"CLK": BOOL}, {"Q": BOOL}),
        _block("F_TRIG", {"CLK": BOOL}, {"Q": BOOL}),
        _block("TON", *_TIMER),
        _block("TOF", *_TIMER),
        _block("TP", *_TIMER),
        *_counters(Integer.INT, ""),
        *(block for in_ in Integer for block in _counters(in_, f"_{in_}")),
    )
}

# Spellings of inputs in the standard's second edition and in environments that keep to it, from
# memory.
_OLD_INPUTS = {"SET1": "S1", "RESET": "R", "SET": "S", "RESET1": "R1", "LOAD": "LD"}


def input_called(block: Block, name: str) -> str:
    """What `block` calls its input `name`, which may be an older spelling, in upper case."""
    upper = name.upper()
    return upper if upper in block.inputs else _OLD_INPUTS.get(upper, upper)


TIMERS = frozenset(("TON", "TOF", "TP"))

_MANY = 16


@dataclass(frozen=True)
class Function:
    """A function of the standard.

    Attributes
    ----------
    least, most : int
        How many arguments it takes.
    names : tuple of str
        What these are called. The last name of a function of many arguments stands for all that
        follow, numbered on.
    """

    least: int
    most: int
    names: tuple[str, ...]

    def place_of(self, name: str) -> int | None:
        """Which argument is called `name`, counted from 0, or None."""
        if name.upper() in self.names:
            return self.names.index(name.upper())
        stem = self.names[-1].rstrip("0123456789")
        number = name[len(stem) :]
        if self.most < _MANY or not name.upper().startswith(stem) or not number.isdigit():
            return None
        first = int(self.names[-1][len(stem) :])
        place = len(self.names) - 1 + int(number) - first
        return place if 0 <= place < self.most else None


def _many(*names: str) -> Function:
    return Function(2, _MANY, names or ("IN1", "IN2"))


# Source: IEC 61131-3, functions of times; two are called otherwise in its second edition (from
# memory).
_OF_TIMES = {
    **dict.fromkeys(("ADD_TIME", "ADD_LTIME"), "+"),
    **dict.fromkeys(("SUB_TIME", "SUB_LTIME"), "-"),
    **dict.fromkeys(("MUL_TIME", "MUL_LTIME", "MULTIME"), "*"),
    **dict.fromkeys(("DIV_TIME", "DIV_LTIME", "DIVTIME"), "/"),
}

# Source: IEC 61131-3, standard functions; the names of arguments are those of the standard.
FUNCTIONS: dict[str, Function] = {
    "SEL": Function(3, 3, ("G", "IN0", "IN1")),
    "MIN": _many(),
    "MAX": _many(),
    "LIMIT": Function(3, 3, ("MN", "IN", "MX")),
    "ABS": Function(1, 1, ("IN",)),
    "MUX": _many("K", "IN0"),
    "MOVE": Function(1, 1, ("IN",)),
    **dict.fromkeys(("ADD", "MUL", "AND", "OR", "XOR"), _many()),
    **dict.fromkeys(("GT", "GE", "EQ", "LE", "LT"), _many()),
    **dict.fromkeys(("SUB", "DIV", "MOD", "EXPT", "NE"), Function(2, 2, ("IN1", "IN2"))),
    **dict.fromkeys(_OF_TIMES, Function(2, 2, ("IN1", "IN2"))),
    "NOT": Function(1, 1, ("IN",)),
    **dict.fromkeys(("SHL", "SHR", "ROL", "ROR"), Function(2, 2, ("IN", "N"))),
    "TRUNC": Function(1, 1, ("IN",)),
    **dict.fromkeys(
        ("SQRT", "LN", "LOG", "EXP", "SIN", "COS", "TAN", "ASIN", "ACOS", "ATAN"),
        Function(1, 1, ("IN",)),
    ),
}

OPERATORS = {
    "ADD": "+",
    "SUB": "-",
    "MUL": "*",
    "DIV": "/",
    "MOD": "MOD",
    "EXPT": "**",
    "XOR": "XOR",
    "GT": ">",
    "GE": ">=",
    "EQ": "=",
    "LE": "<=",
    "LT": "<",
    "NE": "<>",
    **_OF_TIMES,
}
"""The operators that functions with these names stand for."""

SHIFTS = frozenset(("SHL", "SHR", "ROL", "ROR"))
REAL_FUNCTIONS = frozenset(
    ("SQRT", "LN", "LOG", "EXP", "SIN", "COS", "TAN", "ASIN", "ACOS", "ATAN")
)
