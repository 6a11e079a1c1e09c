"""Models whose signals come late against a twin that keeps what every sensor gave.

`tests.second_opinion.world` was written from the meaning in ``DEVELOPERS.md`` alone. Built system,
judge and twin are walked side by side through the states; then verdicts, what is vacuous, the
fewest steps of a violation and minimal sets of faults must agree, and each violation is judged by
the product's own judge, too. ``python -m tests.bench.old_values`` compares more, with every engine.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from tests.second_opinion.aged import compare_aged, walk_aged

WALKED, JUDGED = range(50), range(100, 110)
MOST_STATES = 200
WANTED = {
    "models walked": 50,
    "models walked in which a signal is late": 35,
    "models walked with faults": 30,
    "models walked with a frozen signal": 10,
    "models walked with time": 7,
    "models": 10,
    "models with several late signals": 3,
    "kept": 80,
    "violated": 40,
    "verdicts by enumerate": 40,
    "verdicts by reference": 30,
    "verdicts by symbolic": 40,
    "lengths by enumerate": 10,
    "lengths by reference": 10,
    "lengths by symbolic": 10,
    "sets by find_sets": 15,
}


def test_models_with_late_signals_agree_with_the_twin(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    found: list[object] = []
    for seed in WALKED:
        found += walk_aged(seed, tmp_path / str(seed), counts)
    for seed in JUDGED:
        engines = [["reference"], ["enumerate"], ["symbolic"]][seed % 3]
        with_sets = seed % 5 == 0
        found += compare_aged(seed, tmp_path / str(seed), counts, MOST_STATES, engines, with_sets)
    assert not found, "\n".join(map(str, found))
    too_few = [f"{counts[w]} of {n}: {w}" for w, n in WANTED.items() if counts[w] < n]
    assert not too_few, "\n".join(too_few)
