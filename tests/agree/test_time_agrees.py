"""Models with time against a twin that lets time pass tick by tick.

`tests.second_opinion.timed_world` was written from the meaning in ``DEVELOPERS.md`` alone.
Verdicts, what is vacuous and the fewest steps of a violation must agree; each violation is judged
by the product's own judge, too. ``python -m tests.bench.timed`` compares more, with every engine.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from tests.second_opinion.timed import compare_timed

SEEDS = range(50)
MOST_STATES = 400
WANTED = {
    "models": 50,
    "models of unit 100 ms": 15,
    "models of unit 70 ms": 3,
    "models of unit 250 ms": 3,
    "models with timers": 15,
    "models with faults": 15,
    "models in which time stands still": 2,
    "violated": 100,
    "kept": 100,
    "verdicts by reference": 400,
    "verdicts by enumerate": 20,
    "verdicts by symbolic": 20,
    "lengths by reference": 60,
}


def test_models_with_time_agree_with_the_twin(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    found = []
    for seed in SEEDS:
        others = {1: ["enumerate"], 3: ["symbolic"]}.get(seed % 10, [])
        engines = ["reference", *others]
        found += compare_timed(seed, tmp_path / str(seed), counts, MOST_STATES, engines)
    assert not found, "\n".join(map(str, found))
    too_few = [f"{counts[w]} of {n}: {w}" for w, n in WANTED.items() if counts[w] < n]
    assert not too_few, "\n".join(too_few)
