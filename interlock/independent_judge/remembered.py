"""What a player remembers of a state, so that it can go back to it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from interlock.independent_judge.clocks import Ages
from interlock.independent_judge.effects import Effective
from interlock.independent_judge.late import Given
from interlock.independent_judge.programs import Memories
from interlock.independent_judge.turns import Turned


@dataclass(frozen=True)
class Moment:
    """A state of a player that it can go back to, see `Player.moment`."""

    plant: Mapping[str, int]
    memory: Memories
    struck: Mapping[str, bool]
    ever: frozenset[str]
    held: Mapping[str, int]
    turns: Turned
    ages: Ages
    given: Given
    effective: Mapping[str, Effective]
