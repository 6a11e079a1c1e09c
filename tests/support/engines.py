"""Every engine behind one fixture; an engine that declines skips the test with its reason."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pytest

from interlock.engines import catalogue
from interlock.engines.budget import NO_LIMITS
from interlock.kernel.query import (
    DeclinedError,
    Exploration,
    Limits,
    ProgressSink,
    Query,
)
from interlock.kernel.system import System
from interlock.kernel.witness import check_run

ENGINES = sorted(catalogue())

Explore = Callable[..., Exploration]


def explore_with(
    name: str,
    system: System,
    queries: Sequence[Query] = (),
    limits: Limits = NO_LIMITS,
    progress: ProgressSink | None = None,
) -> Exploration:
    """Explore with one engine and check that each witness is a run of the system."""
    exploration = catalogue()[name]().explore(system, queries, limits, progress)
    assert len(exploration.answers) == len(queries)
    for answer in exploration.answers:
        assert (answer.witness is not None) == (answer.found is True)
        if answer.witness is not None:
            check_run(system, answer.witness)
    return exploration


@pytest.fixture(params=ENGINES)
def explore(request: pytest.FixtureRequest) -> Explore:
    """The `explore` of each engine in turn."""

    def run(*args: object, **named: object) -> Exploration:
        try:
            return explore_with(request.param, *args, **named)  # type: ignore[arg-type]
        except DeclinedError as declined:
            pytest.skip(f"{request.param}: {declined}")

    return run
