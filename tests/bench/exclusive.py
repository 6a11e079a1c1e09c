"""Faults of which one alone may strike, told as one variable, against the reference engine.

``python -m tests.bench.exclusive --systems 300`` draws 300 random systems, prints each disagreement
and how many had flags to merge, and ends with 1 where there is a disagreement.
"""

from __future__ import annotations

import argparse
import sys
import traceback
from time import process_time
from typing import Any

from hypothesis import HealthCheck, Phase, given, seed, settings

from tests.agree.test_exclusive_flags_agree import ONE_ALONE, compare


def main() -> int:
    """Compare and print; 1 where there is a disagreement."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--systems", type=int, default=300)
    parser.add_argument("--seed", type=int, default=0)
    asked = parser.parse_args()
    counts = {"systems": 0, "with flags to merge": 0, "disagreements": 0}
    started = process_time()

    @seed(asked.seed)
    @settings(
        max_examples=asked.systems,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(**ONE_ALONE)
    def try_one(**drawn: Any) -> None:
        try:
            counts["with flags to merge"] += compare(**drawn)
        except AssertionError:
            counts["disagreements"] += 1
            traceback.print_exc(file=sys.stdout)
        counts["systems"] += 1

    try_one()
    for what, count in counts.items():
        print(f"{count:6} {what}")
    print(f"{process_time() - started:6.0f} seconds of processor time")
    return 1 if counts["disagreements"] else 0


if __name__ == "__main__":
    sys.exit(main())
