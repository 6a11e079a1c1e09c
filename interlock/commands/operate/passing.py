"""What time does to a model on the bench: what must happen first, what is under way, and rest.

It reads the clocks of the system; the judge keeps ages of its own, and what is refused here it
refuses as well.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from interlock.base.errors import InternalError
from interlock.commands.rehearse.successors import World
from interlock.kernel import expr as ex
from interlock.kernel.evaluate import State, python_function
from interlock.kernel.system import MoveKind, Role
from interlock.model.build import SCAN
from interlock.model.clocks import periods_of
from interlock.model.model import Model
from interlock.model.timing import BEGUN, CLOCK, TICK, Timing, ms_of

# What happens by itself, but for scans and time.
BY_ITSELF = (MoveKind.PLANT, MoveKind.TIMER)
# A round of time and scans that is longer than this is never told to be rest.
_LONGEST_ROUND = 500
SCANS = "the program scans"
_MOST_KNOWN = 100_000


def seconds(ms: Fraction | int) -> str:
    """A time in seconds, every digit of it.

    >>> seconds(12300), seconds(2000)
    ('12.3 s', '2 s')
    """
    return f"{float(ms) / 1000:.3f}".rstrip("0").rstrip(".") + " s"


class Passing:
    """How time passes in the states of a world.

    Parameters
    ----------
    model : Model
        With time.
    world : World
        Of that model.

    Attributes
    ----------
    unit_ms : int
    """

    def __init__(self, model: Model, world: World) -> None:
        timing = model.timing
        if timing is None:
            raise InternalError("a model without time has no time that passes")
        self.unit_ms = timing.unit_ms
        self._stepper, system = world.stepper, world.system
        self._index = system.index
        periods = periods_of(model)
        self._periods = {m.name: periods[m.name] for m in system.moves if m.name in periods}
        self._says = {m.name: m.says or m.name for m in system.moves} | {SCAN: SCANS}
        self._least = _least_spans(model, timing)
        # What a move waits for is its guard with all the time that it takes behind it.
        is_clock = {v.name: v.name.startswith((CLOCK, BEGUN)) for v in system.variables}
        full = {v.name: ex.const(v.domain.hi) for v in system.variables if is_clock[v.name]}
        guards = [system.move(name).guard for name in self._periods]
        self._conditions = python_function(ex.substitute(guards, full), self._index)
        unseen = (Role.OBSERVER, Role.PHASE, Role.AGE)
        self._seen = [
            n
            for n, v in enumerate(system.variables)
            if not is_clock[v.name] and v.role not in unseen
        ]
        self._onward: dict[State, State | None] = {}

    @property
    def unit(self) -> str:
        """The unit in words."""
        return f"{self.unit_ms} ms" if self.unit_ms % 1000 else seconds(self.unit_ms)

    def _lasting(self, state: State) -> dict[str, int]:
        """Whatever takes time and has begun, with the units for which it has lasted."""
        holds = self._conditions(state)
        return {
            name: state[self._index[CLOCK + name]] if CLOCK + name in self._index else 0
            for name, so in zip(self._periods, holds, strict=True)
            if so
        }

    def due(self, state: State) -> list[str]:
        """What must happen before any more time passes."""
        found = []
        for name, passed in self._lasting(state).items():
            greatest = self._periods[name].greatest
            if greatest is not None and passed >= greatest:
                found.append(name)
        return found

    def under_way(self, state: State) -> dict[str, str]:
        """What waits for nothing but its time, with how much of that has passed, in words."""
        found = {}
        for name, passed in self._lasting(state).items():
            begun = state[self._index[BEGUN + name]] if BEGUN + name in self._index else 0
            # Pieces count as one unit more than they are known to be.
            in_all = begun + passed + 1 if begun else passed
            if in_all < self._periods[name].least:
                found[name] = self._so_far(name, passed, begun)
        return found

    def _so_far(self, name: str, passed: int, begun: int) -> str:
        least = self._least.get(name, Fraction(self._periods[name].least * self.unit_ms))
        gone = seconds(passed * self.unit_ms)
        before = f", up to {seconds(begun * self.unit_ms)} before it was interrupted" * (begun > 0)
        return f"it takes {seconds(least)} at least, and {gone} have passed{before}"

    def why_not(self, state: State, name: str) -> str:
        """Why the time of a move has not come, or may not pass; empty where that is no reason."""
        if name == TICK:
            due = self.due(state)
            return f"'{self._says[due[0]]}' must happen first" if due else ""
        return self.under_way(state).get(name, "")

    def seen_alike(self, before: State, after: State) -> bool:
        """Whether two states differ in nothing but clocks, ages and what is counted."""
        return all(before[n] == after[n] for n in self._seen)

    def is_rest(self, state: State) -> bool:
        """Whether time and scans alone lead back to this very state, with nothing seen on the way.

        So what somebody may do only after some time, and a bound that is running, are waited for.
        """
        here = state
        for _ in range(_LONGEST_ROUND):
            after = self._on(here)
            if after is None:
                return False
            if after == state:
                return True
            here = after
        return False

    def _on(self, state: State) -> State | None:
        """The state that a scan or time leads to; None where anything else happens or is seen."""
        if state not in self._onward:
            if len(self._onward) >= _MOST_KNOWN:
                self._onward.clear()
            self._onward[state] = self._look(state)
        return self._onward[state]

    def _look(self, state: State) -> State | None:
        moves = self._stepper.enabled(state)
        if any(move.kind in BY_ITSELF for move in moves):
            return None
        # Where nothing can happen at all, nothing does.
        after = state
        for move in sorted(moves, key=lambda move: move.name != SCAN):
            if move.name in (SCAN, TICK) and after == state:
                after = self._stepper.after(state, move)
        return after if self.seen_alike(state, after) else None


def _least_spans(model: Model, timing: Timing) -> Mapping[str, Fraction]:
    """The least times as the model gives them, in milliseconds, by the names of moves."""
    found = {SCAN: Fraction(timing.scan_least_ms)}
    for move in model.moves:
        if move.takes is not None:
            found[move.name] = ms_of(move.takes.least)
    return found
