"""A network with its places: what `interlock.exchange.arranging` finds."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from interlock.exchange.signs import Port, Sign

Point = tuple[float, float]


@dataclass(frozen=True)
class Measures:
    """Lengths of a drawing, in units of its own.

    Attributes
    ----------
    width_of : callable
        The width of a sign with what stands beside it.
    line : float
        From one line to the next.
    track : float
        Between two wires that run up and down beside each other.
    margin : float
        Between a sign and the nearest of these.
    """

    width_of: Callable[[Sign], float]
    line: float = 40
    track: float = 8
    margin: float = 10


@dataclass
class Wire:
    """A wire from a source to where it comes in."""

    source: Sign
    output: str
    sink: Sign
    port: Port
    points: list[Point]


@dataclass
class Arrangement:
    """A network with its places.

    Attributes
    ----------
    signs : list of Sign
        What gives before what takes.
    at : dict of int to (float, float)
        By the identity of a sign the left end of its first line.
    width_of : dict of int to float
        By the identity of a sign the width of its column.
    wires : list of Wire
    width, height : float
    """

    signs: list[Sign]
    at: dict[int, Point]
    width_of: dict[int, float]
    wires: list[Wire]
    width: float
    height: float


def straightened(points: list[Point]) -> list[Point]:
    """The same line without points that lie on it."""
    found: list[Point] = []
    for point in points:
        if found and found[-1] == point:
            continue
        if len(found) > 1 and (
            found[-2][0] == found[-1][0] == point[0] or found[-2][1] == found[-1][1] == point[1]
        ):
            found.pop()
        found.append(point)
    return found
