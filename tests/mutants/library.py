"""The one door to cosmic-ray, the library that changes Python source in one place.

Of its operators those are used that say something here: a comparison is shifted by one and turned
round, not replaced by all others, since most of these die of the same test. One sort is our own: a
call that stands alone is dropped.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import MutationVisitor
from cosmic_ray.operators.operator import Operator
from cosmic_ray.plugins import get_operator
from parso.python.tree import Keyword

_COMPARISONS = (
    *("Eq_NotEq", "NotEq_Eq", "Is_IsNot", "IsNot_Is"),
    *("Lt_LtE", "Lt_GtE", "LtE_Lt", "LtE_Gt", "Gt_GtE", "Gt_LtE", "GtE_Gt", "GtE_Lt"),
)
_ARITHMETIC = (
    *("Add_Sub", "Sub_Add", "Mul_Add", "Div_Mul", "FloorDiv_Mul", "Mod_FloorDiv", "Pow_Mul"),
    *("BitOr_BitAnd", "BitAnd_BitOr", "BitXor_BitOr", "LShift_RShift", "RShift_LShift"),
)
_OTHERS = (
    *("ReplaceUnaryOperator_Delete_Not", "ReplaceUnaryOperator_Delete_USub"),
    *("ReplaceUnaryOperator_Delete_Invert", "AddNot", "ReplaceTrueWithFalse"),
    *("ReplaceFalseWithTrue", "ReplaceAndWithOr", "ReplaceOrWithAnd", "NumberReplacer"),
    *("ReplaceBreakWithContinue", "ReplaceContinueWithBreak", "ExceptionReplacer"),
    "ZeroIterationForLoop",
)

Place = tuple[int, int]
"""Line, from 1, and column, from 0."""


class _DropCall(Operator):
    """Replaces a statement that is nothing but a call."""

    def mutation_positions(self, node: Any) -> Iterator[tuple[Place, Place]]:
        if node.type == "simple_stmt" and node.children[0].type in ("atom_expr", "power"):
            yield node.children[0].start_pos, node.children[0].end_pos

    def mutate(self, node: Any, index: int) -> Any:
        call = node.children[0]
        prefix = call.get_first_leaf().prefix
        node.children[0] = Keyword("pass", call.start_pos, prefix)
        return node

    @classmethod
    def examples(cls) -> tuple[()]:
        return ()


def _operators() -> dict[str, Operator]:
    names = [f"ReplaceComparisonOperator_{name}" for name in _COMPARISONS]
    names += [f"ReplaceBinaryOperator_{name}" for name in _ARITHMETIC]
    return {
        "DropCall": _DropCall(),
        **{name: get_operator(f"core/{name}")() for name in (*names, *_OTHERS)},
    }


OPERATORS = _operators()


def places(source: str) -> Iterator[tuple[str, int, Place, Place]]:
    """Every change that can be made: its operator, which occurrence of it, from where to where."""
    nodes = list(ast_nodes(get_ast(source)))
    for name, operator in OPERATORS.items():
        found = [place for node in nodes for place in operator.mutation_positions(node)]
        for occurrence, (start, stop) in enumerate(found):
            yield name, occurrence, start, stop


def changed(source: str, operator: str, occurrence: int) -> str:
    """The source with one change made.

    Raises
    ------
    ValueError
        If there is no such occurrence.
    """
    text = MutationVisitor.mutate_code(source, OPERATORS[operator], occurrence)
    if text is None:
        raise ValueError(f"{operator} has no occurrence {occurrence}")
    return str(text)
