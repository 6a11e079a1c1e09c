"""Many pairs of models on which what a comparison says is checked by the second opinion.

``python -m tests.bench.compare_pairs --pairs 300`` draws 300 models with a revision of each, every
third with faults, and prints each false statement and what was compared. It ends with 1 where there
is one. It takes about half a second of processor time a pair.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from pathlib import Path
from time import process_time

from tests.second_opinion.comparing import check_pair


def main() -> int:
    """Compare and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=300, help="how many pairs")
    parser.add_argument("--first", type=int, default=1000, help="seed of the first pair")
    parser.add_argument("--states", type=int, default=1500, help="most states under one fault")
    given = parser.parse_args()
    counts: Counter[str] = Counter()
    n_false = 0
    started = process_time()
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(given.first, given.first + given.pairs):
            try:
                told = check_pair(
                    seed, Path(folder) / str(seed), counts, given.states, seed % 3 == 0
                )
            except Exception as error:  # The table is about all pairs, this one included.
                told = [f"seed {seed}: broke off with {type(error).__name__}: {error}"]
            n_false += len(told)
            for one in told:
                print(one, flush=True)
    for what, number in sorted(counts.items()):
        print(f"{number:12,} {what}")
    print(f"{n_false:12,} false statements")
    print(f"{process_time() - started:12,.0f} seconds of processor time")
    return int(bool(n_false))


if __name__ == "__main__":
    sys.exit(main())
