"""What replay says of records of random runs, and of changed ones, against listing every state.

``python -m tests.bench.twins replay`` compares more of them.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from tests.second_opinion.drawing import draw
from tests.second_opinion.recorded import replayed

SEEDS = range(25)
MOST_STATES = 250


def test_runs_are_explained_and_what_no_run_gives_is_not(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    wrong = []
    for seed in SEEDS:
        drawn, model = draw(seed, tmp_path / str(seed), MOST_STATES)
        found = replayed(model, drawn.run_class, tmp_path / str(seed), counts, seed)
        wrong += [f"seed {seed}: {what}" for what in found]
    assert not wrong, "\n".join(wrong)
    assert counts["a run, explained"] == len(SEEDS)
    # Some changes make what another run gives.
    assert counts["changed, explained"] >= 8
    assert counts["changed, not explained"] >= 25
