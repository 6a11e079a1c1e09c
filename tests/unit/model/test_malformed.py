"""Every mistake in a model's files is told at its place, and nothing else is ever raised."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.model.load import load
from tests.unit.model.cases_names import NAMES
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
