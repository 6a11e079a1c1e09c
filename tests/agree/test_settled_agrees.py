"""What lasts and what is lost, asked of settled states, against asking it of all states."""

from __future__ import annotations

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from interlock.engines.symbolic.explored import Explored
from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr
from interlock.kernel.query import Query, Reach, Stay, Trap
from interlock.kernel.system import BOOL, PHASE, Move, MoveKind, System, Variable
from tests.support.strategies import conditions
from tests.support.turns import FLAGS, taking_turns

NOTHING_STRUCK = (0,) * len(FLAGS)
SETTINGS = settings(
    max_examples=150,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)


def both_ways(system: System) -> tuple[Explored, Explored]:
    """The system explored for its settled states, and the slow twin that has none."""
    fast, slow = Explored(system, FLAGS), Explored(system, FLAGS)
    assume(fast._settled is not None)
    slow.__dict__["_settled"] = None
    return fast, slow


@st.composite
def lasting(draw: st.DrawFn, system: System) -> list[Query]:
    """Queries about endless runs and ways that stay open."""
    a, b = draw(conditions(system)), draw(conditions(system))
    return [Stay(a, ex.or_(a, b)), Stay(a, b), Stay(ex.TRUE, b), Trap(a), Trap(ex.and_(a, b))]


@given(data=st.data())
@SETTINGS
def test_faults_lead_to_the_same_endless_runs_and_dead_ends(data: st.DataObject) -> None:
    system = data.draw(taking_turns())
    fast, slow = both_ways(system)
    for query in data.draw(lasting(system)):
        assert fast.occurring(query) == slow.occurring(query), query


@given(data=st.data())
@SETTINGS
def test_a_part_of_the_moves_leads_to_the_same_states_and_runs(data: st.DataObject) -> None:
    system = data.draw(taking_turns())
    fast, slow = both_ways(system)
    names = data.draw(st.lists(st.sampled_from([m.name for m in system.moves]), unique=True))
    allowed: dict[str, Expr] = {name: data.draw(conditions(system)) for name in names}
    parts = fast.part(allowed), slow.part(allowed)
    assert parts[0] is not None
    assert parts[1] is not None
    parts[1].__dict__["_settled"] = None
    target = Reach(data.draw(conditions(system)))
    variables = [variable.name for variable in system.variables]
    assert parts[0].occurring(target, variables) == parts[1].occurring(target, variables)
    for query in data.draw(lasting(system)):
        found = [set(part.occurring(query) or ()) for part in parts if part is not None]
        if isinstance(query, Trap):
            # What is lost before the first scan, where nothing has struck, is not told apart.
            found = [rows - {NOTHING_STRUCK} for rows in found]
        assert found[0] == found[1], query


def test_a_move_that_each_scan_makes_possible_again_need_never_happen() -> None:
    # The lever moves for ever. Between each of its moves and the scan the gate may not open, so
    # fairness does not owe that it ever does.
    lever, valve, free = ex.var("lever"), ex.var("valve"), ex.eq(ex.var(PHASE), ex.const(0))
    follows = ex.eq(lever, valve)
    toggle = {"lever": ex.not_(lever), PHASE: ex.const(1)}
    opens = {"gate": ex.TRUE, PHASE: ex.const(1)}
    system = System(
        tuple(Variable(name, BOOL, 0) for name in ("lever", "valve", "gate", PHASE)),
        (
            Move("the lever moves", MoveKind.OPERATOR, free, toggle),
            Move("the gate opens", MoveKind.PLANT, ex.and_(free, follows), opens, follows),
            Move("scan", MoveKind.SCAN, ex.TRUE, {"valve": lever, PHASE: ex.const(0)}, ex.TRUE),
        ),
    )
    shut = Stay(ex.TRUE, ex.not_(ex.var("gate")))
    explored = Explored(system, ())
    assert explored._settled is not None
    assert explored.occurring(shut) == ((),)
    still = system.extended((), [m for m in system.moves if m.name != "the lever moves"])
    explored = Explored(still, ())
    assert explored._settled is not None
    assert explored.occurring(shut) == (), "whoever is left alone opens the gate"
