"""Who has moved since the last scan, and who may before the next, kept as a log of what happened.

Written apart from what the engines are given: from the meaning in ``DEVELOPERS.md`` alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from interlock.kernel.system import MOVED, PHASE, SCANNED_BY, Event, Origin
from interlock.model.model import Model, ModelMove

# What may move more often than this between two scans is not counted.
_MOST_COUNTED = 8


@dataclass(frozen=True)
class Turned:
    """What has happened since the last scan.

    Attributes
    ----------
    moved : tuple of str
        The machine of each move that took a turn, in their order.
    is_disturbed : bool
        Whether anything that takes no turn has happened.
    is_scanned : bool
        Whether there was a scan at all.
    scan : str
        Name of the last one.
    """

    moved: tuple[str, ...] = ()
    is_disturbed: bool = False
    is_scanned: bool = False
    scan: str = ""


class TurnsTaken:
    """Keeps to what a model says of the time between two scans.

    Parameters
    ----------
    model : Model

    Attributes
    ----------
    now : Turned
    """

    def __init__(self, model: Model) -> None:
        self._in_all = model.between_scans.in_all
        self._own = _own_turns(model) if model.between_scans.is_each_once else {}
        self._scans = [one.scan for one in model.several]
        self.now = Turned()

    @property
    def scan_led_here(self) -> str:
        """The scan that led to this state; empty where anything else did."""
        return "" if self.now.moved or self.now.is_disturbed else self.now.scan

    def has_one(self, machine: str) -> bool:
        """Whether a move of `machine` may come before the next scan."""
        moved = self.now.moved
        if not self.now.is_scanned:
            return False
        if self._in_all is not None and len(moved) >= self._in_all:
            return False
        return machine not in self._own or moved.count(machine) < self._own[machine]

    def take(self, machine: str) -> None:
        """Note a move of `machine` that takes a turn."""
        self.now = replace(self.now, moved=(*self.now.moved, machine))

    def disturb(self) -> None:
        """Note something that takes no turn."""
        self.now = replace(self.now, is_disturbed=True)

    def begin_anew(self, scan: str) -> None:
        """Note a scan."""
        self.now = Turned(is_scanned=True, scan=scan)

    def values(self) -> dict[str, int]:
        """What an engine is to say of it, by the names of the kernel's variables."""
        now = self.now
        before_any_move = 2 if self._in_all is None else self._in_all
        if not now.is_scanned:
            phase = before_any_move
        elif now.moved:
            # Where nobody scans more may move, which counts no further.
            phase = 1 if self._in_all is None else min(len(now.moved), self._in_all)
        else:
            phase = before_any_move + 1 if now.is_disturbed else 0
        own = self._own.items()
        counts = {MOVED + name: min(now.moved.count(name), most) for name, most in own}
        by = ["", *self._scans].index(self.scan_led_here) if self._scans else 0
        return {PHASE: phase, SCANNED_BY: by, **counts}


def _own_turns(model: Model) -> dict[str, int]:
    """How often each machine moves at most; without those that may move any number of times."""
    found = {}
    for name in model.machines:
        moves = [m for m in model.moves if m.machine == name and is_limited(m, model)]
        known = [Fraction(repr(m.takes.least)) for m in moves if m.takes is not None]
        scan = Fraction(max(one.settings.scan_ms for one in model.controllers), 1000)
        # The ends of n moves in a row lie within one scan's time where n - 1 of them fit in.
        counts = (n for n in range(1, _MOST_COUNTED + 1) if not known or n * min(known) >= scan)
        most = next(counts, None)
        if moves and most is not None:
            found[name] = most
    return found


def is_limited(move: ModelMove, model: Model) -> bool:
    """Whether the scan limits a move: what takes its time in a model with time, it does not."""
    return not move.takes_no_turn and not (model.timing is not None and move.takes is not None)


def events_of(model: Model) -> Iterator[Origin]:
    """What may happen at any moment, besides moves: of faults, timers, signals and outputs."""
    for id_ in model.faults:
        yield Origin.strike(id_)
        yield Origin.clearing(id_)
    for one in model.controllers:
        for instance in one.program.instances:
            yield Origin.elapse(one.inside(instance.name))
    for sensor in model.late_sensors:
        yield Origin.delay(sensor.name)
    for output in model.delayed_outputs:
        yield Origin(Event.EFFECT, output.name)
        yield Origin(Event.LAG, output.name)
