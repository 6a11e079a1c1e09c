"""Signatures of the standard function blocks and functions of IEC 61131-3."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from interlock.st.types import BOOL, TIME, Type


class Integer(Enum):
    """Stands in a signature for an INT of any range."""

    ANY = "INT"

    def __str__(self) -> str:
        return "INT"


@dataclass(frozen=True)
class Block:
    """Names and types of a block's inputs and outputs; `needed` inputs must be given."""

    name: str
    inputs: dict[str, Type | Integer]
    outputs: dict[str, Type | Integer]
    needed: frozenset[str]


def _block(
    name: str,
    inputs: dict[str, Type | Integer],
    outputs: dict[str, Type | Integer],
    optional: str = "",
) -> Block:
    return Block(name, inputs, outputs, frozenset(inputs) - {optional})


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
        _block(
            "CTU", {"CU": BOOL, "R": BOOL, "PV": Integer.ANY}, {"Q": BOOL, "CV": Integer.ANY}, "R"
        ),
    )
}

# Number of arguments of each standard function.
FUNCTIONS: dict[str, tuple[int, int]] = {
    "SEL": (3, 3),
    "MIN": (2, 16),
    "MAX": (2, 16),
    "LIMIT": (3, 3),
    "ABS": (1, 1),
}
