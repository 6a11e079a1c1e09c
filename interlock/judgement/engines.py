"""Which engine explores: the one the user names, or the one that suits the system.

The enumerating engine is the faster one while the states fit into a second or two and faults are
few; it also gives depths and level sizes. Each fault flag may double the states, which decision
diagrams bear and tables do not.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from interlock.engines import catalogue
from interlock.kernel.query import (
    DeclinedError,
    Engine,
    Exploration,
    Limits,
    ProgressSink,
    Query,
)
from interlock.kernel.system import Role, System

AUTOMATIC = "auto"
# Twenty million states of 8 bytes are explored in about ten seconds and 500 MB.
MAX_ENUMERATED = 20_000_000
MAX_FLAGS = 3


class AutomaticEngine:
    """Enumerates where that is feasible and goes symbolic where it is not."""

    name = AUTOMATIC

    def __init__(self) -> None:
        # Variables and number of states of systems that were enumerated.
        self._known: list[tuple[frozenset[str], int]] = []

    def explore(
        self,
        system: System,
        queries: Sequence[Query],
        limits: Limits = Limits(),
        progress: ProgressSink | None = None,
    ) -> Exploration:
        """As `Engine.explore`; the answer names the engine that gave it."""
        engines = catalogue()
        n_flags = sum(variable.role is Role.FAULT for variable in system.variables)
        cut_by_cap = limits.max_states is None or limits.max_states > MAX_ENUMERATED
        names = frozenset(variable.name for variable in system.variables)
        # With more variables the same system, as one that is observed, has more states yet.
        outgrown = cut_by_cap and any(
            known <= names if n >= MAX_ENUMERATED else known < names
            for known, n in self._known
            if 2 * n > MAX_ENUMERATED
        )
        if n_flags <= MAX_FLAGS and not outgrown:
            capped = replace(limits, max_states=MAX_ENUMERATED) if cut_by_cap else limits
            try:
                explored = engines["enumerate"]().explore(system, queries, capped, progress)
            except DeclinedError:
                return engines["symbolic"]().explore(system, queries, limits, progress)
            self._known.append((names, explored.n_states))
            too_many = cut_by_cap and explored.n_states >= MAX_ENUMERATED
            if explored.limit is None or not too_many:
                return explored
        return engines["symbolic"]().explore(system, queries, limits, progress)


def available() -> Mapping[str, Callable[[], Engine]]:
    """Every engine a user may name, the automatic choice first."""
    return {AUTOMATIC: AutomaticEngine, **catalogue()}
