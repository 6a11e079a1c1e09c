"""Models with time against a twin that lets time pass tick by tick.

`tests.second_opinion.timed_world` was written from the meaning in ``DEVELOPERS.md`` alone.
Verdicts, what is vacuous and the fewest steps of a violation must agree; each violation is judged
by the product's own judge, too. ``python -m tests.bench.timed`` compares more, with every engine.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

from interlock.kernel.requirement import Pattern
from tests.second_opinion.opinion import opinions
from tests.second_opinion.timed import compare_timed, draw_timed
from tests.second_opinion.watching import IN_TIME

SEEDS = [*range(48), 51, 52, 62, 63]
MOST_STATES = 400
WANTED = {
    "models": 50,
    "models of unit 100 ms": 15,
    "models of unit 70 ms": 3,
    "models of unit 250 ms": 3,
    "models with timers": 15,
    "models in which something goes on": 15,
    "models with faults": 15,
    "models in which time stands still": 2,
    "bounds in time that are kept": 8,
    "bounds in time that are missed": 8,
    **{
        f"'{pattern.value}' that are {found}": 1
        for pattern in (*IN_TIME, Pattern.LEADS_TO)
        for found in ("kept", "missed")
    },
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


def test_smallest_sets_of_faults_agree_with_the_twin(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    found = []
    for seed in range(500, 506):
        found += compare_timed(seed, tmp_path / str(seed), counts, 150, [], with_sets=True)
    assert not found, "\n".join(map(str, found))
    assert counts["models with sets of faults"] >= 3, counts
    assert counts["set of 1 faults"] >= 1, counts


# From models of a fine unit: whatever they violate by a run is violated with a coarse one as well.
FINE_MS, COARSE_MS = 50, (100, 150, 400)


def test_a_coarse_unit_keeps_every_violation(tmp_path: Path) -> None:
    n_kept = Counter[str]()
    for seed in range(100, 110):
        drawn, model, _ = draw_timed(seed, tmp_path / str(seed), MOST_STATES)
        assert model.timing is not None
        timings = [replace(model.timing, unit_ms=ms) for ms in (FINE_MS, *COARSE_MS)]
        fine, *coarse = (opinions(replace(model, timing=one), drawn.run_class) for one in timings)
        for id_, statement in model.statements.items():
            # What can still be reached is no matter of single runs.
            if statement.pattern is not Pattern.CAN_STILL:
                n_kept["violated" if fine[id_].is_violated else "kept"] += 1
                n_kept["only coarse"] += not fine[id_].is_violated and coarse[-1][id_].is_violated
                assert all(fine[id_].is_violated <= one[id_].is_violated for one in coarse), id_
    assert n_kept["violated"] > 10, n_kept
    assert n_kept["kept"] > 10, n_kept
