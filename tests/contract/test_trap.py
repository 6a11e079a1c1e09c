"""What every engine answers to `Trap`: can the goal always still be reached?"""

from __future__ import annotations

import pytest

from interlock.kernel import expr as ex
from interlock.kernel.expr import FALSE, TRUE, add, and_, const, lt, not_, or_, var
from interlock.kernel.query import Reach, Trap
from interlock.kernel.system import Move, MoveKind, System
from tests.support.build import is_, move, system
from tests.support.engines import Explore
from tests.support.judge import check_shows
from tests.support.puzzles import hanoi, philosophers


def test_a_goal_everywhere_leaves_no_trap_and_no_goal_is_one_at_once(explore: Explore) -> None:
    answers = explore(hanoi(2), [Trap(TRUE), Trap(FALSE)]).answers
    assert [answer.found for answer in answers] == [False, True]
    assert answers[1].witness.steps == ()


def test_reversible_moves_never_trap(explore: Explore) -> None:
    answers = explore(hanoi(4), [Trap(is_("disc3", 2)), Trap(is_("disc0", 0))]).answers
    assert [answer.found for answer in answers] == [False, False]


def test_a_deadlock_traps_and_the_shortest_run_to_it_is_shown(explore: Explore) -> None:
    # Every philosopher holds the left fork: none can eat any more, after n moves.
    of = philosophers(4)
    query = Trap(or_(*(is_(f"p{n}", 2) for n in range(4))))
    (answer,) = explore(of, [query]).answers
    assert answer.found is True
    assert len(answer.witness) == 4
    check_shows(of, answer.witness, query)


def corridor(length: int) -> System:
    """Forward always, back only within the first half."""
    n = var("n")
    return system(
        {"n": (0, length, 0)},
        move("on", lt(n, const(length)), {"n": ex.clamp(add(n, const(1)), 0, length)}),
        move(
            "back",
            and_(lt(const(0), n), lt(n, const(length // 2))),
            {"n": ex.clamp(ex.sub(n, const(1)), 0, length)},
        ),
    )


def test_the_first_state_of_no_return_ends_the_run(explore: Explore) -> None:
    of = corridor(20)
    goals = [0, 5, 9, 10, 15, 20]
    queries = [Trap(is_("n", goal)) for goal in goals]
    answers = explore(of, queries).answers
    assert [a.found for a in answers] == [True] * 5 + [False]
    assert [len(a.witness) for a in answers if a.witness is not None] == [10, 10, 10, 11, 16]
    for query, answer in zip(queries, answers, strict=True):
        if answer.witness is not None:
            check_shows(of, answer.witness, query)


@pytest.mark.parametrize("n_goals", [1, 8, 9, 70])
def test_any_number_of_goals_is_answered_at_once(explore: Explore, n_goals: int) -> None:
    of = corridor(100)
    answers = explore(of, [Trap(lt(const(k), var("n"))) for k in range(n_goals)]).answers
    assert [answer.found for answer in answers] == [False] * n_goals
    answers = explore(of, [Trap(is_("n", k)) for k in range(n_goals)]).answers
    assert [len(a.witness) for a in answers] == [max(50, k + 1) for k in range(n_goals)]


def test_a_trap_may_be_an_endless_loop(explore: Explore) -> None:
    of = system(
        {"home": (0, 1, 1), "n": (0, 3, 0)},
        move("leave", and_(var("home"), is_("n", 2)), {"home": 0}),
        move("round", TRUE, {"n": ex.mod(add(var("n"), const(1)), const(4))}),
    )
    query = Trap(var("home"))
    (answer, away) = explore(of, [query, Reach(not_(var("home")))]).answers
    assert answer.found is True
    assert len(answer.witness) == len(away.witness) == 3
    check_shows(of, answer.witness, query)


def test_a_way_back_uses_no_strike_but_the_run_to_a_trap_does(explore: Explore) -> None:
    # A strike closes the way home; its clearing opens it again, which nobody may count on.
    still_open = not_(var("shut"))
    of = system(
        {"home": (0, 1, 1), "shut": (0, 1, 0)},
        move("leave", var("home"), {"home": 0}),
        move("return", and_(not_(var("home")), still_open), {"home": 1}),
        Move("strikes", MoveKind.FAULT, still_open, {"shut": TRUE}),
        Move("clears", MoveKind.FAULT, var("shut"), {"shut": FALSE}),
    )
    query = Trap(var("home"))
    (answer,) = explore(of, [query]).answers
    assert answer.found is True
    assert sorted(step.move for step in answer.witness.steps) == ["leave", "strikes"]
    check_shows(of, answer.witness, query)
