"""How long what happens by itself has been under way, kept as ages.

Written apart from what the engines are given: from the meaning in ``DEVELOPERS.md`` alone.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from fractions import Fraction

from interlock.kernel.system import MoveKind, Origin
from interlock.model.controller import Controller
from interlock.model.model import Model
from interlock.model.timing import BEGUN, CLOCK, FIRST, TICK
from interlock.st import typed as ty
from interlock.st.evaluate import evaluate_expression

Ages = Mapping[str, int]
"""The units of time for which each thing under way has been so."""


@dataclass(frozen=True)
class _Span:
    """How long something takes, in milliseconds; `most` is None where it need not happen.

    `of` is the machine that keeps what it was under way while it stays; empty where it is lost.
    """

    least: Fraction
    most: Fraction | None
    of: str = ""


class Clocks:
    """The ages of what is under way in a model with time; without time nothing has an age.

    Parameters
    ----------
    model : Model

    Attributes
    ----------
    ages : Ages
        By the names of moves.
    """

    def __init__(self, model: Model) -> None:
        timed = [] if model.timing is None else model.moves
        stays = {move.name: move.stays for move in timed if move.stays is not None}
        self._waits = {move: stay.name for move, stay in stays.items()}
        self._stays = {stay.name: stay.condition for stay in stays.values()}
        self._unit = Fraction(0) if model.timing is None else Fraction(model.timing.unit_ms)
        self._spans = _spans(model)
        self._last = {name: self._last_age(span) for name, span in self._spans.items()}
        # Nobody knows how the scans of several controllers lie to each other: each may begin at
        # any moment of its time, at power-up and where it scans again.
        self._beginning = [one.scan for one in model.several if model.timing is not None]
        self._keeping = {name: span.of for name, span in self._spans.items() if span.of}
        self.ages: Ages = {}
        if model.timing is not None:
            # The first scan comes before any time passes, and what is so has been so for long.
            single = [one.scan for one in model.controllers if not model.several]
            self.ages = {name: self._last[name] for name in (*single, *self._stays)}

    def stays(self, truth: Mapping[str, int]) -> list[str]:
        """What moves wait for and is so now, by the names of stays."""
        return [n for n, lasts in self._stays.items() if evaluate_expression(lasts, truth)]

    @property
    def names(self) -> Collection[str]:
        """The moves, and the stays, that take time."""
        return self._spans.keys()

    def is_ripe(self, move: str) -> bool:
        """Whether the time that `move` takes at least may have passed, and that it waits for."""
        return self._has_lasted(move) and not self._is_kept(move)

    def _is_kept(self, move: str) -> bool:
        """Whether a stay that is short yet keeps `move` waiting."""
        stay = self._waits.get(move, "")
        return stay in self.ages and not self._has_lasted(stay)

    def _has_lasted(self, move: str) -> bool:
        if move not in self._spans or FIRST + move in self.ages:
            return True
        age, before = self.ages.get(move), self.ages.get(BEGUN + move)
        if age is None:
            return False
        # Nor does anybody of the units in which it was stopped, and in which it went on.
        pieces = age if before is None else age + 1 + before
        # Of the last unit nobody knows how much of it has passed.
        return (pieces + 1) * self._unit > self._spans[move].least

    def may_pass(self) -> bool:
        """Whether one more unit of time may pass before anything that is under way happens."""
        return bool(self._spans) and not self.due()

    def due(self) -> list[str]:
        """What must happen before one more unit of time may pass."""
        spans = {move: self._spans[move].most for move in self.ages if move in self._spans}
        return [
            move
            for move, most in spans.items()
            if most is not None and self.ages[move] * self._unit >= most
        ]

    def why_not(self, move: str) -> str:
        """Why the time of `move` has not come, or may not pass; empty where that is no reason."""
        if move == TICK:
            return "" if not self.due() else f"'{self.due()[0]}' must happen first"
        move = self._waits[move] if self._is_kept(move) else move
        if self._has_lasted(move) or move not in self.ages:
            return ""
        passed, least = self.ages[move] * self._unit, self._spans[move].least
        said = f"it takes {float(least):g} ms at least, and {float(passed):g} ms have passed"
        before = self.ages.get(BEGUN + move, 0) * self._unit
        return said + (f", up to {float(before):g} ms before it was interrupted" if before else "")

    def go_on(self, made: str, under_way: Collection[str], moved: Collection[str] = ()) -> None:
        """Note that `made` has happened, behind which this is under way.

        `moved` names the machines, of those that `keeping` does, that stand elsewhere now.
        """
        kept = self._kept(made, under_way, moved)
        passed = int(made == TICK)
        first = {
            FIRST + scan: 0
            for scan in self._beginning
            if scan in under_way and (scan not in self.ages or FIRST + scan in self.ages)
        }
        first.pop(FIRST + made, None)
        ages = {
            name: 0 if name == made else self.ages.get(name, -passed) + passed for name in under_way
        }
        self.ages = first | kept | ages

    @property
    def keeping(self) -> Collection[str]:
        """The machines that keep for how long a move was under way, as long as they stay."""
        return frozenset(self._keeping.values())

    def _kept(
        self, made: str, under_way: Collection[str], moved: Collection[str]
    ) -> dict[str, int]:
        """For how long what goes on has been under way in earlier pieces."""
        kept = {}
        for move, machine in self._keeping.items():
            if move == made or machine in moved:
                continue
            pieces = self.ages.get(BEGUN + move, 0)
            if move in self.ages and move not in under_way:
                pieces += self.ages[move] + 1
            if pieces:
                kept[BEGUN + move] = pieces
        return kept

    def values(self) -> dict[str, int]:
        """What an engine is to say of it, by the names of the kernel's variables."""
        values = {
            FIRST + scan: int(scan not in self.ages or FIRST + scan in self.ages)
            for scan in self._beginning
        }
        for move in self._keeping:
            values[BEGUN + move] = min(self.ages.get(BEGUN + move, 0), self._enough(move))
        return values | {
            CLOCK + name: min(self.ages.get(name, 0), last) for name, last in self._last.items()
        }

    def _enough(self, move: str) -> int:
        """What goes on behind that much may happen in the same unit."""
        pieces = 1
        while (pieces + 2) * self._unit <= self._spans[move].least:
            pieces += 1
        return pieces

    def _last_age(self, span: _Span) -> int:
        """The age from which on nothing changes any more."""
        age = 0
        if span.most is None:
            while (age + 1) * self._unit <= span.least:
                age += 1
            return age
        while age * self._unit < span.most:
            age += 1
        return age


