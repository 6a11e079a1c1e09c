"""Time in a product of two controllers: one set of clocks for the plant and both programs' timers.

A timer has a clock of its own whichever moves let it elapse: it may run on alone after another one
that started with it was stopped, and is due no later for that.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import gcd

from interlock.commands.compare.timer_pairs import NEW
from interlock.kernel.system import Move, Origin, Variable
from interlock.model.build import SCAN
from interlock.model.clocks import Clocks, going_on, periods_of, stays_of
from interlock.model.model import Model
from interlock.model.timing import Timing
from interlock.model.turns import Turns

TimerNames = tuple[str | None, str | None]
"""The timers of the old and of the new controller that a move lets elapse."""


def why_apart_in_time(old: Model, new: Model) -> str:
    """Why two models cannot run in one time; empty where they can."""
    ours, theirs = old.timing, new.timing
    if ours is None and theirs is None:
        return ""
    if ours is None or theirs is None:
        which = "old" if theirs is None else "new"
        return f"time passes in the {which} model only"
    if ours.unit_ms != theirs.unit_ms:
        said = f"time is counted in units of {ours.unit_ms} ms and of {theirs.unit_ms} ms"
        both = gcd(ours.unit_ms, theirs.unit_ms)
        is_exact = ours.is_exact or theirs.is_exact
        return said + (f"; give both 'unit: {both} ms'" if is_exact else "")
    if ours.scans != theirs.scans:
        return f"one model has {ours.scans}, the other {theirs.scans}"
    return ""


@dataclass(frozen=True)
class JointTime:
    """The moves of a product in their time.

    Attributes
    ----------
    timing : Timing
    turns : Turns
    old, new : Model
    """

    timing: Timing
    turns: Turns
    old: Model
    new: Model

    def kept(
        self,
        moves: Sequence[Move],
        timers: Mapping[str, TimerNames],
        running: Iterable[tuple[bool, Move]],
    ) -> tuple[list[Variable], list[Move]]:
        """Clocks, and the moves with them, time itself as the last.

        Parameters
        ----------
        moves : sequence of Move
        timers : mapping of str to (str or None, str or None)
            What each move of a timer lets elapse.
        running : iterable of (bool, Move)
            For each timer that has variables of its own: whether it is the old controller's, and
            its end as if it were alone.
        """
        ours, theirs = (periods_of(model) for model in (self.old, self.new))
        waits = [move for move in moves if move.name not in timers]
        periods = {move.name: ours[move.name] for move in waits if move.name in ours}
        for is_old, end in running:
            assert end.origin is not None
            name = clock_name(end.origin.of, is_old)
            waits.append(replace(end, name=name))
            periods[name] = (ours if is_old else theirs)[end.name]
        clocks = Clocks(waits, periods, stays_of(self.old), machines=going_on(self.old))
        kept = [
            clocks.kept_by(m, self._waiting(timers[m.name]) if m.name in timers else None)
            for m in moves
        ]
        tick = self.turns.taking_none(clocks.tick(self.timing))
        return clocks.variables({SCAN: periods[SCAN].counted}), [*kept, tick]

    @staticmethod
    def _waiting(which: TimerNames) -> list[str]:
        old, new = which
        found = [] if old is None else [clock_name(old, is_old=True)]
        return found if new is None else [*found, clock_name(new, is_old=False)]


def clock_name(timer: str, is_old: bool) -> str:
    """The name of the move whose clock is that of a timer."""
    return Origin.elapse(timer if is_old else NEW + timer).move_name
