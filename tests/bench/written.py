"""Random programs written in the exchange format against what they did before.

``python -m tests.bench.written --programs 300`` writes 300 random drawn bodies and projects in each
way, reads them back, tries both over random scans, prints each difference, and ends with 1 where
there is one. One in ten is a project in text, which takes longer.
"""

from __future__ import annotations

import argparse
import sys

from hypothesis import HealthCheck, Phase, given, seed, settings

from tests.agree.test_exchange_written_agrees import WAYS, compare
from tests.support.random_networks import as_file, bodies
from tests.support.random_projects import random_projects

_ONE_PROJECT_IN = 10


def main() -> int:
    """Write, read, try and print; 1 where there is a difference."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--programs", type=int, default=300)
    parser.add_argument("--projects", type=int, help="how many of them are projects in text")
    parser.add_argument("--seed", type=int, default=0)
    asked = parser.parse_args()
    n_projects = asked.projects
    if n_projects is None:
        n_projects = asked.programs // _ONE_PROJECT_IN
    counts = {"programs": 0, "differences": 0}

    def try_one(texts: dict[str, str], root: str) -> None:
        drawn = WAYS[counts["programs"] % len(WAYS)]
        counts["programs"] += 1
        try:
            found: object = compare(texts, root, drawn, n_scans=60)
        except Exception as error:
            found = repr(error)
        if found is not None:
            counts["differences"] += 1
            print(f"--- {drawn}: {found}\n{texts}", flush=True)

    quiet = settings(
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    of_bodies = given(bodies())(lambda body: try_one({"body.xml": as_file(body)}, "Main"))
    of_projects = given(random_projects())(lambda p: try_one(p.texts, p.root))
    for run, count in ((of_bodies, asked.programs - n_projects), (of_projects, n_projects)):
        if count:
            seed(asked.seed)(settings(quiet, max_examples=count)(run))()
        print(", ".join(f"{number} {what}" for what, number in counts.items()), flush=True)
    return 1 if counts["differences"] else 0


if __name__ == "__main__":
    sys.exit(main())
