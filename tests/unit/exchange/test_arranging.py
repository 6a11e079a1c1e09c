"""Where signs and wires of random networks come to stand: nothing hides anything."""

from __future__ import annotations

from itertools import combinations

from hypothesis import HealthCheck, given, settings

from interlock.exchange.arranging import Arrangement, Measures, arrange
from interlock.exchange.drawn_bodies import drawn_bodies
from interlock.exchange.signs import RAIL, Sign
from tests.support.random_networks import Body, as_file, bodies

_LINE = 40.0
_QUIET = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much]
Box = tuple[float, float, float, float]


def box_of(sign: Sign, arranged: Arrangement) -> Box:
    """What a sign takes: left, top, right, bottom."""
    x, y = arranged.at[id(sign)]
    top = y - (30 if sign.is_block else 12)
    bottom = y + (sign.n_lines - 1) * _LINE + (14 if sign.is_block else 12)
    return x, top, x + arranged.width_of[id(sign)], bottom


def faults_of(roots: list[Sign]) -> list[str]:
    """What overlaps in the arrangement of a network."""
    arranged = arrange(roots, Measures(lambda sign: 20 + 7 * len(sign.text), _LINE))
    boxes = {id(sign): box_of(sign, arranged) for sign in arranged.signs}
    found = []
    for one, other in combinations(arranged.signs, 2):
        a, b = boxes[id(one)], boxes[id(other)]
        if a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]:
            found.append(f"{one.kind} {one.text} over {other.kind} {other.text}")
    pieces = []
    for wire in arranged.wires:
        for one_end, other_end in zip(wire.points, wire.points[1:], strict=False):
            if one_end[0] != other_end[0] and one_end[1] != other_end[1]:
                found.append("a wire runs aslant")
            low = min(one_end[0], other_end[0]), min(one_end[1], other_end[1])
            high = max(one_end[0], other_end[0]), max(one_end[1], other_end[1])
            pieces.append((wire, (*low, *high)))
    for wire, (left, top, right, bottom) in pieces:
        for sign in arranged.signs:
            a = boxes[id(sign)]
            if left < a[2] - 1 and a[0] + 1 < right and top < a[3] - 1 and a[1] + 1 < bottom:
                found.append(f"a wire to {wire.sink.text} runs through {sign.kind} {sign.text}")
    for (one_wire, p), (other_wire, q) in combinations(pieces, 2):
        kin = one_wire.port is other_wire.port or one_wire.source is other_wire.source
        kin = kin or {s for s, _ in one_wire.port.sources} & {s for s, _ in other_wire.port.sources}
        upright = p[0] == p[2] == q[0] == q[2] and min(p[3], q[3]) - max(p[1], q[1]) > 0
        level = p[1] == p[3] == q[1] == q[3] and min(p[2], q[2]) - max(p[0], q[0]) > 0
        if (upright or level) and not kin and one_wire.source.kind != RAIL:
            found.append(
                f"wires to {one_wire.sink.text} and {other_wire.sink.text} hide each other"
            )
    return found


def check(body: Body) -> None:
    """Raise where something overlaps in a drawing of a random body."""
    for drawn in drawn_bodies(as_file(body), "body.xml"):
        for network in drawn.networks:
            assert faults_of(network.roots) == []


@settings(max_examples=25, deadline=None, derandomize=True, suppress_health_check=_QUIET)
@given(bodies())
def test_nothing_overlaps_in_random_networks(body: Body) -> None:
    check(body)


def test_an_end_that_comes_later_stands_below() -> None:
    first = Sign("coil", "a", ports=[])
    second = Sign("coil", "b", ports=[])
    arranged = arrange([first, second], Measures(lambda _: 30))
    assert arranged.at[id(first)][1] < arranged.at[id(second)][1]
