"""How many scans, or units of time, can pass in a leg at most?

A bound that nothing comes near needs no run: where no way through the leg counts as much as it
asks for, nothing behind the leg is reached, and no place of it has to be told from another. Only
with as much the search along all places (`legs`) is made.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from interlock.engines.enumerate.components import FINISHED, STARTS
from interlock.engines.enumerate.legs import Route, Walk, counts_as_of, share_counts_as
from interlock.engines.enumerate.legs_text import TARGET
from interlock.engines.enumerate.loops import DepthFirst
from interlock.engines.enumerate.memory import Array
from interlock.engines.enumerate.program import Program
from interlock.engines.enumerate.space import Space
from interlock.kernel.expr import FALSE, TRUE, Expr
from interlock.kernel.query import Leg, Legs, MostScans, Query, Reach


@dataclass(frozen=True)
class Longest:
    """The most counted moves in a leg.

    Attributes
    ----------
    counted : int
        On any way through it.
    to_hit : int or None
        Up to a state with what was looked for; None without such a state.
    """

    counted: int
    to_hit: int | None


@dataclass(frozen=True)
class _Asked:
    """The legs of a query up to the first one that asks for a number of scans; none without.

    And what is looked for there, where more is asked than whether they are gone through.
    """

    legs: Legs = ()
    where: Expr = FALSE

    @classmethod
    def of(cls, query: Query) -> _Asked:
        match query:
            case Reach(_, along):
                return cls(_counted(along))
            case MostScans(where, along) if _counted(along) == along:
                return cls(along, where)
        return cls()


def _counted(along: Legs) -> Legs:
    for n, leg in enumerate(along):
        if leg.is_short:
            break
        if leg.scans:
            return along[: n + 1]
    return ()


class LongestWays:
    """The longest ways that several queries ask for, each worked out once.

    Parameters
    ----------
    program : Program
        Gets the conditions.
    queries : sequence of Query
    """

    def __init__(self, program: Program, queries: Sequence[Query]) -> None:
        self._known: dict[_Asked, Longest | None] = {}
        self._numbers: dict[_Asked, int] = {}
        self._asked: dict[Legs, _Asked] = {}
        # What is asked of most scans tells what a bound asks of the same legs, too.
        for query in sorted(queries, key=lambda query: not isinstance(query, MostScans)):
            asked = _Asked.of(query)
            is_told = asked.legs in self._asked and asked.where is FALSE
            if asked.legs and asked not in self._numbers and not is_told:
                self._asked.setdefault(asked.legs, asked)
                self._numbers[asked] = len(self._numbers)
        for asked, n in self._numbers.items():
            conditions = Route((asked.legs[-1],), True).conditions(asked.where)
            program.add_bits(f"longest{n}", conditions)
            if (before := _before(asked.legs)) is not None:
                program.add_bits(f"entered{n}", before.conditions(TRUE))

    def of(self, space: Space, query: Query) -> Longest | None:
        """The longest way through the counted leg of `query`.

        None where it has no such leg, or with as much as it asks for: then its places matter. Of
        a space that is not complete it tells the longest known way.
        """
        asked = _Asked.of(query)
        if not asked.legs:
            return None
        if asked not in self._numbers:
            asked = self._asked[asked.legs]
        if asked not in self._known:
            self._known[asked] = self._found(space, asked)
        longest = self._known[asked]
        return None if longest is None or longest.counted >= asked.legs[-1].scans else longest

    def _found(self, space: Space, asked: _Asked) -> Longest | None:
        n, legs = self._numbers[asked], asked.legs
        address = space.conditions.address
        entered = None
        if (before := _before(legs)) is not None:
            walk = Walk(space, before, address(f"entered{n}"))
            entered, complete = walk.hits(), walk.complete
            walk.close()
            if not complete:
                return None
        return _longest(space, legs[-1], address(f"longest{n}"), entered)


def _before(legs: Legs) -> Route | None:
    """The way to where the last leg begins; None where it begins anywhere."""
    route = Route.along((*legs[:-1], Leg(FALSE, legs[-1].enter)))
    return None if route.begins_anywhere and len(route.legs) == 1 else route


def _longest(space: Space, leg: Leg, function: int, entered: list[int] | None) -> Longest | None:
    n_states, shared = space.n_states, space.shared
    flags = space.new_array("flags", 1, n_states)
    try:
        if not space.flag(function, "bounds", to_the_end=False):
            return None
        if entered is not None:
            _start_only_from(entered, flags, n_states)
        share_counts_as(space)
        shared["counted_as"] = counts_as_of(leg)
        shared["most_counted"] = shared["most_to_hit"] = 0
        for name in ("counted", "to_hit"):
            space.new_array(name, 2, n_states)
        search = DepthFirst(space, "longest", bytes_beside=4)
        status = search.run("bounds")
        search.close()
        if status != FINISHED:
            return None
        to_hit = shared["most_to_hit"] or int(_is_met_at_once(flags.content(n_states)))
        return Longest(shared["most_counted"], to_hit - 1 if to_hit else None)
    finally:
        space.drop("flags", "counts_as", "counted", "to_hit")


def _start_only_from(entered: list[int], flags: Array, n_states: int) -> None:
    content = bytearray(flags.content(n_states).translate(bytes(v & ~STARTS for v in range(256))))
    for number in entered:
        content[number] |= STARTS
    flags.fill(bytes(content))


def _is_met_at_once(flags: bytes) -> bool:
    """Whether a state that starts has what is looked for."""
    both = STARTS | TARGET
    return flags.translate(bytes(value & both == both for value in range(256))).find(1) >= 0
