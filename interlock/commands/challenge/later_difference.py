"""A difference that can be seen, behind or beside a nearer one that only a memory shows.

*By the same way*: a run on which every move but the last is alike in both models, so that both go
the same way, and whose last shows. *Behind the first*: from the nearest state in which anything is
not alike the two are run beside each other, state by state; what a scan remembers otherwise often
shows within a few scans. Neither need be a shortest run to a difference.
"""

from __future__ import annotations

from dataclasses import replace

from interlock.commands.challenge.equivalence import (
    LockstepProduct,
    differences_seen_in_plant,
    remembers_more,
    unlike_by_move,
    where_models_differ,
)
from interlock.commands.challenge.shortest_difference import after_scan, seen_after_scan
from interlock.kernel.evaluate import evaluate
from interlock.kernel.expr import FALSE, and_, not_, or_
from interlock.kernel.query import Engine, Limits, Reach
from interlock.kernel.system import System
from interlock.kernel.varied import Varied
from interlock.kernel.witness import Witness, check_run


def difference_by_the_same_way(
    known: Varied, lockstep: LockstepProduct, limits: Limits
) -> Witness | None:
    """A run to a difference that shows, with none before it; None where there is none.

    None, too, where the changed model remembers what the original does not.

    Parameters
    ----------
    known : Varied
        What the original reaches.
    lockstep : LockstepProduct
    limits : Limits
        For the search; None where one was hit, too.
    """
    original, changed = lockstep.original, lockstep.changed
    if remembers_more(original, changed):
        return None
    unlike = unlike_by_move(original.system, changed.system)
    moves = [
        replace(move, guard=and_(move.guard, not_(unlike.get(move.name, FALSE))))
        for move in original.system.moves
    ]
    alike = System(original.system.variables, tuple(moves))
    at_once = or_(*differences_seen_in_plant(original, changed))
    shows = or_(at_once, seen_after_scan(original, changed))
    # Mostly the nearest state at which something shows is come to by the same way anyhow.
    run = known.nearest(shows)
    if run is None:
        return None
    if not _is_run(alike, run):
        run = known.first_found(alike, [Reach(shows)], limits).witness
    if run is None:
        return None
    values = dict(zip((v.name for v in alike.variables), run.last, strict=True))
    return run if evaluate(at_once, values) else after_scan(run, original)


def _is_run(system: System, run: Witness) -> bool:
    try:
        check_run(system, run)
    except ValueError:
        return False
    return True


def difference_behind_the_first(
    known: Varied, lockstep: LockstepProduct, engine: Engine, limits: Limits
) -> Witness | None:
    """A run to what can be seen to differ; None where none is near, or where `limits` were hit.

    Parameters
    ----------
    known : Varied
        What the original reaches.
    lockstep : LockstepProduct
    engine : Engine
        What looks at the states behind the first difference.
    limits : Limits
        For that look.
    """
    unlike = where_models_differ(lockstep.original, lockstep.changed)
    first = None if unlike is None else known.nearest(unlike)
    if first is None:
        return None
    start = lockstep.started_in(first.last)
    found = engine.explore(start, [Reach(lockstep.differs)], limits).answers[0]
    if found.witness is None:
        return None
    # Whoever plays the run on both models goes by its moves; states of the product are no others'.
    return Witness(first.initial, (*first.steps, *found.witness.steps))
