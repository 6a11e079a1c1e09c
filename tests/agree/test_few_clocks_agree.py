"""Models in time judged with few clocks against a twin that lets time pass tick by tick.

Durations are whole units, so that the twin's runs are those in true time: whatever it violates must
be violated with few clocks as well, and the other way about. ``python -m tests.bench.few_clocks``
compares more.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from tests.second_opinion.few_clocks import compare_few_clocks

SEEDS = range(12)
MOST_STATES = 300
WANTED = {
    "kept with all durations free": 15,
    "kept with some durations free": 3,
    "violated": 20,
    "violated with clocks kept": 5,
    "models in which a scan is waited for": 3,
    "models with timers": 1,
    "models with faults": 2,
}


def test_few_clocks_agree_with_the_twin(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    found = []
    for seed in SEEDS:
        found += compare_few_clocks(seed, tmp_path / str(seed), counts, MOST_STATES)
    assert not found, "\n".join(found)
    too_few = [f"{counts[w]} of {n}: {w}" for w, n in WANTED.items() if counts[w] < n]
    assert not too_few, "\n".join(too_few)
