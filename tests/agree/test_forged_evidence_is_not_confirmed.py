"""Forgeries of evidence, made at random: none shows what is not so."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from tests.agree.forgeries import compare_seed

SEEDS = range(25)
N_FORGERIES = 4
MOST_STATES = 150

# What has to be met in all, so that the test cannot be content with nothing: at least so often.
LEAST = {
    "models with claims": 10,
    "forgeries: refused": 24,
    "forgeries: exit code 1": 10,
    "forgeries: exit code 2": 10,
    "forgeries: exit code 3": 4,
    "confirmed: holds": 32,
    "confirmed: violated": 40,
    "sound: holds confirmed": 12,
    "sound: violated confirmed": 12,
}


def test_what_is_confirmed_of_forged_evidence_is_so(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    found = []
    for seed in SEEDS:
        found += compare_seed(seed, tmp_path / str(seed), counts, MOST_STATES, N_FORGERIES)
    assert not found, "\n".join(found)
    assert sum(n for what, n in counts.items() if what.startswith("forgeries")) >= 100
    too_few = [f"{counts[what]} of {n}: {what}" for what, n in LEAST.items() if counts[what] < n]
    assert not too_few, "\n".join(too_few)


LEAST_IN_TIME = {
    "models with claims": 4,
    "models with bounds in time": 6,
    "forgeries: refused": 8,
    "forgeries: exit code 2": 3,
    "confirmed: holds": 12,
    "confirmed: violated": 12,
    "sound: holds confirmed": 6,
    "sound: violated confirmed": 6,
}


def test_what_is_confirmed_of_forged_evidence_in_time_is_so(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    found = []
    for seed in range(1000, 1010):
        folder = tmp_path / str(seed)
        found += compare_seed(seed, folder, counts, 250, N_FORGERIES, has_time=True)
    assert not found, "\n".join(found)
    too_few = [f"{counts[w]} of {n}: {w}" for w, n in LEAST_IN_TIME.items() if counts[w] < n]
    assert not too_few, "\n".join(too_few)
