"""Random projects executed as written against what elaboration and lowering make of them.

``python -m tests.bench.elaboration --projects 300`` draws 300 projects, prints each disagreement
and what was compared, and ends with 1 where there is a disagreement.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter

from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from interlock.st.layout import Settings, Timers
from tests.support.executed import disagreements
from tests.support.random_projects import Act, RandomProject, random_acts, random_projects


def main() -> int:
    """Compare and print; 1 where there is a disagreement."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--projects", type=int, default=300)
    parser.add_argument("--seed", type=int, default=0)
    asked = parser.parse_args()
    counts: Counter[str] = Counter()
    found: list[str] = []

    @seed(asked.seed)
    @settings(
        max_examples=asked.projects,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(
        random_projects(),
        random_acts(),
        st.sampled_from((Timers.FREE, Timers.COUNTED)),
        st.sampled_from(("wrap", "saturate")),
    )
    def compare(project: RandomProject, acts: list[Act], timers: Timers, overflow: str) -> None:
        counts["projects"] += 1
        for says in disagreements(project, acts, Settings(timers, 100, 2, overflow), counts):
            found.append(says)
            print(f"--- {says}\n{acts}", *project.texts.values(), sep="\n", flush=True)

    compare()
    for what, count in counts.most_common():
        print(f"{count:6} {what}")
    print(f"{len(found):6} disagreements")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
