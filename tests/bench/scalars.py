"""Both readings of random programs of scalars, many of them.

``python -m tests.bench.scalars --programs 300`` makes 300 seeds, each with free and with counted
timers, without and with real numbers, prints each seed on which the lowering and the interpreter
disagree, and ends with 1 where there is one.
"""

from __future__ import annotations

import argparse
import sys

from tests.agree.test_lowering_agrees_with_interpreter import compare_scalars


def main() -> int:
    """Compare, and say how many programs were accepted and how many disagree."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--programs", type=int, default=300)
    parser.add_argument("--first", type=int, default=0)
    given = parser.parse_args()
    n_accepted = n_wrong = 0
    for seed in range(given.first, given.first + given.programs):
        for counted, with_reals in ((False, False), (True, False), (False, True), (True, True)):
            try:
                n_accepted += compare_scalars(seed, counted, with_reals)
            except AssertionError as error:
                n_wrong += 1
                print(f"seed {seed}, counted {counted}, reals {with_reals}: {error}")
    print(f"{n_accepted} of {4 * given.programs} programs accepted, {n_wrong} disagreements")
    return int(n_wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
