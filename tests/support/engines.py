"""Every engine behind one fixture; which engine may decline which test stands in one list."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

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


@dataclass(frozen=True)
class Declines:
    """An engine that cannot take the system of one test, and a part of the reason it gives."""

    engine: str
    test: str
    reason: str


# Nowhere else does an engine decline: there it would fail the test. One that no longer declines
# fails it too, and `tests/meta` asks that each test here exists.
EXPECTED_TO_DECLINE = (
    Declines(
        "symbolic",
        "tests/contract/test_reach_and_count.py::test_a_variable_may_fill_a_word",
        "tells values apart one by one",
    ),
    Declines(
        "symbolic",
        "tests/contract/test_reach_and_count.py::test_wide_products_do_not_wrap",
        "tells values apart one by one",
    ),
)


@pytest.fixture(params=ENGINES)
def explore(request: pytest.FixtureRequest) -> Explore:
    """The `explore` of each engine in turn."""
    engine, test = request.param, request.node.nodeid.partition("[")[0]
    reasons = [d.reason for d in EXPECTED_TO_DECLINE if (d.engine, d.test) == (engine, test)]
    for reason in reasons:
        request.applymarker(pytest.mark.xfail(raises=DeclinedError, strict=True, reason=reason))

    def run(*args: object, **named: object) -> Exploration:
        try:
            return explore_with(engine, *args, **named)  # type: ignore[arg-type]
        except DeclinedError as declined:
            if any(reason in str(declined) for reason in reasons):
                raise
            pytest.fail(f"{engine}: {declined}")

    return run
