"""Runs that reach deep states, for tests that would hardly get there by chance.

An engine finds a shortest run to every state of every machine, to every output being on, and to
whatever the premises of the requirements speak of.
"""

from __future__ import annotations

from dataclasses import replace

from interlock.kernel.asking import ask
from interlock.kernel.expr import Expr, const, eq, var
from interlock.kernel.patterns import PATTERNS
from interlock.kernel.query import Engine, Limits, Reach
from interlock.kernel.system import BOOL, Role
from interlock.model.build import Built

Seed = tuple[str, ...]


def find_seeds(built: Built, engine: Engine, limits: Limits = Limits()) -> tuple[Seed, ...]:
    """Moves of shortest runs to deep states, without those that lie on the way of another.

    Parameters
    ----------
    built : Built
    engine : Engine
    limits : Limits
        What they cut short gives fewer runs; seeds are a help and never a verdict.

    Returns
    -------
    tuple of Seed
        The shortest first.
    """
    explored = engine.explore(built.system, [Reach(t) for t in _targets(built)], limits)
    found = set()
    for answer in explored.answers:
        if answer.witness is not None:
            found.add(tuple(step.move for step in answer.witness.steps))
    kept = [run for run in found if not any(_begins(other, run) for other in found)]
    return tuple(sorted(kept, key=lambda run: (len(run), run)))


def _begins(other: Seed, run: Seed) -> bool:
    return len(other) > len(run) and other[: len(run)] == run


def _targets(built: Built) -> list[Expr]:
    targets: dict[Expr, None] = {}
    for variable in built.system.variables:
        if variable.role is Role.PLANT:
            for value in range(variable.domain.lo, variable.domain.hi + 1):
                targets[eq(var(variable.name), const(value))] = None
        elif variable.role is Role.OUTPUT and variable.domain == BOOL:
            targets[var(variable.name)] = None
    for requirement in built.requirements.values():
        if not PATTERNS[requirement.pattern].is_of_runs:
            targets[requirement.p] = None
        asked = ask(built.system, replace(requirement, after_scan=False))
        targets.update(dict.fromkeys(premise.where for premise in asked.premises))
    return list(targets)
