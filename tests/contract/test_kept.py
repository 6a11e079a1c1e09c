"""What every engine that offers it makes of states that are kept, and of systems that change."""

from __future__ import annotations

from dataclasses import replace

import pytest

from interlock.engines.reference import ReferenceEngine
from interlock.kernel import expr as ex
from interlock.kernel.expr import FALSE, TRUE, Expr, and_, const, lt, var
from interlock.kernel.kept import Keeps
from interlock.kernel.query import Limits, Trap
from interlock.kernel.system import System
from interlock.kernel.witness import check_run
from tests.support.build import is_, move, system

HIGHEST = 9


def lift(top: int = 5, ground: int = 0) -> System:
    """It goes up to `top` and down to `ground`, one floor at a time; floors go on to nine."""
    n = var("at")
    up, down = lt(n, const(top)), lt(const(ground), n)
    return system(
        {"at": (0, HIGHEST, 0), "called": (0, 1, 0)},
        move("call", ex.not_(var("called")), {"called": 1}),
        move("up", up, {"at": ex.minimum(ex.add(n, const(1)), const(HIGHEST))}, up),
        move("down", down, {"at": ex.maximum(ex.sub(n, const(1)), const(0)), "called": 0}, down),
    )


def differs(a: System, b: System) -> Expr:
    """Where a guard of the two systems differs."""
    pairs = zip(a.moves, b.moves, strict=True)
    return ex.or_(*(ex.ne(one.guard, other.guard) for one, other in pairs))


def test_all_states_are_kept_in_the_order_of_their_distance(keeps: Keeps) -> None:
    of = lift()
    kept = keeps.keep(of)
    assert kept.complete
    assert kept.n_states == ReferenceEngine().explore(of, []).n_states == 12
    states = [kept.state(number) for number in range(kept.n_states)]
    assert states[0] == of.initial
    assert len(set(states)) == len(states)
    depths = [kept.depth_of(number) for number in range(kept.n_states)]
    assert depths == sorted(depths)
    for number, state in enumerate(states):
        run = kept.witness_to(number)
        check_run(of, run)
        assert run.last == state
        assert len(run) == depths[number]


def test_the_first_state_with_a_condition_is_the_nearest(keeps: Keeps) -> None:
    kept = keeps.keep(lift())
    at_three, never, everywhere = kept.first([is_("at", 3), is_("at", 9), TRUE])
    assert at_three is not None
    assert at_three[0] == 2
    assert kept.depth_of(at_three[1]) == 3
    assert never is None
    assert everywhere == (12, 0)


def test_more_conditions_than_go_at_once_are_asked_all_the_same(keeps: Keeps) -> None:
    kept = keeps.keep(lift())
    found = kept.first([is_("at", n % 6) for n in range(150)])
    assert [entry and entry[0] for entry in found] == [2] * 150


def test_a_way_is_a_shortest_one(keeps: Keeps) -> None:
    kept = keeps.keep(lift())
    (top,) = kept.first([is_("at", 5)])
    assert top is not None
    assert kept.way(top[1], is_("at", 3)) == ["down", "down"]
    assert kept.way(0, is_("at", 9)) is None
    assert kept.way(0, TRUE) == []


def test_a_state_that_all_lead_back_to_is_an_aim_and_a_dead_end_leaves_none(keeps: Keeps) -> None:
    kept = keeps.keep(lift())
    aim = kept.aim
    assert aim is not None
    here = kept.state(aim)
    back = and_(is_("at", here[0]), is_("called", here[1]))
    assert all(kept.way(number, back) is not None for number in range(kept.n_states))
    stuck = replace(lift(), moves=lift().moves[:2])
    assert keeps.keep(stuck).aim is None


def test_a_limit_leaves_it_incomplete(keeps: Keeps) -> None:
    assert not keeps.keep(lift(), Limits(max_states=4)).complete


