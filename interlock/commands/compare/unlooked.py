"""What a comparison did not look at: the end of every result, whatever it says."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.commands.compare.behaviour import Likeness
from interlock.commands.compare.files import NOT_COMPARED
from interlock.commands.compare.study import Comparison
from interlock.kernel.system import MoveKind
from interlock.model.model import Model
from interlock.st.layout import Timers


def not_looked_at(c: Comparison) -> tuple[str, ...]:
    """Everything that the comparison says nothing of, in sentences."""
    told = (_faults(c), _human_errors(c), _timing(c), _assumptions(c), _parted(c), _limits(c))
    files = (
        "Files beside the model: procedures, ratings, accepted gaps and lessons were not compared."
    )
    keys = (f"Of the model files '{key}' was not compared: {why}." for key, why in _keys())
    return (*(sentence for part in told for sentence in part), *keys, files)


def _keys() -> Iterator[tuple[str, str]]:
    yield from NOT_COMPARED.items()


def _models(c: Comparison) -> tuple[Model, Model]:
    return c.old_model, c.new_model


def _faults(c: Comparison) -> Iterator[str]:
    n_old, n_new = (len(model.live_faults) for model in _models(c))
    claims = [
        id_
        for id_ in dict.fromkeys(s for model in _models(c) for s in model.statements)
        if any(id_ in m.statements and m.statements[id_].survives for m in _models(c))
    ]
    if not c.order:
        yield (
            f"Component faults: none was let strike ({n_old} are declared in the old model, "
            f"{n_new} in the new one)."
        )
        if claims:
            yield (
                f"Claims to survive faults were not judged ('--faults claimed' does): "
                f"{', '.join(claims)}."
            )
        return
    of = f" of {', '.join(c.faults)}" if c.faults else ""
    yield f"Component faults: more than {c.order} at once{of} were not let strike."
    if c.faults:
        yield "Faults that were not named on the command line were not looked at."
    else:
        yield "Common causes were left out: a claim counts independent faults."
    yield "Outputs in lockstep and moves were compared without faults and without restarts."


def _human_errors(c: Comparison) -> Iterator[str]:
    n_old, n_new = (
        sum(move.kind is MoveKind.HUMAN for move in model.moves) for model in _models(c)
    )
    yield (
        f"Human errors: none was let happen ({n_old} are declared in the old model, "
        f"{n_new} in the new one)."
    )


def _timing(c: Comparison) -> Iterator[str]:
    untimed = [model for model in _models(c) if model.timing is None]
    which = ("the old model" if c.old_model.timing is None else "the new model") + ": "
    which = which if len(untimed) == 1 else ""
    timers = {model.settings.timers for model in untimed}
    free = ", and a started timer may be up at any later moment" if Timers.FREE in timers else ""
    if untimed:
        yield (
            f"Timing: {which}how long moves and scans take plays no part beyond the bounds that "
            f"requirements give{free}."
        )
    if len(untimed) < 2:
        yield "Timing: what lies within a unit of time has any order."


def _assumptions(c: Comparison) -> Iterator[str]:
    n_old, n_new = (len(model.assumptions) for model in _models(c))
    changed = sum(d.section == "assumption" for d in c.differences)
    said = f"; {changed} came or went with the change" if changed else ""
    yield (
        f"Assumptions: {n_old} of the old model and {n_new} of the new one stand as they are "
        f"written, none was checked{said}."
    )


def _parted(c: Comparison) -> Iterator[str]:
    if c.behaviour is None:
        yield f"Outputs: the controllers were not run in lockstep ({c.not_applicable})."
        return
    if c.behaviour.not_on_new:
        yield f"Outputs on the new plant: not run in lockstep ({c.behaviour.not_on_new})."
    if c.behaviour.parts:
        yield (
            "Outputs: nothing was compared behind the first difference of an output that moves "
            "the plant."
        )
    if any(o.likeness is Likeness.EITHER_PLANT for o in c.behaviour.outputs):
        yield (
            "Outputs: the old controller on the old plant was not compared with the new one on the "
            "new plant, only both on either."
        )


def _limits(c: Comparison) -> Iterator[str]:
    cut = [c.old.exploration.limit, c.new.exploration.limit, *c.moves.limits]
    cut += [] if c.behaviour is None else [c.behaviour.limit]
    found = dict.fromkeys(limit for limit in cut if limit is not None)
    if found:
        yield f"What lies behind the limits that were hit: {', '.join(found)}."
