"""What harm was told of, against the second opinion.

``python -m tests.bench.announced --models 200`` prints each disagreement and what was met, and
ends with 1 where there is a disagreement.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.agree.test_announced_agrees import compared, probed, with_lamps


def main() -> int:
    """Compare and print; 1 where there is a disagreement."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--models", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1000)
    asked = parser.parse_args()
    counts: Counter[str] = Counter()
    for seed in range(asked.seed, asked.seed + asked.models):
        for drawn in (probed, with_lamps):
            with tempfile.TemporaryDirectory() as folder:
                try:
                    compared(drawn(seed, Path(folder) / "m"), counts)
                except AssertionError as error:
                    counts["disagreements"] += 1
                    print(f"seed {seed}, {drawn.__name__}: {error}", flush=True)
    for what, n in sorted(counts.items()):
        print(f"{n:,} {what}")
    return int(counts["disagreements"] > 0)


if __name__ == "__main__":
    sys.exit(main())
