"""What every engine answers to `Values`: which combinations occur?"""

from __future__ import annotations

from interlock.kernel import expr as ex
from interlock.kernel.expr import FALSE, add, const, eq, lt, not_, sub, var
from interlock.kernel.query import Limits, Values
from interlock.kernel.system import System
from tests.support.build import is_, move, system
from tests.support.engines import Explore


def clock(hours: int) -> System:
    later = ex.mod(add(var("hour"), const(1)), const(hours))
    ticked = not_(var("even"))
    return system(
        {"hour": (0, hours - 1, 0), "even": (0, 1, 1)},
        move("tick", ex.TRUE, {"hour": later, "even": ticked}),
    )


def test_every_combination_that_occurs_is_told_once_and_in_order(explore: Explore) -> None:
    asked = [
        Values((var("hour"), var("even"))),
        Values((var("even"), lt(var("hour"), const(6)))),
        Values((var("even"),), where=is_("hour", 3)),
        Values((sub(var("hour"), const(9)),), where=lt(var("hour"), const(2))),
    ]
    found = explore(clock(12), asked).answers
    assert found[0].values == tuple((hour, 1 - hour % 2) for hour in range(12))
    assert found[1].values == ((0, 0), (0, 1), (1, 0), (1, 1))
    assert found[2].values == ((0,),)
    assert found[3].values == ((-9,), (-8,))
    assert all(answer.found is False and answer.witness is None for answer in found)


def test_a_condition_that_never_holds_leaves_no_combination(explore: Explore) -> None:
    assert explore(clock(4), [Values((var("hour"),), where=FALSE)]).answers[0].values == ()


def test_no_expressions_have_one_combination(explore: Explore) -> None:
    assert explore(clock(4), [Values(())]).answers[0].values == ((),)


def test_a_constant_has_one_value(explore: Explore) -> None:
    held = Values((const(-7), eq(var("hour"), var("hour"))))
    assert explore(clock(4), [held]).answers[0].values == ((-7, 1),)


def test_many_more_combinations_than_fit_a_cache_are_all_told(explore: Explore) -> None:
    side = 130
    of = system(
        {"a": (0, side - 1, 0), "b": (0, side - 1, 0)},
        *(
            move(
                f"{n} up",
                lt(var(n), const(side - 1)),
                {n: ex.clamp(add(var(n), const(1)), 0, side - 1)},
            )
            for n in "ab"
        ),
    )
    (answer,) = explore(of, [Values((var("b"), var("a")))]).answers
    assert answer.values == tuple((b, a) for b in range(side) for a in range(side))


def test_a_limit_leaves_the_values_that_were_found(explore: Explore) -> None:
    found = explore(clock(100), [Values((var("hour"),))], Limits(max_states=10))
    (answer,) = found.answers
    assert answer.found is None
    assert answer.values == tuple((hour,) for hour in range(found.n_states))
