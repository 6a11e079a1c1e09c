"""Ways from many states to one goal, against a search that starts anew in each of them."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from interlock.engines import guider
from interlock.engines.budget import NO_LIMITS, Budget
from interlock.engines.reference import ReferenceEngine
from interlock.engines.symbolic.guiding import Guiding
from interlock.engines.symbolic.space import Space
from interlock.judgement import engines as choice
from interlock.kernel import expr as ex
from interlock.kernel.evaluate import State
from interlock.kernel.expr import Expr
from interlock.kernel.guided import Guided
from interlock.kernel.query import Limits, Reach
from interlock.kernel.system import Stepper, System
from tests.support.build import move, system
from tests.support.judge import check_shows
from tests.support.strategies import conditions, random_system
from tests.support.turns import taking_turns

SETTINGS = settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
MOST_STARTS = 12


def reached(of: System, most: int) -> list[State]:
    """Some of the states that a system comes to, the nearest first."""
    stepper = Stepper(of)
    found = {of.initial: None}
    for state in (queue := [of.initial]):
        for _, after in stepper.successors(state):
            if after not in found and len(found) < most:
                found[after] = None
                queue.append(after)
    return list(found)


def check_way(guided: Guided, of: System, goal: Expr, state: State) -> None:
    """The same as a plain search from `state`: found or not, and as many moves."""
    there = of.starting_in(state)
    wanted = ReferenceEngine().explore(there, [Reach(goal)]).answers[0]
    answer = guided.way(state)
    assert answer is not None
    assert answer.found is wanted.found
    if wanted.witness is None:
        assert answer.witness is None
        return
    assert answer.witness is not None
    check_shows(there, answer.witness, Reach(goal))
    assert len(answer.witness) == len(wanted.witness)


@given(data=st.data(), most_pending=st.sampled_from([1, 2, None, "no scan"]))
@SETTINGS
def test_each_way_has_as_many_moves_as_one_that_is_searched_for_alone(
    data: st.DataObject, most_pending: int | str | None
) -> None:
    if isinstance(most_pending, str):
        of = data.draw(random_system())
    else:
        of = data.draw(taking_turns(most_pending, data.draw(st.booleans())))
    goal = data.draw(conditions(of))
    guided = guider().guide(of, goal)
    assert guided is not None
    # In any order: a short way may be asked for after a long one.
    states = data.draw(st.permutations(reached(of, MOST_STARTS)))
    for state in states:
        check_way(guided, of, goal, state)


def line(highest: int = 9) -> System:
    """It goes up from 2, floor by floor; the floors below are never seen."""
    n = ex.var("at")
    up = ex.lt(n, ex.const(highest))
    return system(
        {"at": (0, highest, 2)},
        move("up", up, {"at": ex.minimum(ex.add(n, ex.const(1)), ex.const(highest))}),
    )


def test_of_a_state_that_was_not_reached_nothing_is_said() -> None:
    guided = guider().guide(line(), ex.eq(ex.var("at"), ex.const(5)))
    assert guided is not None
    assert guided.way((1,)) is None
    near, behind = guided.way((4,)), guided.way((6,))
    assert near is not None
    assert near.witness is not None
    assert [step.state for step in near.witness.steps] == [(5,)]
    assert behind is not None
    assert behind.found is False


def test_where_not_all_states_were_found_nothing_is_said() -> None:
    goal = ex.eq(ex.var("at"), ex.const(5))
    assert guider().guide(line(), goal, Limits(max_states=4)) is None


def test_a_way_that_a_limit_cuts_short_is_undecided() -> None:
    space = Space(line(), Budget(NO_LIMITS, None))
    space.explore()
    guided = Guiding(space, ex.eq(ex.var("at"), ex.const(9)), Limits(max_seconds=0))
    answer = guided.way((3,))
    assert answer is not None
    assert answer.found is None


@pytest.mark.parametrize("few", [3, 500_000])
def test_the_automatic_choice_keeps_ways_only_where_states_are_many(
    few: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(choice, "FEW_STATES", few)
    of, goal = line(), ex.eq(ex.var("at"), ex.const(8))
    guided = choice.AutomaticEngine().guide(of, goal)
    assert (guided is None) == (few > 3)
    if guided is not None:
        for state in reached(of, MOST_STARTS):
            check_way(guided, of, goal, state)
