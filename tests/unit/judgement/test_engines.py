"""The automatic engine: what it takes up itself, and what it hands over."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.judgement import engines
from interlock.kernel import expr as ex
from interlock.kernel.expr import TRUE, add, const, lt, mul, var
from interlock.kernel.query import Count, Limits, Query, Reach
from interlock.kernel.system import System
from interlock.model.build import RunClass, build
from tests.support.build import move, system
from tests.support.gate import gate


def test_more_than_a_few_states_go_to_diagrams(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    of = build(gate(tmp_path)).system
    few = engines.AutomaticEngine().explore(of, [Count(TRUE)])
    monkeypatch.setattr(engines, "FEW_STATES", 5)
    many = engines.AutomaticEngine().explore(of, [Count(TRUE)])
    assert (few.engine, many.engine) == ("enumerate", "symbolic")
    assert (few.n_states, few.answers, few.limit) == (many.n_states, many.answers, many.limit)


def test_the_users_own_limit_is_never_exceeded_by_changing_engines(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(engines, "FEW_STATES", 5)
    of = build(gate(tmp_path)).system
    explored = engines.AutomaticEngine().explore(of, [Reach(TRUE)], Limits(max_states=4))
    assert explored.engine == "enumerate"
    assert explored.limit is not None
    assert explored.answers[0].found


def test_many_fault_flags_go_to_diagrams(tmp_path: Path) -> None:
    of = build(gate(tmp_path), RunClass(("F1", "F2", "F3", "F5"), 1)).system
    assert engines.AutomaticEngine().explore(of, []).engine == "symbolic"


@pytest.mark.parametrize(("most", "listed"), [(10, [5]), (1_000, [1_000])])
def test_what_is_too_much_to_be_listed_is_counted_before_many_runs_are_asked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, most: int, listed: list[int]
) -> None:
    of = build(gate(tmp_path)).system
    queries = [Reach(ex.eq(var("gate"), const(n))) for n in range(3)]
    whole = engines.AutomaticEngine().explore(of, queries)
    assert 10 < whole.n_states < 1_000
    for name, value in (("FEW_STATES", 5), ("MANY_RUNS", 2), ("MAX_ENUMERATED", most)):
        monkeypatch.setattr(engines, name, value)
    asked, really = [], engines._enumerated
    monkeypatch.setattr(engines, "_enumerated", lambda *a: (asked.append(a[3]), really(*a))[1])
    explored = engines.AutomaticEngine().explore(of, queries)
    assert asked == listed
    assert explored.n_states == whole.n_states
    assert [len(a.witness or ()) for a in explored.answers] == [
        len(a.witness or ()) for a in whole.answers
    ]


def product(most: int) -> System:
    """Two counters and what they come to when multiplied: nothing for diagrams."""
    a, b = var("a"), var("b")
    return system(
        {"a": (0, most, 0), "b": (0, most, 0), "c": (0, most * most, 0)},
        move("a", lt(a, const(most)), {"a": ex.clamp(add(a, const(1)), 0, most)}),
        move("b", lt(b, const(most)), {"b": ex.clamp(add(b, const(1)), 0, most)}),
        move("c", TRUE, {"c": mul(a, b)}),
    )


def test_diagrams_that_grow_too_large_give_way_to_enumerating(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    of, query = product(9), Reach(ex.eq(var("c"), const(81)))
    wanted = engines.AutomaticEngine().explore(of, [query])
    monkeypatch.setattr(engines, "FEW_STATES", 5)
    assert engines.AutomaticEngine().explore(of, [query]).engine == "symbolic"
    monkeypatch.setattr(engines, "MOST_WORK", 100)
    found = engines.AutomaticEngine().explore(of, [query])
    assert (found.engine, found.answers) == ("enumerate", wanted.answers)
    monkeypatch.setattr(engines, "MAX_ENUMERATED", 50)
    assert engines.AutomaticEngine().explore(of, [query]).engine == "symbolic"


@pytest.mark.parametrize(("most", "listed"), [(20, [5]), (5_000, [5, 5_000])])
def test_nothing_is_listed_in_vain_where_diagrams_had_found_more_before_they_gave_up(
    monkeypatch: pytest.MonkeyPatch, most: int, listed: list[int]
) -> None:
    of, query = product(9), Reach(ex.eq(var("c"), const(81)))
    whole = engines.AutomaticEngine().explore(of, [query])
    for name, value in (("FEW_STATES", 5), ("MOST_WORK", 1_000), ("MAX_ENUMERATED", most)):
        monkeypatch.setattr(engines, name, value)
    asked, really = [], engines._enumerated
    monkeypatch.setattr(engines, "_enumerated", lambda *a: (asked.append(a[3]), really(*a))[1])
    explored = engines.AutomaticEngine().explore(of, [query])
    assert asked == listed
    assert explored.engine == ("symbolic" if most == 20 else "enumerate")
    assert explored.n_states == whole.n_states
    assert [a.found for a in explored.answers] == [a.found for a in whole.answers]


def test_many_runs_are_taken_from_a_table(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(engines, "FEW_STATES", 5)
    of = product(9)
    queries = [Reach(ex.eq(var("c"), const(n))) for n in range(4)]
    few = engines.AutomaticEngine().explore(of, queries)
    monkeypatch.setattr(engines, "MANY_RUNS", 3)
    many = engines.AutomaticEngine().explore(of, queries)
    assert (few.engine, many.engine) == ("symbolic", "enumerate")
    assert [a.found for a in few.answers] == [a.found for a in many.answers]


def test_what_diagrams_cannot_take_is_enumerated(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(engines, "FEW_STATES", 5)
    n = var("n")
    of = system(
        {"n": (0, 1 << 40, 0)},
        move("up", lt(n, const(30)), {"n": ex.clamp(add(n, const(1)), 0, 40)}),
    )
    assert engines.AutomaticEngine().explore(of, []).engine == "enumerate"


def test_each_choice_says_why(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def why(system: System, *queries: Query) -> tuple[str, str]:
        explored = engines.AutomaticEngine().explore(system, queries)
        return explored.engine, explored.because

    of, query = product(9), Reach(ex.eq(var("c"), const(81)))
    assert why(of, query) == ("enumerate", "no more than 500,000 states, which are soon listed")
    faulty = build(gate(tmp_path), RunClass(("F1", "F2", "F3", "F5"), 1)).system
    assert why(faulty) == ("symbolic", "4 flags of faults, each of which may double the states")
    monkeypatch.setattr(engines, "FEW_STATES", 5)
    assert why(of, query) == ("symbolic", "more than 5 states")
    monkeypatch.setattr(engines, "MANY_RUNS", 0)
    wanted = ("enumerate", "up to 1 runs are wanted; a table has them at hand")
    assert why(of, query) == wanted
    monkeypatch.setattr(engines, "MANY_RUNS", 200)
    monkeypatch.setattr(engines, "MOST_WORK", 100)
    name, reason = why(of, query)
    assert name == "enumerate"
    assert reason == "diagrams of more than 100 nodes in all; fewer than 20,000,000 states"
