"""Comparing something on many random models: what the modules with a twin to run share."""

from __future__ import annotations

import argparse
import tempfile
import traceback
from collections import Counter
from collections.abc import Callable, Mapping
from pathlib import Path
from time import process_time

Comparison = Callable[[int, Path, int], tuple[list[str], Mapping[str, int]]]


def compare_many(
    description: str | None, compare: Comparison, first: int = 0, states: int = 150
) -> int:
    """Compare on as many models as the command line says; 1 where anything disagrees.

    Parameters
    ----------
    description : str
    compare : callable
        Of a seed, a folder to write in, and the most states of a model; gives the disagreements
        and what was counted.
    first, states : int
        Seed of the first model and most states of each, unless the command line says otherwise.
    """
    parser = argparse.ArgumentParser(description=description)
    parser.add_argument("--models", type=int, default=300, help="how many models")
    parser.add_argument("--first", type=int, default=first, help="seed of the first model")
    parser.add_argument("--states", type=int, default=states, help="most states of a model")
    given = parser.parse_args()
    counts: Counter[str] = Counter()
    n_disagreements = 0
    started = process_time()
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(given.first, given.first + given.models):
            try:
                found, counted = compare(seed, Path(folder) / str(seed), given.states)
            except Exception:  # The table is about all models, this one included.
                found, counted = [f"seed {seed} broke off: {traceback.format_exc()}"], {}
            n_disagreements += len(found)
            counts.update(counted)
            for one in found:
                print(one, flush=True)
    for what, number in sorted(counts.items()):
        print(f"{number:12,} {what}")
    print(f"{n_disagreements:12,} disagreements")
    print(f"{process_time() - started:12,.0f} seconds of processor time")
    return int(n_disagreements > 0)
