"""Whatever the number of threads, states have the same numbers and answers the same runs."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from interlock.base import cores
from interlock.kernel.query import Exploration, Limits, Query
from interlock.kernel.system import System
from tests.bench.models import interlock
from tests.bench.thread_twin import compare
from tests.support.engines import explore_with
from tests.support.strategies import questions, random_system
from tests.support.threads import explored, threads_everywhere

SETTINGS = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@pytest.mark.parametrize("seed", range(50))
def test_threads_number_states_as_a_plain_search_does(seed: int, tmp_path: Path) -> None:
    disagreements, _ = compare(seed, tmp_path, 300)
    assert disagreements == []


def _enumerated(system: System, queries: list[Query], limits: Limits) -> Exploration:
    found = explore_with("enumerate", system, queries, limits)
    return replace(found, seconds=0, n_bytes=0)


@given(data=st.data())
@SETTINGS
def test_threads_answer_what_one_thread_answers(data: st.DataObject) -> None:
    system = data.draw(random_system())
    queries = data.draw(questions(system))
    limits = Limits(max_states=data.draw(st.none() | st.integers(1, 60)))
    with threads_everywhere(1):
        alone = _enumerated(system, queries, limits)
    with threads_everywhere(3):
        assert _enumerated(system, queries, limits) == alone


@pytest.mark.parametrize("most", [None, 150_000])
def test_threads_at_full_speed_number_states_as_one_does(most: int | None) -> None:
    system = interlock(4, 3)
    found = []
    for n_threads in (1, 2, 5):
        cores.use(n_threads)
        space = explored(system, Limits(max_states=most))
        n_blocks = -(-space.shared["next"] // 256)
        found.append(
            (
                space.level_sizes(),
                space.shared["n_moves"],
                space.arrays["order"].content(space.n_states),
                space.arrays["checkpoints"].content(n_blocks),
            )
        )
    cores.use(None)
    assert found[0] == found[1] == found[2]
