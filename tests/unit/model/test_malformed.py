"""Every mistake in a model's files is told at its place, and nothing else is ever raised."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.model.load import load
from tests.unit.model.cases_names import NAMES
from tests.unit.model.cases_shape import SHAPE
from tests.unit.model.cases_text import TEXT
from tests.unit.model.malformed import Edit, edited, write

CASES = {**TEXT, **SHAPE, **NAMES}

Case = tuple[list[Edit], list[str]]


def test_the_small_model_itself_is_sound(tmp_path: Path) -> None:
    write(tmp_path, edited([]))
    assert list(load(tmp_path).statements) == ["R1"]


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_each_mistake_is_told_at_its_place(
    case: Case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    edits, fragments = case
    places = write(tmp_path, edited(edits))
    # Run inside the folder, so that messages show the names of files and nothing before them.
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError) as caught:
        load(Path())
    told = [str(mistake) for mistake in caught.value.mistakes]
    assert [line.split(": ", 1)[0] for line in told] == places, told
    for line, fragment in zip(told, fragments, strict=True):
        assert fragment in line.split(": ", 1)[1]
        assert "\n" not in line


def test_there_are_many_cases() -> None:
    assert len(CASES) >= 60
