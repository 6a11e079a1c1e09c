"""What is asked of the demo vehicle, against one bare exploration of it in the same run.

``python -m tests.bench.vehicle`` explores it with decision diagrams under both assumptions, without
faults and with any one of them, and prints seconds of processor time, states, nodes and ratios.
The states are the same everywhere; ``--faults 0`` leaves out what takes longest.
"""

from __future__ import annotations

import argparse
from time import process_time

from interlock.engines.budget import NO_LIMITS, Budget
from interlock.engines.symbolic import SymbolicEngine
from interlock.engines.symbolic.exclusive import merged
from interlock.engines.symbolic.space import Space
from interlock.kernel.asking import ask_all
from interlock.kernel.query import Query
from interlock.kernel.system import System
from interlock.model.between import BetweenScans
from interlock.model.build import RunClass, build
from interlock.model.load import load
from tests.support.models import MODELS

COLUMNS = "{:<12} {:>7}  {:<14} {:>9} {:>7}  {:>22} {:>9}"


def _bare(system: System) -> tuple[float, int, int]:
    """Seconds, states and nodes of the reachable set."""
    started = process_time()
    one = merged(system)
    space = Space(system if one is None else one.system, Budget(NO_LIMITS, None), 0)
    space.explore()
    return process_time() - started, space.n_reached, space.reached.node_count()


def _asked(system: System, queries: list[Query]) -> float:
    started = process_time()
    SymbolicEngine(breadth_first_work=0).explore(system, queries)
    return process_time() - started


def main() -> None:
    """Explore and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--faults", type=int, default=75, help="how many faults, one in a run")
    given = parser.parse_args()
    print(COLUMNS.format("between", "faults", "what", "seconds", "ratio", "states", "nodes"))
    vehicle = load(MODELS / "wren")
    for between in ("one in all", "each once"):
        model = vehicle.assuming(BetweenScans.read(between))
        least = 0.0
        for n_faults in sorted({0, given.faults}):
            faults = model.independent_faults[:n_faults]
            built = build(model, RunClass(faults, min(1, n_faults)))
            wanted = [r for r in built.requirements.values() if not faults or r.survives]
            seconds, n_states, n_nodes = _bare(built.system)
            least = least or seconds
            ratio = f"{seconds / least:.1f}"
            row = (between, n_faults, "bare", f"{seconds:.1f}", ratio, f"{n_states:,}", n_nodes)
            print(COLUMNS.format(*row), flush=True)
            queries: list[Query] = []
            for question in ask_all(built.system, wanted):
                queries += [*question.violations, *question.premises, *question.measures]
            seconds = _asked(built.system, queries)
            row = (between, n_faults, "requirements", f"{seconds:.1f}", f"{seconds / least:.1f}")
            print(COLUMNS.format(*row, "", ""), flush=True)


if __name__ == "__main__":
    main()
