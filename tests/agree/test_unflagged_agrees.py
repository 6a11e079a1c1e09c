"""What is reached without any flag, behind so many scans, against runs of states one by one."""

from __future__ import annotations

from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from interlock.engines.symbolic.explored import Explored
from interlock.kernel.evaluate import State, python_function
from interlock.kernel.expr import FALSE
from interlock.kernel.system import MoveKind, Stepper, System
from tests.support.strategies import conditions
from tests.support.turns import FLAGS, taking_turns


def by_runs(system: System, n_scans: int) -> set[State]:
    """The states in which a run without a strike may be that has made so many scans, or more."""
    stepper, flags = Stepper(system), [system.index[flag] for flag in FLAGS]
    start = (system.initial, 0)
    found, waiting = {start}, [start]
    while waiting:
        state, made = waiting.pop()
        for move, after in stepper.successors(state):
            one = after, min(n_scans, made + (move.kind is MoveKind.SCAN))
            if one not in found and not any(after[flag] for flag in flags):
                found.add(one)
                waiting.append(one)
    return {state for state, made in found if made == n_scans}


@seed(21)
@settings(
    max_examples=60,
    deadline=None,
    database=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)
@given(data=st.data())
def test_a_condition_is_that_of_the_states_of_runs_with_so_many_scans(data: st.DataObject) -> None:
    system = data.draw(
        taking_turns(data.draw(st.sampled_from([1, 2, None])), data.draw(st.booleans()))
    )
    n_scans = data.draw(st.sampled_from([0, 1, 2, 8]))
    where = data.draw(conditions(system))
    plain = [v.name for v in system.variables if v.name not in FLAGS]
    names = [name for name in plain if data.draw(st.booleans())]
    explored = Explored(system, FLAGS)
    condition = explored.without_flags(where, names, n_scans)
    assert condition is not None
    holds = python_function([where], system.index)
    places = [system.index[name] for name in names]
    reached = by_runs(system, n_scans)
    met = {tuple(s[p] for p in places) for s in reached if holds(s)[0]}
    shown = python_function([condition], system.index)
    # Asked of every state, with flags or without, and of each with other values in it.
    for state in {*by_runs(system, 0), *reached}:
        for other in met or {tuple(state[p] for p in places)}:
            changed = list(state)
            for place, value in zip(places, other, strict=True):
                changed[place] = value
            for asked in (state, tuple(changed)):
                assert shown(asked)[0] == (tuple(asked[p] for p in places) in met)
    assert (condition is FALSE) == (not met)
