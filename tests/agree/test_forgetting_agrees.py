"""Runs along legs with most of each state forgotten, against walks by their states."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from interlock.engines.budget import NO_LIMITS, Budget
from interlock.engines.symbolic.explored import Explored
from interlock.engines.symbolic.forgetting import may_be_done
from interlock.engines.symbolic.legs import Walk
from interlock.engines.symbolic.space import Space
from interlock.kernel.query import Leg, Reach
from interlock.kernel.system import System
from tests.support.build import is_, move, system
from tests.support.strategies import conditions
from tests.support.turns import FLAGS, any_turns

SETTINGS = settings(
    max_examples=40,
    deadline=None,
    database=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)


def explored(of: System) -> Space:
    space = Space(of, Budget(NO_LIMITS, None), breadth_first_work=0)
    space.explore()
    return space


def a_query(data: st.DataObject, of: System) -> Reach:
    legs = []
    for _ in range(data.draw(st.integers(1, 3))):
        leg = Leg(data.draw(conditions(of)), data.draw(conditions(of)))
        n_scans = data.draw(st.sampled_from([0, 0, 1, 2]))
        legs.append(replace(leg, scans=n_scans, is_short=data.draw(st.booleans())))
    first = legs[0] if data.draw(st.booleans()) else Leg()
    return Reach(data.draw(conditions(of)), (first, *legs[1:]))


@seed(17)
@SETTINGS
@given(data=st.data())
def test_no_end_of_a_run_is_forgotten(data: st.DataObject) -> None:
    space = explored(any_turns(data))
    for _ in range(4):
        query = a_query(data, space.system)
        told = may_be_done(space, query)
        assert told is not None
        done = Walk(space, query.along).done & space.encoding.truth(query.target)
        assert not (done & ~told).satisfiable()
        assert not (told & ~(space.reached & space.encoding.truth(query.target))).satisfiable()


@pytest.mark.parametrize("in_part", [False, True])
@seed(18)
@SETTINGS
@given(data=st.data())
def test_the_same_flags_are_found_along_legs(
    in_part: bool, data: st.DataObject, monkeypatch: pytest.MonkeyPatch
) -> None:
    # However small the diagrams are: what is kept of states is always asked first.
    monkeypatch.setattr("interlock.engines.symbolic.explored.SIMPLER", 1e-9)
    of = any_turns(data)
    seen = Explored(of, FLAGS)
    if in_part:
        allowed = {
            move.name: data.draw(conditions(of)) for move in of.moves if data.draw(st.booleans())
        }
        among = tuple(flag for flag in FLAGS if data.draw(st.booleans()))
        part = seen.part(allowed, among)
        assert part is not None
        seen = part
    for _ in range(4):
        query = a_query(data, of)
        asked = seen._asked(query)
        space = seen._whole()
        walk = Walk(space, asked.along)
        done = walk.done | walk.done_beyond(seen._leading_out)
        rows = seen._seen.rows(done & space.encoding.truth(asked.target), FLAGS)
        assert seen.occurring(query) == rows


def test_nothing_is_told_where_what_is_kept_grows_too_large() -> None:
    of = system({"at": (0, 2, 0)}, move("on", is_("at", 0), {"at": 1}))
    query = Reach(is_("at", 2), (Leg(), Leg(enter=is_("at", 0))))
    told = may_be_done(explored(of), query)
    assert told is not None
    assert not told.satisfiable()
    assert may_be_done(explored(of), query, most_nodes=0) is None
