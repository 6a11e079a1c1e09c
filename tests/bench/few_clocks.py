"""Many models in time on which verdicts with few clocks are compared with the tick-by-tick twin.

``python -m tests.bench.few_clocks --models 300`` draws 300 models and prints each disagreement and
what was compared. It ends with 1 where there is one.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Mapping
from pathlib import Path

from tests.bench.many_models import compare_many
from tests.second_opinion.few_clocks import compare_few_clocks


def compare(seed: int, folder: Path, states: int) -> tuple[list[str], Mapping[str, int]]:
    """Verdicts on the model of `seed`."""
    counts: Counter[str] = Counter()
    return compare_few_clocks(seed, folder, counts, states), counts


if __name__ == "__main__":
    sys.exit(compare_many(__doc__, compare, first=2000, states=400))
