"""What a challenge says of the defects of a random model, against two worlds side by side."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from interlock.base.errors import InternalError
from interlock.commands.challenge.decide import BUT_FOR_WHAT_IS_OWED, DefectDecider, Stage
from interlock.commands.challenge.defects import Defect
from interlock.commands.challenge.results import DefectOutcome, DefectResult
from interlock.commands.challenge.study import Choice, challenge
from interlock.engines import catalogue
from interlock.model.build import FAULT_FREE
from interlock.model.model import Model
from interlock.st.layout import Timers
from tests.second_opinion.side_by_side import SideBySide
from tests.second_opinion.world import Class, World

N_DEFECTS = 3


def challenged(
    model: Model,
    counts: Counter[str],
    engine: str,
    seed: int = 0,
    n_defects: int | None = N_DEFECTS,
) -> Iterator[str]:
    """What is not so of what a challenge says of defects of `model`, in words; of all if None."""
    choice = Choice(sample=n_defects, seed=seed)
    counts["models"] += 1
    counts["models with free timers"] += _has_free_timers(model)
    try:
        found = challenge(model, catalogue()[engine](), choice)
    except InternalError as error:
        yield f"a defect of our own: {error}"
        return
    for defect in found.defects:
        result = found.results[defect.id]
        counts[result.outcome.value] += 1
        if result.outcome in (DefectOutcome.EQUIVALENT, DefectOutcome.GAP):
            counts[f"{result.outcome.value}, {result.shown_by}"] += 1
            yield from _wrong(model, defect, result)
    yield from _wrong_in_lockstep(model, found.defects, counts, engine)


def _wrong(model: Model, defect: Defect, result: DefectResult) -> Iterator[str]:
    worlds = [World(one, Class()) for one in (model, defect.applied_to(model))]
    nearest, owed_apart = SideBySide(worlds[0], worlds[1], model).differences()
    said = None if result.outcome is DefectOutcome.EQUIVALENT else result.n_steps
    if nearest != said:
        how = result.shown_by or f"a difference after {said} steps"
        yield f"{defect.id}: {how}, but the nearest is after {nearest}"
    elif nearest is None and (owed_apart is not None) != (result.shown_by == BUT_FOR_WHAT_IS_OWED):
        yield f"{defect.id}: {result.shown_by}, but owed apart: {owed_apart}"


def _wrong_in_lockstep(
    model: Model, defects: tuple[Defect, ...], counts: Counter[str], engine: str
) -> Iterator[str]:
    """The same of each defect run in lockstep at once, also of those that are caught."""
    decider = DefectDecider(model, catalogue()[engine]())
    for defect in defects:
        try:
            result = decider.compare_in_lockstep(defect, Stage(FAULT_FREE, ()))
        except InternalError as error:
            yield f"{defect.id}: a defect of our own: {error}"
            continue
        counts[f"in lockstep: {result.outcome.value}"] += 1
        yield from _wrong(model, defect, result)


def _has_free_timers(model: Model) -> bool:
    blocks = {instance.block for instance in model.program.instances}
    return model.settings.timers is Timers.FREE and bool(blocks & {"TON", "TOF", "TP"})
