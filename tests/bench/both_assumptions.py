"""Wren and every revision of it, kept and broken, judged under both assumptions between two scans.

``python -m tests.bench.both_assumptions [NAME …]`` judges all requirements without a fault, and
with each fault that a revision names those that it says fall, and compares with what its
`expected` says. That speaks of each machine moving once; with one move of all of them less may
fall, which is printed, and never more. What is not decided within ``--seconds`` is printed and is
not as expected. The tests of the gate judge the requirement at risk alone.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from time import process_time

from interlock.engines import catalogue
from interlock.judgement.verify import verify
from interlock.kernel.query import Limits
from interlock.model.between import EACH_ONCE, ONE_IN_ALL
from interlock.model.build import FAULT_FREE, RunClass
from tests.support.models import folders, shipped, undecided, violated

COLUMNS = "{:<36} {:<8} {:<11} {:>7}  {}"


def _asked(name: str) -> Iterator[tuple[str, RunClass, tuple[str, ...], tuple[str, ...]]]:
    """What is judged: the fault, the run class, which requirements, and what is to fall."""
    model = shipped(name)
    if model.expected_violated or not model.expected_under:
        yield "none", FAULT_FREE, (), model.expected_violated
    for fault, ids in model.expected_under.items():
        yield fault, RunClass((fault,), 1), ids, ids


def _judged(name: str, seconds: float) -> bool:
    """Judge one model under both, and print; whether all was as expected."""
    as_expected, own = True, shipped(name).between_scans
    for fault, run_class, only, expected in _asked(name):
        fallen = {}
        for between in (ONE_IN_ALL, EACH_ONCE):
            started = process_time()
            model = shipped(name).assuming(between)
            engine, limits = catalogue()["symbolic"](), Limits(max_seconds=seconds)
            found = verify(model, engine, run_class, only, limits)
            # What says itself that one of all moves counts on that.
            counts_on_it = between == EACH_ONCE and own == ONE_IN_ALL
            fallen[between], open_ = violated(found), sorted(undecided(found))
            said = [f"{len(fallen[between])} fall"]
            if missing := sorted(set(expected) - fallen[between] - set(open_)):
                said.append(f"not {' '.join(missing)}")
            if more := sorted(fallen[between] - set(expected)):
                word = "more" if counts_on_it else "MORE"
                said.append(f"{word} than expected: {' '.join(more)}")
            if open_:
                said.append(f"UNDECIDED: {' '.join(open_)}")
            spent = f"{process_time() - started:.0f}"
            print(COLUMNS.format(name, fault, str(between), spent, "; ".join(said)), flush=True)
            right = (not more or counts_on_it) and not open_
            right = right and (between == ONE_IN_ALL or not missing)
            as_expected = as_expected and right
    return as_expected


def main() -> int:
    """Judge those that are named, or all."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", help="folders of models/, such as wren-changed/tidied")
    parser.add_argument("--seconds", type=float, default=600, help="most for one judgement")
    given = parser.parse_args()
    groups = ("wren-changed", "wren-single")
    names = ["wren", *(f"{group}/{one}" for group in groups for one in folders(group))]
    print(COLUMNS.format("model", "fault", "between", "seconds", ""), flush=True)
    results = [_judged(name, given.seconds) for name in given.names or names]
    return 0 if all(results) else 1


if __name__ == "__main__":
    sys.exit(main())
