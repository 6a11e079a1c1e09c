"""Chaining, settled states and cut sets against the reference engine, on random systems."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from interlock.engines.reference import ReferenceEngine
from interlock.engines.symbolic import SymbolicEngine, engine
from interlock.kernel.expr import Expr
from interlock.kernel.query import Exploration, Query, Reach, Stay, TooMuchWorkError
from interlock.kernel.system import MoveKind, System
from tests.bench.generated_interlock import generate
from tests.support.judge import check_shows, prefix_length
from tests.support.strategies import conditions, questions, random_system
from tests.support.turns import FLAGS, taking_turns

SETTINGS = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])

PENDING = st.sampled_from([1, 2, None])
"""How many moves may come before a scan; None where machines are limited by themselves."""


def check_same(system: System, queries: list[Query], ours: Exploration, known: Exploration) -> None:
    assert ours.limit is None
    assert (ours.n_states, ours.n_moves) == (known.n_states, known.n_moves)
    for query, answer, wanted in zip(queries, ours.answers, known.answers, strict=True):
        assert (answer.found, answer.n_states) == (wanted.found, wanted.n_states), query
        assert answer.values == wanted.values, query
        assert (answer.witness is None) == (wanted.witness is None), query
        if answer.witness is None or wanted.witness is None:
            continue
        check_shows(system, answer.witness, query)
        if isinstance(query, Stay):
            lengths = [prefix_length(system, w, query) for w in (answer.witness, wanted.witness)]
        else:
            lengths = [len(answer.witness), len(wanted.witness)]
        assert lengths[0] == lengths[1], query


@given(data=st.data(), work=st.sampled_from([0, 0, 100, 1000]))
@SETTINGS
def test_chaining_answers_what_the_reference_answers(data: st.DataObject, work: int) -> None:
    system = data.draw(random_system())
    queries = data.draw(questions(system))
    ours = SymbolicEngine(breadth_first_work=work).explore(system, queries)
    check_same(system, queries, ours, ReferenceEngine().explore(system, queries))


@given(system=random_system(), data=st.data())
@settings(SETTINGS, max_examples=15)
def test_runs_are_shortest_where_many_are_looked_for(system: System, data: st.DataObject) -> None:
    queries: list[Query] = [Reach(data.draw(conditions(system))) for _ in range(3)]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(engine, "MANY_RUNS", 2)
        ours = SymbolicEngine(breadth_first_work=0).explore(system, queries)
    check_same(system, queries, ours, ReferenceEngine().explore(system, queries))


@given(data=st.data(), work=st.sampled_from([0, 0, 1000]), most_pending=PENDING)
@SETTINGS
def test_systems_with_scans_have_the_same_states_and_runs(
    data: st.DataObject, work: int, most_pending: int | None
) -> None:
    system = data.draw(taking_turns(most_pending, data.draw(st.booleans())))
    queries = data.draw(questions(system))
    ours = SymbolicEngine(breadth_first_work=work).explore(system, queries)
    check_same(system, queries, ours, ReferenceEngine().explore(system, queries))


@given(data=st.data(), most=st.integers(0, 200), work=st.sampled_from([0, 300, 1_000_000]))
@SETTINGS
def test_what_was_broken_off_goes_on_to_what_is_found_in_one_go(
    data: st.DataObject, most: int, work: int
) -> None:
    of = data.draw(st.one_of(random_system(), taking_turns(data.draw(PENDING))))
    queries = data.draw(questions(of))
    in_one_go = SymbolicEngine(breadth_first_work=work).explore(of, queries)
    first = SymbolicEngine(breadth_first_work=0, most_work=most)
    n_found = 0
    try:
        first.explore(of, queries)
    except TooMuchWorkError as declined:
        n_found = declined.n_states
    gone_on = SymbolicEngine(breadth_first_work=work, after=first).explore(of, queries)
    assert n_found <= in_one_go.n_states
    assert gone_on.level_sizes == in_one_go.level_sizes
    assert gone_on.answers == in_one_go.answers
    check_same(of, queries, gone_on, in_one_go)


def cut_sets_one_by_one(
    system: System, bad: Expr, flags: Sequence[str] = FLAGS
) -> list[tuple[str, ...]]:
    """By definition: explore with only the faults of one set, for every set of flags."""
    found: list[tuple[str, ...]] = []
    for order in range(len(flags) + 1):
        for chosen in combinations(flags, order):
            if any(set(smaller) <= set(chosen) for smaller in found):
                continue
            moves = [
                move
                for move in system.moves
                if move.kind is not MoveKind.FAULT or set(move.updates) & set(chosen)
            ]
            allowed = replace(system, moves=tuple(moves))
            if ReferenceEngine().explore(allowed, [Reach(bad)]).answers[0].found:
                found.append(chosen)
    return found


@given(data=st.data(), most_pending=PENDING)
@SETTINGS
def test_cut_sets_are_what_every_set_of_faults_alone_leads_to(
    data: st.DataObject, most_pending: int | None
) -> None:
    system = data.draw(taking_turns(most_pending, data.draw(st.booleans())))
    bad = data.draw(conditions(system))
    found = SymbolicEngine().project(system, FLAGS).minimal_sets(Reach(bad))
    assert found.limit is None
    assert list(found.sets) == cut_sets_one_by_one(system, bad)
    assert sum(found.n_by_order) == len(found.sets)


@pytest.mark.parametrize("seed", [4, 10])
def test_cut_sets_of_a_generated_interlock_are_those_found_one_by_one(seed: int) -> None:
    made = generate(5, n_components=2, seed=seed)
    found = SymbolicEngine().project(made.system, made.flags).minimal_sets(Reach(made.bad))
    assert len(found.sets) > 1
    assert list(found.sets) == cut_sets_one_by_one(made.system, made.bad, made.flags)
