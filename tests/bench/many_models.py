"""Comparing something on many random models: what the modules with a twin to run share."""

from __future__ import annotations

import argparse
import tempfile
from collections import Counter
from collections.abc import Callable, Mapping
from pathlib import Path
from time import process_time

Comparison = Callable[[int, Path, int], tuple[list[str], Mapping[str, int]]]


def compare_many(description: str | None, compare: Comparison) -> int:
    """Compare on as many models as the command line says; 1 where anything disagrees.

    Parameters
    ----------
    description : str
    compare : callable
        Of a seed, a folder to write in, and the most states of a model; gives the disagreements
        and what was counted.
    """
    parser = argparse.ArgumentParser(description=description)
    parser.add_argument("--models", type=int, default=300, help="how many models")
    parser.add_argument("--first", type=int, default=0, help="seed of the first model")
    parser.add_argument("--states", type=int, default=150, help="most states of a model")
    given = parser.parse_args()
    counts: Counter[str] = Counter()
    n_disagreements = 0
    started = process_time()
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(given.first, given.first + given.models):
            found, counted = compare(seed, Path(folder) / str(seed), given.states)
            n_disagreements += len(found)
            counts.update(counted)
            for one in found:
                print(one, flush=True)
    for what, number in sorted(counts.items()):
        print(f"{number:12,} {what}")
    print(f"{n_disagreements:12,} disagreements")
    print(f"{process_time() - started:12,.0f} seconds of processor time")
    return int(n_disagreements > 0)
