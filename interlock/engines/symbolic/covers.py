"""Few and short conjunctions that cover one function and stay inside another.

First an irredundant cover is read off the diagrams (S. Minato, "Fast generation of irredundant
sum-of-products forms from binary decision diagrams", SASIMI 1992, after E. Morreale, IEEE Trans.
Computers C-19(6), 1970); then each conjunction loses every literal that it can do without, and
the cover every conjunction that the others make superfluous. The result is irredundant, its
conjunctions are prime; that it is the smallest one is not claimed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from interlock.engines.symbolic.diagrams import Diagrams

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node

Cube = tuple[tuple[int, bool], ...]
"""Bits with the value that each must have."""


def cover(dd: Diagrams, least: Node, most: Node) -> list[Cube]:
    """Conjunctions that hold wherever `least` does and nowhere outside `most`."""
    cubes = _irredundant(dd, least, most, 0, {})[0]
    primes = dict.fromkeys(_prime(dd, cube, most) for cube in cubes)
    return _without_superfluous(dd, list(primes), least)


_Known = dict[tuple["Node", "Node"], tuple[list[Cube], "Node"]]


def _irredundant(
    dd: Diagrams, least: Node, most: Node, bit: int, known: _Known
) -> tuple[list[Cube], Node]:
    """The conjunctions, and the function that they make."""
    if not least.satisfiable():
        return [], dd.false
    if not (~most).satisfiable():
        return [()], dd.true
    if (least, most) in known:
        return known[least, most]
    bit = _first_bit(least, most)
    least_1, least_0 = _halves(least, bit)
    most_1, most_0 = _halves(most, bit)
    # What one half alone can have needs the literal; the rest is covered without it.
    cubes_0, made_0 = _irredundant(dd, least_0 & ~most_1, most_0, bit + 1, known)
    cubes_1, made_1 = _irredundant(dd, least_1 & ~most_0, most_1, bit + 1, known)
    rest = least_0 & ~made_0 | least_1 & ~made_1
    cubes, made = _irredundant(dd, rest, most_0 & most_1, bit + 1, known)
    variable = dd.bits[bit]
    found = [((bit, False), *cube) for cube in cubes_0]
    found += [((bit, True), *cube) for cube in cubes_1]
    function = ~variable & made_0 | variable & made_1 | made
    known[least, most] = (found + cubes, function)
    return known[least, most]


def _first_bit(a: Node, b: Node) -> int:
    bits = [node.node_var() for node in (a, b) if node.node_var() is not None]
    return min(bit for bit in bits if bit is not None)


def _halves(node: Node, bit: int) -> tuple[Node, Node]:
    """`node` where `bit` is 1, and where it is 0."""
    cofactors = node.cofactors() if node.node_var() == bit else None
    return (node, node) if cofactors is None else cofactors


def _prime(dd: Diagrams, cube: Cube, most: Node) -> Cube:
    """`cube` without the literals that keep it inside `most` needlessly, the last ones first."""
    kept = dict(cube)
    for bit, _ in reversed(cube):
        shorter = {other: value for other, value in kept.items() if other != bit}
        if not (dd.cube(shorter) & ~most).satisfiable():
            kept = shorter
    return tuple(kept.items())


def _without_superfluous(dd: Diagrams, cubes: list[Cube], least: Node) -> list[Cube]:
    # Long ones first: they are the likeliest to be covered by the rest.
    kept = sorted(cubes, key=lambda cube: (len(cube), cube))
    for cube in sorted(cubes, key=lambda cube: (-len(cube), cube)):
        others = [other for other in kept if other != cube]
        made = dd.disjunction(dd.cube(dict(other)) for other in others)
        if not (least & ~made).satisfiable():
            kept = others
    return kept
