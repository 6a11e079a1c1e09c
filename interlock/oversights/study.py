"""The study of what is worth a look: in the text of a model, and in what was explored of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from interlock.kernel.query import Answer, Engine, Limits, ProgressSink
from interlock.kernel.system import MoveKind
from interlock.model.build import build
from interlock.model.model import Model
from interlock.oversights.declared import false_guards, in_faults, in_moves, in_requirements
from interlock.oversights.found import Kind, Looked, Oversight, in_order
from interlock.oversights.free_names import FreeNames
from interlock.oversights.occurring import (
    Questions,
    Subject,
    impossible,
    move_subject,
    subjects,
    with_everything,
)
from interlock.oversights.program import in_program

_NOWHERE = "whatever the program does and whatever fails"
_NAMES_TOLD = 6
_SORTS = {
    Kind.STATE_NEVER: "whether these are ever reached",
    Kind.MOVE_NEVER: "whether these moves are ever possible",
    Kind.SENSOR_STILL: "whether what these sensors read ever changes",
}


def questions_for(model: Model) -> Questions:
    """What to ask beside the requirements where `model` is explored without faults."""
    return Questions(model, build(model))


def look_at_text(model: Model) -> Looked:
    """What is worth a look without exploring anything."""
    return _looked(model, dict.fromkeys(impossible(FreeNames(model)), _NOWHERE), ())


def look(
    model: Model,
    answers: Sequence[Answer],
    limit: str | None,
    engine: Engine,
    limits: Limits = Limits(),
    progress: ProgressSink | None = None,
) -> Looked:
    """What is worth a look in a model of which everything without faults was explored.

    Parameters
    ----------
    model : Model
    answers : sequence of Answer
        To `questions_for`.
    limit : str or None
        The limit that this exploration hit.
    engine : Engine
        Explores a little more, with faults, where that is needed to tell (`with_everything`).
    limits : Limits
    progress : callable, optional

    Returns
    -------
    Looked
        What a limit left open is said to be undecided and is no oversight.
    """
    known = subjects(model)
    never = dict.fromkeys(impossible(FreeNames(model)) & known.keys(), _NOWHERE)
    found = {n: a for n, a in zip(known, answers, strict=True) if n not in never}
    undecided = _open(known, _unknown(found), limit)
    absent = [name for name, answer in found.items() if _is_absent(answer)]
    why = "in anything reachable"
    if absent and (model.faults or any(m.kind is MoveKind.HUMAN for m in model.moves)):
        found, limit = with_everything(model, absent, engine, limits, progress)
        undecided += _open(known, _unknown(found), limit)
        absent = [name for name, answer in found.items() if _is_absent(answer)]
        why = "in anything reachable, with any faults and human errors"
    return _looked(model, never | dict.fromkeys(absent, why), undecided)


def _is_absent(answer: Answer) -> bool:
    return answer.found is False and not answer.n_states


def _unknown(answers: Mapping[str, Answer]) -> list[str]:
    return [name for name, a in answers.items() if a.found is None and not a.n_states]


def _open(known: Mapping[str, Subject], names: Iterable[str], limit: str | None) -> tuple[str, ...]:
    """One sentence for each sort of subject that a limit left open."""
    said = []
    for kind, sort in _SORTS.items():
        called = [known[name].called for name in names if known[name].kind is kind]
        if called:
            more = len(called) - _NAMES_TOLD
            listed = ", ".join(called[:_NAMES_TOLD]) + (f" and {more} more" if more > 0 else "")
            said.append(f"not decided, the limit of {limit} was hit: {sort}: {listed}")
    return tuple(said)


def _looked(model: Model, never: Mapping[str, str], undecided: tuple[str, ...]) -> Looked:
    free = FreeNames(model)
    found = [*in_moves(free), *in_faults(model), *in_requirements(free), *in_program(model)]
    found += _absent(model, never, {move_subject(name) for name in false_guards(free)})
    return Looked(in_order(found), undecided)


def _absent(model: Model, never: Mapping[str, str], told: set[str]) -> Iterable[Oversight]:
    """What never occurs, unless its cause is told already."""
    for name, subject in subjects(model).items():
        if name in never and name not in told and not any(need in never for need in subject.needs):
            yield subject.told(never[name])
