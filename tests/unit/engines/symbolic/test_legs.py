"""What only the diagrams promise of runs along legs."""

from __future__ import annotations

import pytest

from interlock.engines import budget
from interlock.engines.symbolic import SymbolicEngine
from interlock.engines.symbolic.legs import Walk
from interlock.engines.symbolic.space import BREADTH_FIRST_WORK
from interlock.kernel.query import Leg, Limits, Progress, Reach
from tests.support.build import is_, move, system


def test_time_may_run_out_while_a_run_is_traced(monkeypatch: pytest.MonkeyPatch) -> None:
    seconds = 0.0
    depths: list[int] = []

    def watch(now: Progress) -> None:
        nonlocal seconds
        if now.stage == "tracing":
            seconds = 60.0
            depths.append(now.depth)

    monkeypatch.setattr(budget, "perf_counter", lambda: seconds)
    of = system(
        {"n": (0, 5, 0)}, *(move(f"from {n}", is_("n", n), {"n": (n + 1) % 6}) for n in range(6))
    )
    twice = Reach(is_("n", 2), (Leg(), Leg(enter=is_("n", 4))))
    found = SymbolicEngine().explore(of, [twice], Limits(max_seconds=30), watch)
    assert (found.answers[0].found, found.limit) == (None, "seconds 30")
    assert depths == [0]


@pytest.mark.parametrize(("work", "looks_for_all"), [(BREADTH_FIRST_WORK, False), (0, True)])
def test_all_that_lies_along_legs_is_looked_for_only_where_a_run_is_far(
    monkeypatch: pytest.MonkeyPatch, work: int, looks_for_all: bool
) -> None:
    places: list[int] = []
    closed = Walk._closed

    def noted(self: Walk, number: int, *known: object) -> object:
        places.append(number)
        return closed(self, number, *known)  # type: ignore[arg-type]

    monkeypatch.setattr(Walk, "_closed", noted)
    of = system(
        {"n": (0, 5, 0)}, *(move(f"from {n}", is_("n", n), {"n": (n + 1) % 6}) for n in range(6))
    )
    twice = Reach(is_("n", 2), (Leg(), Leg(enter=is_("n", 4))))
    (answer,) = SymbolicEngine(breadth_first_work=work).explore(of, [twice]).answers
    assert answer.witness is not None
    assert len(answer.witness) == 8
    assert bool(places) == looks_for_all
