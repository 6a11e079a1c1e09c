"""Giving up is never an answer; what was found before stays found."""

from __future__ import annotations

import time

import pytest

from interlock.kernel import expr as ex
from interlock.kernel.expr import TRUE, add, const, lt, not_, var
from interlock.kernel.query import Count, Limits, Progress, Reach, Stay, Trap
from interlock.kernel.system import System
from tests.support.build import is_, move, system
from tests.support.engines import Explore
from tests.support.judge import check_shows


def grid(side: int) -> System:
    return system(
        {"a": (0, side, 0), "b": (0, side, 0)},
        *(
            move(f"{n} up", lt(var(n), const(side)), {n: ex.clamp(add(var(n), const(1)), 0, side)})
            for n in "ab"
        ),
    )


FAR = Reach(is_("a", 60))
NEAR = Reach(is_("a", 2))
QUERIES = (FAR, NEAR, Count(TRUE), Trap(is_("b", 60)), Stay(TRUE, not_(is_("b", 60))))


@pytest.mark.parametrize(
    "limits",
    [Limits(max_states=100), Limits(max_seconds=0), Limits(max_bytes=1)],
    ids=["states", "seconds", "bytes"],
)
def test_a_limit_leaves_open_what_was_not_found(explore: Explore, limits: Limits) -> None:
    found = explore(grid(60), QUERIES, limits)
    assert found.limit is not None
    assert [answer.found for answer in found.answers].count(False) == 0
    assert found.answers[0].found is None
    assert found.answers[2].found is None
    assert found.answers[3].found is None


def test_the_limit_is_named_with_its_size(explore: Explore) -> None:
    of = grid(60)
    assert explore(of, limits=Limits(max_states=1000)).limit == "states 1,000"
    assert explore(of, limits=Limits(max_seconds=0)).limit == "seconds 0"
    assert explore(of, limits=Limits(max_bytes=1)).limit == "bytes 1"


def test_a_state_limit_is_kept_and_what_was_found_stays_found(explore: Explore) -> None:
    of = grid(60)
    found = explore(of, QUERIES, Limits(max_states=100))
    assert 0 < found.n_states <= 100
    assert found.answers[1].found is True
    assert len(found.answers[1].witness) == 2
    assert found.answers[2].n_states == found.n_states


def test_a_limit_that_is_just_enough_is_not_hit(explore: Explore) -> None:
    found = explore(grid(9), [Reach(is_("a", 10))], Limits(max_states=100))
    assert (found.n_states, found.limit) == (100, None)
    assert found.answers[0].found is False
    cut = explore(grid(9), [Reach(is_("a", 10))], Limits(max_states=99))
    assert cut.limit is not None
    assert cut.answers[0].found is None


def test_generous_limits_change_nothing(explore: Explore) -> None:
    of = grid(20)
    free = explore(of, QUERIES)
    bound = explore(of, QUERIES, Limits(10**9, 1e6, 10**12))
    assert bound.limit is None
    assert bound.answers == free.answers


def test_a_loop_or_trap_inside_the_explored_part_may_be_found_but_must_be_real(
    explore: Explore,
) -> None:
    n = var("n")
    of = system(
        {"n": (0, 1000, 0), "stuck": (0, 1, 0)},
        move("on", lt(n, const(1000)), {"n": ex.clamp(add(n, const(1)), 0, 1000)}),
        move("jam", is_("n", 3), {"stuck": 1, "n": 0}),
    )
    queries = [Trap(is_("n", 1000)), Stay(TRUE, lt(n, const(4))), Trap(not_(var("stuck")))]
    for most in (1, 5, 8, 50):
        for query, answer in zip(
            queries, explore(of, queries, Limits(max_states=most)).answers, strict=True
        ):
            assert answer.found is not False
            if answer.found:
                check_shows(of, answer.witness, query)


def test_progress_is_told_of_every_stage(explore: Explore) -> None:
    told: list[Progress] = []
    found = explore(grid(30), QUERIES, Limits(), told.append)
    assert told
    assert all(0 <= p.n_states <= found.n_states for p in told)
    assert all(0 <= p.depth <= found.depth for p in told)
    assert [p.seconds for p in told] == sorted(p.seconds for p in told)
    assert all(p.stage for p in told)


def test_an_interruption_from_the_progress_callback_reaches_the_caller(explore: Explore) -> None:
    def interrupt(_: Progress) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        explore(grid(30), QUERIES, Limits(), interrupt)


def test_the_time_of_a_whole_command_is_shared_by_its_explorations(explore: Explore) -> None:
    limits = Limits(max_seconds=0.05).from_now()
    time.sleep(0.06)
    found = explore(grid(60), QUERIES, limits)
    assert found.limit == "seconds 0.05"
