"""Harm in silence, found by leaving out what tells, against a memory of what was told."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest

from interlock.engines.symbolic import SymbolicEngine
from interlock.engines.symbolic.explored import Explored
from interlock.judgement.detection import Comparison, Harm
from interlock.judgement.fault_sets import Asked, ask_all, find_sets, flags_of
from interlock.judgement.harm import harm_of, with_harm
from interlock.judgement.verify import verify
from interlock.kernel.expr import Expr, not_, or_, var
from interlock.kernel.query import Limits, Progress, Stay
from interlock.kernel.requirement import Outcome
from interlock.kernel.system import BOOL, Role, System, Variable
from interlock.model.between import BetweenScans
from interlock.model.build import RunClass, build
from interlock.model.model import Model
from tests.support.hoist import HOIST_PROGRAM, ONE_CONTACT, WARNED_FIRST, hoist

TOLD, TOLD_BEFORE = "told", "told before"


def remembering(system: System, silence: Mapping[str, Expr]) -> System:
    """The system with a memory of whether anything was told so far, and before the last move."""
    moves = []
    for move in system.moves:
        told = or_(var(TOLD), not_(silence[move.name])) if move.name in silence else var(TOLD)
        kept = {**move.updates, TOLD: told, TOLD_BEFORE: var(TOLD)}
        moves.append(replace(move, updates=kept))
    told_at_first = [Variable(name, BOOL, 0, Role.OBSERVER) for name in (TOLD, TOLD_BEFORE)]
    return system.extended(told_at_first, moves)


def by_memory(model: Model) -> dict[tuple[str, str], Harm]:
    """The slow way: harm is in silence where nothing was told before it, for good in a wait."""
    built = build(model, RunClass(tuple(model.faults), 1))
    ids = flags_of(model, model.faults)
    comparison = Comparison(built, Explored(built.system, tuple(ids)))
    found: dict[tuple[str, str], Harm] = {}
    for id_, requirement in built.requirements.items():
        asked = ask_all(built.system, [requirement])
        silence = comparison.silence(comparison.missed_in_harm(requirement))
        told = Asked(remembering(asked.system, silence), asked.queries)
        explored = Explored(told.system, tuple(ids))
        sets = find_sets(built, explored, told, ids)[id_]
        for query in told.queries[id_]:
            memory = TOLD if isinstance(query, Stay) else TOLD_BEFORE
            rows = explored.occurring(query, (*ids, memory))
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
    return harm_of(built, explored, asked, ids, alone)


@pytest.mark.parametrize("program", [HOIST_PROGRAM, ONE_CONTACT, WARNED_FIRST])
def test_the_hoist_is_harmed_in_silence_by_the_same_faults_either_way(
    tmp_path: Path, program: str
) -> None:
    model = hoist(tmp_path, program)
    found = by_parts(model)
    assert found == by_memory(model)
    assert Harm.DANGEROUS in found.values()
    assert (Harm.DETECTED in found.values()) == (program is WARNED_FIRST)


def test_harm_agrees_where_the_plant_outruns_the_scan(tmp_path: Path) -> None:
    model = replace(hoist(tmp_path), between_scans=BetweenScans(2))
    found = by_parts(model)
    assert Harm.DANGEROUS in found.values()
    assert found == by_memory(model)


@pytest.mark.parametrize("program", [ONE_CONTACT, WARNED_FIRST])
def test_the_harm_of_a_finding_is_the_worst_that_a_fault_does(tmp_path: Path, program: str) -> None:
    model = hoist(tmp_path, program)
    by_fault = by_parts(model)
    found = verify(model, SymbolicEngine(), RunClass(tuple(model.faults), 1))
    told_of: list[Progress] = []
    told = with_harm(found, progress=told_of.append)
    stages = [now.stage for now in told_of]
    assert {(now.depth, now.seconds) for now in told_of} == {(0, 0.0)}
    for finding in told.findings:
        harms = {harm for (_, id_), harm in by_fault.items() if id_ == finding.requirement.id}
        worst = Harm.DANGEROUS if Harm.DANGEROUS in harms else Harm.DETECTED
        if finding.outcome is Outcome.HOLDS:
            assert (finding.harm, harms) == (Harm.HARMLESS, set())
        elif finding.outcome is Outcome.VIOLATED:
            assert finding.harm is worst
            # A fault that does it is looked at before all others.
            asked = [stage for stage in stages if stage.startswith(f"{finding.requirement.id}: ")]
            assert finding.run is not None
            shown = [step.move for step in finding.run.happenings]
            fault = asked[0].removeprefix(f"{finding.requirement.id}: in silence with ")
            assert f"{fault} strikes" in shown
        else:
            assert finding.harm is None
    assert {finding.harm for finding in told.findings} >= {Harm.HARMLESS, Harm.DANGEROUS}
    detected = {id_: fault for (fault, id_), harm in by_fault.items() if harm is Harm.DETECTED}
    for id_, fault in detected.items():
        alone = with_harm(verify(model, SymbolicEngine(), RunClass((fault,), 1), [id_]))
        assert Harm.DETECTED in {finding.harm for finding in alone.findings}
    assert bool(detected) == (program is WARNED_FIRST)


def test_harm_is_asked_for_where_faults_may_strike_and_open_where_a_limit_is_hit(
    tmp_path: Path,
) -> None:
    model = hoist(tmp_path, ONE_CONTACT)
    for run_class in (RunClass((), 0), RunClass(("FA",), 0)):
        found = verify(model, SymbolicEngine(), run_class, ["R1"])
        assert {finding.harm for finding in with_harm(found).findings} == {None}
    for at_most in (1, 2):
        found = verify(model, SymbolicEngine(), RunClass(("FA", "FB"), at_most), ["R1"])
        for limits, harm in ((Limits(), Harm.DANGEROUS), (Limits(max_states=2), None)):
            harms = {f.requirement.id: f.harm for f in with_harm(found, limits).findings}
            assert harms["R1"] is harm
