"""Many models whose signals come late, on which the product is compared with the second opinion.

``python -m tests.bench.old_values --models 300`` walks built system, judge and twin side by side
through 300 models, compares verdicts, lengths and sets of faults on 300 more with every engine, and
prints each disagreement and what was compared. It ends with 1 where there is one.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Mapping
from pathlib import Path

from tests.bench.many_models import compare_many
from tests.second_opinion.aged import compare_aged, walk_aged
from tests.second_opinion.compare import ENGINES


def compare(seed: int, folder: Path, states: int) -> tuple[list[str], Mapping[str, int]]:
    """Walk one model, and judge another of at most so many states."""
    counts: Counter[str] = Counter()
    found = list(walk_aged(seed, folder / "walked", counts))
    judged = compare_aged(seed, folder / "judged", counts, states, ENGINES)
    return [*found, *map(str, judged)], counts


if __name__ == "__main__":
    sys.exit(compare_many(__doc__, compare, first=1000, states=400))
