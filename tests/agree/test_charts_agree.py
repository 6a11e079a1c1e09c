"""Plants of random models that went out as charts do the same when they come back.

``python -m tests.bench.twins charts`` compares more of them.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from tests.second_opinion.charted import charted
from tests.second_opinion.drawing import draw

SEEDS = range(25)
MOST_STATES = 250


def test_what_goes_out_as_a_chart_comes_back_the_same_or_is_listed(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    wrong = []
    for seed in SEEDS:
        drawn, model = draw(seed, tmp_path / str(seed), MOST_STATES)
        found = charted(drawn, model, tmp_path / str(seed), counts)
        wrong += [f"seed {seed}: {what}" for what in found]
    assert not wrong, "\n".join(wrong)
    assert counts["without a loss"] >= 15
    assert counts["with machines carried along"] >= 7
    assert counts["with buttons that start pressed"] >= 2
