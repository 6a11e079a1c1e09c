"""What only the enumerating engine promises."""

from __future__ import annotations

from dataclasses import replace

import pytest

from interlock.engines import budget
from interlock.engines.budget import Budget
from interlock.engines.enumerate import EnumeratingEngine, legs
from interlock.engines.enumerate.jit import compiled
from interlock.engines.enumerate.memory import Array
from interlock.engines.enumerate.space import MOST_STATES
from interlock.engines.reference import ReferenceEngine
from interlock.kernel import expr as ex
from interlock.kernel.expr import FALSE, TRUE, add, and_, const, eq, lt, mul, var
from interlock.kernel.query import (
    Count,
    DeclinedError,
    Leg,
    Limits,
    MostScans,
    Occurs,
    Reach,
    Stay,
    Trap,
)
from interlock.kernel.system import Move, MoveKind, System
from tests.bench.models import interlock
from tests.support.build import is_, move, system


def counter(last: int) -> System:
    up = ex.clamp(add(var("n"), const(1)), 0, last)
    return system({"n": (0, last, 0)}, move("up", lt(var("n"), const(last)), {"n": up}))


def test_more_states_than_an_index_can_number_are_a_limit() -> None:
    found = EnumeratingEngine(most_states=300).explore(
        counter(999), [Reach(is_("n", 10)), Reach(is_("n", 500))]
    )
    assert found.limit == "states 300"
    assert found.n_states == 300
    assert [answer.found for answer in found.answers] == [True, None]


