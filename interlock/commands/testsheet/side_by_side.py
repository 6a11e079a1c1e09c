"""Many states that come to rest side by side, each as `Simulation` brings it to rest by itself.

From one place a planner tries a hundred actions, and the program computes nearly the same after
each. So all are scanned at once, in lanes. What needs many scans or many ends of timers, or rests
in no single state, is not told here: the simulation follows it alone.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from interlock.commands.testsheet.goals import Force, Program
from interlock.kernel import expr as ex
from interlock.kernel.evaluate import State
from interlock.kernel.expr import Expr
from interlock.kernel.lanes import (
    Lanes,
    bits,
    differing,
    in_all,
    lanes_function,
    merged,
)
from interlock.kernel.system import BOOL, Move, System

# So many scans with unchanged inputs, and so many times at which timers end, are followed here.
MOST_SCANS, MOST_ENDS = 12, 8
Timer = tuple[Move, int]
_Left = dict[int, int]
"""The lanes in which so many milliseconds of a timer are left."""


@dataclass
class _Ends:
    """What the end of a timer makes of a state."""

    places: list[int]
    values: Callable[[Sequence[Lanes], int], tuple[Lanes, ...]]


class SideBySide:
    """A program and its timers, compiled for many states at once.

    Parameters
    ----------
    system : System
    program : Program
    timers : sequence of (Move, int)
        The ends of timers, each with the milliseconds that it takes.
    """

    def __init__(self, system: System, program: Program, timers: Sequence[Timer]) -> None:
        domains = {v.name: v.domain for v in (*system.variables, *program.lowered.inputs)}
        self._truths = {name for name, domain in domains.items() if domain == BOOL}
        self._index = dict(system.index)
        self._inputs = {name: n for n, name in enumerate(program.signals)}
        for name, number in self._inputs.items():
            self._index[name] = len(system.variables) + number
        self._is_truth = [v.name in self._truths for v in system.variables]
        self._places = {
            name: system.index[name] for name in program.outputs if name in system.index
        }
        updates = {n: e for n, e in program.lowered.updates.items() if n in system.index}
        self._targets = [system.index[name] for name in updates]
        self._scan = self._compiled(updates)
        self._signals = self._compiled(program.signals)
        self._due = lanes_function(
            [(move.guard, True) for move, _ in timers], self._index, self._truths
        )
        self._timers = timers
        self._ends = [
            _Ends([system.index[n] for n in move.updates], self._compiled(move.updates))
            for move, _ in timers
        ]
        self._turns = [system.index[name] for name in system.turns]
        # Where no signal reads an output, signals stay as they are until something moves.
        self._is_echoed = not self._places.keys().isdisjoint(
            ex.variables_of(list(program.signals.values()))
        )

    def _compiled(
        self, values: Mapping[str, Expr]
    ) -> Callable[[Sequence[Lanes], int], tuple[Lanes, ...]]:
        roots = [(value, name in self._truths) for name, value in values.items()]
        return lanes_function(roots, self._index, self._truths)

    def rests(self, states: Sequence[State], forces: Sequence[Force]) -> list[State | None]:
        """The state that each of `states` comes to rest in under its force; None if not told here.

        As in `Simulation`, at least one scan is made.
        """
        run = _Run(self, states, forces)
        told = run.to_rest()
        return run.states(told)

    def changed_outputs(
        self, states: Sequence[State], forces: Sequence[Force]
    ) -> list[dict[str, int] | None]:
        """The outputs that come to rest otherwise than they begin; None if not told here."""
        run = _Run(self, states, forces)
        return run.changed(run.to_rest(), self._places)


class _Run:
    """States on their way to rest."""

    def __init__(self, of: SideBySide, states: Sequence[State], forces: Sequence[Force]) -> None:
        self._of, self._starts = of, states
        self._every = (1 << len(states)) - 1
        self._first = self._side_by_side()
        self._now = list(self._first)
        self._held_inputs = self._held([force.signals for force in forces])
        self._held_outputs = self._held([force.outputs for force in forces])
        self._left: list[_Left] = [{} for _ in of._timers]
        self._read: tuple[Lanes, ...] | None = None

    def _side_by_side(self) -> list[Lanes]:
        """The start states, variable by variable."""
        every, first = self._every, self._starts[0]
        base = [
            in_all(value, truth, every)
            for value, truth in zip(first, self._of._is_truth, strict=True)
        ]
        where: list[tuple[State, int]] = []
        lane = 0
        for _, same in groupby(self._starts, id):
            here = list(same)
            if here[0] is not first:
                where.append((here[0], ((1 << len(here)) - 1) << lane))
            lane += len(here)
        for state, lanes in where:
            for place, (usual, value) in enumerate(zip(first, state, strict=True)):
                if value != usual:
                    other = in_all(value, self._of._is_truth[place], every)
                    base[place] = merged(lanes, other, base[place])
        return base

    @staticmethod
    def _held(given: Sequence[tuple[tuple[str, int], ...]]) -> dict[str, _Left]:
        """For each name that is held somewhere, the lanes in which it is held at each value."""
        found: dict[str, _Left] = {}
        for lane, held in enumerate(given):
            for name, value in held:
                by_value = found.setdefault(name, {})
                by_value[value] = by_value.get(value, 0) | 1 << lane
        return found

    def _over(self, value: Lanes, held: Mapping[int, int]) -> Lanes:
        """`value`, but in the lanes in which it is held at another."""
        if isinstance(value, int):
            return (value | held.get(1, 0)) & ~held.get(0, 0)
        for at, lanes in held.items():
            value = merged(lanes, {at: self._every}, value)
        return value

    def _seen(self) -> tuple[Lanes, ...]:
        """What the inputs read."""
        if self._read is not None:
            return self._read
        state = self._now
        if self._held_outputs:
            state = list(state)
            for name, held in self._held_outputs.items():
                place = self._of._places.get(name)
                if place is not None:
                    state[place] = self._over(state[place], held)
        seen = list(self._of._signals(state, self._every))
        for name, held in self._held_inputs.items():
            number = self._of._inputs[f"input.{name}"]
            seen[number] = self._over(seen[number], held)
        found = tuple(seen)
        if not self._of._is_echoed:
            self._read = found
        return found

    def _scan_once(self) -> int:
        """Scan everywhere; the lanes in which that changes something."""
        of, now = self._of, self._now
        after, changed = list(now), 0
        found = of._scan((*now, *self._seen()), self._every)
        for place, value in zip(of._targets, found, strict=True):
            after[place] = value
            changed |= differing(value, now[place])
        for place in of._turns:
            after[place] = in_all(0, of._is_truth[place], self._every)
            changed |= differing(after[place], now[place])
        self._now = after
        return changed

    def _count_down(self) -> None:
        """Keep what is left of the timers that run; one that has just started has all of it."""
        due = self._of._due(self._now, self._every)
        for number, (running, (_, preset)) in enumerate(zip(due, self._of._timers, strict=True)):
            assert isinstance(running, int)
            old = self._left[number]
            if not running:
                if old:
                    self._left[number] = {}
                continue
            new: _Left = {}
            fresh = running
            for ms, lanes in old.items():
                if still := lanes & running:
                    new[ms] = still
                    fresh &= ~still
            if fresh:
                new[preset] = new.get(preset, 0) | fresh
            self._left[number] = new

    def to_rest(self) -> int:
        """Scan and let timers end until all is at rest; the lanes in which it came to be."""
        told = self._every
        self._scan_once()
        for _ in range(MOST_ENDS):
            told &= ~self._settle()
            waiting = told & self._waiting()
            if not waiting:
                return told
            self._end_soonest(waiting)
            self._scan_once()
        return told & ~waiting

    def _settle(self) -> int:
        """Scan until nothing changes any more; the lanes in which it does not come to that."""
        for _ in range(MOST_SCANS):
            self._count_down()
            changed = self._scan_once()
            if not changed:
                break
        return changed

    def _waiting(self) -> int:
        found = 0
        for left in self._left:
            for lanes in left.values():
                found |= lanes
        return found

    def _end_soonest(self, waiting: int) -> None:
        """End the timers with the least left, in each of the lanes `waiting`."""
        ended = [0] * len(self._left)
        after: list[_Left] = [{} for _ in self._left]
        times = sorted({ms for left in self._left for ms in left})
        for soonest in times:
            here = 0
            for left in self._left:
                here |= left.get(soonest, 0)
            here &= waiting
            waiting &= ~here
            for number, left in enumerate(self._left):
                for ms, lanes in left.items():
                    if there := lanes & here:
                        if ms == soonest:
                            ended[number] |= there
                        else:
                            rest = ms - soonest
                            after[number][rest] = after[number].get(rest, 0) | there
        self._left = after
        for lanes, end in zip(ended, self._of._ends, strict=True):
            if lanes:
                values = end.values(self._now, self._every)
                for place, value in zip(end.places, values, strict=True):
                    self._now[place] = merged(lanes, value, self._now[place])

    def changed(self, told: int, places: Mapping[str, int]) -> list[dict[str, int] | None]:
        """What is otherwise than at the start in each of the lanes `told`, None elsewhere."""
        found: list[dict[str, int] | None] = [None] * len(self._starts)
        of_lane: dict[int, dict[str, int]] = {lane: {} for lane in bits(told)}
        for name, place in places.items():
            now, first = self._now[place], self._first[place]
            if now is first or not (otherwise := differing(now, first) & told):
                continue
            for value, lanes in _by_value(now).items():
                for lane in bits(lanes & otherwise):
                    of_lane[lane][name] = value
        for lane, values in of_lane.items():
            found[lane] = values
        return found

    def states(self, told: int) -> list[State | None]:
        """The state of each of the lanes `told`, None elsewhere."""
        changed: list[tuple[int, Lanes, int]] = []
        moved = 0
        for place, (first, now) in enumerate(zip(self._first, self._now, strict=True)):
            if now is not first and (otherwise := differing(now, first) & told):
                changed.append((place, now, otherwise))
                moved |= otherwise
        found: list[State | None] = [None] * len(self._starts)
        for lane in bits(told & ~moved):
            found[lane] = self._starts[lane]
        lists = {lane: list(self._starts[lane]) for lane in bits(moved)}
        for place, now, otherwise in changed:
            for value, lanes in _by_value(now).items():
                for lane in bits(lanes & otherwise):
                    lists[lane][place] = value
        for lane, values in lists.items():
            found[lane] = tuple(values)
        return found


def _by_value(lanes: Lanes) -> Mapping[int, int]:
    """The lanes that have each value, and maybe lanes that are none."""
    return {1: lanes, 0: ~lanes} if isinstance(lanes, int) else lanes
