"""Harm in silence, found by leaving out what tells, against a memory of what was told."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from interlock.engines.symbolic.explored import Explored
from interlock.judgement.detection import Comparison, Harm
from interlock.judgement.effects import harm_of
from interlock.judgement.fault_sets import Asked, ask_all, find_sets, flags_of
from interlock.kernel.expr import not_, or_, var
from interlock.kernel.system import BOOL, Role, System, Variable
from interlock.model.build import RunClass, build
from interlock.model.model import Model
from tests.support.hoist import HOIST_PROGRAM, hoist

TOLD = "told"


def remembering(system: System, comparison: Comparison) -> System:
    """The system with a memory of whether anything was told so far."""
    silence = comparison.silence()
    moves = [
        replace(m, updates={**m.updates, TOLD: or_(var(TOLD), not_(silence[m.name]))})
        if m.name in silence
        else m
        for m in system.moves
    ]
    return system.extended([Variable(TOLD, BOOL, 0, Role.OBSERVER)], moves)


def by_memory(model: Model) -> dict[tuple[str, str], Harm]:
    """The slow way: one more variable, and harm is in silence where it is still FALSE."""
    built = build(model, RunClass(tuple(model.faults), 1))
    asked = ask_all(built.system, built.requirements.values())
    ids = flags_of(model, model.faults)
    told = Asked(remembering(asked.system, Comparison(built)), asked.queries)
    explored = Explored(told.system, tuple(ids))
    found = {}
    for id_, sets in find_sets(built, explored, told, ids).items():
        for query in told.queries[id_]:
            rows = explored.occurring(query, (*ids, TOLD))
            assert rows is not None
            for *struck, was_told in rows:
                for fault, is_set in zip(ids.values(), struck, strict=True):
                    if is_set and fault in sets.single_faults():
                        silent = not was_told or found.get((fault, id_)) is Harm.DANGEROUS
                        found[fault, id_] = Harm.DANGEROUS if silent else Harm.DETECTED
    return found


def by_parts(model: Model) -> dict[tuple[str, str], Harm]:
    """As the study finds it."""
    built = build(model, RunClass(tuple(model.faults), 1))
    asked = ask_all(built.system, built.requirements.values())
    ids = flags_of(model, model.faults)
    explored = Explored(asked.system, tuple(ids))
    sets = find_sets(built, explored, asked, ids)
    alone = {id_: set(one.single_faults()) for id_, one in sets.items()}
    return harm_of(explored, Comparison(built).silence(), asked, ids, alone)


@pytest.mark.parametrize(
    "program",
    [
        HOIST_PROGRAM,
        HOIST_PROGRAM.replace(
            "is_shut := door_a AND NOT door_b AND NOT pair_fault;", "is_shut := door_a;"
        ),
    ],
    ids=["two contacts", "one contact"],
)
def test_the_hoist_is_harmed_in_silence_by_the_same_faults_either_way(
    tmp_path: Path, program: str
) -> None:
    model = hoist(tmp_path, program)
    found = by_parts(model)
    assert found == by_memory(model)
    assert Harm.DANGEROUS in found.values()
    assert (Harm.DETECTED in found.values()) == (program != HOIST_PROGRAM)


def test_harm_agrees_where_the_plant_outruns_the_scan(tmp_path: Path) -> None:
    model = replace(hoist(tmp_path), moves_per_scan=2)
    found = by_parts(model)
    assert Harm.DANGEROUS in found.values()
    assert found == by_memory(model)
