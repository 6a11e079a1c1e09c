"""A cover as an expression that an engineer would write: what all terms share stands in front."""

from __future__ import annotations

from collections.abc import Sequence

from interlock.base.errors import Place
from interlock.st import typed as ty
from interlock.st.types import BOOL

_Cube = tuple[tuple[int, bool], ...]


def permissive_of(cubes: Sequence[_Cube], names: Sequence[str], place: Place) -> ty.Expression:
    """The disjunction of `cubes` over `names`.

    Parameters
    ----------
    cubes : sequence
        For each conjunction, positions in `names` and the value that each must have.
    names : sequence of str
    place : Place
        Where it will stand.
    """

    def literal(position: int, value: bool) -> ty.Expression:
        read = ty.Read(names[position], BOOL, place)
        return read if value else ty.Unary("NOT", read, BOOL, place)

    def truth(value: bool) -> ty.Expression:
        return ty.Constant(int(value), BOOL, "TRUE" if value else "FALSE", place)

    def joined(op: str, parts: list[ty.Expression]) -> ty.Expression:
        if not parts:
            return truth(op == "AND")
        return parts[0] if len(parts) == 1 else ty.Junction(op, tuple(parts), BOOL, place)

    if not cubes:
        return truth(False)
    common = [pair for pair in cubes[0] if all(pair in cube for cube in cubes)]
    rests = [[pair for pair in cube if pair not in common] for cube in cubes]
    front = [literal(*pair) for pair in common]
    if all(rests):
        inner = joined("OR", [joined("AND", [literal(*pair) for pair in rest]) for rest in rests])
        if len(cubes) == 1 or not front:
            return joined("AND", front) if len(cubes) == 1 else inner
        front.append(inner)
    return joined("AND", front)
