"""What an advised permissive keeps, and what not, against a second opinion of the changed model.

``python -m tests.bench.twins advise`` compares more of them, and so does ``advise-in-time``.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from random import Random

from tests.second_opinion.advised import advised
from tests.second_opinion.delays_drawn import given_delays
from tests.second_opinion.drawing import draw
from tests.second_opinion.timed import draw_timed

SEEDS = range(25)
TIMED_SEEDS = range(14)
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


def test_it_is_so_in_time(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    wrong = []
    for seed in TIMED_SEEDS:
        _, model, _ = draw_timed(seed, tmp_path / str(seed), MOST_STATES)
        if seed % 2:
            model = given_delays(model, Random(seed))
        counts["models with delays"] += bool(model.late_sensors and model.delayed_outputs)
        wrong += [f"seed {seed}: {what}" for what in advised(model, counts)]
    assert not wrong, "\n".join(wrong)
    assert counts["models with delays"] >= 1, counts
    assert counts["outputs"] >= 8, counts
    assert counts["kept, holds inserted"] >= 30, counts
    assert counts["not kept, violated inserted"] >= 8, counts