def _spans(model: Model) -> dict[str, _Span]:
    if model.timing is None:
        return {}
    timing = model.timing
    found = {}
    for one in model.controllers:
        spacing = timing.spacing(one.name)
        found[one.scan] = _Span(Fraction(spacing.least_ms), Fraction(spacing.greatest_ms))
        found |= _spans_of_timers(one)
    for move in model.moves:
        if move.takes is not None:
            least, most = (
                1000 * Fraction(repr(s)) for s in (move.takes.least, move.takes.greatest)
            )
            must = move.kind is MoveKind.PLANT and not move.may
            # What takes less than a unit has nothing to keep.
            keeps = move.takes.goes_on and least >= timing.unit_ms
            found[move.name] = _Span(least, most if must else None, move.machine * keeps)
        if move.stays is not None:
            found[move.stays.name] = _Span(move.stays.ms, None)
    return found


def _spans_of_timers(one: Controller) -> dict[str, _Span]:
    found = {}
    for timer in one.program.instances:
        if timer.block in ("TON", "TOF", "TP"):
            preset = Fraction(timer.preset_ms)
            # Called again in the same scan it may have started anew.
            is_known = len(_called(one.program.body, timer.name)) < 2
            least = Fraction(0) if timer.varies else preset
            name = Origin.elapse(one.inside(timer.name)).move_name
            found[name] = _Span(least, preset if is_known else None)
    return found


def _called(body: tuple[ty.Statement, ...], name: str) -> list[ty.Statement]:
    """The calls of a block on the way through a body that calls it most often."""
    calls: list[ty.Statement] = []
    for s in body:
        if isinstance(s, ty.Invoke) and s.instance == name:
            calls.append(s)
        elif isinstance(s, ty.If | ty.Case):
            most: list[ty.Statement] = []
            for way in (*(branch.body for branch in s.branches), s.otherwise):
                found = _called(way, name)
                most = found if len(found) > len(most) else most
            calls += most
    return calls
