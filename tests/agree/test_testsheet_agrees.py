"""What a commissioning sheet calls impossible, against a plain search of all situations at rest."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from tests.second_opinion.at_rest import compare

SEEDS = range(25)
MOST_STATES = 150
# So much has to be met in all of them that the two cannot agree on nothing.
LEAST = {
    "models": 25,
    "goals that were seen": 120,
    "goals that are impossible": 60,
    "lamps seen flashing": 2,
}


def test_nothing_that_can_be_seen_at_rest_is_called_impossible(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    false = []
    for seed in SEEDS:
        found, counted = compare(seed, tmp_path / str(seed), MOST_STATES)
        false += found
        counts.update(counted)
    assert not false, "\n".join(false)
    assert not [f"{counts[what]} of {n} {what}" for what, n in LEAST.items() if counts[what] < n]
