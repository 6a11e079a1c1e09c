"""The automatic engine: what it takes up itself, and what it hands over."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.judgement import engines
from interlock.kernel.asking import ask
from interlock.kernel.query import Limits
from interlock.model.build import RunClass, build
from tests.support.gate import gate


def test_too_many_states_for_tables_go_to_diagrams(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(engines, "MAX_ENUMERATED", 5)
    explored = engines.AutomaticEngine().explore(build(gate(tmp_path)).system, [])
    assert (explored.engine, explored.limit) == ("symbolic", None)


def test_the_users_own_limit_is_never_exceeded_by_changing_engines(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(engines, "MAX_ENUMERATED", 5)
    system = build(gate(tmp_path)).system
    explored = engines.AutomaticEngine().explore(system, [], Limits(max_states=4))
    assert explored.engine == "enumerate"
    assert explored.limit is not None


def test_many_fault_flags_go_to_diagrams(tmp_path: Path) -> None:
    system = build(gate(tmp_path), RunClass(("F1", "F2", "F3", "F5"), 1)).system
    assert engines.AutomaticEngine().explore(system, []).engine == "symbolic"


def test_what_only_adds_to_a_large_system_is_not_enumerated_in_vain(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    built = build(gate(tmp_path))
    watched = ask(built.system, built.requirements["R3"]).system
    engine = engines.AutomaticEngine()
    n = engine.explore(built.system, []).n_states
    assert engine.explore(watched, []).engine == "enumerate"
    monkeypatch.setattr(engines, "MAX_ENUMERATED", 2 * n - 1)
    large = engines.AutomaticEngine()
    assert large.explore(built.system, []).engine == "enumerate"
    assert large.explore(watched, []).engine == "symbolic"


def test_a_short_look_is_enumerated_however_large_the_system_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    built = build(gate(tmp_path))
    watched = ask(built.system, built.requirements["R3"]).system
    engine = engines.AutomaticEngine()
    n = engine.explore(built.system, []).n_states
    monkeypatch.setattr(engines, "MAX_ENUMERATED", 2 * n - 1)
    assert engine.explore(watched, [], Limits(max_states=3)).engine == "enumerate"
