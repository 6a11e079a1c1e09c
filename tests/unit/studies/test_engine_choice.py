"""The automatic engine: what it takes up itself, and what it hands over."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.kernel.query import Limits
from interlock.model.build import RunClass, build
from interlock.studies import engines
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
