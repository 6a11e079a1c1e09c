"""Where inputs have no classes, what any value violates is all that all their values violate."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.model import value_classes
from interlock.st import mixed_values
from tests.bench.free_inputs import compare_with_any_values


@pytest.mark.parametrize("seed", range(40))
def test_any_value_violates_what_all_values_violate(
    seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Small types are then treated like wide ones, and all their values can still be tried by hand.
    monkeypatch.setattr(value_classes, "MOST_CLASSES", 2)
    monkeypatch.setattr(mixed_values, "FEW", 2)
    assert compare_with_any_values(seed, tmp_path, 1_500) == []
