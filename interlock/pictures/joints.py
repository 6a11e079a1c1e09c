"""Where wires of a network join or part, which is marked so that it is not taken for a crossing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interlock.exchange.arrangement import Point, Wire

_Piece = tuple[Point, Point]


def joints_of(wires: Sequence[Wire]) -> list[Point]:
    """The points in which more than two ways of the same wires meet.

    Parameters
    ----------
    wires : sequence of Wire
    """
    ways: dict[Point, set[Point]] = {}
    for wire in wires:
        for one, other in _pieces(wire):
            ways.setdefault(one, set()).add(_way(one, other))
            ways.setdefault(other, set()).add(_way(other, one))
    for wire in wires:
        for one, other in _pieces(wire):
            for point, found in ways.items():
                passes = _lies_between(point, one, other)
                if passes and any(point in w.points and _are_kin(w, wire) for w in wires):
                    found |= {_way(one, other), _way(other, one)}
    return [point for point, found in ways.items() if len(found) > 2]


def _pieces(wire: Wire) -> Iterator[_Piece]:
    yield from zip(wire.points, wire.points[1:], strict=False)


def _way(start: Point, end: Point) -> Point:
    return _sign_of(end[0] - start[0]), _sign_of(end[1] - start[1])


def _sign_of(value: float) -> float:
    return (value > 0) - (value < 0)


def _lies_between(point: Point, one: Point, other: Point) -> bool:
    x, y = point
    if one[0] == other[0] == x:
        return min(one[1], other[1]) < y < max(one[1], other[1])
    return one[1] == other[1] == y and min(one[0], other[0]) < x < max(one[0], other[0])


def _are_kin(one: Wire, other: Wire) -> bool:
    return one.port is other.port or (one.source is other.source and one.output == other.output)
