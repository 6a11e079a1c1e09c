"""Many forgeries of the evidence of many random models, each held to the second opinion.

``python -m tests.bench.forgeries --models 300`` prints whatever `recheck` confirms and is not so,
and what was met. It ends with 1 where there is anything of the sort.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import traceback
from collections import Counter
from pathlib import Path
from time import process_time

from tests.agree.forgeries import compare_seed


def main() -> int:
    """Forge, check and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--models", type=int, default=300, help="how many models")
    parser.add_argument("--first", type=int, default=0, help="seed of the first model")
    parser.add_argument("--forgeries", type=int, default=10, help="how many of each model")
    parser.add_argument("--states", type=int, default=120, help="most states of a model")
    given = parser.parse_args()
    counts: Counter[str] = Counter()
    n_untrue, started = 0, process_time()
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(given.first, given.first + given.models):
            place = Path(folder) / str(seed)
            try:
                found = compare_seed(seed, place, counts, given.states, given.forgeries)
            except Exception:  # The table is about all models, this one included.
                found = [f"seed {seed} broke off: {traceback.format_exc()}"]
            n_untrue += len(found)
            for one in found:
                print(one, flush=True)
    for what, number in sorted(counts.items()):
        print(f"{number:12,} {what}")
    print(f"{n_untrue:12,} things confirmed that are not so")
    print(f"{process_time() - started:12,.0f} seconds of processor time")
    return int(bool(n_untrue))


if __name__ == "__main__":
    sys.exit(main())
