"""Random drawn bodies as they are read against a slow evaluator of drawings.

``python -m tests.bench.networks --bodies 300`` draws 300 bodies, prints each disagreement, and ends
with 1 where there is one.
"""

from __future__ import annotations

import argparse
import sys

from hypothesis import HealthCheck, Phase, given, seed, settings

from interlock.base.errors import InputError
from tests.agree.test_networks_agree import SCANS, compare
from tests.support.random_networks import Body, as_file, bodies


def main() -> int:
    """Compare and print; 1 where there is a disagreement."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bodies", type=int, default=300)
    parser.add_argument("--seed", type=int, default=0)
    asked = parser.parse_args()
    counts = {"bodies": 0, "disagreements": 0}

    @seed(asked.seed)
    @settings(
        max_examples=asked.bodies,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(bodies(), SCANS)
    def try_one(body: Body, scans: list[dict[str, int]]) -> None:
        counts["bodies"] += 1
        try:
            compare(body, scans)
        except (AssertionError, InputError) as error:
            counts["disagreements"] += 1
            print(f"--- {error}\n{scans}\n{as_file(body)}", flush=True)

    try_one()
    for what, count in counts.items():
        print(f"{count:6} {what}")
    return 1 if counts["disagreements"] else 0


if __name__ == "__main__":
    sys.exit(main())
