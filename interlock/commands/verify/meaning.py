"""What a model means to `verify`: two that mean the same have the same verdicts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from typing import Any

from interlock.base.errors import Place
from interlock.kernel.expr import Expr
from interlock.kernel.requirement import Requirement
from interlock.kernel.system import System
from interlock.model.build import FAULT_FREE, RunClass, build
from interlock.model.model import Formula, Model
from interlock.model.reaction import ReactionTime, ReactionTimes
from interlock.oversights.study import look_at_text
from interlock.telling.program import left_out_of

# All that is told of a model or decides anything beside its systems. Its expressions are part of
# these, and how its files are laid out is no part of anything.
_TOLD = (
    *("title", "assumptions", "cautions", "between_scans", "declared_between_scans", "machines"),
    *("timing", "moves", "sensors", "outputs", "hazards", "faults", "settings", "matrix"),
)


@dataclass(frozen=True)
class _AsSystem:
    """A model in one run class, as engines get it."""

    system: System
    requirements: Mapping[str, Requirement]
    signals: Mapping[str, Expr]
    truth: Mapping[str, Expr]


@dataclass(frozen=True)
class Meaning:
    """What verdicts and what is told beside them follow from; compare with ``==``.

    Attributes
    ----------
    systems : tuple
        The model as a system in every run class that may be explored.
    reactions : tuple of ReactionTime or None
        What lies outside of the program, for each requirement.
    told : tuple
        Everything else, without the places of files.
    """

    systems: tuple[_AsSystem, ...]
    reactions: tuple[ReactionTime | None, ...]
    told: tuple[object, ...]


def meaning_of(model: Model) -> Meaning:
    """What `model` means; comments, layout and the names of what nothing asks for are no part."""
    most = max((statement.survives for statement in model.statements.values()), default=0)
    claimed = [RunClass(model.independent_faults, n) for n in range(1, most + 1)]
    everything = RunClass(tuple(model.faults), None, human=True)
    systems = []
    for run_class in (FAULT_FREE, *claimed, everything):
        built = build(model, run_class)
        systems.append(_AsSystem(built.system, built.requirements, built.signals, built.truth))
    timed = ReactionTimes(model)
    seen = sorted((one.kind.value, one.says) for one in look_at_text(model).oversights)
    told = [_without_places(getattr(model, name)) for name in _TOLD]
    left = tuple(one.says for one in left_out_of(model))
    return Meaning(
        tuple(systems),
        tuple(timed.after(id_, 0) for id_ in model.statements),
        (*told, left, tuple(seen)),
    )


def _without_places(value: Any) -> object:
    if isinstance(value, Place | Formula):
        return None
    if is_dataclass(value):
        return (type(value), *(_without_places(getattr(value, f.name)) for f in fields(value)))
    if isinstance(value, Mapping):
        return tuple((key, _without_places(inner)) for key, inner in value.items())
    if isinstance(value, tuple | list):
        return tuple(map(_without_places, value))
    return value
