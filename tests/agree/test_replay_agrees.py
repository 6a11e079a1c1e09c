"""What replay says of records of random runs, and of changed ones, against listing every state.

``python -m tests.bench.twins replay`` compares more of them.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

from tests.second_opinion.drawing import draw
from tests.second_opinion.recorded import explained_coarsely, replayed, replayed_in_time
from tests.second_opinion.timed import draw_timed

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


def test_times_are_explained_where_the_twin_has_such_a_run(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    wrong = []
    for seed in range(12):
        folder = tmp_path / str(seed)
        drawn, model, _ = draw_timed(seed, folder, MOST_STATES)
        found = replayed_in_time(model, drawn.run_class, folder, counts, seed)
        wrong += [f"seed {seed}: {what}" for what in found]
    assert not wrong, "\n".join(wrong)
    assert counts["a run, explained"] == 12
    assert counts["other times, explained"] >= 4
    assert counts["other times, not explained"] >= 3
    assert counts["times that are told to be the reason"] >= 3


def test_a_coarse_unit_explains_what_a_fine_one_does(tmp_path: Path) -> None:
    for seed in range(20, 26):
        folder = tmp_path / str(seed)
        drawn, model, _ = draw_timed(seed, folder, MOST_STATES)
        assert model.timing is not None
        fine = replace(model, timing=replace(model.timing, unit_ms=50))
        coarse = replace(model, timing=replace(model.timing, unit_ms=[100, 150, 400][seed % 3]))
        assert explained_coarsely(fine, coarse, drawn.run_class, folder, seed), seed
