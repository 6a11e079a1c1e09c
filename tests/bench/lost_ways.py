"""With which faults something can be reached no more, asked of all states and of a few.

``python -m tests.bench.lost_ways`` lets any one of some faults of the demo vehicle strike. It
prints seconds of processor time, and their ratio to the exploration itself in the same run.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from time import process_time

from interlock.engines.symbolic.explored import Explored
from interlock.judgement.fault_sets import ask_all, flags_of
from interlock.kernel.query import Query, Trap
from interlock.kernel.system import PHASE
from interlock.model.build import RunClass, build
from interlock.model.load import load
from tests.support.models import MODELS

COLUMNS = "{:<52} {:>9} {:>7}"
_Rows = list[set[tuple[int, ...]]]


def _rows(explored: Explored, queries: Iterable[Query], more: tuple[str, ...]) -> _Rows:
    """The values of flags with which each query is found, asked for beside `more` variables."""
    found = []
    for query in queries:
        rows = explored.occurring(query, (*explored.flags, *more))
        assert rows is not None
        found.append({row[: len(explored.flags)] for row in rows})
    return found


def main() -> None:
    """Explore, ask and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--faults", type=int, default=8, help="how many faults, one in a run")
    model = load(MODELS / "wren")
    faults = model.independent_faults[: parser.parse_args().faults]
    built = build(model, RunClass(faults, 1))
    asked = ask_all(built.system, built.requirements.values())
    traps = [q for of_one in asked.queries.values() for q in of_one if isinstance(q, Trap)]
    print(COLUMNS.format("what", "seconds", "ratio"))
    least = 0.0

    def measured(what: str, explored: Explored, wanted: Iterable[Query], *more: str) -> _Rows:
        started = process_time()
        found = _rows(explored, wanted, more)
        seconds = process_time() - started
        print(COLUMNS.format(what, f"{seconds:.1f}", f"{seconds / least:.1f}"), flush=True)
        return found

    started = process_time()
    by_states, by_flags = (Explored(asked.system, tuple(flags_of(model, faults))) for _ in range(2))
    least = (process_time() - started) / 2
    print(COLUMNS.format("exploration", f"{least:.1f}", "1.0"), flush=True)
    # Where more than flags is asked for, every state is looked at.
    slow = measured(f"{len(traps)} traps, by all states", by_states, traps, PHASE)
    assert measured(f"{len(traps)} traps, by a few of each fault", by_flags, traps) == slow


if __name__ == "__main__":
    main()
