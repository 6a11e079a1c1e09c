"""Compiled search along legs: states together with the place where a run is in its legs.

The places of all legs stand in one row, for a leg with N scans N + 1 of them; behind its last
place comes the first of the next leg. Bytes tell of each place what it takes to go on from it. From
any place of a short leg the run may enter the next leg.
"""

from __future__ import annotations

from interlock.engines.enumerate.context import Routine
from interlock.engines.enumerate.ir import Value
from interlock.engines.enumerate.runtime import NOWHERE, Tables

# Flags of a state while legs are gone along: two for each leg, and what is looked for.
MOST_LEGS = 3
TARGET = 1 << 7
FROM_NOWHERE = (1 << 32) - 1

_ARRAYS = ("walk_states", "walk_places", "walk_from")


def legs_text(n_words: int, kind: type[Tables] = Tables) -> str:
    """IR of the routines that go along legs, by tables of a kind."""
    return "\n".join([_arrive(), _begin(), _walk(n_words, kind)])


def _arrive() -> str:
    """``arrive(shared, number, place, came)``: put a state and its place into the queue, if new.

    And with it the places of further legs that begin there.
    """
    fn = Routine("arrive", ["i64", "i64", "i64"])
    _, number, first_place, came = fn.args
    visited, flags = fn.pointer("visited"), fn.pointer("flags")
    row = number * fn.word("visited_width")
    has = fn.load("i8", flags, number)
    place, before = fn.variable("i64", first_place), fn.variable("i64", came)
    with fn.while_(lambda: fn.const("i1", 1).is_(1)):
        here = place.get()
        at = row + (here >> 3)
        bit = fn.const("i64", 1) << (here & 7)
        known = fn.load("i8", visited, at).to("i64")
        with fn.if_((known & bit).is_not(0)):
            fn.leave(0)
        fn.store((known | bit).to("i8"), visited, at)
        length = fn.word("walk_length")
        fn.store(number.to("i32"), fn.pointer("walk_states"), length)
        fn.store(here.to("i16"), fn.pointer("walk_places"), length)
        fn.store(before.get().to("i32"), fn.pointer("walk_from"), length)
        fn.put("walk_length", length + 1)
        _note_hit(fn, here, has, length)
        enters = fn.load("i8", fn.pointer("enters"), here)
        with fn.if_((has & enters).is_(0)):
            fn.leave(0)
        before.set(length)
        place.set(fn.load("i16", fn.pointer("nexts"), here).to("i64"))
    return fn.text()


def _note_hit(fn: Routine, place: Value, has: Value, length: Value) -> None:
    is_hit = (place < fn.word("hit_from")) ^ 1
    is_hit = is_hit & (has & TARGET).is_not(0)
    with fn.if_(is_hit):
        n_hits = fn.word("n_hits")
        fn.store(length.to("i32"), fn.pointer("hits"), n_hits)
        fn.put("n_hits", n_hits + 1)
        with fn.if_(fn.word("farthest") < place + 1):
            fn.put("farthest", place + 1)


def _is_over(fn: Routine) -> Value:
    return (fn.word("n_hits") * fn.word("first_hit_ends")).is_not(0)


def _begin() -> str:
    """``begin(shared, first, stop, mask)``: arrive in the first place with states that have a flag.

    Returns where it stopped for want of room, or at a hit that is enough.
    """
    fn = Routine("begin", ["i64", "i64", "i64"])
    _, first, stop, mask = fn.args
    flags = fn.pointer("flags")
    nowhere = fn.const("i64", FROM_NOWHERE)
    with fn.count(first, stop) as number:
        begins = (fn.load("i8", flags, number) & mask.to("i8")).is_not(0)
        with fn.if_(begins):
            is_full = fn.word("walk_room") < fn.word("walk_length") + MOST_LEGS
            with fn.if_(is_full):
                fn.leave(number)
            fn.call("@arrive", [fn.shared, number, fn.const("i64", 0), nowhere])
            with fn.if_(_is_over(fn)):
                fn.leave(number)
    fn.leave(stop)
    return fn.text()


def _walk(n_words: int, kind: type[Tables]) -> str:
    """``walk(shared, first, stop)``: go on from places in the queue.

    Returns where it stopped for want of room, or at a hit that is enough.
    """
    fn = Routine("walk", ["i64", "i64"])
    _, first, stop = fn.args
    tables = kind.of(fn, n_words)
    flags, counts_as = fn.pointer("flags"), fn.pointer("counts_as")
    states, places, _ = (fn.pointer(name) for name in _ARRAYS)
    inside, climbs = fn.pointer("insides"), fn.pointer("climbs")
    room = fn.word("walk_room")
    most_at_once = fn.word("walk_most")
    with fn.count(first, stop) as head:
        with fn.if_(_is_over(fn)):
            fn.leave(head)
        with fn.if_(room < fn.word("walk_length") + most_at_once):
            fn.leave(head)
        number = fn.load("i32", states, head).to("i64")
        place = fn.load("i16", places, head).to("i64")
        goes_on = fn.load("i8", flags, number) & fn.load("i8", inside, place)
        with fn.if_(goes_on.is_not(0)):
            count = tables.expanded(number, 0)
            tables.fetch_ahead(0, count)
            climbing = fn.load("i8", climbs, place)
            stopped = fn.load("i8", fn.pointer("stops"), place)
            with fn.count(0, count) as j:
                target = tables.found(j)
                with fn.if_(target.is_not(NOWHERE)):
                    counted = fn.load("i8", counts_as, tables.move(j))
                    up = (counted & climbing).is_not(0).to("i64")
                    with fn.if_((counted & stopped).is_(0)):
                        fn.call("@arrive", [fn.shared, target, place + up, head])
    fn.leave(stop)
    return fn.text()
