"""Covers hold what they must, nothing that they must not, and nothing to spare."""

from __future__ import annotations

from itertools import product

from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.engines.symbolic.covers import Cube, cover
from interlock.engines.symbolic.diagrams import Diagrams

N_BITS = 4
POINTS = list(product((0, 1), repeat=N_BITS))
BYTES = 1 << 24


def holds(cubes: list[Cube], point: tuple[int, ...]) -> bool:
    return any(all(point[bit] == value for bit, value in cube) for cube in cubes)


def covered(wanted: dict[tuple[int, ...], bool | None]) -> list[Cube]:
    dd = Diagrams(N_BITS, BYTES)
    least = dd.disjunction(dd.cube(dict(enumerate(p))) for p, w in wanted.items() if w)
    most = dd.disjunction(dd.cube(dict(enumerate(p))) for p, w in wanted.items() if w is not False)
    return cover(dd, least, most)


@settings(deadline=None, max_examples=150)
@given(st.lists(st.sampled_from([True, False, None]), min_size=16, max_size=16))
def test_a_cover_is_right_prime_and_irredundant(given_values: list[bool | None]) -> None:
    wanted = dict(zip(POINTS, given_values, strict=True))

    def is_right(cubes: list[Cube]) -> bool:
        return all(w is None or holds(cubes, point) == w for point, w in wanted.items())

    cubes = covered(wanted)
    assert is_right(cubes)
    for cube in cubes:
        others = [other for other in cubes if other != cube]
        assert not is_right(others)
        for literal in cube:
            shorter = tuple(pair for pair in cube if pair != literal)
            assert not is_right([*others, shorter])


def test_a_majority_of_three_is_the_three_pairs() -> None:
    # A textbook example: majority(a, b, c) = ab + ac + bc.
    wanted = {point: sum(point[:3]) >= 2 for point in POINTS}
    pairs = {((0, True), (1, True)), ((0, True), (2, True)), ((1, True), (2, True))}
    assert {tuple(sorted(cube)) for cube in covered(dict(wanted))} == pairs


def test_what_never_occurs_makes_a_cover_shorter() -> None:
    # Of a and b exactly one holds: asking a alone is enough.
    wanted = {p: (p[0] == 1 if p[0] != p[1] else None) for p in POINTS}
    assert len(covered(wanted)) == len(covered(wanted)[0]) == 1
