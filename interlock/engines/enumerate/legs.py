"""Queries along legs, answered in an explored space.

States are found in the order of their distances, so a run's places are, too, if those that begin
at each distance join what is reached there. A leg that asks nothing of its states needs no search:
every known state is in it.
"""

from __future__ import annotations

from array import array
from bisect import bisect_right
from dataclasses import dataclass
from enum import Enum
from itertools import accumulate
from time import perf_counter

from interlock.base.errors import InternalError
from interlock.engines.enumerate.legs_text import FROM_NOWHERE, MOST_LEGS, TARGET
from interlock.engines.enumerate.space import SLICE_S, Space
from interlock.kernel.expr import FALSE, Expr
from interlock.kernel.query import DeclinedError, Leg, Legs
from interlock.kernel.system import MoveKind
from interlock.kernel.witness import Step, Witness

_FIRST_ROOM = 1 << 12
_FIRST_STEP = 1 << 14
_MOST_PLACES = 1 << 16
_ENTERS_FIRST = 1 << 1
# What a leg may count, as a flag of moves and of places that count them.
_COUNTED = {MoveKind.SCAN: 1, MoveKind.TIME: 2}
_ANYWHERE = Leg()
# State, place and where from, of each entry of the queue, and the hits among them.
_QUEUE = (("walk_states", 4), ("walk_places", 2), ("walk_from", 4), ("hits", 4))


class Until(Enum):
    """What ends a walk: a first hit, or only that there is no more; where hits count."""

    FIRST = "first hit in the last place"
    ALL = "all hits in the last place"
    ALL_IN_LAST = "all hits in the last leg"


@dataclass(frozen=True)
class Route:
    """Legs as the compiled search goes along them.

    Attributes
    ----------
    legs : tuple of Leg
        Without a first one that every state is in.
    begins_anywhere : bool
        Whether there was such a one.
    goes_on : bool
        Whether a run may go on with all scans of the last leg behind it.
    """

    legs: Legs
    begins_anywhere: bool
    goes_on: bool = True

    @classmethod
    def along(cls, legs: Legs, goes_on: bool = True) -> Route:
        """The route along `legs`.

        Raises
        ------
        DeclinedError
            Where there are more legs, or more scans in them, than the search can tell apart.
        """
        begins_anywhere = len(legs) > 1 and legs[0] == _ANYWHERE
        kept = legs[1:] if begins_anywhere else legs
        if len(kept) > MOST_LEGS:
            raise DeclinedError(f"a run along more than {MOST_LEGS} legs")
        if sum(leg.scans + 1 for leg in kept) > _MOST_PLACES:
            raise DeclinedError(f"a bound of {max(leg.scans for leg in kept):,} scans")
        return cls(kept, begins_anywhere, goes_on)

    def conditions(self, target: Expr) -> list[Expr]:
        """What the flags of a state tell, from the lowest bit on."""
        found = [condition for leg in self.legs for condition in (leg.inside, leg.enter)]
        found += [FALSE] * (TARGET.bit_length() - 1 - len(found))
        return [*found, target]

    @property
    def last_place(self) -> int:
        """The place with all legs and scans behind it."""
        return sum(leg.scans + 1 for leg in self.legs) - 1

    def leg_of(self, place: int) -> int:
        """The leg that a place belongs to."""
        return bisect_right(list(accumulate(leg.scans + 1 for leg in self.legs)), place)

    @property
    def first_of_last(self) -> int:
        """The first place of the last leg."""
        return self.last_place - self.legs[-1].scans

    def rows(self) -> list[tuple[int, int, int, int]]:
        """For each place the flags for going on and for entering a leg, what climbs and stops."""
        rows = []
        for n, leg in enumerate(self.legs):
            following = 1 << (2 * n + 3) if n + 1 < len(self.legs) else 0
            counted = counts_as_of(leg)
            rows += [(1 << 2 * n, following if leg.is_short else 0, counted, 0)] * leg.scans
            rows.append((1 << 2 * n, following, 0, counted if leg.is_short else 0))
        if not self.goes_on:
            rows[-1] = (0, 0, 0, 0)
        return rows

    def nexts(self) -> list[int]:
        """For each place the first one of the next leg."""
        found: list[int] = []
        for leg in self.legs:
            found += [len(found) + leg.scans + 1] * (leg.scans + 1)
        # Behind the last leg there is none, and none is entered.
        return [*found[: self.first_of_last], *[0] * (self.legs[-1].scans + 1)]


