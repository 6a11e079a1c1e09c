"""How the time to explore grows: with the states, and with each doubling of the fault flags.

Run it with ``python -m tests.bench.growth``. Every line is held against the line before it in the
same run on the same machine: so many times the states, so many times the CPU. Where the second
number is about the first, time grows with the states; where it stays near 1, it does not grow with
them at all. Seconds are those of one machine, and tell what was measured: of fractions of one, much
is compiling.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from time import process_time

from interlock.engines import catalogue
from interlock.kernel.query import Exploration, Limits, Reach
from interlock.kernel.system import System
from tests.bench.generated_interlock import generate
from tests.bench.models import interlock

# Axes and fault flags of systems with about 1e5 to 1e7 states.
SIZES = ((4, 0), (4, 2), (5, 0), (5, 1), (5, 2), (5, 3))
FLAGS = (3, 6, 12, 24)
LIMITS = Limits(max_seconds=120, max_bytes=4 << 30)
COLUMNS = "{:<34} {:>24} {:>9} {:>10} {:>10} {:>9}"
Explore = Callable[[], Exploration]


def table(title: str, rows: Iterable[tuple[str, Explore]]) -> None:
    """Print a line for each exploration, held against the one before."""
    print(COLUMNS.format(title, "reachable states", "CPU", "states ×", "CPU ×", "CPU/state"))
    before: tuple[int, float] | None = None
    for name, explore in rows:
        started = process_time()
        found = explore()
        spent = process_time() - started
        n_states = found.n_states
        growth = ("-", "-", "-")
        if before is not None:
            states, time = n_states / before[0], spent / before[1]
            growth = (f"{states:,.4g}", f"{time:.2f}", f"{time / states:.2g} ×")
        shown = f"{n_states:,}" + (f", limit: {found.limit}" if found.limit else "")
        print(COLUMNS.format(name, shown, f"{spent:.2f} s", *growth), flush=True)
        # What a limit cut short says nothing of what comes behind it.
        before = None if found.limit else (n_states, spent)
    print()


def by_states(engine: str) -> Iterable[tuple[str, Explore]]:
    """Systems of rising size, for one engine."""

    def exploring(system: System) -> Explore:
        return lambda: catalogue()[engine]().explore(system, [], LIMITS)

    for n_axes, n_flags in SIZES:
        name = f"{engine}: {n_axes} axes, {n_flags} flags"
        yield name, exploring(interlock(n_axes, n_flags))


def by_flags(seed: int) -> Iterable[tuple[str, Explore]]:
    """One generated interlock with twice as many flags each time."""

    def exploring(n_flags: int) -> Explore:
        made = generate(n_flags, seed=seed)
        return lambda: catalogue()["symbolic"]().explore(made.system, [Reach(made.bad)], LIMITS)

    for n_flags in FLAGS:
        yield f"symbolic: seed {seed}, {n_flags} flags", exploring(n_flags)


def main() -> None:
    """Print the tables."""
    catalogue()["enumerate"]().explore(interlock(2), [])  # so that no line has the loading
    for engine in ("enumerate", "symbolic"):
        table("growth with the states", by_states(engine))
    for seed in (1, 2):
        table("growth with the fault flags", by_flags(seed))


if __name__ == "__main__":
    main()