def test_beside_the_kept_states_lies_what_follows_from_a_difference(keeps: Keeps) -> None:
    of, higher = lift(), lift(top=7)
    kept = keeps.keep(of)
    changed = kept.changed(higher, differs(of, higher), {"bad": [is_("at", 6), is_("at", 8)]})
    with changed.beside(1_000) as beside:
        met = dict(entry for wave in beside.waves("bad") for entry in wave)
        assert beside.is_closed
        assert beside.n_states == ReferenceEngine().explore(higher, []).n_states
        assert list(met) == [0]
        run = beside.witness_to(met[0])
        check_run(higher, run)
        assert run.last == beside.state(met[0])
        assert beside.state(met[0])[0] == 6
        assert beside.count_new("bad") == 2
        assert beside.can_go(0, "bad", 0)
        assert not beside.can_go(0, "bad", 1)
    assert kept.n_states == 12
    assert kept.first([is_("at", 6)]) == [None]


def test_beside_too_many_states_it_is_not_closed(keeps: Keeps) -> None:
    of, higher = lift(), lift(top=HIGHEST)
    kept = keeps.keep(of)
    with kept.changed(higher, differs(of, higher), {"bad": [FALSE]}).beside(2) as beside:
        for _ in beside.waves("bad"):
            pass
        assert not beside.is_closed


def test_who_cannot_come_back_is_told(keeps: Keeps) -> None:
    of, grounded = lift(), lift(ground=2)
    kept, changes = keeps.keep(of), differs(of, grounded)
    aim = kept.aim
    assert aim is not None
    home = kept.state(aim)
    back = and_(is_("at", home[0]), is_("called", home[1]))
    conditions = {"bad": [FALSE], "back": [back, changes]}
    with kept.changed(grounded, changes, conditions).beside(1_000) as beside:
        for _ in beside.waves("bad"):
            pass
        lost = beside.never_back("back")
        assert len(lost) == beside.n_states
        for number, is_lost in enumerate(lost):
            assert bool(is_lost) is not beside.can_go(number, "back", 0)
        assert any(lost)


def test_a_loop_that_only_the_change_brings_is_found_beside(keeps: Keeps) -> None:
    of = replace(lift(), moves=lift().moves[1:2])
    no_up = replace(of.moves[0], guard=FALSE, fair=FALSE)
    stuck = replace(of, moves=(no_up,))
    kept = keeps.keep(of)
    conditions = {"bad": [FALSE], "stay": [is_("at", 0), is_("at", 0)]}
    for changes, there in ((differs(of, stuck), stuck), (FALSE, of)):
        with kept.changed(there, changes, conditions).beside(1_000) as beside:
            for _ in beside.waves("bad"):
                pass
            assert beside.stays("stay").found is (there is stuck)


def test_from_power_up_a_changed_system_is_judged_by_itself(keeps: Keeps) -> None:
    of, lower = lift(), lift(top=3)
    goals = [Trap(is_("at", 0)), Trap(is_("at", 5))]
    changed = keeps.keep(of).changed(
        lower,
        differs(of, lower),
        {
            "bad": [is_("at", 4), is_("at", 3)],
            "goals": [goal.goal for goal in goals],
            "stay": [lt(var("at"), const(2)), is_("at", 0)],
        },
    )
    found = changed.from_power_up(1_000)
    assert found.complete
    assert found.n_states == ReferenceEngine().explore(lower, []).n_states
    ((bit, number),) = found.found("bad")
    assert bit == 1
    assert len(found.witness_to(number)) == 3
    assert [answer.found for answer in found.traps("goals", goals)] == [False, True]
    loop = found.stays("stay")
    assert loop.found
    assert loop.witness is not None
    check_run(lower, loop.witness)
    assert not changed.from_power_up(3).complete


def test_other_variables_are_no_change(keeps: Keeps) -> None:
    kept = keeps.keep(lift())
    other = system({"at": (0, HIGHEST, 0)}, move("call", TRUE))
    with pytest.raises(ValueError, match="variables"):
        kept.changed(other, TRUE, {})
