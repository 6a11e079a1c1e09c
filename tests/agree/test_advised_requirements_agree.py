"""What an advised permissive keeps, and what not, against a second opinion of the changed model.

``python -m tests.bench.twins advise`` compares more of them.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from tests.second_opinion.advised import advised
from tests.second_opinion.drawing import draw

SEEDS = range(25)
MOST_STATES = 100


def test_what_is_said_of_each_requirement_is_so(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    wrong = []
    for seed in SEEDS:
        _, model = draw(seed, tmp_path / str(seed), MOST_STATES)
        wrong += [f"seed {seed}: {what}" for what in advised(model, counts)]
    assert not wrong, "\n".join(wrong)
    assert counts["outputs"] >= 12
    assert counts["kept, holds inserted"] >= 40
    assert counts["not kept, violated inserted"] >= 8
