"""Parts of what was explored, told by shortcuts, against their states one and all."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from interlock.engines.symbolic.explored import Explored
from interlock.engines.symbolic.loops import FairLoops
from interlock.kernel.evaluate import State, python_function
from interlock.kernel.expr import TRUE, Expr
from interlock.kernel.query import Leg, Query, Reach, Stay, Trap
from interlock.kernel.system import Stepper, System
from tests.support.strategies import conditions
from tests.support.turns import FLAGS, any_turns

SETTINGS = settings(
    max_examples=40,
    deadline=None,
    database=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)

Allowed = dict[str, Expr]


def a_part(data: st.DataObject) -> tuple[System, Allowed, tuple[str, ...]]:
    system = any_turns(data)
    allowed = {
        m.name: data.draw(conditions(system)) for m in system.moves if data.draw(st.booleans())
    }
    among = tuple(flag for flag in FLAGS if data.draw(st.booleans()))
    return system, allowed, among


def one_by_one(system: System, allowed: Allowed, among: tuple[str, ...]) -> set[State]:
    """All that is reached so, and what one move beyond leads to, state by state."""
    stepper = Stepper(system)
    may = python_function(list(allowed.values()), system.index)
    others = [system.index[flag] for flag in FLAGS if flag not in among]
    found, waiting, beyond = {system.initial}, [system.initial], set()
    while waiting:
        state = waiting.pop()
        is_allowed = dict(zip(allowed, may(state), strict=True))
        for move, after in stepper.successors(state):
            if any(after[flag] for flag in others):
                continue
            if not is_allowed.get(move.name, True):
                beyond.add(after)
            elif after not in found:
                found.add(after)
                waiting.append(after)
    return found | beyond


@seed(15)
@SETTINGS
@given(data=st.data())
def test_a_part_has_the_states_that_moves_lead_to_one_by_one(data: st.DataObject) -> None:
    system, allowed, among = a_part(data)
    part = Explored(system, FLAGS).part(allowed, among)
    assert part is not None
    names = tuple(variable.name for variable in system.variables)
    assert part.occurring(Reach(TRUE), names) == tuple(sorted(one_by_one(system, allowed, among)))


@pytest.mark.parametrize("twice", [False, True])
@seed(16)
@SETTINGS
@given(data=st.data())
def test_what_goes_on_for_ever_in_a_part_is_that_of_its_states(
    twice: bool, data: st.DataObject
) -> None:
    system, allowed, among = a_part(data)
    explored = Explored(system, FLAGS)
    part = explored.part(allowed, among)
    slow = explored.part(allowed)
    assert part is not None
    assert slow is not None
    if twice:
        narrower = {m.name: data.draw(conditions(system)) for m in system.moves[:2]}
        part, slow = part.part(narrower, among), slow.part(narrower)
        assert part is not None
        assert slow is not None
    for _ in range(3):
        query = Stay(data.draw(conditions(system)), data.draw(conditions(system)))
        asked = slow._asked(query)
        _, within = slow._whole().lasting(asked.start, asked.stay)
        rows = slow._seen.rows(FairLoops(slow._tame, within).core, FLAGS)
        kept = [
            row for row in rows if all(f in among for f, x in zip(FLAGS, row, strict=True) if x)
        ]
        assert part.occurring(query) == tuple(kept)
        if not twice:
            _, within = explored._whole().lasting(asked.start, asked.stay)
            loops = FairLoops(explored._tame, within)
            assert explored.occurring(query) == explored._seen.rows(loops.core, FLAGS)


@seed(17)
@SETTINGS
@given(data=st.data())
def test_what_is_known_not_to_occur_without_flags_need_not_be_shown(data: st.DataObject) -> None:
    system, allowed, among = a_part(data)
    plain, told = Explored(system, FLAGS), Explored(system, FLAGS)
    queries: list[Query] = []
    for _ in range(3):
        first, second = data.draw(conditions(system)), data.draw(conditions(system))
        legs = (Leg(first), Leg(enter=second))
        queries += [Stay(first, second), Trap(first), Reach(second, legs)]
    none = (0,) * len(FLAGS)
    told.rule_out(q for q in queries if none not in (plain.occurring(q) or ()))
    parts = plain.part(allowed, among), told.part(allowed, among)
    for query in queries:
        assert told.occurring(query) == plain.occurring(query)
        assert told.minimal_sets(query).sets == plain.minimal_sets(query).sets
        assert parts[0] is not None
        assert parts[1] is not None
        assert parts[1].occurring(query) == parts[0].occurring(query)
