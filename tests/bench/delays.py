"""Many models with time and delays on which the product is compared with the second opinion.

``python -m tests.bench.delays --models 300`` walks built system, judge and twin side by side
through 300 models, compares verdicts, lengths and sets of faults on 300 more with every engine, and
prints each disagreement and what was compared. It ends with 1 where there is one.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Mapping
from pathlib import Path

from tests.bench.many_models import compare_many
from tests.second_opinion.compare import ENGINES
from tests.second_opinion.delays_drawn import compare_delayed, walk_delayed


def compare(seed: int, folder: Path, states: int) -> tuple[list[str], Mapping[str, int]]:
    """Walk one model, and judge another of at most so many states."""
    counts: Counter[str] = Counter()
    found = list(walk_delayed(seed, folder / "walked", counts))
    with_sets = seed % 10 == 0
    judged = compare_delayed(seed, folder / "judged", counts, states, ENGINES, with_sets)
    return [*found, *map(str, judged)], counts


if __name__ == "__main__":
    sys.exit(compare_many(__doc__, compare, first=1000, states=400))
