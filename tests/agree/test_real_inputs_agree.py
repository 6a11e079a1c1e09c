"""REAL inputs by classes give what the program as written gives for every value."""

from __future__ import annotations

from collections import Counter
from random import Random

from tests.support.random_reals import disagreement


def test_classes_of_real_inputs_agree_with_every_value() -> None:
    counts: Counter[str] = Counter()
    for seed in range(60):
        assert disagreement(Random(seed), counts) == ""
    assert counts["compared"] >= 30
