"""Where the signs of a network stand and how its wires run, so that nothing hides anything.

A sign stands in a column behind all that leads to it, and in a line. What is placed next stands
below all that is in its columns already, up to the one that it leads to; so its way to the right is
free. Between two columns is a channel, in which wires run up and down, each in a track of its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from interlock.exchange.arrangement import Arrangement, Measures, Point, Wire, straightened
from interlock.exchange.signs import RAIL, Port, Sign, all_signs

__all__ = ["Arrangement", "Measures", "Wire", "arrange"]

MOST_SIGNS = 600
_FEW = 16
_Out = tuple[int, str]
_Key = frozenset[_Out]


def arrange(roots: Sequence[Sign], measures: Measures) -> Arrangement:
    """Give the signs that lead to `roots` their places; the roots stand in their order.

    Parameters
    ----------
    roots : sequence of Sign
    measures : Measures

    Raises
    ------
    ValueError
        Where there are more than `MOST_SIGNS`.
    """
    return _Arranger(roots, measures).run()


@dataclass
class _Bus:
    """What joins the same sources for all that they lead to.

    Attributes
    ----------
    channel : int
        Before which column it runs.
    lines : list of int
        Lines that lead to it or from it.
    legs : list of (Out, _Bus or None, int)
        Each source with the bus that it comes by, if any, and the line in which it comes.
    """

    channel: int
    lines: list[int] = field(default_factory=list)
    legs: list[tuple[_Out, _Bus | None, int]] = field(default_factory=list)


@dataclass
class _End:
    """Where a wire comes in: by which bus, in which line it comes near, and in which it enters."""

    sign: Sign
    port: Port
    bus: _Bus | None
    near: int
    line: int


class _Arranger:
    def __init__(self, roots: Sequence[Sign], measures: Measures) -> None:
        self._roots = roots
        self._measures = measures
        self._signs = [sign for sign in all_signs(roots) if sign.kind != RAIL]
        if len(self._signs) > MOST_SIGNS:
            raise ValueError(f"more than {MOST_SIGNS} signs")
        self._column: dict[int, int] = {}
        self._line: dict[int, int] = {}
        self._n_outs = {
            id(sign): max(1, len(sign.outputs)) if sign.is_block else 1 for sign in self._signs
        }
        self._buses: dict[_Key, _Bus] = {}
        self._ends: list[_End] = []
        self._placing: set[int] = set()
        self._below: list[_End] = []

    def run(self) -> Arrangement:
        self._find_columns()
        top = 0
        n_columns = max(self._column.values(), default=0) + 1
        self._free = [0] * n_columns
        self._crossed: list[set[int]] = [set() for _ in range(n_columns + 1)]
        for root in self._roots:
            if id(root) not in self._line:
                column = self._column[id(root)]
                self._place(root, max(top, self._lowest(self._leftmost(root), column)))
            # An end below is evaluated later.
            top = self._line[id(root)] + 1
        bottom = max(self._free)
        for end in self._below:
            # What leads back runs below everything.
            end.near = bottom
            assert end.bus is not None
            end.bus.lines.append(bottom)
            bottom += 1
        for bus in self._buses.values():
            for number, (out, by, line) in enumerate(bus.legs):
                if by is not None and line < 0:
                    bus.legs[number] = (out, by, bottom)
                    by.lines.append(bottom)
                    bus.lines.append(bottom)
                    bottom += 1
        return self._measured(bottom)

    # Columns and lines

    def _find_columns(self) -> None:
        for sign in self._signs:
            inner = [self._column.get(id(s), -1) for p in sign.ports for s, _ in p.sources]
            self._column[id(sign)] = max(inner, default=-1) + 1
        last = max((self._column[id(sign)] for sign in self._signs), default=0)
        leading = {id(s) for sign in self._signs for p in sign.ports for s, _ in p.sources}
        for sign in self._signs:
            if sign.is_last and id(sign) not in leading:
                self._column[id(sign)] = last

    def _leftmost(self, sign: Sign) -> int:
        """The first column that a sign and what leads to it would take."""
        if self._is_placed(sign):
            return self._column[id(sign)] + 1
        found, waiting, seen = self._column[id(sign)], [sign], {id(sign)}
        while waiting:
            here = waiting.pop()
            for source, _ in (wire for port in here.ports for wire in port.sources):
                if source.kind == RAIL:
                    found = 0
                elif self._is_placed(source):
                    found = min(found, self._column[id(source)] + 1)
                elif id(source) not in seen:
                    seen.add(id(source))
                    found = min(found, self._column[id(source)])
                    waiting.append(source)
        return found

    def _lowest(self, first: int, last: int) -> int:
        """The first line that is free in all columns from `first` to `last`."""
        return max(self._free[min(first, last) : last + 1], default=0)

    def _take(self, first: int, last: int, until: int) -> None:
        """Let columns be taken above the line `until`."""
        for column in range(max(0, first), last + 1):
            self._free[column] = max(self._free[column], until)

    def _place(self, sign: Sign, top: int) -> None:
        """Give a sign and all that leads to it lines from `top` on."""
        self._placing.add(id(sign))
        column = self._column[id(sign)]
        head = 1 if sign.is_block else 0
        least = max(top, self._free[column]) + head
        line = None
        ends = []
        for number, port in enumerate(sign.ports):
            if not port.sources:
                continue
            end = self._lead(sign, port, top, (least if line is None else line) + number)
            if line is None:
                line = max(end.near - number, least)
            ends.append((number, end))
        line = least if line is None else line
        # What it gives must not run along a wire that crosses the channel behind it.
        crossed = self._crossed[column + 1]
        while not sign.ports and any(
            line + number in crossed for number in range(self._n_outs[id(sign)])
        ):
            line += 1
        self._line[id(sign)] = line
        self._take(column, column, line + sign.n_lines)
        for number, end in ends:
            end.line = line + (number if sign.is_block else 0)
            self._attach(end)
        self._placing.discard(id(sign))

    def _lead(self, sign: Sign, port: Port, top: int, wanted: int) -> _End:
        """Lead the sources of a port near to it, not above the line `top`."""
        # The same wire may be joined to itself.
        wires = {(id(source), output): (source, output) for source, output in port.sources}
        outs = [(source, output) for source, output in wires.values() if source.kind != RAIL]
        key = frozenset((id(source), output) for source, output in outs)
        if len(outs) < len(wires) or not outs:
            # Power from the rail is power, whatever else is joined.
            return self._ended(sign, port, None, self._way(0, sign, wanted))
        known = self._buses.get(key)
        if known is None and all(self._is_placed(source) for source, _ in outs) and len(outs) == 1:
            known = self._own_bus(*outs[0])
        if known is not None:
            return self._ended(sign, port, known, self._way(known.channel, sign, wanted))
        columns = [self._column[id(source)] for source, _ in outs]
        forward = [column for column in columns if column < self._column[id(sign)]]
        bus = _Bus(max(forward or columns) + 1)
        self._buses[key] = bus
        near = -1
        # What leads back comes last, from below.
        for source, output in sorted(outs, key=lambda out: self._column[id(out[0])] >= bus.channel):
            if self._column[id(source)] >= bus.channel:
                bus.legs.append(((id(source), output), self._own_bus(source, output), -1))
                continue
            if self._is_placed(source):
                by = self._own_bus(source, output)
                line = self._way(by.channel, sign, wanted)
                by.lines.append(line)
                bus.legs.append(((id(source), output), by, line))
            else:
                line = self._new(source, output, sign, max(top, wanted) if near < 0 else top)
                bus.legs.append(((id(source), output), None, line))
            bus.lines.append(line)
            near = line if near < 0 else near
        return self._ended(sign, port, bus, near)

    def _way(self, channel: int, sign: Sign, wanted: int) -> int:
        """A free line from a channel to a sign, at `wanted` or below."""
        last = self._column[id(sign)] - 1
        line = max(wanted, self._lowest(channel, last)) if channel <= last else wanted
        begun = {
            self._line[key] + number
            for key, column in self._column.items()
            if column == channel - 1 and key in self._line
            for number in range(self._n_outs[key])
        }
        # A wire that begins before a channel, or ends behind it, has its line up to its own track.
        used = begun | self._crossed[channel] | self._crossed[last + 1]
        while channel and line in used:
            line += 1
        self._take(channel, last, line + 1)
        self._cross(line, channel, last + 1)
        return line

    def _cross(self, line: int, *channels: int) -> None:
        for channel in channels:
            self._crossed[channel].add(line)

    def _new(self, source: Sign, output: str, sign: Sign, wanted: int) -> int:
        """Place what leads to a sign, if it can be at the line `wanted`; its line."""
        last = self._column[id(sign)] - 1
        head = 1 if source.is_block else 0
        self._place(source, max(wanted - head, self._lowest(self._leftmost(source), last), 0))
        line = self._line[id(source)] + source.line_of(output)
        self._take(self._column[id(source)] + 1, last, line + 1)
        self._cross(line, self._column[id(source)] + 1, last + 1)
        return line

    def _is_placed(self, source: Sign) -> bool:
        return id(source) in self._line or id(source) in self._placing

    def _own_bus(self, source: Sign, output: str) -> _Bus:
        """The bus of one source alone."""
        key = frozenset([(id(source), output)])
        found = self._buses.get(key)
        if found is None:
            found = self._buses[key] = _Bus(self._column[id(source)] + 1)
            found.legs.append(((id(source), output), None, -1))
        return found

    def _ended(self, sign: Sign, port: Port, bus: _Bus | None, near: int) -> _End:
        end = _End(sign, port, bus, near, near)
        self._ends.append(end)
        return end

    def _attach(self, end: _End) -> None:
        """Say where a wire leaves its bus."""
        bus = end.bus
        if bus is None:
            return
        column = self._column[id(end.sign)]
        if column == bus.channel:
            end.near = end.line
        if column < bus.channel:
            self._below.append(end)
        else:
            bus.lines.append(end.near)

    # Lengths

    def _measured(self, n_lines: int) -> Arrangement:
        measures = self._measures
        n_columns = max(self._column.values(), default=0) + 1
        widths = [0.0] * n_columns
        for sign in self._signs:
            at = self._column[id(sign)]
            widths[at] = max(widths[at], measures.width_of(sign))
        self._settle_legs()
        tracks = self._tracks(n_columns)
        lefts: list[float] = []
        channels: list[float] = []
        x = 0.0
        for column in range(n_columns + 1):
            channels.append(x + measures.margin)
            n_tracks = max((t + 1 for (c, _), t in tracks.items() if c == column), default=0)
            x += 2 * measures.margin + max(0, n_tracks - 1) * measures.track
            if column < n_columns:
                lefts.append(x)
                x += widths[column]
        self._lefts, self._channels, self._track_of, self._widths = lefts, channels, tracks, widths
        places = {
            id(sign): (lefts[self._column[id(sign)]], self._y(self._line[id(sign)]))
            for sign in self._signs
        }
        width_of = {id(sign): widths[self._column[id(sign)]] for sign in self._signs}
        wires = [wire for end in self._ends for wire in self._wires(end, places)]
        return Arrangement(self._signs, places, width_of, wires, x, n_lines * measures.line)

    def _settle_legs(self) -> None:
        by_id = {id(sign): sign for sign in self._signs}
        for bus in self._buses.values():
            for number, (out, by, line) in enumerate(bus.legs):
                if by is None:
                    line = self._line[out[0]] + by_id[out[0]].line_of(out[1])
                    bus.legs[number] = (out, by, line)
                bus.lines.append(line)

    def _tracks(self, n_columns: int) -> dict[tuple[int, int], int]:
        """The track of each wire that runs up or down, by its channel and identity."""
        spans = [
            (bus.channel, min(bus.lines), max(bus.lines), id(bus)) for bus in self._buses.values()
        ]
        for end in self._ends:
            if end.near != end.line:
                low, high = sorted((end.near, end.line))
                spans.append((self._column[id(end.sign)], low, high, id(end)))
        found: dict[tuple[int, int], int] = {}
        for channel in range(n_columns + 1):
            free: list[int] = []
            here = [span for span in spans if span[0] == channel and span[1] < span[2]]
            for _, low, high, what in sorted(here, key=lambda s: (s[1], s[2])):
                # Each its own, so that what comes in further below turns further right.
                few = len(here) <= _FEW
                track = next((n for n, until in enumerate(free) if until < low), len(free))
                track = len(free) if few else track
                free[track : track + 1] = [high]
                found[(channel, what)] = track
        return found

    def _y(self, line: int) -> float:
        return (line + 0.6) * self._measures.line

    def _x(self, channel: int, what: object) -> float:
        track = self._track_of.get((channel, id(what)), 0)
        return self._channels[channel] + track * self._measures.track

    def _wires(self, end: _End, at: dict[int, Point]) -> Iterable[Wire]:
        column = self._column[id(end.sign)]
        enters: list[Point] = [(self._lefts[column], self._y(end.line))]
        if end.near != end.line:
            x = self._x(column, end)
            enters = [(x, self._y(end.near)), (x, self._y(end.line)), *enters]
        if end.bus is None:
            for source, output in end.port.sources:
                start = (0.0, self._y(end.near))
                yield Wire(source, output, end.sign, end.port, straightened([start, *enters]))
            return
        x = self._x(end.bus.channel, end.bus)
        enters = [(x, self._y(end.near)), *enters]
        for source, output in end.port.sources:
            begins = self._begins(end.bus, (id(source), output), at)
            yield Wire(source, output, end.sign, end.port, straightened([*begins, *enters]))

    def _begins(self, bus: _Bus, out: _Out, at: dict[int, Point]) -> list[Point]:
        """The points of a wire from its source up to a bus."""
        leg = next(leg for leg in bus.legs if leg[0] == out)
        x, y = self._x(bus.channel, bus), self._y(leg[2])
        if leg[1] is None:
            column = self._column[out[0]]
            return [(self._lefts[column] + self._widths[column], y), (x, y)]
        before = self._begins(leg[1], out, at)
        return [*before, (self._x(leg[1].channel, leg[1]), y), (x, y)]
