"""A changed system explored beside a known one, against the same system explored from nothing."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from interlock.commands.challenge.equivalence import where_moves_differ
from interlock.engines.enumerate.changed_system import Beside, Changed, Known
from interlock.kernel import expr as ex
from interlock.kernel.evaluate import State, evaluate, python_function
from interlock.kernel.expr import Expr
from interlock.kernel.system import Stepper, System
from tests.support.strategies import conditions, random_system

SETTINGS = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def reached(system: System, start: set[State]) -> set[State]:
    stepper = Stepper(system)
    seen, queue = set(start), list(start)
    while queue:
        for _, successor in stepper.successors(queue.pop()):
            if successor not in seen:
                seen.add(successor)
                queue.append(successor)
    return seen


@st.composite
def changed_system(draw: st.DrawFn, system: System) -> System:
    """The same system with another guard, or another update, of one move."""
    number = draw(st.integers(0, len(system.moves) - 1))
    move = system.moves[number]
    if move.updates and draw(st.booleans()):
        name = draw(st.sampled_from(sorted(move.updates)))
        lo, hi = system.intervals[name]
        updates = {**move.updates, name: ex.const(draw(st.integers(lo, hi)))}
        changed = replace(move, updates=updates)
    else:
        changed = replace(move, guard=draw(conditions(system)))
    return replace(system, moves=(*system.moves[:number], changed, *system.moves[number + 1 :]))


def states_in(beside: Beside) -> set[State]:
    return {beside.state(number) for number in range(beside.n_states)}


def is_state(system: System, state: State) -> Expr:
    pairs = zip(system.variables, state, strict=True)
    return ex.and_(*(ex.eq(ex.var(v.name), ex.const(value)) for v, value in pairs))


@given(data=st.data())
@SETTINGS
def test_known_states_and_those_beside_hold_all_that_follows(data: st.DataObject) -> None:
    system = data.draw(random_system().filter(lambda s: bool(s.moves)))
    known = Known(system)
    before = {known.space.state(number) for number in range(known.n_states)}
    for _ in range(3):
        other = data.draw(changed_system(system))
        bad = data.draw(conditions(other))
        changed = Changed(known, other, where_moves_differ(system, other), {"bad": [bad]})
        with changed.beside(1_000_000) as beside:
            waves = [found for wave in beside.waves("bad") for _, found in wave]
            assert beside.is_closed
            here = states_in(beside)
            # The slow way to the same set: everything that follows from any known state.
            assert here == reached(other, before)
            is_bad = python_function([bad], other.index)
            met = {state for state in here - before if is_bad(state)[0]}
            assert bool(met) == bool(waves)
            assert {beside.state(number) for number in waves} <= met
            assert beside.count_new("bad") == len(met)
            for number in range(known.n_states, beside.n_states):
                run = beside.witness_to(number)
                last = run.steps[-1]
                assert last.state == beside.state(number)
                came_from = run.states[-2]
                stepper = Stepper(other)
                assert stepper.after(came_from, other.move(last.move)) == last.state
    # Whatever was beside it, the known space is as it was.
    assert known.space.n_states == known.n_states
    assert {known.space.state(number) for number in range(known.n_states)} == before
    for number, (_, target) in ((n, s) for n in range(known.n_states) for s in _steps(known, n)):
        assert target is not None, number


def _steps(known: Known, number: int) -> list[tuple[int, int | None]]:
    return known.space.successors(number)


@given(data=st.data())
@SETTINGS
def test_the_aim_is_what_power_up_leads_to_where_all_lead_back_there(data: st.DataObject) -> None:
    system = data.draw(random_system())
    known = Known(system)
    first = next((target for _, target in known.space.successors(0) if target), None)
    states = [known.space.state(number) for number in range(known.n_states)]
    lead_back = first is not None and all(states[first] in reached(system, {s}) for s in states)
    assert known.aim == (first if lead_back else None)


@given(data=st.data())
@SETTINGS
def test_who_never_comes_back_is_who_cannot(data: st.DataObject) -> None:
    system = data.draw(random_system().filter(lambda s: bool(s.moves)))
    known = Known(system)
    aim = known.aim
    if aim is None:
        return
    other = data.draw(changed_system(system))
    differs = where_moves_differ(system, other)
    goal = known.space.state(aim)
    names = {"back": [is_state(system, goal), differs], "bad": [ex.FALSE]}
    with Changed(known, other, differs, names).beside(1_000_000) as beside:
        for _ in beside.waves("bad"):
            pass
        lost = beside.never_back("back")
        for number in range(beside.n_states):
            state = beside.state(number)
            comes_back = goal in reached(other, {state})
            assert bool(lost[number]) != comes_back
            assert beside.can_go(number, "back", 0) == comes_back


@given(data=st.data())
@SETTINGS
def test_the_first_state_with_a_condition_is_the_nearest(data: st.DataObject) -> None:
    system = data.draw(random_system())
    asked = data.draw(st.lists(conditions(system), min_size=1, max_size=70))
    known = Known(system)
    states = [known.space.state(number) for number in range(known.n_states)]
    for condition, found in zip(asked, known.first(asked), strict=True):
        met = [n for n, state in enumerate(states) if evaluate(condition, system.named(state))]
        assert found == ((len(met), met[0]) if met else None)
