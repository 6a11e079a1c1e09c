"""What a challenge says of the defects of a random model, against two worlds side by side."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from interlock.base.errors import InternalError
from interlock.commands.challenge.decide import BUT_FOR_WHAT_IS_OWED, DefectDecider, Stage
from interlock.commands.challenge.defects import Defect
from interlock.commands.challenge.results import DefectOutcome, DefectResult
from interlock.commands.challenge.study import Choice, challenge
from interlock.engines import catalogue
from interlock.kernel.requirement import Pattern
from interlock.model.build import FAULT_FREE
from interlock.model.model import Model
from interlock.st.layout import Timers
from tests.second_opinion.delays_drawn import given_delays
from tests.second_opinion.drawing import draw
from tests.second_opinion.opinion import opinions
from tests.second_opinion.reached import TooManyError
from tests.second_opinion.side_by_side import SideBySide
from tests.second_opinion.timed import MOST_BEFORE_TIME, given_time
from tests.second_opinion.timed_world import world_of
from tests.second_opinion.world import Class

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
    counts["models with time"] += model.timing is not None
    counts["models with delayed outputs"] += bool(model.delayed_outputs)
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
            counts["a run that need not be shortest"] += not result.is_shortest
            yield from _wrong(model, defect, result)
    yield from _wrong_in_lockstep(model, found.defects, counts, engine)


def _wrong(model: Model, defect: Defect, result: DefectResult) -> Iterator[str]:
    worlds = [world_of(one, Class()) for one in (model, defect.applied_to(model))]
    nearest, owed_apart = SideBySide(worlds[0], worlds[1], model).differences()
    said = None if result.outcome is DefectOutcome.EQUIVALENT else result.n_steps
    is_farther = nearest is not None and said is not None and said > nearest
    if nearest != said and (result.is_shortest or not is_farther):
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


def draw_timed_challenge(seed: int, folder: Path, most: int = 400) -> Model:
    """A small model of `seed` with time, and now and then with delays."""
    for attempt in range(100):
        number = 1000 * seed + attempt
        drawn, model = draw(number, folder / str(attempt), MOST_BEFORE_TIME // 2)
        if not model.program.elapsed_reads:
            by = random.Random(f"challenge of {number}")
            model = given_time(model, by)
            model = given_delays(model, by, 0.3) if seed % 2 else model
            try:
                opinions(model, drawn.run_class, most)
                return model
            except TooManyError:
                continue
    raise AssertionError(f"seed {seed} gives no model of a fitting size")


def thought_otherwise(model: Model, counts: Counter[str], seed: int) -> Iterator[str]:
    """Requirements that the twin judges otherwise of what is told to make no difference."""
    found = challenge(model, catalogue()["reference"](), Choice(sample=N_DEFECTS, seed=seed))
    before = opinions(model, Class())
    for defect, result in found.with_outcome(DefectOutcome.EQUIVALENT):
        after = opinions(defect.applied_to(model), Class())
        for id_ in before.keys() & after.keys():
            statement = model.statements.get(id_)
            owes = statement is not None and statement.pattern is Pattern.LEADS_TO
            if owes and result.shown_by == BUT_FOR_WHAT_IS_OWED:
                continue
            # What signals say is no matter of what is seen; nor is the program's arithmetic.
            if statement is not None and not statement.about_signals:
                counts["verdicts of what makes no difference"] += 1
                if before[id_].is_violated != after[id_].is_violated:
                    yield f"seed {seed}, {defect.id}: {id_} is judged otherwise"
