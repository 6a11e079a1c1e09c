"""What outputs have ordered and what of it has taken effect, where that takes time.

Written apart from what the engines are given: from the meaning in ``DEVELOPERS.md`` alone.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from interlock.independent_judge.happenings import Change
from interlock.kernel.system import BOOL, Event, Origin
from interlock.model.delayed_outputs import EFFECT, ORDERED, REORDERED
from interlock.model.model import Model
from interlock.model.timing import TICK


@dataclass(frozen=True)
class Effective:
    """One output.

    Attributes
    ----------
    shows : int
        What of it has taken effect.
    gave : int
        What it gave last.
    orders : tuple of int
        For how many units of time each change has been there of which it is not known that it, and
        all before it, took effect or never will; of more than two the last two.
    """

    shows: int
    gave: int
    orders: tuple[int, ...] = ()

    @property
    def is_open(self) -> bool:
        """Whether what the output gives has not taken effect."""
        return self.shows != self.gave

    @property
    def is_mixed(self) -> bool:
        """Whether nobody knows which of several changes have taken effect."""
        return len(self.orders) > 1


class Effects:
    """Keeps what the outputs of a model give, and when that takes effect.

    Parameters
    ----------
    model : Model
    given : callable
        Gives what the outputs give now, faults included, power-up being the first time.

    Attributes
    ----------
    now : mapping of str to Effective
        By the name of each output that takes effect later than it changes.
    """

    def __init__(self, model: Model, given: Callable[[], Mapping[str, int]]) -> None:
        self._given = given
        self._units = {}
        if model.timing is not None:
            unit = Fraction(model.timing.unit_ms)
            for output in model.delayed_outputs:
                if output.delay is not None:
                    n_units = 0
                    while n_units * unit < Fraction(repr(output.delay.ms)):
                        n_units += 1
                    self._units[output.name] = n_units
        at_first = given() if self._units else {}
        self.now: Mapping[str, Effective] = {
            name: Effective(at_first[name], at_first[name]) for name in self._units
        }

    def shown(self, given: Mapping[str, int]) -> dict[str, int]:
        """The outputs as they have taken effect, those without a delay as they are given."""
        return {**given, **{name: one.shows for name, one in self.now.items()}}

    def note(self) -> None:
        """Note what the outputs give now."""
        if not self._units:
            return
        given, now = self._given(), dict(self.now)
        for name, one in now.items():
            if given[name] != one.gave:
                now[name] = replace(one, gave=given[name], orders=(*one.orders, 0)[-2:])
        self.now = now

    def ordered_since(self, before: Mapping[str, Effective]) -> tuple[Change, ...]:
        """What outputs give otherwise than before, whatever has taken effect."""
        labels = [(n, one.gave, self.now[n].gave) for n, one in before.items()]
        return tuple(Change(n, BOOL.show(a), BOOL.show(b)) for n, a, b in labels if a != b)

    def due(self) -> list[str]:
        """What must take effect before one more unit of time may pass."""
        units = self._units
        return [n for n, one in self.now.items() if one.is_open and one.orders[-1] >= units[n]]

    def why_not_pass(self, move: str) -> str:
        """Why time may not pass; empty where it may, or `move` is something else."""
        due = self.due() if move == TICK else []
        return f"'{due[0]}' must take effect first" if due else ""

    def is_time_owed(self) -> bool:
        """Whether nothing keeps time from passing but what may come and go."""
        return all(self.now[name].is_mixed for name in self.due())

    def pass_time(self) -> None:
        """Let a unit of time pass."""
        self.now = {name: self._older(name, one) for name, one in self.now.items()}

    def _older(self, name: str, one: Effective) -> Effective:
        orders = tuple(age + 1 for age in one.orders)
        if not one.is_open and orders and orders[-1] > self._units[name]:
            orders = ()
        return replace(one, orders=orders)

    def why_not(self, origin: Origin) -> str:
        """Why an output cannot take effect as it is, or as it was; empty where it can."""
        one = self.now[origin.of]
        if origin.event is Event.EFFECT:
            return "" if one.is_open else "it has done so"
        is_known = one.is_open or not one.is_mixed
        return "all that it was has taken effect, or never will" if is_known else ""

    def make(self, origin: Origin) -> None:
        """Let an output take effect as it is, or as it was."""
        one = self.now[origin.of]
        if origin.event is Event.EFFECT:
            after = replace(one, shows=one.gave, orders=one.orders if one.is_mixed else ())
        else:
            after = replace(one, shows=1 - one.gave)
        self.now = {**self.now, origin.of: after}

    def values(self) -> dict[str, int]:
        """What an engine is to say of it, by the names of the kernel's variables."""
        found = {EFFECT + name: one.shows for name, one in self.now.items()}
        for name, one in self.now.items():
            age = one.orders[-1] if one.orders else 0
            found[ORDERED + name] = age
            found[REORDERED + name] = int(one.is_mixed)
        return found
