"""Many models with time on which the product is compared with the tick-by-tick twin.

``python -m tests.bench.timed --models 300`` draws 300 models, compares verdicts and lengths with
every engine, and prints each disagreement and what was compared. It ends with 1 where there is one.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Mapping
from pathlib import Path

from tests.bench.many_models import compare_many
from tests.second_opinion.compare import ENGINES
from tests.second_opinion.timed import compare_timed


def compare(seed: int, folder: Path, states: int) -> tuple[list[str], Mapping[str, int]]:
    """Verdicts, lengths and sets of faults of the model of `seed`."""
    counts: Counter[str] = Counter()
    found = compare_timed(seed, folder, counts, states, ENGINES, with_sets=True)
    return list(map(str, found)), counts


if __name__ == "__main__":
    sys.exit(compare_many(__doc__, compare, first=1000, states=2000))
