"""Runs along legs, the slow and obvious way: every state together with where the run is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from interlock.kernel.evaluate import State, python_function
from interlock.kernel.query import Legs
from interlock.kernel.system import System

# An enabled move, by its number, and the index of the state it leads to (None: not explored).
Edge = tuple[int, int | None]


class Place(NamedTuple):
    """A state, by its index, in a leg with so many scans of it made, no more than it asks for."""

    state: int
    leg: int
    scans: int


@dataclass(frozen=True)
class Came:
    """How a place was found: from which one, and by which move where it took one."""

    place: Place
    move: int | None


class Walk:
    """Every place that runs along legs come to, in the order of their fewest moves.

    Parameters
    ----------
    system : System
    states : sequence of State
    edges : sequence of sequence of Edge
        The moves of every state.
    legs : tuple of Leg
    ends_with_scans : bool
        Whether runs go on no further with all scans of the last leg behind them.

    Attributes
    ----------
    came : dict of Place to Came or None
    """

    def __init__(
        self,
        system: System,
        states: Sequence[State],
        edges: Sequence[Sequence[Edge]],
        legs: Legs,
        ends_with_scans: bool = False,
    ) -> None:
        self._states, self._edges, self._legs = states, edges, legs
        self._ends_with_scans = ends_with_scans
        self._inside = [python_function([leg.inside], system.index) for leg in legs]
        self._enter = [python_function([leg.enter], system.index) for leg in legs]
        self._kinds = [move.kind for move in system.moves]
        self.came: dict[Place, Came | None] = {}
        level = [Place(0, 0, 0)] if self._enter[0](states[0])[0] else []
        self.came.update(dict.fromkeys(level))
        while level:
            level = self._grown(level)

    def _grown(self, level: list[Place]) -> list[Place]:
        """The places one move behind those of a level, which gets what takes no move beside."""
        for place in level:  # grows while it is walked
            for further in self._entered(place):
                if further not in self.came:
                    self.came[further] = Came(place, None)
                    level.append(further)
        found = []
        for place in level:
            for move, further in self._moved(place):
                if further not in self.came:
                    self.came[further] = Came(place, move)
                    found.append(further)
        return found

    def _entered(self, place: Place) -> Iterator[Place]:
        following = place.leg + 1
        if following == len(self._legs) or not self._is_through(place):
            return
        if self._enter[following](self._states[place.state])[0]:
            yield Place(place.state, following, 0)

    def _moved(self, place: Place) -> Iterator[tuple[int, Place]]:
        most = self._legs[place.leg].scans
        if self._ends_with_scans and self._is_done(place):
            return
        if not self._inside[place.leg](self._states[place.state])[0]:
            return
        for move, target in self._edges[place.state]:
            if target is not None:
                is_counted = self._kinds[move] is self._legs[place.leg].counted
                if is_counted and self._legs[place.leg].is_short and place.scans == most:
                    continue
                scans = min(place.scans + is_counted, most)
                yield move, Place(target, place.leg, scans)

    def _is_done(self, place: Place) -> bool:
        return place.leg == len(self._legs) - 1 and self._is_through(place)

    def _is_through(self, place: Place) -> bool:
        leg = self._legs[place.leg]
        return leg.is_short or place.scans == leg.scans

    def done(self) -> list[Place]:
        """The places with all legs and scans behind them, those with the fewest moves first."""
        return [place for place in self.came if self._is_done(place)]

    def in_last(self) -> list[Place]:
        """The places in the last leg."""
        return [place for place in self.came if place.leg == len(self._legs) - 1]

    def moves_to(self, place: Place) -> list[tuple[int, int]]:
        """The moves of the run that found a place, each with the state it leads to."""
        steps = []
        while (came := self.came[place]) is not None:
            if came.move is not None:
                steps.append((came.move, place.state))
            place = came.place
        return steps[::-1]
