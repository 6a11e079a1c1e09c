"""Runs that show that requirements were put to the test, as evidence of that."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from interlock.judgement.engines import AUTOMATIC, available
from interlock.kernel.asking import ask_all
from interlock.kernel.query import Limits, Occurs, ProgressSink, Reach, labelled
from interlock.model.build import Built, build

Run = tuple[str, ...]

# Enough to meet nearly every premise, and explored in a second.
FEW_STATES = 1_000_000


def runs_to_premises(
    built: Built, ids: Sequence[str], limits: Limits, progress: ProgressSink | None
) -> dict[str, tuple[Run, ...]]:
    """A shortest run to each part of the premises of `ids`, by requirement.

    Mostly a few states without any fault hold all of them; only what they lack is looked for
    elsewhere.

    Returns
    -------
    dict of str to tuple of Run
        Without those of which a part was not met within the limits.
    """
    most = FEW_STATES if limits.max_states is None else min(limits.max_states, FEW_STATES)
    few = replace(limits, max_states=most)
    shown = labelled(progress, "evidence: premises")
    found = _runs(build(built.model), ids, few, shown)
    if built.run_class.faults:
        found |= _runs(built, [id_ for id_ in ids if id_ not in found], few, shown)
    for id_ in [id_ for id_ in ids if id_ not in found]:
        found |= _runs(built, [id_], limits, shown)
    return found


def _runs(
    built: Built, ids: Iterable[str], limits: Limits, progress: ProgressSink | None
) -> dict[str, tuple[Run, ...]]:
    wanted = [built.requirements[id_] for id_ in ids]
    if not wanted:
        return {}
    questions = ask_all(built.system, wanted)
    queries = [
        Reach(p.where, p.along if isinstance(p, Occurs) else ())
        for asked in questions
        for p in asked.premises
    ]
    explored = available()[AUTOMATIC]().explore(built.system, queries, limits, progress)
    answers = iter(explored.answers)
    found = {}
    for asked in questions:
        witnesses = [next(answers).witness for _ in asked.premises]
        runs = [tuple(s.move for s in w.steps) for w in witnesses if w is not None]
        if len(runs) == len(witnesses):
            found[asked.requirement.id] = tuple(runs)
    return found
