"""How fast the enumerating engine is, against plain Python and the `transitions` library.

Run it with ``python -m tests.bench``. Nothing here is judged by seconds; the ratios are those of
one run on one machine, and the sample sizes are printed with them.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from functools import partial
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
    print(f"{what:<66} {value:>24}", flush=True)


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
    in_all, compiling = _seconds(lambda: engine.explore(system, [])), _compiling(system)
    rate, warm_rate = found.n_states / in_all, found.n_states / (in_all - compiling)
    _line("enumerate, compilation included", f"{rate / 1e6:.2f} million states/s")
    _line("enumerate, compiled", f"{warm_rate / 1e6:.2f} million states/s")
    _line("bytes a state", f"{found.n_bytes / found.n_states:.1f}")
    _line("seconds: exploring", f"{in_all:.2f}")
    for name, queries in _queries().items():
        seconds = _seconds(partial(engine.explore, system, queries))
        _line(f"seconds: exploring {name}", f"{seconds:.2f}")
    python = _python_rate(system)
    machines = Machines(system).states_a_second(N_MACHINE_STATES)
    _line(f"plain Python, first {N_PYTHON_STATES:,} states found", f"{python:,.0f} states/s")
    _line(f"transitions, first {N_MACHINE_STATES:,} states", f"{machines:,.0f} states/s")
    for name, other, wanted in (("plain Python", python, 100), ("transitions", machines, 3_000)):
        ratios = f"{rate / other:,.0f} × ({warm_rate / other:,.0f} ×)"
        _line(f"enumerate / {name}, in all (compiled); {wanted:,} wanted", ratios)


def _python_rate(system: System) -> float:
    started = process_time()
    limits = Limits(max_states=N_PYTHON_STATES)
    sample = catalogue()["reference"]().explore(system, [], limits)
    spent = process_time() - started
    # A search that is cut short has expanded fewer states than it found.
    return _expanded(system, sample.n_moves or 0) / spent


def _compiling(system: System) -> float:
    codec = Codec.of_system(system)
    return _seconds(lambda: Library(Program(system, codec).text(), optimised=False))


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
    n_bits = Codec.of_system(system).n_bits
    size = f"{len(topological(roots)):,} nodes, {len(system.moves)} moves, {n_bits} bits"
    _line(f"seconds to compile {what} ({size})", f"{_compiling(system):.2f}")


def _cold() -> None:
    def start() -> None:
        subprocess.run([sys.executable, "-c", _COLD], check=True, capture_output=True)

    n_states = catalogue()["enumerate"]().explore(interlock(3, 1), []).n_states
    _line(
        f"seconds: a new process, {n_states:,} states", f"{_seconds(start, clock=perf_counter):.2f}"
    )


def main() -> None:
    """Print the table."""
    for system in (interlock(4, 2, 100), interlock(5, 0, 100)):
        _compare(system)
        _compile(system, "it")
        print()
    _compile(interlock(12, 8, 2000), "a large controller")
    _cold()


if __name__ == "__main__":
    main()
