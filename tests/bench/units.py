"""How the states of a model grow with a finer unit of time, and how many of them are idle.

``python -m tests.bench.units models/level-crossing '1 s' '500 ms'`` prints, for each unit, the
states that enumeration lists, and of the first 60,000 that a plain search reaches the share in
which time alone can pass, so that they could be skipped on the way to the next change.
"""

from __future__ import annotations

import sys
from collections import deque
from dataclasses import replace
from pathlib import Path

from interlock.engines import catalogue
from interlock.kernel.system import Stepper, System
from interlock.model.build import build
from interlock.model.load import load
from interlock.model.read_timing import milliseconds
from interlock.model.timing import TICK

MOST_LOOKED_AT = 60_000


def idle_share(system: System) -> float:
    """The share of states in which nothing but time can happen."""
    stepper = Stepper(system)
    seen, waiting, n_idle, n_looked_at = {system.initial}, deque([system.initial]), 0, 0
    while waiting and n_looked_at < MOST_LOOKED_AT:
        steps = stepper.successors(waiting.popleft())
        n_looked_at += 1
        n_idle += [move.name for move, _ in steps] == [TICK]
        for _, state in steps:
            if state not in seen:
                seen.add(state)
                waiting.append(state)
    return n_idle / n_looked_at


def main(folder: str, units: list[str]) -> None:
    """Print a line for each unit."""
    model = load(Path(folder))
    if model.timing is None:
        raise SystemExit(f"{folder} has no time")
    engine, n_before = catalogue()["enumerate"](), 0
    for unit in units:
        unit_ms = milliseconds(unit)
        if unit_ms is None:
            raise SystemExit(f"'{unit}' is no unit")
        system = build(replace(model, timing=replace(model.timing, unit_ms=int(unit_ms)))).system
        found = engine.explore(system, [])
        grown = f", {found.n_states / n_before:.1f} times as many" if n_before else ""
        limit = f" (limit: {found.limit})" if found.limit else ""
        print(f"{unit}: {found.n_states:,} states{limit}{grown}; idle {idle_share(system):.1%}")
        n_before = found.n_states


if __name__ == "__main__":
    if len(sys.argv) < 3:
        sys.exit(__doc__)
    main(sys.argv[1], sys.argv[2:])
