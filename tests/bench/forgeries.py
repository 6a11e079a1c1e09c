"""Many forgeries of the evidence of many random models, each held to the second opinion.

``python -m tests.bench.forgeries --models 300`` prints whatever `recheck` confirms and is not so,
and what was met. It ends with 1 where there is anything of the sort.
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

from tests.agree.forgeries import compare_seed
from tests.bench.many_models import compare_many

FORGERIES = 10
"""How many of each model."""


def check(seed: int, folder: Path, states: int) -> tuple[list[str], Counter[str]]:
    """What is confirmed of one model's forgeries and is not so, and what was met."""
    counts: Counter[str] = Counter()
    # Every third model has time; its states are more, and as many are tried.
    return compare_seed(seed, folder, counts, states, FORGERIES, has_time=seed % 3 == 0), counts


if __name__ == "__main__":
    sys.exit(compare_many(__doc__, check, states=120))
