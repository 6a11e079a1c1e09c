"""What a comparison says against a second opinion, on pairs of models drawn at random.

``python -m tests.bench.compare_pairs`` compares more of them.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from tests.second_opinion.comparing import check_pair, check_timed_pair

SEEDS = range(50)
MOST_STATES = 1500
# What has to be met in all, so that the two cannot agree on nothing: at least so often.
MET = {
    "output EQUAL": 40,
    "output DIFFERS": 5,
    "output EITHER_PLANT": 10,
    "output OLD_PLANT": 5,
    "outputs that differ where each model is on its own": 4,
    "pairs of two plants": 10,
    "requirement WORSE": 5,
    "requirement RESTATED": 3,
    "old statements judged on the new model": 200,
    "former findings": 8,
    "untouched requirements": 80,
    "untouched claims": 15,
    "untouched machines and outputs": 80,
    "moves of one model only": 10,
}


def test_a_comparison_says_nothing_false_of_random_pairs(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    found = []
    for seed in SEEDS:
        found += check_pair(seed, tmp_path / str(seed), counts, MOST_STATES, seed % 10 == 0)
    assert not found, "\n".join(found)
    too_few = [f"{counts[what]} of {n}: {what}" for what, n in MET.items() if counts[what] < n]
    assert not too_few, "\n".join(too_few)


# The same of pairs with time, whose two programs the twin runs tick by tick.
MET_IN_TIME = {
    "output EQUAL": 12,
    "output DIFFERS": 3,
    "output EITHER_PLANT": 8,
    "outputs that differ where each model is on its own": 3,
    "pairs of two plants": 8,
    "untouched requirements": 12,
    "untouched machines and outputs": 25,
    "moves of one model only": 8,
}


def test_a_comparison_says_nothing_false_of_pairs_with_time(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    found = []
    for seed in range(18):
        found += check_timed_pair(seed, tmp_path / str(seed), counts, 600)
    assert not found, "\n".join(found)
    too_few = [f"{counts[w]} of {n}: {w}" for w, n in MET_IN_TIME.items() if counts[w] < n]
    assert not too_few, "\n".join(too_few)
