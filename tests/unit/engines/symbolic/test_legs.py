"""What only the diagrams promise of runs along legs."""

from __future__ import annotations

import pytest

from interlock.engines import budget
from interlock.engines.symbolic import SymbolicEngine
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
