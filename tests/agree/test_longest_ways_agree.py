"""The longest way through a leg, worked out at once, against all places that its runs come to."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from interlock.engines.enumerate import engine
from interlock.engines.enumerate.longest import LongestWays
from interlock.kernel import expr as ex
from interlock.kernel.expr import TRUE, add, const, lt, var
from interlock.kernel.query import Leg, MostScans, Query, Reach
from interlock.kernel.system import Domain, Move, MoveKind, System, Variable
from tests.support.build import is_, move, system
from tests.support.engines import explore_with
from tests.support.strategies import conditions, random_system

SETTINGS = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
MOST = 5
KINDS = (MoveKind.SCAN, MoveKind.TIME)


def counted_out(of: System, kinds: list[MoveKind], ends: bool) -> System:
    """A system that makes at most `MOST` counted moves, where `ends`; its moves have `kinds`."""
    left = var("left")
    moves = []
    for made, kind in zip(of.moves, kinds, strict=True):
        new = replace(made, kind=kind)
        if ends and kind in KINDS:
            guard = ex.and_(made.guard, lt(const(0), left))
            updates = {**made.updates, "left": ex.clamp(ex.sub(left, const(1)), 0, MOST)}
            new = replace(new, guard=guard, updates=updates)
        moves.append(new)
    return System((*of.variables, Variable("left", Domain(0, MOST), MOST)), tuple(moves))


def check_against_places(of: System, queries: list[Query]) -> None:
    known = explore_with("reference", of, queries)
    found = explore_with("enumerate", of, queries)
    for query, ours, theirs in zip(queries, found.answers, known.answers, strict=True):
        assert (ours.found, ours.values) == (theirs.found, theirs.values), query
        if theirs.witness is not None:
            assert ours.witness is not None
            assert len(ours.witness) == len(theirs.witness), query


@given(data=st.data())
@SETTINGS
def test_longest_ways_agree_with_all_places(data: st.DataObject) -> None:
    drawn = data.draw(random_system())
    kinds = [data.draw(st.sampled_from((MoveKind.PLANT, *KINDS))) for _ in drawn.moves]
    of = counted_out(drawn, kinds, ends=data.draw(st.booleans()))
    some = st.just(TRUE) | conditions(of)
    scope = st.builds(Leg, some, some)
    before = data.draw(st.sampled_from([(), (Leg(),)])) + data.draw(st.just(()) | st.tuples(scope))
    scans, counted = data.draw(st.integers(1, MOST + 3)), data.draw(st.sampled_from(KINDS))
    legs = (*before, Leg(data.draw(some), data.draw(some), scans, counted))
    queries: list[Query] = [Reach(data.draw(some), legs)]
    queries += [MostScans(data.draw(some), legs) for _ in range(data.draw(st.integers(1, 2)))]
    behind = (*legs, data.draw(scope))
    queries += [Reach(data.draw(some), behind), MostScans(data.draw(some), behind)]
    check_against_places(of, queries)


def test_no_place_is_told_from_another_where_a_bound_is_not_reached(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    used: Counter[bool] = Counter()

    class Watched(LongestWays):
        def of(self, *args: object) -> object:
            longest = super().of(*args)  # type: ignore[arg-type]
            used[longest is not None] += 1
            return longest

    monkeypatch.setattr(engine, "LongestWays", Watched)
    for scans, spares in ((2, False), (3, True), (300, True)):
        used.clear()
        legs = (Leg(), Leg(ex.not_(is_("n", 5)), is_("n", 1), scans))
        found = explore_with("enumerate", line(), [Reach(TRUE, legs), MostScans(TRUE, legs)])
        assert found.answers[0].found is not spares
        assert found.answers[1].values == ((2,),)
        assert used == {spares: 2}


def line() -> System:
    """From 0 to 6; two of the moves from 1 to 5 are scans, and 2 and 3 lie on a loop."""
    n = var("n")
    up = {"n": ex.clamp(add(n, const(1)), 0, 6)}
    scans = (is_("n", 1), is_("n", 4), is_("n", 5))
    return system(
        {"n": (0, 6, 0)},
        Move("scan", MoveKind.SCAN, ex.or_(*scans), up),
        move("up", ex.and_(lt(n, const(6)), ex.not_(ex.or_(*scans))), up),
        move("back", is_("n", 3), {"n": 2}),
    )


def test_time_that_may_pass_for_ever_is_as_long_as_any_bound() -> None:
    n = var("n")
    of = system(
        {"n": (0, 3, 0)},
        move("up", lt(n, const(3)), {"n": ex.clamp(add(n, const(1)), 0, 3)}),
        Move("tick", MoveKind.TIME, is_("n", 2), {}),
        move("again", is_("n", 2), {"n": 1}),
    )
    for scans in (1, 2, 40):
        legs = (Leg(), Leg(TRUE, is_("n", 0), scans, MoveKind.TIME))
        found = explore_with("enumerate", of, [Reach(is_("n", 3), legs), MostScans(TRUE, legs)])
        assert found.answers[0].found is True
        assert found.answers[1].values == ((scans,),)
        check_against_places(of, [Reach(is_("n", 3), legs), MostScans(is_("n", 3), legs)])


def test_a_bound_of_many_scans_is_as_long_as_it_says() -> None:
    for_ever = system({"n": (0, 1, 0)}, Move("scan", MoveKind.SCAN, TRUE, {}))
    legs = (Leg(scans=40_000), Leg())
    found = explore_with("enumerate", for_ever, [Reach(TRUE, legs)])
    witness = found.answers[0].witness
    assert witness is not None
    assert len(witness) == 40_000


def test_all_of_a_component_have_what_its_last_state_came_to_know() -> None:
    # 4 is gone into from 3, which knows of no scan yet; 2 comes to 4 later, by a scan of its own.
    ways = ((0, 1), (0, 2), (1, 3), (3, 4), (4, 3), (3, 5), (2, 4))
    scans = ((3, 5), (2, 4))
    of = system(
        {"n": (0, 5, 0)},
        *(
            Move(
                f"{a} {b}",
                MoveKind.SCAN if (a, b) in scans else MoveKind.PLANT,
                is_("n", a),
                {"n": const(b)},
            )
            for a, b in ways
        ),
    )
    legs = (Leg(), Leg(TRUE, ex.or_(is_("n", 1), is_("n", 2)), 2))
    check_against_places(of, [Reach(TRUE, legs), MostScans(is_("n", 5), legs)])
    farther = (Leg(), replace(legs[-1], scans=3))
    for target, most in ((5, 2), (3, 1), (1, 0)):
        query = MostScans(is_("n", target), farther)
        assert explore_with("enumerate", of, [query]).answers[0].values == ((most,),)
        check_against_places(of, [query])