def test_looking_at_what_was_found_ends_where_time_is_over_for_long(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(Budget, "long_out_of_time", lambda _: True)
    queries = [Reach(is_("n", 10)), Reach(is_("n", 99_000)), Count(is_("n", 99_000)), Reach(FALSE)]
    found = EnumeratingEngine().explore(counter(99_999), queries)
    # The first states are looked at in any case; of the rest nothing is known.
    assert [answer.found for answer in found.answers] == [True, None, None, None]
    witness = found.answers[0].witness
    assert witness is not None
    assert len(witness.steps) == 10


def test_time_is_over_for_long_when_twice_as_much_is_gone(monkeypatch: pytest.MonkeyPatch) -> None:
    now = 0.0
    monkeypatch.setattr(budget, "perf_counter", lambda: now)
    monkeypatch.setattr(budget, "monotonic", lambda: now)
    of_one = Budget(Limits(max_seconds=10), None)
    of_all = Budget(replace(Limits(max_seconds=10), until=12), None)
    endless = Budget(Limits(), None)
    told = {}
    for now in (5, 11, 19, 20, 21, 22, 500):
        told[now] = [one.long_out_of_time() for one in (of_one, of_all, endless)]
    assert told[19] == told[11] == told[5] == [False, False, False]
    assert told[20] == told[21] == [True, False, False]
    assert told[22] == told[500] == [True, True, False]
    assert (of_one.limit, of_all.limit, endless.limit) == ("seconds 10", "seconds 10", None)


def test_an_index_numbers_as_many_states_as_32_bits_do() -> None:
    # Index plus 1 in 32 bits, 0 for a free place.
    assert MOST_STATES == 4_294_967_295


def test_values_beyond_a_word_are_declined_with_the_expression() -> None:
    big = 2**40
    of = system({"a": (0, big, 0)}, move("wide", lt(mul(var("a"), var("a")), const(7)), {"a": 1}))
    with pytest.raises(DeclinedError, match="64-bit word: "):
        EnumeratingEngine().explore(of, [])
    with pytest.raises(DeclinedError, match="variable b"):
        EnumeratingEngine().explore(system({"b": (0, 2**65, 0)}), [])


def test_more_moves_than_a_frame_can_number_are_declined() -> None:
    of = system({"a": (0, 1, 0)}, *(move(f"m{n}", TRUE) for n in range(1 << 15)))
    with pytest.raises(DeclinedError, match="32,767 moves"):
        EnumeratingEngine().explore(of, [])


def test_a_deep_space_is_explored_and_every_step_of_its_run_recovered() -> None:
    found = EnumeratingEngine().explore(counter(20_000), [Reach(is_("n", 20_000))])
    assert found.depth == 20_000
    witness = found.answers[0].witness
    assert witness is not None
    assert [step.state for step in witness.steps] == [(n,) for n in range(1, 20_001)]


def test_a_space_that_grows_its_table_often_keeps_24_bytes_a_state() -> None:
    found = EnumeratingEngine().explore(interlock(4, 3), [])
    assert found.n_states > 200_000
    assert found.n_bytes <= 24 * found.n_states
    assert sum(found.level_sizes) == found.n_states


def test_a_large_controller_is_computed_in_parts_and_means_the_same() -> None:
    # Several thousand nodes in one move: more than one compiled part.
    of = interlock(4, 2, 900)
    home = and_(*(is_(f"axis{n}.place", 0) for n in range(4)))
    queries = [Count(eq(var("axis0.out"), var("axis1.out"))), Reach(is_("axis3.place", 2))]
    queries_after = [Trap(home), Stay(is_("axis2.out", 1), is_("axis2.out", 1))]
    limits = Limits(max_states=3_000)
    ours = EnumeratingEngine().explore(of, [*queries, *queries_after], limits)
    known = ReferenceEngine().explore(of, [*queries, *queries_after], limits)
    assert ours.n_moves == known.n_moves
    assert ours.level_sizes == known.level_sizes
    assert ours.answers[:2] == known.answers[:2]
    assert [a.found for a in ours.answers] == [a.found for a in known.answers]


def test_an_array_keeps_its_elements_when_it_grows() -> None:
    array = Array(16, 2)
    array[0], array[1] = 2**127 + 5, 7
    array.grow(100_000)
    assert array.part(0, 2) == [2**127 + 5, 7]
    assert len(array) == 100_000
    assert array.content(1) == (2**127 + 5).to_bytes(16, "little")


def test_a_system_asked_again_from_another_state_is_not_compiled_again() -> None:
    a = ex.var("a")
    up = move("up", lt(a, const(3)), {"a": ex.clamp(add(a, const(1)), 0, 3)})
    for start, n_states in ((0, 4), (2, 2)):
        before = compiled.cache_info().misses
        found = EnumeratingEngine().explore(system({"a": (0, 3, start)}, up), [Reach(is_("a", 3))])
        assert found.n_states == n_states
        assert found.answers[0].found
    assert compiled.cache_info().misses == before


def test_as_many_scans_are_told_apart_as_16_bits_do() -> None:
    of = system({"n": (0, 0, 0)}, Move("scan", MoveKind.SCAN, TRUE, {}))
    along = (Leg(TRUE, TRUE, 65_535),)
    queries = [MostScans(TRUE, along), Occurs(TRUE, along)]
    most, occurs = EnumeratingEngine().explore(of, queries).answers
    assert most.values == ((65_535,),)
    assert occurs.n_states == 1
    with pytest.raises(DeclinedError, match="a bound of 65,536 scans"):
        EnumeratingEngine().explore(of, [Occurs(TRUE, (Leg(), Leg(TRUE, TRUE, 65_536)))])


def test_three_legs_are_gone_along_behind_one_that_every_state_is_in() -> None:
    three = [Leg(TRUE, is_("n", n)) for n in (1, 2, 3)]
    engine, of = EnumeratingEngine(), counter(5)
    (answer,) = engine.explore(of, [Reach(is_("n", 4), (Leg(), *three))]).answers
    assert answer.witness is not None
    assert len(answer.witness) == 4
    with pytest.raises(DeclinedError, match="a run along more than 3 legs"):
        engine.explore(of, [Reach(TRUE, (*three, Leg()))])


def test_too_little_room_for_a_run_along_legs_grows(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(legs, "_FIRST_ROOM", 1)
    up = counter(7)
    back = [move(f"back from {n}", is_("n", n), {"n": 0}) for n in range(8)]
    of = up.extended((), [*up.moves, *back])
    for along in ((Leg(), Leg()), (Leg(TRUE, TRUE, 3),), (Leg(), Leg(TRUE, is_("n", 3), 2))):
        queries = [Reach(is_("n", 7), along), Occurs(is_("n", 2), along)]
        ours = EnumeratingEngine().explore(of, queries).answers
        assert ours == ReferenceEngine().explore(of, queries).answers


def test_the_memory_of_a_run_along_legs_is_counted_and_limited() -> None:
    n_states = 20_001
    of = counter(n_states - 1)
    query = Occurs(is_("n", n_states - 1), (Leg(TRUE, is_("n", 0)),))
    bare = EnumeratingEngine().explore(of, []).n_bytes
    told = EnumeratingEngine().explore(of, [query])
    assert told.answers[0].n_states == 1
    # The queue takes 14 bytes an entry and doubles; flags and places take 2 bytes a state.
    assert 16 * n_states <= told.n_bytes - bare <= (2 * 14 + 2) * n_states
    limits = Limits(max_bytes=bare + 10 * n_states)
    from_anywhere = Occurs(is_("n", 1), (Leg(), Leg(ex.FALSE, TRUE, 1)))
    for asked in (query, from_anywhere):
        cut = EnumeratingEngine().explore(of, [asked], limits)
        assert (cut.answers[0].found, cut.answers[0].n_states) == (None, 0)
        assert cut.limit == f"bytes {limits.max_bytes:,}"
    # Where no state is what is looked for, no way to one has to be.
    nowhere = Occurs(and_(is_("n", 1), is_("n", 2)), query.along)
    none = EnumeratingEngine().explore(of, [nowhere], limits)
    assert (none.answers[0].found, none.limit) == (False, None)
