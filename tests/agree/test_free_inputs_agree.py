"""Inputs tried at one value of each class violate what all their values violate."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.bench.free_inputs import compare


@pytest.mark.parametrize("seed", range(30))
def test_classes_of_values_violate_what_all_values_violate(seed: int, tmp_path: Path) -> None:
    disagreements, _ = compare(seed, tmp_path, 1_500)
    assert disagreements == []
