"""The operator card: a page to print, complete in itself and without scripts."""

from __future__ import annotations

from interlock.commands.rehearse.card import Card
from interlock.commands.rehearse.results import Class, DeviationResult, Rehearsal, Rehearsed
from interlock.commands.rehearse.tell import duration_of, may_also, says, seconds_of
from interlock.telling.program import between_told
from interlock.telling.templates import rendered

_NEVER = (Class.VIOLATING, Class.STUCK)


def to_html(rehearsal: Rehearsal, card: Card) -> str:
    """The card as HTML: the same bytes for the same input."""
    model = rehearsal.model
    return rendered(
        "commands/rehearse/rehearsal_card.html",
        model=model,
        goal=rehearsal.procedures.goal.text,
        conversions=[told(r) for r in rehearsal.rehearsed if not r.procedure.abnormal],
        branches=[told(r) for r in rehearsal.rehearsed if r.procedure.abnormal],
        machines=[model.machines[name].says or name for name in card.machines],
        rows=card.rows,
        limit=card.limit,
        assumptions=[between_told(model), *model.assumptions],
        cautions=[*rehearsal.procedures.cautions, *model.cautions],
    )


def _no_way(result: DeviationResult) -> str:
    violates = None if result.way is None else result.way.violates
    return "no way back" if violates is None else f"no way back that keeps {violates}"


def told(rehearsed: Rehearsed) -> dict[str, object]:
    """What a card says of one procedure."""
    never = [
        f"{says(result)} ({result.requirement or _no_way(result)})"
        for result in rehearsed.singles
        if result.outcome in _NEVER
    ]
    known = {result.step.id: result for result in rehearsed.steps}
    steps = []
    for step in rehearsed.procedure.steps:
        result = known.get(step.id)
        takes = step.takes if result is None else result.takes
        steps.append((step, seconds_of(takes), [] if result is None else may_also(result)))
    return {
        "procedure": rehearsed.procedure,
        "steps": steps,
        "takes": duration_of(rehearsed),
        "never": never,
        "shown": rehearsed.ends and rehearsed.requirement is None,
    }
