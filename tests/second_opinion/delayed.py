"""What outputs have given of late, and what of that is felt, where a model counts the time between.

Of each output everything is kept that it has given in this unit of time and in those before, as far
back as its delay reaches, so that nothing has to be reckoned from the last change.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from fractions import Fraction
from typing import NamedTuple

from interlock.model.model import Model


class Felt(NamedTuple):
    """One output.

    Attributes
    ----------
    felt : int
    gave : tuple of frozenset of int
        What it gave in this unit of time, in the one before, and so on.
    now : int
        What it gives.
    unfelt : int
        How many of its changes may not have been felt yet; 2 for more, and where nobody knows.
    """

    felt: int
    gave: tuple[frozenset[int], ...]
    now: int
    unfelt: int = 0

    def gave_within(self, value: int, units: int) -> bool:
        """Whether it gave `value` no more than so many units of time ago."""
        return any(value in values for values in self.gave[: units + 1])


class Delays:
    """The outputs of a model that are felt later than they are given."""

    def __init__(self, model: Model) -> None:
        self.units: dict[str, int] = {}
        for name, output in model.outputs.items():
            if model.timing is not None and output.delay is not None and output.delay.in_time:
                ms = Fraction(str(output.delay.ms))
                self.units[name] = math.ceil(ms / model.timing.unit_ms)

    def first(self, given: Mapping[str, int]) -> tuple[Felt, ...]:
        """What is felt at first: what is given."""
        return tuple(Felt(given[n], (frozenset([given[n]]),), given[n]) for n in self.units)

    def felt(self, state: tuple[Felt, ...]) -> dict[str, int]:
        """What is felt of each."""
        return {name: one.felt for name, one in zip(self.units, state, strict=True)}

    def noted(self, state: tuple[Felt, ...], given: Mapping[str, int]) -> tuple[Felt, ...]:
        """With what is given now."""
        found = []
        for name, one in zip(self.units, state, strict=True):
            if given[name] != one.now:
                gave = (one.gave[0] | {given[name]}, *one.gave[1:])
                one = Felt(one.felt, gave, given[name], min(2, one.unfelt + 1))
            found.append(self._settled(name, one))
        return tuple(found)

    def _settled(self, name: str, one: Felt) -> Felt:
        """Without what can matter no more."""
        if one.felt != one.now or (one.unfelt == 2 and self._may_return(name, one)):
            return one
        return Felt(one.felt, (frozenset([one.now]),), one.now)

    def _may_return(self, name: str, one: Felt) -> bool:
        return one.gave_within(1 - one.now, self.units[name])

    def changes(self, state: tuple[Felt, ...]) -> Iterator[tuple[str, bool, tuple[Felt, ...]]]:
        """What can be felt next: whose, whether that is what it gives now, and the state then."""
        for number, (name, one) in enumerate(zip(self.units, state, strict=True)):
            is_new = one.felt != one.now
            if is_new or (one.unfelt == 2 and self._may_return(name, one)):
                left = one.unfelt if one.unfelt == 2 else 0
                after = one._replace(felt=1 - one.felt, unfelt=left)
                if is_new and not self._may_return(name, one):
                    after = after._replace(unfelt=0)
                after = self._settled(name, after)
                yield name, is_new, (*state[:number], after, *state[number + 1 :])

    def may_tick(self, state: tuple[Felt, ...]) -> bool:
        """Whether a unit of time may pass."""
        return all(map(self._may_wait, self.units, state))

    def owes_tick(self, state: tuple[Felt, ...]) -> bool:
        """Whether time is owed: what comes and goes does not keep it from passing for ever."""
        pairs = zip(self.units, state, strict=True)
        return all(one.unfelt == 2 or self._may_wait(name, one) for name, one in pairs)

    def _may_wait(self, name: str, one: Felt) -> bool:
        """Whether what is felt will not be too old a unit of time later."""
        return one.felt == one.now or one.gave_within(one.felt, self.units[name] - 1)

    def later(self, state: tuple[Felt, ...]) -> tuple[Felt, ...]:
        """A unit of time later."""
        found = []
        for name, one in zip(self.units, state, strict=True):
            gave = (frozenset([one.now]), *one.gave)[: self.units[name] + 1]
            found.append(self._settled(name, one._replace(gave=gave)))
        return tuple(found)
