"""Many random programs over a REAL input: ``python -m tests.bench.real_inputs [how many]``."""

from __future__ import annotations

import sys
from collections import Counter
from random import Random

from tests.support.random_reals import disagreement


def main(count: int) -> int:
    """Compare `count` programs; print what came of them and where they differ."""
    counts: Counter[str] = Counter()
    found = [text for seed in range(count) if (text := disagreement(Random(seed), counts))]
    print("\n\n".join(found[:5]))
    print(dict(counts), len(found), "disagreements")
    return int(bool(found))


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000))
