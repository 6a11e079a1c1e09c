"""Ways back and what is called harmless, against plain search and everything that is asked."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from tests.second_opinion.performing import compare

SEEDS = range(25)
MOST_STATES = 120
MOST_IN_TIME = 40
# So much has to be met in all of them that the two cannot agree on nothing.
LEAST = {"models": 25, "harmless": 32, "violating": 32, "ways back": 60, "no way back": 12}


def test_nor_is_that_so_in_time(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    false = []
    for seed in range(8):
        found, counted = compare(seed, tmp_path / str(seed), MOST_IN_TIME, with_time=True)
        false += found
        counts.update(counted)
    assert not false, "\n".join(false)
    least = {"models with time": 20, "harmless": 10, "violating": 10, "ways back": 20}
    assert not [f"{counts[what]} of {n} {what}" for what, n in least.items() if counts[what] < n]


def test_no_way_back_violates_anything_and_nothing_harmless_does(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    false = []
    for seed in SEEDS:
        found, counted = compare(seed, tmp_path / str(seed), MOST_STATES)
        false += found
        counts.update(counted)
    assert not false, "\n".join(false)
    assert not [f"{counts[what]} of {n} {what}" for what, n in LEAST.items() if counts[what] < n]
