"""Small mistakes in one expression: what a tired hand, a wrong wire or a lost bracket makes of it.

Every defect is a typed tree of the same type as the original, so that nothing around it need be
checked again. The operators are those of mutation testing (DeMillo, Lipton and Sayward, "Hints on
test data selection", Computer 11(4), 1978), narrowed to what happens in interlock logic.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from enum import Enum

from interlock.base.errors import Place
from interlock.st import typed as ty
from interlock.st.evaluate import as_written, operands_of
from interlock.st.types import BOOL, EnumType, IntType
from interlock.st.write import write_expression

_LONGEST = 48
_OPPOSITE = {"=": "<>", "<>": "=", "<": "<=", "<=": "<", ">": ">=", ">=": ">"}


class DefectKind(Enum):
    """What sort of mistake a defect is."""

    DROPPED = "dropped term"
    NEGATED = "negated term"
    SWAPPED = "swapped term"
    CONSTANT = "constant term"
    BRACKET = "lost bracket"
    OPERATOR = "wrong operator"
    RESET = "missing reset"
    EXCHANGED = "exchanged"
    REORDERED = "reordered statements"
    STUCK = "stuck signal"


@dataclass(frozen=True)
class ExpressionDefect:
    """A changed expression: where, what sort of mistake, in words, and the tree.

    Of the tree only `part` differs, which the numbers of operands in `path` lead to; None where it
    is all of it.
    """

    place: Place
    kind: DefectKind
    says: str
    tree: ty.Expression
    path: tuple[int, ...] = ()
    part: ty.Expression | None = None

    @property
    def changed(self) -> ty.Expression:
        """What stands at the end of `path`."""
        return self.tree if self.part is None else self.part


def whole_text(e: ty.Expression) -> str:
    """The expression as written."""
    return write_expression(as_written(e))


def text_of(e: ty.Expression) -> str:
    """The expression as written, cut short where it is long."""
    text = whole_text(e)
    return text if len(text) <= _LONGEST else text[: _LONGEST - 1] + "…"


def junction(op: str, *operands: ty.Expression) -> ty.Expression:
    """AND or OR of `operands`, flattened as the checker leaves it."""
    flat: list[ty.Expression] = []
    for operand in operands:
        same = isinstance(operand, ty.Junction) and operand.op == op
        flat += operand.operands if same and isinstance(operand, ty.Junction) else [operand]
    return flat[0] if len(flat) == 1 else ty.Junction(op, tuple(flat), BOOL, flat[0].place)


def negated(e: ty.Expression) -> ty.Expression:
    """NOT `e`, without a double NOT."""
    if isinstance(e, ty.Unary) and e.op == "NOT":
        return e.operand
    return ty.Unary("NOT", e, BOOL, e.place)


def truth(value: bool, place: Place) -> ty.Constant:
    """TRUE or FALSE at `place`."""
    return ty.Constant(int(value), BOOL, "TRUE" if value else "FALSE", place)


def expression_defects(
    e: ty.Expression, neighbours: Mapping[str, str]
) -> Iterator[ExpressionDefect]:
    """Every defect of `e`, from the outside inwards, left to right.

    Parameters
    ----------
    e : typed.Expression
    neighbours : mapping of str to str
        For a name that may be mistaken for another of its type, that other name.
    """
    yield from _own(e, neighbours)
    is_not = isinstance(e, ty.Unary) and e.op == "NOT"
    for number, child in enumerate(operands_of(e)):
        for defect in expression_defects(child, neighbours):
            if is_not and isinstance(child, ty.Read) and defect.kind is DefectKind.NEGATED:
                continue  # NOT NOT is what dropping the NOT of `e` gives
            tree, path = with_child(e, number, defect.tree), (number, *defect.path)
            yield replace(defect, tree=tree, path=path, part=defect.changed)


def with_child(e: ty.Expression, number: int, child: ty.Expression) -> ty.Expression:
    """`e` with another operand; one that is AND or OR like `e` becomes part of it."""
    match e:
        case ty.Unary():
            return replace(e, operand=child)
        case ty.Junction():
            return junction(e.op, *e.operands[:number], child, *e.operands[number + 1 :])
        case ty.Binary():
            return replace(e, left=child) if number == 0 else replace(e, right=child)
        case ty.Call():
            arguments = (*e.arguments[:number], child, *e.arguments[number + 1 :])
            return replace(e, arguments=arguments)
        case _:
            raise AssertionError("an expression without operands has no child")


def _own(e: ty.Expression, neighbours: Mapping[str, str]) -> Iterator[ExpressionDefect]:
    match e:
        case ty.Junction():
            yield from dropped(e)
            yield from _flipped(e)
            yield from _unbracketed(e)
        case ty.Unary() if e.op == "NOT":
            says = f"drop NOT of {text_of(e.operand)}"
            yield ExpressionDefect(e.place, DefectKind.NEGATED, says, e.operand)
            yield from _not_unbracketed(e)
        case ty.Binary():
            yield from _compared_otherwise(e)
        case ty.Read():
            yield from _misread(e, neighbours)
        case ty.Constant():
            yield from _other_constant(e)


def dropped(e: ty.Junction) -> Iterator[ExpressionDefect]:
    """`e` without one of its operands."""
    for number, operand in enumerate(e.operands):
        rest = (*e.operands[:number], *e.operands[number + 1 :])
        says = f"drop term {text_of(operand)}"
        yield ExpressionDefect(operand.place, DefectKind.DROPPED, says, junction(e.op, *rest))


def _flipped(e: ty.Junction) -> Iterator[ExpressionDefect]:
    """One operator mistaken for the other; AND binds tighter, as it would in the text."""
    for number in range(1, len(e.operands)):
        before, behind = e.operands[:number], e.operands[number:]
        if e.op == "AND":
            tree = junction("OR", junction("AND", *before), junction("AND", *behind))
        else:
            pair = junction("AND", before[-1], behind[0])
            tree = junction("OR", *before[:-1], pair, *behind[1:])
        other = "OR" if e.op == "AND" else "AND"
        says = f"{other} for {e.op} before {text_of(behind[0])}"
        yield ExpressionDefect(behind[0].place, DefectKind.OPERATOR, says, tree)


def _unbracketed(e: ty.Junction) -> Iterator[ExpressionDefect]:
    """``a AND (b OR c) AND d`` without its brackets is ``a AND b OR c AND d``."""
    for number, operand in enumerate(e.operands):
        if e.op != "AND" or not isinstance(operand, ty.Junction):
            continue
        first, *middle, last = operand.operands
        before = junction("AND", *e.operands[:number], first)
        behind = junction("AND", last, *e.operands[number + 1 :])
        says = f"lose brackets of ({text_of(operand)})"
        yield ExpressionDefect(
            operand.place, DefectKind.BRACKET, says, junction("OR", before, *middle, behind)
        )


def _not_unbracketed(e: ty.Unary) -> Iterator[ExpressionDefect]:
    inner = e.operand
    says = f"lose brackets of NOT ({text_of(inner)})"
    if isinstance(inner, ty.Junction):
        first, *others = inner.operands
        tree = junction(inner.op, negated(first), *others)
        yield ExpressionDefect(inner.place, DefectKind.BRACKET, says, tree)


def _compared_otherwise(e: ty.Binary) -> Iterator[ExpressionDefect]:
    if e.op in _OPPOSITE:
        other = _OPPOSITE[e.op]
        says = f"{other} for {e.op} in {text_of(e)}"
        yield ExpressionDefect(e.place, DefectKind.OPERATOR, says, replace(e, op=other))
        for side, beside in (("left", e.right), ("right", e.left)):
            constant = getattr(e, side)
            if isinstance(constant, ty.Constant) and isinstance(beside.type, IntType):
                step = 1 if constant.value < beside.type.hi else -1
                value = constant.value + step
                near = replace(constant, value=value, type=IntType(value, value), text=str(value))
                says = f"{value} for {constant.value} in {text_of(e)}"
                changed = replace(e, left=near) if side == "left" else replace(e, right=near)
                yield ExpressionDefect(constant.place, DefectKind.CONSTANT, says, changed)


def _misread(e: ty.Read, neighbours: Mapping[str, str]) -> Iterator[ExpressionDefect]:
    if e.type == BOOL:
        yield ExpressionDefect(
            e.place, DefectKind.NEGATED, f"insert NOT before {e.name}", negated(e)
        )
    other = neighbours.get(e.name)
    if other is not None:
        says = f"{other} for {e.name}"
        yield ExpressionDefect(e.place, DefectKind.SWAPPED, says, replace(e, name=other))


def _other_constant(e: ty.Constant) -> Iterator[ExpressionDefect]:
    if e.type == BOOL:
        other = truth(not e.value, e.place)
        yield ExpressionDefect(e.place, DefectKind.CONSTANT, f"{other.text} for {e.text}", other)
    elif isinstance(e.type, EnumType) and len(e.type.labels) > 1:
        value = (e.value + 1) % len(e.type.labels)
        label = e.type.labels[value]
        qualified = f"{e.type.name}#{label}" if "#" in e.text else label
        says = f"{label} for {e.type.labels[e.value]}"
        yield ExpressionDefect(
            e.place, DefectKind.CONSTANT, says, replace(e, value=value, text=qualified)
        )


def constant_defects(e: ty.Expression) -> Iterator[ExpressionDefect]:
    """A truth value replaced as a whole by TRUE and by FALSE."""
    if e.type == BOOL and not isinstance(e, ty.Constant):
        for value in (True, False):
            tree = truth(value, e.place)
            yield ExpressionDefect(
                e.place, DefectKind.CONSTANT, f"{tree.text} for {text_of(e)}", tree
            )
