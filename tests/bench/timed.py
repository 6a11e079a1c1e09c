"""Many models with time on which the product is compared with the tick-by-tick twin.

``python -m tests.bench.timed --models 300`` draws 300 models, compares verdicts and lengths with
every engine, and prints each disagreement and what was compared. It ends with 1 where there is one.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from pathlib import Path
from time import process_time

from tests.second_opinion.compare import ENGINES
from tests.second_opinion.timed import compare_timed


def main() -> int:
    """Compare and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--models", type=int, default=300, help="how many models")
    parser.add_argument("--first", type=int, default=1000, help="seed of the first model")
    parser.add_argument("--states", type=int, default=2000, help="most states of a model")
    given = parser.parse_args()
    counts: Counter[str] = Counter()
    n_found, started = 0, process_time()
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(given.first, given.first + given.models):
            try:
                found = compare_timed(
                    seed, Path(folder) / str(seed), counts, given.states, ENGINES, with_sets=True
                )
            except Exception as error:  # The table is about all models, this one included.
                print(f"seed {seed}: {type(error).__name__}: {error}", flush=True)
                n_found += 1
                continue
            n_found += len(found)
            for one in found:
                print(one, flush=True)
    for what, number in sorted(counts.items()):
        print(f"{number:12,} {what}")
    print(f"{n_found:12,} disagreements")
    print(f"{process_time() - started:12,.0f} seconds of processor time")
    return int(n_found > 0)


if __name__ == "__main__":
    sys.exit(main())
