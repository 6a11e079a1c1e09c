"""Minimal sets of faults against trying every combination with the reference engine."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from interlock.engines import catalogue
from interlock.engines.symbolic.explored import Explored
from interlock.judgement.fault_sets import ask_all, find_sets, flags_of
from interlock.kernel import expr as ex
from interlock.kernel.asking import ask
from interlock.kernel.query import Query, Reach, Stay, Trap, Values
from interlock.kernel.system import BOOL, Move, MoveKind, Role, System, Variable
from interlock.model.build import RunClass, build
from interlock.model.model import Model
from tests.support.choices import Choices
from tests.support.hoist import hoist
from tests.support.strategies import a_truth, conditions, random_system

HIGHEST = 3


@pytest.fixture(scope="module")
def model(tmp_path_factory: pytest.TempPathFactory) -> Model:
    return hoist(tmp_path_factory.mktemp("hoist"))


def violated_by(model: Model, requirements: Sequence[str], faults: Sequence[str]) -> set[str]:
    """Those for which exactly these faults are enough, each free to strike or not."""
    built = build(model, RunClass(tuple(faults), None if faults else 0))
    asked = {id_: ask(built.system, built.requirements[id_]) for id_ in requirements}
    assert {id(question.system) for question in asked.values()} == {id(built.system)}
    queries = [(id_, query) for id_, question in asked.items() for query in question.violations]
    explored = catalogue()["reference"]().explore(built.system, [query for _, query in queries])
    assert explored.limit is None
    answers = zip(queries, explored.answers, strict=True)
    return {id_ for (id_, _), answer in answers if answer.found}


def by_brute_force(model: Model) -> dict[str, set[frozenset[str]]]:
    """The minimal sets of at most three faults, each combination tried on its own."""
    live = [fault.id for fault in model.faults.values() if fault.excluded is None]
    found: dict[str, set[frozenset[str]]] = {id_: set() for id_ in model.statements}
    for order in range(HIGHEST + 1):
        for one in map(frozenset, combinations(live, order)):
            # What fewer faults violate is no matter of this combination.
            asked = [id_ for id_, sets in found.items() if not any(s <= one for s in sets)]
            for id_ in violated_by(model, asked, sorted(one)) if asked else ():
                found[id_].add(one)
    return found


def sets_of(model: Model, bound: int | None) -> dict[str, set[frozenset[str]]]:
    """The sets of each requirement, found at once."""
    built = build(model, RunClass(tuple(model.faults), bound))
    ids = flags_of(model, model.faults)
    asked = ask_all(built.system, built.requirements.values())
    found = find_sets(built, Explored(asked.system, tuple(ids)), asked, ids)
    return {id_: {frozenset(one) for one in f.sets} for id_, f in found.items()}


def test_the_sets_of_a_model_are_those_of_brute_force(model: Model) -> None:
    ours = sets_of(model, None)
    wanted = by_brute_force(model)
    for id_, sets in wanted.items():
        assert {one for one in ours[id_] if len(one) <= HIGHEST} == sets, id_
    orders = {len(one) for sets in wanted.values() for one in sets}
    assert orders >= {1, 2}, "the model must need single faults as well as pairs"


@pytest.mark.parametrize("bound", [1, 2, 3])
def test_a_bound_on_faults_leaves_the_smaller_sets_as_they_are(model: Model, bound: int) -> None:
    whole, bounded = sets_of(model, None), sets_of(model, bound)
    for id_ in model.statements:
        assert bounded[id_] == {one for one in whole[id_] if len(one) <= bound}, id_


FLAGS = ("f0", "f1", "f2", "f3")


@st.composite
def systems_with_faults(draw: st.DrawFn) -> System:
    """A random system in which some moves need a fault and others need it absent.

    Some of the faults, or all, or none, strike only where no other of these has.
    """
    base = draw(random_system(most_moves=5))
    by = Choices(draw)
    flags = FLAGS[: by.between(1, len(FLAGS))]
    moves = []
    for move in base.moves:
        flag = ex.var(by.pick(flags))
        needs = by.pick([ex.TRUE, flag, ex.not_(flag)])
        moves.append(
            Move(move.name, move.kind, ex.and_(move.guard, needs), move.updates, move.fair)
        )
    apart = flags[: by.between(0, len(flags))]
    for flag in flags:
        may_strike = a_truth(by, base.intervals, 1) if by.maybe() else ex.TRUE
        others = [ex.var(other) for other in apart if flag in apart and other != flag]
        guard = ex.and_(ex.not_(ex.var(flag)), ex.not_(ex.or_(*others)), may_strike)
        moves.append(Move(f"{flag} strikes", MoveKind.FAULT, guard, {flag: ex.TRUE}))
    variables = tuple(Variable(flag, BOOL, 0, Role.FAULT) for flag in flags)
    return base.extended(variables, moves)


def restricted(system: System, allowed: frozenset[str]) -> System:
    """`system` in which only the allowed faults can strike."""
    moves = [
        move
        for move in system.moves
        if move.kind is not MoveKind.FAULT or move.name.removesuffix(" strikes") in allowed
    ]
    return system.extended((), moves)


def minimal_by_restriction(system: System, query: Query) -> set[frozenset[str]]:
    flags = [variable.name for variable in system.variables if variable.name in FLAGS]
    found: list[frozenset[str]] = []
    for order in range(len(flags) + 1):
        for one in map(frozenset, combinations(flags, order)):
            if any(smaller <= one for smaller in found):
                continue
            explored = catalogue()["reference"]().explore(restricted(system, one), [query])
            if explored.answers[0].found:
                found.append(one)
    return set(found)


@given(data=st.data())
@settings(max_examples=75, deadline=None, suppress_health_check=list(HealthCheck))
def test_the_sets_of_random_systems_are_those_of_restricted_systems(data: st.DataObject) -> None:
    system = data.draw(systems_with_faults())
    target, stay = data.draw(conditions(system)), data.draw(conditions(system))
    flags = tuple(v.name for v in system.variables if v.name in FLAGS)
    explored = Explored(system, flags)
    few = tuple(data.draw(st.lists(st.sampled_from(flags), unique=True)))
    for query in (Reach(target), Stay(target, stay), Stay(ex.TRUE, stay)):
        found, known = explored.minimal_sets(query), minimal_by_restriction(system, query)
        assert {frozenset(one) for one in found.sets} == known, query
        # In the order of the flags and of how many they are, and counted so.
        order = [(len(one), [flags.index(flag) for flag in one]) for one in found.sets]
        assert order == sorted(order)
        assert sum(found.n_by_order) == len(known)
        assert all(found.n_by_order[len(one)] for one in known)
        among = {frozenset(one) for one in explored.minimal_sets(query, among=few).sets}
        assert among == {one for one in known if one <= set(few)}, query


@given(data=st.data())
@settings(max_examples=50, deadline=None, suppress_health_check=list(HealthCheck))
def test_a_trap_set_keeps_a_state_without_a_way_on(data: st.DataObject) -> None:
    system = data.draw(systems_with_faults())
    goal = data.draw(conditions(system))
    flags = tuple(v.name for v in system.variables if v.name in FLAGS)
    ours = {frozenset(one) for one in Explored(system, flags).minimal_sets(Trap(goal)).sets}
    for one in ours:
        # All of the set has struck there, so in the restricted system no fault can open a way.
        all_struck = ex.and_(*(ex.var(flag) for flag in sorted(one)))
        alone = restricted(system, one)
        query = Trap(ex.or_(goal, ex.not_(all_struck)))
        reached = catalogue()["reference"]().explore(alone, [query, Trap(goal)])
        assert reached.answers[0].found
        assert reached.answers[1].found


@given(data=st.data())
@settings(max_examples=50, deadline=None, suppress_health_check=list(HealthCheck))
def test_occurring_values_are_those_of_the_reference(data: st.DataObject) -> None:
    system = data.draw(systems_with_faults())
    target = data.draw(conditions(system))
    names = [variable.name for variable in system.variables]
    chosen = tuple(data.draw(st.lists(st.sampled_from(names), max_size=3, unique=True)))
    flags = tuple(name for name in names if name in FLAGS)
    ours = Explored(system, flags).occurring(Reach(target), chosen)
    query = Values(tuple(ex.var(name) for name in chosen), target)
    known = catalogue()["reference"]().explore(system, [query])
    assert ours == known.answers[0].values
