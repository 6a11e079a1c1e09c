"""Outputs that take effect later than they change, where a model counts time.

``effect.<output>`` is what plant and people get of it. Where that is something else than what the
output gives now, faults of the output included, it will be so within the delay, and no time passes
beyond that. So a single change takes effect once, at any moment of its delay.

What was ordered before an earlier order had taken effect may be passed on, however short it was, or
may not; whatever does pass it on, no value takes effect that the output has not given within the
delay. So while an output that was ordered anew (``reordered.<output>``) has not stood still for its
delay, what it was may take effect again. ``ordered.<output>`` counts the units of time since the
output last changed, as long as anything depends on it.

In the last instant of that delay it may come and go as well, and time passes in between at most: it
is owed all the same, or what comes and goes for ever would keep it from passing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr, and_, const, ite, le, lt, not_, or_, var, xor
from interlock.kernel.system import (
    BOOL,
    Domain,
    Event,
    Move,
    MoveKind,
    Origin,
    Role,
    Variable,
)
from interlock.model.model import Model

EFFECT = "effect."
"""With an output's name behind it: what of it has taken effect, where that takes time."""

ORDERED = "ordered."
"""With an output's name: the units of time since it last changed, while that matters."""

REORDERED = "reordered."
"""With an output's name: it changed again before all that had changed took effect."""


@dataclass(frozen=True)
class _Delayed:
    """An output, what it gives, and the units of time within which that takes effect."""

    name: str
    gives: Expr
    units: int
    initial: int

    @property
    def effect(self) -> Expr:
        return var(EFFECT + self.name)

    @property
    def since(self) -> Expr:
        return var(ORDERED + self.name)

    @property
    def again(self) -> Expr:
        return var(REORDERED + self.name)

    @property
    def is_open(self) -> Expr:
        """Whether what the output gives has not taken effect."""
        return xor(self.effect, self.gives)

    @property
    def is_due(self) -> Expr:
        """Whether it must take effect before more time passes."""
        return and_(self.is_open, le(const(self.units), self.since))

    def variables(self) -> list[Variable]:
        return [
            Variable(EFFECT + self.name, BOOL, self.initial, Role.AGE),
            Variable(ORDERED + self.name, Domain(0, self.units), 0, Role.AGE),
            Variable(REORDERED + self.name, BOOL, 0, Role.AGE),
        ]

    def events(self) -> Iterator[Move]:
        updates = {
            EFFECT + self.name: self.gives,
            ORDERED + self.name: ite(self.again, self.since, const(0)),
        }
        origin, guard = Origin(Event.EFFECT, self.name), self.is_open
        says, kind = effect_in_words(origin), MoveKind.EFFECT
        yield Move(origin.move_name, kind, guard, updates, guard, says, origin)
        origin, guard = Origin(Event.LAG, self.name), and_(not_(self.is_open), self.again)
        updates, says = {EFFECT + self.name: not_(self.gives)}, effect_in_words(origin)
        yield Move(origin.move_name, kind, guard, updates, None, says, origin, is_chance=True)

    def noting(self, move: Move) -> dict[str, Expr]:
        """What a move that may change the output makes of it."""
        (after,) = ex.substitute([self.gives], move.updates)
        if after is self.gives:
            return {}
        changed = xor(self.gives, after)
        return {
            ORDERED + self.name: ite(changed, const(0), self.since),
            REORDERED + self.name: ite(changed, or_(self.is_open, self.again), self.again),
        }

    def later(self) -> dict[str, Expr]:
        """What a unit of time makes of it."""
        one_more = ex.minimum(ex.add(self.since, const(1)), const(self.units))
        # Where all has taken effect and nothing can come back, nothing is counted.
        again = and_(self.again, lt(self.since, const(self.units)))
        return {
            ORDERED + self.name: ite(or_(self.is_open, again), one_more, const(0)),
            REORDERED + self.name: again,
        }


@dataclass(frozen=True)
class DelayedOutputs:
    """The outputs of a model that take effect later.

    Attributes
    ----------
    model : Model
    given : mapping of str to Expr
        What each output gives, its faults included, by casefolded name.
    initial : mapping of str to int
        What each output is at power-up.
    """

    model: Model
    given: Mapping[str, Expr]
    initial: Mapping[str, int]

    @cached_property
    def _each(self) -> list[_Delayed]:
        timing = self.model.timing
        if timing is None:
            return []
        return [
            _Delayed(
                output.name,
                self.given[output.name.casefold()],
                timing.units_of_delay(output.delay.ms),
                self.initial[output.name],
            )
            for output in self.model.delayed_outputs
            if output.delay is not None
        ]

    def variables(self) -> list[Variable]:
        """What has taken effect, and what is counted until the rest has."""
        return [variable for one in self._each for variable in one.variables()]

    def events(self) -> Iterator[Move]:
        """That an output takes effect, and that it does so as it was."""
        for one in self._each:
            yield from one.events()

    def noting(self, move: Move) -> Move:
        """The move with what it makes of the outputs that it changes."""
        if move.kind is MoveKind.EFFECT:
            return move
        updates = dict(move.updates)
        for one in self._each:
            updates |= one.noting(move)
        return replace(move, updates=updates)

    def kept_by(self, tick: Move) -> Move:
        """The passing of time where all that is due has taken effect."""
        if not self._each:
            return tick
        guard, fair, updates = tick.guard, tick.guard, dict(tick.updates)
        for one in self._each:
            guard = and_(guard, not_(one.is_due))
            fair = and_(fair, or_(not_(one.is_due), one.again))
            updates |= one.later()
        return replace(tick, guard=guard, fair=fair, updates=updates)


def effect_in_words(origin: Origin) -> str:
    """What it means that an output takes effect, or does so as it was."""
    if origin.event is Event.EFFECT:
        return f"what {origin.of} orders is done"
    return f"what {origin.of} ordered before is done late"
