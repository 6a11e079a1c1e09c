"""Runs for sets of faults: one search for several faults, and runs that scans answer, by twins."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from interlock.commands.faults import runs, singles
from interlock.commands.faults.runs import RunFinder
from interlock.engines import catalogue
from interlock.engines.budget import NO_LIMITS, Budget
from interlock.engines.reference import ReferenceEngine
from interlock.engines.symbolic import SymbolicEngine
from interlock.engines.symbolic.explored import Explored
from interlock.engines.symbolic.settled_runs import AnsweredPaths
from interlock.engines.symbolic.space import BREADTH_FIRST_WORK, Space
from interlock.judgement.fault_sets import ask_all as ask_sets
from interlock.judgement.fault_sets import find_sets, flags_of
from interlock.kernel.asking import barring
from interlock.kernel.expr import Expr, and_, const, eq, not_, or_, var
from interlock.kernel.query import Query, Reach, Stay, Trap
from interlock.kernel.system import MoveKind, System
from interlock.kernel.witness import check_run
from interlock.model.between import BetweenScans
from interlock.model.build import RunClass, build
from tests.support.hoist import HOIST_PROGRAM, hoist
from tests.support.strategies import conditions, legs, questions
from tests.support.turns import FLAGS, any_turns

SETTINGS = settings(
    max_examples=25,
    deadline=None,
    database=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)


def one_at_most(of: System) -> System:
    """The system in which no fault strikes where another has struck, and none is owed."""
    none = not_(or_(*map(var, FLAGS)))
    moves = [
        replace(m, guard=and_(m.guard, none), fair=None) if m.kind is MoveKind.FAULT else m
        for m in of.moves
    ]
    return replace(of, moves=tuple(moves))


def with_it(query: Query, flag: str) -> Query:
    """The query where what it finds has to have the flag set."""
    return barring(query, not_(var(flag)))


@pytest.mark.parametrize(
    ("answered_first", "breadth_first_work"),
    # Settled states, by which traps are mostly found, are known where the search is by chaining.
    [(False, BREADTH_FIRST_WORK), (True, BREADTH_FIRST_WORK), (True, 0)],
)
@seed(41)
@SETTINGS
@given(data=st.data())
def test_with_the_others_barred_one_fault_does_what_it_does_alone(
    answered_first: bool, breadth_first_work: int, data: st.DataObject
) -> None:
    of = one_at_most(any_turns(data))
    flag = data.draw(st.sampled_from(FLAGS))
    others = [other for other in FLAGS if other != flag]
    left = tuple(m for m in of.moves if m.updates.keys().isdisjoint(others))
    alone = replace(of, moves=left)
    asked = [
        with_it(query, flag)
        for query in data.draw(questions(of))
        if isinstance(query, Reach | Stay | Trap)
    ]
    barred = [barring(query, or_(*map(var, others))) for query in asked]
    engine = SymbolicEngine(breadth_first_work, answered_first=answered_first)
    together = engine.explore(of, barred).answers
    for found, known in zip(together, ReferenceEngine().explore(alone, asked).answers, strict=True):
        assert found.found == known.found
        if found.witness is None or known.witness is None:
            assert found.witness is known.witness
            continue
        check_run(alone, found.witness)
        # Of an endless run only the part before its stay is a shortest one.
        if found.witness.loop_start is None:
            n_more = len(found.witness) - len(known.witness)
            assert n_more >= 0 if answered_first else n_more == 0


@seed(42)
@SETTINGS
@given(data=st.data())
def test_a_run_along_legs_is_a_shortest_one_in_which_scans_answer_moves(
    data: st.DataObject,
) -> None:
    of = any_turns(data)
    space = Space(of, Budget(NO_LIMITS, None), breadth_first_work=0)
    space.explore()
    spaces = AnsweredPaths(space).spaces
    # The system itself, no move but a scan being made where something has happened since the last.
    still = and_(*(eq(var(name), const(0)) for name in of.turns))
    twin = replace(
        of,
        moves=tuple(
            m if m.kind is MoveKind.SCAN else replace(m, guard=and_(m.guard, still), fair=None)
            for m in of.moves
        ),
    )
    for _ in range(3):
        query = Reach(data.draw(conditions(of)), data.draw(legs(of)))
        (found,) = SymbolicEngine(answered_first=True).explore(of, [query]).answers
        shortest, answered = (
            ReferenceEngine().explore(one, [query]).answers[0].witness for one in (of, twin)
        )
        assert (found.witness is None) is (shortest is None)
        if found.witness is None or shortest is None:
            continue
        check_run(of, found.witness)
        is_answered = len(spaces) > 1 and answered is not None
        assert len(found.witness) == len(answered if is_answered and answered else shortest)


@seed(43)
@SETTINGS
@given(data=st.data())
def test_what_leads_nowhere_is_on_no_way_there(data: st.DataObject) -> None:
    engine = SymbolicEngine(breadth_first_work=0)
    of = one_at_most(any_turns(data))
    query = Reach(with_flag(data, of), data.draw(legs(of)))
    (found,) = engine.explore(of, [query]).answers
    (known,) = ReferenceEngine().explore(of, [query]).answers
    assert (found.found, found.witness and len(found.witness)) == (
        known.found,
        known.witness and len(known.witness),
    )


def with_flag(data: st.DataObject, of: System) -> Expr:
    return and_(data.draw(conditions(of)), var(data.draw(st.sampled_from(FLAGS))))


@pytest.mark.parametrize("between_scans", ["one in all", "two in all", "each once"])
def test_faults_that_share_a_search_get_the_runs_of_each_alone(
    between_scans: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    program = HOIST_PROGRAM.replace(
        "is_shut := door_a AND NOT door_b AND NOT pair_fault;", "is_shut := door_a;"
    )
    model = hoist(tmp_path, program)
    model = replace(model, between_scans=BetweenScans.read(between_scans))
    built = build(model, RunClass(tuple(model.faults), 1))
    asked, ids = ask_sets(built.system, built.requirements.values()), flags_of(model, model.faults)
    sets = find_sets(built, Explored(asked.system, tuple(ids)), asked, ids)
    wanted: dict[tuple[str, ...], list[str]] = {}
    for id_, one in sets.items():
        for faults in one.sets:
            wanted.setdefault(faults, []).append(id_)
    assert len([faults for faults in wanted if len(faults) == 1]) > 2
    finder = RunFinder(model, catalogue()["enumerate"]())
    alone = {
        (id_, faults): run
        for faults, ids_ in wanted.items()
        for id_, run in finder.shortest(faults, ids_).items()
    }
    assert all(run.is_near for run in alone.values())
    # Nothing is near: all is looked for by diagrams, three faults at a time.
    monkeypatch.setattr(runs, "NEAR_STATES", 1)
    monkeypatch.setattr(singles, "FAULTS_TOGETHER", 3)
    told: list[str] = []
    together = finder.of_all(wanted, told.append)
    assert together.keys() == alone.keys()
    assert any(" or " in one for one in told)
    for key, run in together.items():
        assert run.faults == alone[key].faults == key[1]
        assert not run.is_near
        if run.run.loop_start is None:
            assert len(run.run.happenings) >= len(alone[key].run.happenings)
