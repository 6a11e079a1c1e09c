"""How much faster several threads explore: ``python -m tests.bench.threads [MODEL] [THREADS]``.

Others may be busy on the machine, so two times are told of each exploration, the best of several
in turn: the wall clock, which is right on a quiet machine, and the *path*: processor time of what
only one thread does, and of all else an equal share for each thread. The path is what the wall
clock would show if every thread had a core to itself.
"""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass
from itertools import pairwise
from time import perf_counter, thread_time

import pytest

from interlock.base import cores
from interlock.base.team import Team
from interlock.engines.budget import NO_LIMITS, Budget
from interlock.engines.enumerate.jit import Library
from interlock.engines.enumerate.program import Program
from interlock.engines.enumerate.space import Space
from interlock.kernel.codec import Codec
from interlock.kernel.expr import Expr, and_, var
from interlock.kernel.query import Limits
from interlock.kernel.system import System
from interlock.model.build import build
from interlock.model.load import load

_TIMES = 2


@dataclass(frozen=True)
class Taken:
    """What one exploration took: seconds of wall clock and path, bytes for each state."""

    wall: float
    path: float
    n_states: int
    n_bytes: float


class Exploring:
    """Explores one system again and again; compiled once.

    Parameters
    ----------
    system : System
    judged : sequence of Expr
        Conditions that are counted in all states, up to 64.
    """

    def __init__(self, system: System, judged: list[Expr], limits: Limits = NO_LIMITS) -> None:
        self._system, self._n_judged, self._limits = system, len(judged), limits
        self._codec = Codec.of_system(system)
        program = Program(system, self._codec)
        program.add_bits("judged", judged)
        self._program = Library(program.text(), optimised=False)

    def take(self, n_threads: int) -> Taken:
        """Explore once."""
        together = [0.0] * n_threads
        all_do = Team.all_do

        def timed(team: Team, work: object) -> None:
            def measured(member: int) -> None:
                begun = thread_time()
                work(member)  # type: ignore[operator]
                together[member] += thread_time() - begun

            all_do(team, measured)

        cores.use(n_threads)
        begun, own = perf_counter(), thread_time()
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(Team, "all_do", timed)
            budget = Budget(self._limits, None)
            space = Space(self._system, self._codec, self._program, budget, analysing=False)
            space.explore()
            if self._n_judged:
                judged = self._program.address("judged")
                space.tally(judged, self._n_judged, 0, space.n_states)
        wall, alone = perf_counter() - begun, thread_time() - own - together[0]
        cores.use(None)
        path = alone + sum(together) / n_threads
        return Taken(wall, path, space.n_states, space.n_bytes / space.n_states)


def best(exploring: Exploring, n_threads: int, times: int = _TIMES) -> tuple[Taken, Taken]:
    """One thread and several, in turn; of each the least times."""
    found: list[list[Taken]] = [[], []]
    for _ in range(times):
        for taken, number in zip(found, (1, n_threads), strict=True):
            taken.append(exploring.take(number))
    one, several = (
        Taken(min(t.wall for t in taken), min(t.path for t in taken), *_sizes(taken[0]))
        for taken in found
    )
    return one, several


def _sizes(taken: Taken) -> tuple[int, float]:
    return taken.n_states, taken.n_bytes


def main(folder: str = "models/wren", threads: str | None = None) -> None:
    """Print the ratios for a model without faults, bare and with its invariants judged."""
    n_threads = int(threads) if threads else cores.available()
    built = build(load(folder))
    print(f"{folder}, {n_threads} threads, load before it {os.getloadavg()[0]:.1f}")
    outputs = [v.name for v in built.system.variables if v.domain.size == 2]
    conditions = [_both(a, b) for a, b in pairwise(outputs)]
    for what, judged in (("bare", []), (f"with {len(conditions[:47])} judged", conditions[:47])):
        one, several = best(Exploring(built.system, judged), n_threads)
        assert one.n_states == several.n_states
        print(f"{what}: {one.n_states:,} states")
        for name, taken in (("one thread", one), (f"{n_threads} threads", several)):
            sizes = f"{taken.n_bytes:.1f} bytes a state"
            print(f"  {name:<12} wall {taken.wall:6.2f} s  path {taken.path:6.2f} s  {sizes}")
        wall, path = one.wall / several.wall, one.path / several.path
        print(f"  ratio        wall {wall:6.2f}    path {path:6.2f}")
    print(f"load behind it {os.getloadavg()[0]:.1f}")


def _both(a: str, b: str) -> Expr:
    return and_(var(a), var(b))


if __name__ == "__main__":
    main(*sys.argv[1:])
