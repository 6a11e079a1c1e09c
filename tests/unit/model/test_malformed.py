"""Every mistake in a model's files is told at its place, and nothing else is ever raised."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.model.load import load
from tests.unit.model.cases_names import COUNTING, NAMES
from tests.unit.model.cases_shape import SHAPE
from tests.unit.model.cases_text import TEXT
from tests.unit.model.malformed import Case, edited, refused, write

CASES = {**TEXT, **SHAPE, **NAMES}


def test_the_small_model_itself_is_sound(tmp_path: Path) -> None:
    write(tmp_path, edited([]))
    assert list(load(tmp_path).statements) == ["R1"]


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_each_mistake_is_told_at_its_place(
    case: Case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told, marked = refused(case, tmp_path, monkeypatch)
    assert told == marked


def test_there_are_many_cases() -> None:
    assert len(CASES) >= 60


SURE = ["10 / k > 2", "10 / MAX(n, 1) > 2", "10 MOD n = 1", "n / 3 = 1", "10 / (n - 6) < 2"]


@pytest.mark.parametrize("divided", SURE)
def test_a_divisor_that_is_never_zero_is_taken(divided: str, tmp_path: Path) -> None:
    guard = ("model.yaml", "when: NOT pull", f"when: '{divided}'")
    write(tmp_path, edited([*COUNTING, guard]))
    assert load(tmp_path).moves
