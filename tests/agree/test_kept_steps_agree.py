"""Searches by steps that are kept, against the same searches that make the moves anew."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from interlock.engines.enumerate import engine, keeping
from interlock.engines.enumerate.engine import EnumeratingEngine
from interlock.engines.enumerate.space import Space
from interlock.kernel.expr import TRUE, const, not_, var
from interlock.kernel.query import Exploration, Leg, Limits, MostScans, Query, Reach, Stay, Trap
from interlock.kernel.system import Move, MoveKind, System
from tests.support.build import is_, move, system
from tests.support.strategies import questions, random_system

SETTINGS = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
KEEPING = EnumeratingEngine(keeps_steps_from=0)


@pytest.fixture
def kept(monkeypatch: pytest.MonkeyPatch) -> list[bool]:
    """Whether steps were kept, for each exploration."""
    found: list[bool] = []

    def keep_steps(space: Space, *args: int) -> bool:
        found.append(keeping.keep_steps(space, *args))
        return found[-1]

    monkeypatch.setattr(engine, "keep_steps", keep_steps)
    return found


def told(found: Exploration) -> tuple[object, ...]:
    return found.answers, found.n_states, found.depth, found.limit


@given(data=st.data())
@SETTINGS
def test_every_answer_and_every_run_is_the_same(data: st.DataObject) -> None:
    of = data.draw(random_system())
    queries = data.draw(questions(of))
    assert told(KEEPING.explore(of, queries)) == told(EnumeratingEngine().explore(of, queries))


def round_trip(size: int) -> System:
    """Up to its end and back to 0; only a fault that clears leads back from its end."""
    broken = var("broken")
    steps = [
        Move(
            f"from {k}",
            MoveKind.SCAN if k % 3 else MoveKind.PLANT,
            is_("n", k),
            {"n": const(k + 1)},
        )
        for k in range(size - 1)
    ]
    back = [move(f"back from {k}", is_("n", k), {"n": const(0)}) for k in range(1, size - 1)]
    return system(
        {"n": (0, size - 1, 0), "broken": (0, 1, 0)},
        *steps,
        *back,
        Move("strike", MoveKind.FAULT, not_(broken), {"broken": const(1)}),
        Move("clear", MoveKind.FAULT, broken, {"broken": const(0), "n": const(0)}),
    )


QUERIES: list[Query] = [
    Trap(is_("n", 0)),
    Trap(is_("n", 5)),
    Stay(TRUE, not_(is_("n", 0))),
    Stay(TRUE, is_("n", 0), (Leg(), Leg(TRUE, is_("n", 3)))),
    Reach(is_("n", 0), (Leg(), Leg(not_(is_("n", 6)), is_("n", 2), 3))),
    MostScans(is_("n", 7), (Leg(), Leg(TRUE, is_("n", 1), 90))),
]


def test_a_way_back_takes_no_clearing_though_the_steps_that_are_kept_do(kept: list[bool]) -> None:
    of = round_trip(9)
    assert of.has_unbidden
    found, known = KEEPING.explore(of, QUERIES), EnumeratingEngine().explore(of, QUERIES)
    assert kept == [True, False]
    assert told(found) == told(known)
    assert [answer.found for answer in found.answers[:2]] == [True, True]


def test_steps_are_kept_only_where_that_is_worth_it_and_there_is_room(kept: list[bool]) -> None:
    of = round_trip(9)
    known = EnumeratingEngine().explore(of, QUERIES)
    KEEPING.explore(of, QUERIES[2:3])
    assert kept == [False, False]
    n_bytes = EnumeratingEngine().explore(of, ()).n_bytes
    limited = KEEPING.explore(of, QUERIES[:4], Limits(max_bytes=n_bytes + 60))
    assert kept[-1] is False
    assert limited.answers == known.answers[:4]
    cut = Limits(max_states=7)
    assert told(KEEPING.explore(of, QUERIES, cut)) == told(
        EnumeratingEngine().explore(of, QUERIES, cut)
    )
    assert kept[-2:] == [False, False]
    roomy = KEEPING.explore(of, QUERIES, Limits(max_bytes=1 << 30))
    assert kept[-1] is True
    assert roomy.n_bytes > known.n_bytes
