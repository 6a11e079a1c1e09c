"""With which flags something can be reached no more, told by a few states, against all states."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from interlock.engines.symbolic.explored import Explored
from interlock.kernel.query import Trap
from interlock.kernel.system import PHASE
from tests.support.strategies import conditions
from tests.support.turns import FLAGS, any_turns

SETTINGS = settings(
    max_examples=40,
    deadline=None,
    database=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)


@pytest.mark.parametrize("in_part", [False, True])
@seed(12)
@SETTINGS
@given(data=st.data())
def test_flags_of_traps_are_those_of_all_states_that_are_trapped(
    in_part: bool, data: st.DataObject
) -> None:
    system = any_turns(data)
    fast, slow = Explored(system, FLAGS), Explored(system, FLAGS)
    if in_part:
        allowed = {
            move.name: data.draw(conditions(system))
            for move in system.moves
            if data.draw(st.booleans())
        }
        parts = fast.part(allowed), slow.part(allowed)
        assert parts[0] is not None
        assert parts[1] is not None
        fast, slow = parts
    # One after the other, as what was found of a goal helps with the next.
    for goal in [data.draw(conditions(system)) for _ in range(4)]:
        # Where more than flags is asked for, every state is looked at.
        rows = slow.occurring(Trap(goal), (*FLAGS, PHASE))
        assert rows is not None
        assert fast.occurring(Trap(goal)) == tuple(sorted({row[:-1] for row in rows}))
        assert fast.occurring(Trap(goal), FLAGS[:1]) == tuple(sorted({row[:1] for row in rows}))
        assert fast.occurring(Trap(goal), ()) == tuple(sorted({() for _ in rows}))


@seed(13)
@SETTINGS
@given(data=st.data())
def test_nothing_that_is_lost_has_a_way(data: st.DataObject) -> None:
    system = any_turns(data)
    seen = Explored(system, FLAGS)
    ways = seen._traps._ways_back
    for goal in [data.draw(conditions(system)) for _ in range(4)]:
        seen.occurring(Trap(goal))
        asked = seen._asked(Trap(goal))
        trapped = seen._violations(asked)
        assert not (ways.lost(asked.goal) & ~trapped).satisfiable()
        under = ways.where_not_always(asked.goal)
        ways.note_homes(under)
        lost = ways.lost(asked.goal)
        assert not (lost & ~trapped).satisfiable()
        # What is looked at behind the homes of faults is trapped, or not one of these is.
        if ways._graph is not None:
            homes = ways._graph.widened(ways._home & under)
            assert homes & trapped == homes & lost


@seed(14)
@SETTINGS
@given(data=st.data())
def test_what_follows_settled_states_is_what_move_after_move_leads_to(data: st.DataObject) -> None:
    system = any_turns(data)
    seen = Explored(system, FLAGS)
    ways, space = seen._traps._ways_back, seen._whole()
    some = ways.settled & space.encoding.truth(seen._asked(data.draw(conditions(system))))
    if some.satisfiable():
        assert ways._all_behind(some) == space.onward().closure_after(some, space.reached)
