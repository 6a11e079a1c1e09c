"""How fast the enumerating engine is, against plain Python and the `transitions` library.

Run it with ``python -m tests.bench``. Nothing here is judged by seconds; the ratios are those of
one run on one machine, and the sample sizes are printed with them.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from statistics import median
from time import perf_counter, process_time

from interlock.engines import catalogue
from interlock.engines.enumerate.jit import Library
from interlock.engines.enumerate.program import Program
from interlock.kernel.codec import Codec
from interlock.kernel.expr import and_, topological
from interlock.kernel.query import Limits, Query, Reach, Stay, Trap
from interlock.kernel.system import Stepper, System
from tests.bench.machines import Machines
from tests.bench.models import interlock
from tests.support.build import is_

N_PYTHON_STATES = 100_000
N_MACHINE_STATES = 2_000

_COLD = """
from tests.bench.models import interlock
from interlock.engines import catalogue
system = interlock(3, 1)
print(catalogue()["enumerate"]().explore(system, []).n_states)
"""


def _line(what: str, value: str) -> None:
    print(f"{what:<58} {value:>22}", flush=True)


def _seconds(
    work: Callable[[], object], times: int = 3, clock: Callable[[], float] = process_time
) -> float:
    """Seconds of CPU, which others on the machine disturb less than the wall clock."""
    spent = []
    for _ in range(times):
        started = clock()
        work()
        spent.append(clock() - started)
    return median(spent)


def _queries() -> dict[str, list[Query]]:
    home = and_(*(is_(f"axis{n}.place", 0) for n in range(3)))
    running = and_(is_("axis1.out", 1), is_("axis1.place", 2))
    return {
        "and a reach": [Reach(and_(is_("axis0.place", 3), is_("axis2.place", 3)))],
        "and a trap": [Trap(home)],
        "and a fair loop": [Stay(running, running)],
    }


def _compare(system: System) -> None:
    engines = catalogue()
    engine = engines["enumerate"]()
    found = engine.explore(system, [])
    _line("states, moves", f"{found.n_states:,}, {found.n_moves:,}")
    seconds = _seconds(lambda: engine.explore(system, []))
    rate = found.n_states / seconds
    _line("enumerate, compilation included", f"{rate / 1e6:.2f} million states/s")
    _line("bytes a state", f"{found.n_bytes / found.n_states:.1f}")
    for name, queries in _queries().items():
        _line(
            f"seconds: exploring {name}",
            f"{_seconds(lambda q=queries: engine.explore(system, q)):.2f}",
        )
    _line("seconds: exploring only", f"{seconds:.2f}")
    reference = engines["reference"]()
    started = process_time()
    sample = reference.explore(system, [], Limits(max_states=N_PYTHON_STATES))
    spent = process_time() - started
    # A search that is cut short has expanded fewer states than it found.
    expanded = _expanded(system, sample.n_moves or 0)
    python = expanded / spent
    _line(f"plain Python, first {expanded:,} states", f"{python:,.0f} states/s")
    machines = Machines(system).states_a_second(N_MACHINE_STATES)
    _line(f"transitions, first {N_MACHINE_STATES:,} states", f"{machines:,.0f} states/s")
    _line("enumerate / plain Python (100 wanted)", f"{rate / python:,.0f} ×")
    _line("enumerate / transitions (3,000 wanted)", f"{rate / machines:,.0f} ×")


def _expanded(system: System, n_moves: int) -> int:
    """How many states have `n_moves` moves in breadth-first order."""
    stepper, seen, order = Stepper(system), {system.initial}, [system.initial]
    for number, state in enumerate(order):
        successors = stepper.successors(state)
        n_moves -= len(successors)
        if n_moves < 0:
            return number
        new = [t for _, t in successors if t not in seen]
        seen.update(new)
        order.extend(dict.fromkeys(new))
    return len(order)


def _compile(system: System, what: str) -> None:
    roots = [e for m in system.moves for e in (m.guard, *m.updates.values())]
    codec = Codec.of_system(system)

    def compile_() -> None:
        Library(Program(system, codec).text(), optimised=False)

    size = f"{len(topological(roots)):,} nodes, {len(system.moves)} moves, {codec.n_bits} bits"
    _line(f"seconds to compile {what} ({size})", f"{_seconds(compile_):.2f}")


def _cold() -> None:
    def start() -> None:
        subprocess.run([sys.executable, "-c", _COLD], check=True, capture_output=True)

    n_states = catalogue()["enumerate"]().explore(interlock(3, 1), []).n_states
    _line(
        f"seconds: a new process, {n_states:,} states", f"{_seconds(start, clock=perf_counter):.2f}"
    )


def main() -> None:
    """Print the table."""
    _compare(interlock(5, 0, 100))
    _compile(interlock(5, 0, 100), "that")
    _compile(interlock(12, 8, 2000), "a large controller")
    _cold()


if __name__ == "__main__":
    main()
