"""Each fault on its own against one exploration in which any one of them may strike."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from interlock.commands.faults import singles
from interlock.commands.faults.study import FaultStudy, Options, study_faults
from interlock.engines import catalogue
from interlock.engines.symbolic.explored import Explored
from interlock.judgement.detection import Harm
from interlock.judgement.effects import FaultEffects, find_effects
from interlock.judgement.fault_sets import RequirementSets, ask_all, find_sets, flags_of
from interlock.judgement.harm import harm_of, with_harm
from interlock.judgement.verify import verify
from interlock.kernel.query import Limits
from interlock.kernel.requirement import Outcome
from interlock.model.between import BetweenScans
from interlock.model.build import RunClass, build
from interlock.model.load import load
from interlock.model.model import Model
from tests.support.hoist import HOIST_MODEL, HOIST_PROGRAM, hoist
from tests.support.small_models import write_model

PROGRAMS = {
    "two contacts": HOIST_PROGRAM,
    "one contact": HOIST_PROGRAM.replace(
        "is_shut := door_a AND NOT door_b AND NOT pair_fault;", "is_shut := door_a;"
    ),
}


@pytest.fixture(params=list(PROGRAMS))
def model(request: pytest.FixtureRequest, tmp_path: Path) -> Model:
    return hoist(tmp_path, PROGRAMS[request.param])


def together(
    model: Model,
) -> tuple[dict[str, RequirementSets], list[FaultEffects], dict[tuple[str, str], Harm]]:
    """Sets, effects and harm of any one fault, from one exploration."""
    built = build(model, RunClass(tuple(model.faults), 1))
    asked = ask_all(built.system, built.requirements.values())
    ids = flags_of(model, model.faults)
    explored = Explored(asked.system, tuple(ids))
    sets = find_sets(built, explored, asked, ids)
    alone = {id_: set(one.single_faults()) for id_, one in sets.items()}
    harm = harm_of(built, explored, asked, ids, alone)
    return sets, find_effects(built, explored, ids), harm


def alone(model: Model, n_processes: int = 1) -> FaultStudy:
    options = Options(order=1, n_runs=0, sensors=False, n_processes=n_processes)
    return study_faults(model, catalogue()["reference"](), options)


@pytest.mark.parametrize("between_scans", ["one in all", "two in all", "each once"])
def test_faults_do_alone_what_they_do_in_the_class_of_any_one(
    model: Model, between_scans: str
) -> None:
    model = replace(model, between_scans=BetweenScans.read(between_scans))
    sets, effects, harms = together(model)
    found = alone(model)
    assert list(found.sets) == list(sets)
    for id_, one in sets.items():
        assert (found.sets[id_].sets, found.sets[id_].bound) == (one.sets, one.bound), id_
    assert list(found.effects) == effects
    assert found.harms == harms
    assert harms


BROKEN_ANYWAY = """\
  R7: {says: it always comes up, whenever: panel = RAISE, leads_to: hook = up}
  R8: {says: it can be nowhere, can_still: hook = up AND hook = down}
  R9: {says: it rises after a press, event: hook = up, only_after: panel = LOWER}
"""


@pytest.mark.parametrize("n_together", [1, 4])
def test_what_the_first_faults_tell_of_none_at_all_changes_nothing(
    n_together: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = HOIST_MODEL.replace("faults:\n", BROKEN_ANYWAY + "faults:\n", 1)
    model = load(write_model(tmp_path / "hoist", text, HOIST_PROGRAM))
    sets, effects, harms = together(model)
    # What is broken whatever strikes must not be taken as kept.
    assert all(sets[id_].sets == ((),) for id_ in ("R7", "R8", "R9"))
    assert any(len(one.sets) > 1 for one in sets.values())
    monkeypatch.setattr(singles, "FAULTS_TOGETHER", n_together)
    found = alone(model)
    assert {id_: one.sets for id_, one in found.sets.items()} == {
        id_: one.sets for id_, one in sets.items()
    }
    assert list(found.effects) == effects
    assert found.harms == harms


def test_every_fault_that_tells_is_shown_and_no_other(model: Model) -> None:
    found = alone(model)
    telling = {one.fault.id for one in found.effects if one.alarms or one.refusals}
    assert set(found.showings) == telling
    for one in found.effects:
        if one.fault.id in telling:
            showing = found.showings[one.fault.id]
            assert showing.is_alarm == bool(one.alarms)
            assert set(showing.outputs) <= set(one.alarms or one.refusals)


def test_a_verification_says_of_each_requirement_the_worst_that_single_faults_do(
    model: Model,
) -> None:
    _, _, harms = together(model)
    judged = verify(model, catalogue()["reference"](), RunClass(tuple(model.faults), 1))
    for finding in with_harm(judged).findings:
        own = {harm for (_, id_), harm in harms.items() if id_ == finding.requirement.id}
        if finding.verdict.outcome is Outcome.HOLDS:
            assert not own
            assert finding.harm is Harm.HARMLESS
        else:
            assert finding.harm is (Harm.DANGEROUS if Harm.DANGEROUS in own else Harm.DETECTED)
    assert Harm.DANGEROUS in harms.values()


def test_without_faults_there_is_no_harm_to_speak_of(model: Model) -> None:
    judged = verify(model, catalogue()["reference"]())
    assert {finding.harm for finding in with_harm(judged).findings} == {None}


def test_a_limit_leaves_harm_without_an_answer(model: Model) -> None:
    judged = verify(model, catalogue()["reference"](), RunClass(tuple(model.faults), 1))
    cut = with_harm(judged, Limits(max_states=5))
    found = {f.harm for f in cut.findings if f.verdict.outcome is Outcome.VIOLATED}
    assert found == {None}
