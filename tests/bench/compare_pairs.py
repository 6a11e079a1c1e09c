"""Many pairs of models on which what a comparison says is checked by the second opinion.

``python -m tests.bench.compare_pairs --models 300`` draws 300 models with a revision of each, every
third with faults and every fifth with time, and prints each false statement and what was compared.
It ends with 1 where there is one. It takes about half a second of processor time a pair.
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

from tests.bench.many_models import compare_many
from tests.second_opinion.comparing import check_pair, check_timed_pair


def check(seed: int, folder: Path, states: int) -> tuple[list[str], Counter[str]]:
    """The false statements of one pair, and what was compared."""
    counts: Counter[str] = Counter()
    if seed % 5 == 0:
        return check_timed_pair(seed, folder, counts, states // 2), counts
    return check_pair(seed, folder, counts, states, seed % 3 == 0), counts


if __name__ == "__main__":
    sys.exit(compare_many(__doc__, check, first=1000, states=1500))
