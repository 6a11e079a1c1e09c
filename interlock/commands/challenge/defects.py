"""Every defect that a model is challenged with, in a fixed order and with fixed names."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import Enum
from itertools import pairwise
from pathlib import PurePath

from interlock.base.errors import Place
from interlock.commands.challenge.expression_defects import (
    DefectKind,
    dropped,
    negated,
    text_of,
    truth,
)
from interlock.commands.challenge.program_defects import program_defects
from interlock.kernel.system import MoveKind
from interlock.model.model import Formula, Model, ModelMove
from interlock.st import typed as ty
from interlock.st.types import BOOL


class Region(Enum):
    """Where a defect is seeded."""

    CONTROLLER = "controller"
    SENSORS = "sensors"
    PLANT = "plant"


@dataclass(frozen=True)
class Defect:
    """One seeded defect.

    Attributes
    ----------
    id : str
        Place and words, such as ``controller.st:149:40 drop term NOT is_up``; unique and the
        same every time.
    region : Region
    kind : DefectKind
    place : Place
    at : str
        What is changed, in words that outlive the line: what a statement assigns or calls (its
        condition where it is an IF or CASE), a signal, or the first move with a guard.
    says : str
    told : str
        What is changed about `at`; with that, unique, and the same wherever the lines stand. Where
        the words fit several, it names the statement or guard, so that what is said of one can
        never come to be said of another.
    changes : mapping of str to object
        The fields of the model that differ.
    """

    id: str
    region: Region
    kind: DefectKind
    place: Place
    at: str
    says: str
    told: str
    changes: Mapping[str, object] = field(repr=False, compare=False)

    def applied_to(self, model: Model) -> Model:
        """`model` with the defect."""
        return replace(model, **self.changes)  # type: ignore[arg-type]


def short_place(place: Place) -> str:
    """A place without its folders."""
    return f"{PurePath(place.file).name}:{place.line}:{place.column}"


@dataclass(frozen=True)
class _Found:
    region: Region
    kind: DefectKind
    place: Place
    at: str
    within: str
    says: str
    changes: Mapping[str, object]


def defects_of(model: Model) -> tuple[Defect, ...]:
    """Every defect of `model`: of its controller, its sensors, its plant's guards.

    A change that leaves the meaning of a statement as it was by its form alone is left out.
    """
    found = [
        _Found(Region.CONTROLLER, d.kind, d.place, d.at, d.within, d.says, {"program": d.program})
        for d in program_defects(model.program)
        if d.program.body != model.program.body
    ]
    found += _sensor_defects(model)
    found += _guard_defects(model)
    of_id: Counter[str] = Counter()
    defects = []
    for f, told in zip(found, _told(found), strict=True):
        id_ = f"{short_place(f.place)} {f.says}"
        of_id[id_] += 1
        if of_id[id_] > 1:
            id_ = f"{id_} ({of_id[id_]})"
        defects.append(Defect(id_, f.region, f.kind, f.place, f.at, f.says, told, f.changes))
    return tuple(defects)


def _told(found: Sequence[_Found]) -> Iterator[str]:
    """What each is told as: its words, with its statement where others could be meant."""
    n_alike = Counter((f.at, f.says) for f in found)
    n_same = Counter((f.at, f.says, f.within) for f in found)
    nth: Counter[tuple[str, str, str]] = Counter()
    statements: dict[str, set[str]] = {}
    for f in found:
        if f.kind not in (DefectKind.REORDERED, DefectKind.EXCHANGED):
            statements.setdefault(f.at, set()).add(f.within)
    for f in found:
        key = (f.at, f.says, f.within)
        nth[key] += 1
        number = f" ({nth[key]} of {n_same[key]})" if n_same[key] > 1 else ""
        is_plain = n_alike[f.at, f.says] == 1 and len(statements.get(f.at, ())) < 2
        yield f.says if is_plain else f"{f.says} in {f.within}{number}"


def _sensor_defects(model: Model) -> Iterator[_Found]:
    types = {declared.name: declared.type for declared in model.program.inputs}

    def with_reads(given: Mapping[str, Formula]) -> dict[str, object]:
        sensors = {
            name: replace(sensor, reads=given.get(name, sensor.reads))
            for name, sensor in model.sensors.items()
        }
        return {"sensors": sensors}

    for name, sensor in model.sensors.items():
        reads = sensor.reads
        if types[name] != BOOL:
            continue
        place = reads.place
        tree = negated(reads.tree)
        changes = with_reads({name: _formula(reads, tree)})
        says = f"negate signal {name}"
        yield _Found(Region.SENSORS, DefectKind.NEGATED, place, name, "", says, changes)
        for value in (True, False):
            constant = truth(value, place)
            if constant == reads.tree:
                continue
            says = f"signal {name} stuck at {constant.text}"
            changes = with_reads({name: _formula(reads, constant)})
            yield _Found(Region.SENSORS, DefectKind.STUCK, place, name, "", says, changes)
    for a, b in pairwise(model.sensors.values()):
        if types[a.name] == types[b.name] and a.reads.tree != b.reads.tree:
            says = f"exchange signals {a.name} and {b.name}"
            changes = with_reads({a.name: b.reads, b.name: a.reads})
            kind, place = DefectKind.EXCHANGED, a.reads.place
            yield _Found(Region.SENSORS, kind, place, a.name, "", says, changes)


def _formula(original: Formula, tree: ty.Expression) -> Formula:
    return Formula(text_of(tree), original.place, tree)


def _guard_defects(model: Model) -> Iterator[_Found]:
    """Defects of each guard as written; one text may stand for the moves from several states."""
    guards: dict[Place, tuple[str, Formula]] = {}
    for move in model.moves:
        if move.when is not None and move.kind is not MoveKind.HUMAN:
            guards.setdefault(move.when.place, (move.name, move.when))
    for place, (name, guard) in guards.items():
        for at, kind, says, tree in _changed_guards(guard.tree):
            other = None if tree is None else _formula(guard, tree)
            changes = {"moves": _with_guard(model.moves, place, other)}
            yield _Found(Region.PLANT, kind, at, name, guard.text, says, changes)


def _changed_guards(
    guard: ty.Expression,
) -> Iterator[tuple[Place, DefectKind, str, ty.Expression | None]]:
    if isinstance(guard, ty.Junction) and guard.op == "AND":
        for defect in dropped(guard):
            yield defect.place, defect.kind, f"guard: {defect.says}", defect.tree
        for number, term in enumerate(guard.operands):
            operands = (*guard.operands[:number], negated(term), *guard.operands[number + 1 :])
            tree = replace(guard, operands=operands)
            yield term.place, DefectKind.NEGATED, f"guard: negate {text_of(term)}", tree
    else:
        yield guard.place, DefectKind.DROPPED, f"guard: drop term {text_of(guard)}", None
        yield guard.place, DefectKind.NEGATED, f"guard: negate {text_of(guard)}", negated(guard)


def _with_guard(
    moves: tuple[ModelMove, ...], place: Place, guard: Formula | None
) -> tuple[ModelMove, ...]:
    return tuple(
        replace(move, when=guard) if move.when is not None and move.when.place == place else move
        for move in moves
    )
