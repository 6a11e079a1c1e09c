"""The product against a second opinion, on models drawn at random.

The second opinion (`tests.second_opinion`) was written from the documents alone. On each model the
two must agree: verdict by verdict, vacuous or not, length by length, minimal set by minimal set.
``python -m tests.bench.second_opinion`` compares more of them.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from tests.second_opinion.compare import ENGINES, compare_seed

N_MODELS = 100
N_TOGETHER = 25
MOST_STATES = 250


@pytest.mark.parametrize("first", range(0, N_MODELS, N_TOGETHER))
def test_the_product_agrees_with_a_second_opinion(first: int, tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    found = []
    for seed in range(first, first + N_TOGETHER):
        # The engines are compared with each other elsewhere; here the quickest on small models
        # takes part in all, the others in a quarter of them each.
        others = {1: ["enumerate"], 3: ["symbolic"]}.get(seed % 4, [])
        engines = ["reference", *others]
        whole_study = seed % 10 == 0
        found += compare_seed(seed, tmp_path / str(seed), counts, MOST_STATES, engines, whole_study)
    print(counts)
    assert not found, "\n".join(map(str, found))
    assert counts["models"] == N_TOGETHER