def counts_as_of(leg: Leg) -> int:
    """The flag of what a leg counts."""
    return _COUNTED[leg.counted]


def share_counts_as(space: Space) -> None:
    """Tell the compiled code what each move counts as."""
    counts_as = space.new_array("counts_as", 1, max(1, len(space.system.moves)))
    counts_as.fill(bytes(_COUNTED.get(move.kind, 0) for move in space.system.moves))


class Walk:
    """All places that runs along a route come to, in the order of their fewest moves.

    Parameters
    ----------
    space : Space
    route : Route
    function : int
        Address of the function that gives the flags of a state.
    until : Until
    """

    def __init__(self, space: Space, route: Route, function: int, until: Until = Until.ALL) -> None:
        self._space, self._route = space, route
        self._depth = space.depth  # as many steps to work out as there are levels
        shared = space.shared
        self._flags = space.new_array("flags", 1, space.n_states)
        space.flag(function)
        shared["walk_length"] = shared["n_hits"] = shared["farthest"] = 0
        anywhere_in_last = until is Until.ALL_IN_LAST or route.legs[-1].is_short
        shared["hit_from"] = route.first_of_last if anywhere_in_last else route.last_place
        shared["first_hit_ends"] = int(until is Until.FIRST)
        self.complete = False
        wanted = bytes(value & TARGET != 0 for value in range(256))
        if self._flags.content(space.n_states).translate(wanted).find(1) < 0:
            self.complete = True  # There is nothing to be found.
            return
        self._lay_out()
        self.complete = self._walk()

    def _lay_out(self) -> None:
        space, shared = self._space, self._space.shared
        rows = self._route.rows()
        columns = zip(*rows, strict=True)
        for name, column in zip(("insides", "enters", "climbs", "stops"), columns, strict=True):
            space.new_array(name, 1, len(rows)).fill(bytes(column))
        nexts = array("H", self._route.nexts())
        space.new_array("nexts", nexts.itemsize, len(nexts)).fill(nexts.tobytes())
        share_counts_as(space)
        shared["visited_width"] = -(-len(rows) // 8)
        space.new_array("visited", shared["visited_width"], space.n_states)
        shared["walk_most"] = MOST_LEGS * max(1, len(space.system.moves))
        for name, width in _QUEUE:
            space.new_array(name, width, _FIRST_ROOM)
        shared["walk_room"] = _FIRST_ROOM

    def _grow(self) -> bool:
        """Twice the room; False where the memory limit forbids it."""
        space, shared = self._space, self._space.shared
        room = 2 * shared["walk_room"] + shared["walk_most"]
        n_bytes = sum(width for _, width in _QUEUE) * room
        n_bytes += (1 + shared["visited_width"]) * space.n_states
        space.n_analysis_bytes = max(space.n_analysis_bytes, n_bytes)
        if space.budget.spent(space.n_bytes):
            return False
        for name, _ in _QUEUE:
            array = space.arrays[name]
            array.grow(room)
            shared[name] = array.address
        shared["walk_room"] = room
        return True

    def _walk(self) -> bool:
        """Go along to the end; False where a limit was hit."""
        first, done = 0, 0
        ends = list(accumulate(self._space.level_sizes())) if self._route.begins_anywhere else [1]
        for stop in ends:
            if not self._begin(first, stop):
                return False
            first, end = stop, self._length
            if not self._expand(done, end):
                return False
            done = end
        while done < (end := self._length):
            if not self._expand(done, end):
                return False
            done = end
        return True

    @property
    def _is_over(self) -> bool:
        shared = self._space.shared
        return bool(shared["first_hit_ends"] and shared["n_hits"])

    @property
    def _length(self) -> int:
        return self._space.shared["walk_length"]

    def _begin(self, first: int, stop: int) -> bool:
        begin, address = self._space.routines["begin"], self._space.shared.address
        while first < stop:
            first = begin(address, first, stop, _ENTERS_FIRST)
            if self._is_over or (first < stop and not self._grow()):
                return False
        return True

    def _expand(self, first: int, stop: int) -> bool:
        space, step = self._space, _FIRST_STEP
        walk, address = space.routines["walk"], space.shared.address
        while first < stop:
            space.budget.report("along legs", space.n_states, self._depth)
            if space.budget.out_of_time():
                return False
            end = min(first + step, stop)
            started = perf_counter()
            first = walk(address, first, end)
            if self._is_over or (first < end and not self._grow()):
                return False
            if perf_counter() - started < SLICE_S / 2:
                step *= 2
        return True

    @property
    def n_hits(self) -> int:
        """In how many states what is looked for was met."""
        return self._space.shared["n_hits"]

    @property
    def most_scans(self) -> int | None:
        """The most scans of the last leg that a hit has behind it; None without a hit."""
        farthest = self._space.shared["farthest"]
        return farthest - 1 - self._route.first_of_last if farthest else None

    @property
    def fewest_scans(self) -> int | None:
        """The fewest scans of the last leg that a hit has behind it; None without a hit."""
        if not self.n_hits:
            return None
        arrays = self._space.arrays
        places, hits = array("H"), array("I")
        places.frombytes(arrays["walk_places"].content(self._length))
        hits.frombytes(arrays["hits"].content(self.n_hits))
        return min(places[hit] for hit in hits) - self._route.first_of_last

    def hits(self) -> list[int]:
        """The states in which it was met, those with the fewest moves first."""
        if not self.n_hits:
            return []
        arrays = self._space.arrays
        states, hits = array("I"), array("I")
        states.frombytes(arrays["walk_states"].content(self._length))
        hits.frombytes(arrays["hits"].content(self.n_hits))
        return [states[hit] for hit in hits]

    def steps_to(self, hit: int) -> list[Step]:
        """The moves of a run to the hit of this number."""
        arrays = self._space.arrays
        states, places = arrays["walk_states"], arrays["walk_places"]
        came = arrays["walk_from"]
        entry = arrays["hits"][hit]
        steps: list[Step] = []
        while (before := came[entry]) != FROM_NOWHERE:
            leg, from_leg = (self._route.leg_of(places[n]) for n in (entry, before))
            if leg == from_leg:  # Into the next leg takes no move.
                climbs = places[entry] != places[before]
                steps.append(self._step(states[before], states[entry], places[before], climbs))
            entry = before
        return self._space.steps_to(states[entry]) + steps[::-1]

    def _step(self, source: int, target: int, place: int, climbs: bool) -> Step:
        space = self._space
        counted, stopped = space.arrays["climbs"][place], space.arrays["stops"][place]
        for move, reached in space.successors(source):
            counts_as = _COUNTED.get(space.system.moves[move].kind, 0)
            is_made = not counts_as & stopped and bool(counts_as & counted) is climbs
            if reached == target and is_made:
                return space.step(move, target)
        raise InternalError("a place was found that no move leads to")

    def witness_to(self, hit: int) -> Witness:
        """The run to the hit of this number."""
        return Witness(self._space.state(0), tuple(self.steps_to(hit)))

    def close(self) -> None:
        """Give the arrays back."""
        names = [name for name, _ in _QUEUE]
        by_place = ("insides", "enters", "climbs", "stops", "nexts")
        self._space.drop("flags", "visited", "counts_as", *by_place, *names)
