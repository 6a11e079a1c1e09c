"""Every engine against the reference engine, on random systems."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from interlock.kernel.query import Count, Exploration, Limits, Query, Reach, Stay
from interlock.kernel.system import System
from tests.support.engines import ENGINES, explore_with
from tests.support.judge import check_shows, prefix_length
from tests.support.strategies import questions, random_system

OTHERS = [name for name in ENGINES if name != "reference"]
# What the systems here are: small. What they are not: many, since each is compiled.
SETTINGS = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def check_same_answers(
    system: System, queries: list[Query], ours: Exploration, known: Exploration
) -> None:
    for query, answer, wanted in zip(queries, ours.answers, known.answers, strict=True):
        assert answer.found is wanted.found, query
        if isinstance(query, Reach | Count):
            assert answer.n_states == wanted.n_states, query
        assert answer.values == wanted.values, query
        if wanted.witness is None:
            continue
        assert answer.witness is not None
        check_shows(system, answer.witness, query)
        if isinstance(query, Stay):
            lengths = [prefix_length(system, w, query) for w in (answer.witness, wanted.witness)]
        else:
            lengths = [len(answer.witness), len(wanted.witness)]
        assert lengths[0] == lengths[1], query


@pytest.mark.parametrize("name", OTHERS)
@given(data=st.data())
@SETTINGS
def test_an_engine_answers_what_the_reference_answers(name: str, data: st.DataObject) -> None:
    system = data.draw(random_system())
    queries = data.draw(questions(system))
    known = explore_with("reference", system, queries)
    found = explore_with(name, system, queries)
    assert found.n_states == known.n_states
    assert found.n_moves in (None, known.n_moves)
    assert found.depth == known.depth
    assert found.level_sizes == known.level_sizes
    assert found.limit is None
    check_same_answers(system, queries, found, known)


@given(data=st.data())
@SETTINGS
def test_explicit_engines_stop_at_the_same_state(data: st.DataObject) -> None:
    system = data.draw(random_system())
    queries = data.draw(questions(system))
    limits = Limits(max_states=data.draw(st.integers(1, 40)))
    known = explore_with("reference", system, queries, limits)
    found = explore_with("enumerate", system, queries, limits)
    assert (found.n_states, found.n_moves, found.limit, found.level_sizes) == (
        known.n_states,
        known.n_moves,
        known.limit,
        known.level_sizes,
    )
    check_same_answers(system, queries, found, known)


@given(data=st.data())
@SETTINGS
def test_explicit_engines_show_the_same_runs(data: st.DataObject) -> None:
    # Of several shortest runs along legs each engine may show another one.
    system = data.draw(random_system())
    asked = data.draw(questions(system, with_legs=False))
    queries = [q for q in asked if not isinstance(q, Stay)]
    known = explore_with("reference", system, queries)
    found = explore_with("enumerate", system, queries)
    assert found.answers == known.answers
