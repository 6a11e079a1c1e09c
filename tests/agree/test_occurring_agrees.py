"""What occurs in a leg, told by settled states first, against walks state by state."""

from __future__ import annotations

from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from interlock.engines.budget import NO_LIMITS, Budget
from interlock.engines.reference import ReferenceEngine
from interlock.engines.symbolic.legs import Walk
from interlock.engines.symbolic.occurring import occurs, occurs_where_scans_answer
from interlock.engines.symbolic.space import Space
from interlock.kernel.expr import TRUE, and_, not_, var
from interlock.kernel.query import Leg, Occurs
from tests.support.strategies import conditions, legs
from tests.support.turns import any_turns, two_that_rise

SETTINGS = settings(
    max_examples=40,
    deadline=None,
    database=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)


@seed(51)
@SETTINGS
@given(data=st.data())
def test_what_occurs_does_so_state_by_state(data: st.DataObject) -> None:
    of = any_turns(data)
    space = Space(of, Budget(NO_LIMITS, None), breadth_first_work=0)
    space.explore()
    for _ in range(4):
        along = data.draw(legs(of))
        if data.draw(st.booleans()):
            inside = data.draw(conditions(of))
            along = (Leg(), Leg(inside, data.draw(conditions(of))))
        query = Occurs(data.draw(conditions(of)), along)
        (known,) = ReferenceEngine().explore(of, [query]).answers
        assert occurs(space, query) == bool(known.n_states)
        wanted = space.reached & space.encoding.truth(query.where)
        if occurs_where_scans_answer(space, query):
            assert (Walk(space, query.along).done & wanted).satisfiable()


def test_settled_states_tell_only_what_scans_answer() -> None:
    space = Space(two_that_rise(), Budget(NO_LIMITS, None), breadth_first_work=0)
    space.explore()
    seen, both = var("seen"), and_(var("a"), var("b"))
    for where, enter, inside, is_soon in [
        (seen, not_(seen), not_(var("b")), True),
        (both, seen, TRUE, False),
        (both, var("a"), seen, False),
    ]:
        query = Occurs(where, (Leg(), Leg(inside, enter)))
        assert occurs_where_scans_answer(space, query) is is_soon
        assert occurs(space, query)
