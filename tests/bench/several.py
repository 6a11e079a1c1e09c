"""Many models with two controllers, on which the product is compared with a twin of its own.

``python -m tests.bench.several --models 300`` compares verdicts and lengths on 300 models with
every engine, each without time and with it, and prints each disagreement and what was compared. It
ends with 1 where there is one.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Mapping
from pathlib import Path

from tests.bench.many_models import compare_many
from tests.second_opinion.compare import ENGINES
from tests.second_opinion.several_compared import compare_several


def compare(seed: int, folder: Path, states: int) -> tuple[list[str], Mapping[str, int]]:
    """Judge one model of at most so many states."""
    counts: Counter[str] = Counter()
    found = compare_several(seed, folder, counts, states, ENGINES)
    return found + compare_several(seed, folder, counts, states, ENGINES, in_time=True), counts


if __name__ == "__main__":
    sys.exit(compare_many(__doc__, compare, first=1000, states=4000))
