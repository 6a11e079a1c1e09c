"""How minimal cut sets and reachable states grow with the number of fault flags.

Run it with ``python -m tests.bench.bench_symbolic``. It prints times of one run on one machine;
the counts are the same everywhere.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from time import process_time

from interlock.engines.symbolic import SymbolicEngine
from interlock.kernel.query import Limits, Reach
from tests.bench.generated_interlock import generate

LIMITS = Limits(max_seconds=60, max_bytes=4 << 30)
COLUMNS = "{:>5} {:>6} {:>9} {:>6}  {:>8} {:>7}  {:<28} {:>8}  {}"


def _row(n_flags: int, seed: int) -> str:
    made = generate(n_flags, seed=seed)
    started = process_time()
    kept = SymbolicEngine().project(made.system, made.flags, LIMITS)
    cuts = kept.minimal_sets(Reach(made.bad))
    cuts_done = process_time()
    states = SymbolicEngine().explore(made.system, [Reach(made.bad)], LIMITS)
    states_done = process_time()
    return COLUMNS.format(
        n_flags,
        seed,
        len(made.system.variables) - n_flags,
        len(made.system.moves) - n_flags,
        f"{cuts_done - started:.2f} s",
        f"{cuts.n_bytes >> 20} MB",
        cuts.limit or str(cuts.n_by_order),
        f"{states_done - cuts_done:.2f} s",
        states.limit or f"{states.n_states:,}",
    )


def main(seeds: Sequence[int]) -> None:
    """Print one line for each seed and number of flags."""
    heads = ("flags", "seed", "variables", "moves", "cut sets", "memory", "by order")
    print(COLUMNS.format(*heads, "explore", "reachable states"))
    for seed in seeds:
        for n_flags in (0, 10, 20, 30, 40):
            print(_row(n_flags, seed), flush=True)


if __name__ == "__main__":
    main([int(seed) for seed in sys.argv[1:]] or [1, 2, 3, 4, 5])
