"""Many models on which the product is compared with the second opinion.

``python -m tests.bench.second_opinion --models 1000`` draws 1000 models, compares everything with
every engine, and prints each disagreement and what was met and compared. It ends with 1 where there
is a disagreement. It takes about a second of processor time a model.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from pathlib import Path
from time import process_time

from tests.second_opinion.compare import compare_seed
from tests.second_opinion.drawing import MOST


def main() -> int:
    """Compare and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--models", type=int, default=1000, help="how many models")
    parser.add_argument("--first", type=int, default=0, help="seed of the first model")
    parser.add_argument("--states", type=int, default=MOST, help="most states of a model")
    given = parser.parse_args()
    counts: Counter[str] = Counter()
    differences: Counter[str] = Counter()
    started = process_time()
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(given.first, given.first + given.models):
            try:
                found = compare_seed(seed, Path(folder) / str(seed), counts, given.states)
            except Exception as error:  # The table is about all models, this one included.
                counts["models on which the comparison broke off"] += 1
                print(f"seed {seed}: {type(error).__name__}: {error}", flush=True)
                continue
            for one in found:
                differences[f"{one.about} by {one.by}"] += 1
                print(one, flush=True)
            if (seed - given.first) % 100 == 99:
                print(f"… up to seed {seed}", file=sys.stderr, flush=True)
    for what, number in sorted(counts.items()):
        print(f"{number:12,} {what}")
    print(f"{sum(differences.values()):12,} disagreements")
    for what, number in sorted(differences.items()):
        print(f"{number:12,} - {what}")
    print(f"{process_time() - started:12,.0f} seconds of processor time")
    return int(bool(differences or counts["models on which the comparison broke off"]))


if __name__ == "__main__":
    sys.exit(main())
